//! What a crew signs and reads back is all that it wrote.
use breakerbook::{base::UnitName, web::paths};

use crate::harness::{App, Browser, PASSWORD};

fn unit() -> UnitName {
    UnitName::from("QHB 412")
}

async fn write(who: &Browser<'_>, word: &str, tag: &str, typed: &[(&str, &str)]) {
    let form = who.get(paths::WriteKind(unit(), word.to_owned()).with(&[("device", tag)])).await;
    let form = typed.iter().fold(form, |form, (name, value)| form.fill(name, value));
    let kept = form.send().await;
    assert_eq!(kept.status, 303, "{word}: {}", kept.text());
}

async fn write_one_of_each(ann: &Browser<'_>) {
    let fuse = [
        ("result", "wrong_one"),
        ("handling", "insulated_tool"),
        ("tested_with", "meter"),
        ("fitted.rating_a", "600"),
        ("fitted.body", "B"),
        ("replaced", "yes"),
        ("replaced_by.rating_a", "400"),
        ("replaced_by.rating_v", "250"),
        ("replaced_by.speed", "slow"),
    ];
    write(ann, "fuse_check", "SF", &fuse).await;
    let start = [
        ("outcome", "no_crank"),
        ("motors", "both"),
        ("attempt", "2"),
        ("battery_rest_v", "61.5"),
        ("main_reservoir_psi", "96"),
    ];
    write(ann, "engine_start", "", &start).await;
    write(ann, "ground_relay", "", &[("reset", "by_hand"), ("motors_cut_out", "2, 5"), ("place", "MP 41.2")])
        .await;
    let moved = [
        ("seen", "off"),
        ("moved_to", "on"),
        ("by", "me"),
        ("why", "shop said close"),
        ("reference", "WO 7"),
    ];
    write(ann, "position", "ALR", &moved).await;
    write(ann, "breaker_trip", "TC2", &[("resets[0].result", "none"), ("left", "off")]).await;
}

const ALL_OF_IT: &[&str] = &[
    "In it: 600 A, body B.",
    "Replaced by 400 A, 250 V, slow.",
    "Handled: insulated tool.",
    "Tested with: meter.",
    "attempt 2",
    "61.5 V at rest",
    "main reservoir 96 psi",
    "Cranked with: both.",
    "Motors cut out: 2, 5.",
    "At: MP 41.2.",
    "by ann.",
    "Why: shop said close.",
    "Number of the order: WO 7.",
    "No reset written. Left off.",
];

#[tokio::test]
async fn everything_written_is_read_back_wherever_it_is_signed() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    write_one_of_each(&ann).await;
    let read = |text: String, place: &str| {
        for words in ALL_OF_IT {
            assert!(text.contains(words), "{words:?} is not said on {place}: {text}");
        }
    };
    let draft = ann.get(paths::Report(unit())).await;
    read(draft.text(), "the draft");
    let draft = draft.fill("run.started", "2026-03-03T05:00").fill("consist", "QHB 412, QHB 431");
    let signed = draft.fill("password", PASSWORD).send().await;
    let receipt = ann.get(signed.location()).await.is(200).says("Consist QHB 412, QHB 431");
    read(receipt.text(), "the receipt");
    read(ann.get(paths::Handover(unit())).await.text(), "the handover");
}

#[tokio::test]
async fn what_is_sent_now_is_read_in_full_first() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let bypass = ann.get(paths::WriteKind(unit(), "bypass".into()).with(&[("device", "GRC")])).await;
    let bypass = bypass.fill("when", "found").fill("by", "not_known").fill("protection", "blue_signal");
    let bypass = bypass.fill("engine_running", "no").fill("seal_found", "broken").fill("then", "send");
    let page = ann.get(bypass.send().await.location()).await.is(200);
    let page =
        page.says("At the switch: blue signal.").says("Engine running: no.").says("Seal found: broken.");
    page.says("Still open when written.");
}

/// Of one minute, in the order in which they were written down.
#[tokio::test]
async fn the_receipt_keeps_the_order_of_writing() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    for (tag, left) in [("TC2", "off"), ("FP", "on"), ("ALR", "off")] {
        write(&ann, "breaker_trip", tag, &[("left", left)]).await;
    }
    let report = ann.get(paths::Report(unit())).await.fill("run.started", "2026-03-03T05:00");
    let signed = report.fill("password", PASSWORD).send().await;
    let text = ann.get(signed.location()).await.is(200).text();
    let places: Vec<_> =
        ["TC2", "FP", "ALR"].map(|tag| text.find(&format!("Breaker trip, {tag}")).unwrap()).into();
    assert!(places.is_sorted(), "{text}");
}

/// Called good or blown, but what was put in is not what belongs there.
#[tokio::test]
async fn a_fuse_of_other_figures_is_not_where_it_should_be() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let put_in = [("result", "blown"), ("replaced", "yes"), ("replaced_by.rating_a", "900")];
    write(&ann, "fuse_check", "SF", &put_in).await;
    let report = ann.get(paths::Report(unit())).await.fill("run.started", "2026-03-03T05:00");
    report.fill("password", PASSWORD).send().await.is(303);
    ann.get(paths::Handover(unit())).await.never_says("Nothing written.").says("wrong one");
}
