//! A crew's day: look a unit up, write things down on its panel, sign, read the receipt.
use breakerbook::{base::UnitName, web::paths};

use crate::harness::{App, PASSWORD, Page};

const UNIT: &str = "QHB 412";

fn unit() -> UnitName {
    UnitName::from(UNIT)
}

fn kind(kind: &str) -> String {
    paths::WriteKind(unit(), kind.to_owned()).to_string()
}

fn on(word: &str, tag: &str) -> String {
    paths::WriteKind(unit(), word.to_owned()).with(&[("device", tag)])
}

fn wrote() -> String {
    paths::Report(unit()).with(&[("wrote", "yes")])
}

/// What the page has in a field, if anything is chosen or typed in it.
fn value(page: &Page, name: &str) -> Option<String> {
    page.form().fields.iter().find(|f| f.name == name).and_then(|f| f.value.clone())
}

#[tokio::test]
async fn a_trip_a_ground_a_found_open_cutout_and_a_wrong_fuse_are_tapped_in_and_signed() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get(paths::Units.with(&[("q", "412")])).await.says("QHB 412").never_says("QHB 431");
    ann.get(paths::Handover(unit()))
        .await
        .says("No report about this unit is in the book")
        .says("An empty slot");
    let panel = ann.get(kind("breaker_trip")).await.says("Only when stopped").says("Tap it on the panel");
    assert!(panel.body.contains("/units/QHB-412/write/breaker_trip?device=TC2"));
    let trip = ann.get(on("breaker_trip", "TC2")).await.says("Traction inverter 2").says("1 time in 24 h");
    let trip = trip.says("instructions decide; if they say otherwise, follow them");
    let trip = trip.fill("when", "15").fill("resets[0].result", "tripped_again");
    let trip = trip.fill("resets[0].basis", "not_determined").fill("left", "tripped");
    trip.send().await.goes_to(wrote());
    let ground = ann.get(kind("ground_relay")).await.says("Never open the cutout to keep moving");
    ground.fill("operations", "2").fill("reset", "by_hand").send().await.goes_to(wrote());
    let bypass = ann.get(on("bypass", "GRC")).await.says("Ground-relay cutout GRC on QHB 412");
    bypass.fill("when", "found").fill("by", "not_known").fill("closed", "no").send().await.goes_to(wrote());
    let fuse = ann.get(on("fuse_check", "SF")).await;
    fuse.fill("result", "wrong_one").fill("fitted.rating_a", "600").send().await.goes_to(wrote());
    let report = ann.get(wrote()).await.says("Written down. It is kept here until you sign");
    let report = report.says("TC2 is left tripped since 05:45").says("The ground-relay cutout GRC is open");
    let signed = report
        .fill("cutout.GRC", "open")
        .fill("run.started", "2026-03-02T23:00")
        .fill("run.symbol", "K17")
        .fill("password", PASSWORD)
        .send()
        .await;
    assert!(signed.location().starts_with("/reports/"), "{} {}", signed.location(), signed.text());
    let receipt = ann.get(signed.location()).await.is(200).says("In the book").says("Root").says("K17");
    receipt.says("Breaker trip, TC2").says("Left tripped");
    let handover = ann.get(paths::Handover(unit())).await;
    let handover = handover.says("A ground-relay cutout stands open in the book").says("TC2 tripped");
    handover.says("OPEN").says("last told").says("ann");
    ann.get(paths::Report(unit())).await.says("You signed a report for QHB 412, with 5 entries");
    ann.get(paths::Units).await.says("Nothing waits for your signature").says("K17");
}

/// A closed cutout carries its current whatever its seal: the unit loses nothing by it.
#[tokio::test]
async fn a_closed_cutout_with_a_broken_seal_is_listed_and_costs_the_unit_nothing() {
    let app = App::start().await;
    for (seal, days) in [("closed_sealed", 3), ("closed_broken", 0)] {
        let ann = app.user("ann").await;
        let report = ann.get(paths::Report(unit())).await.fill("occasion", "yard");
        let signed = report.fill("cutout.GRC", seal).fill("password", PASSWORD).send().await;
        assert!(signed.location().starts_with("/reports/"), "{}", signed.text());
        app.minutes_pass(days * 24 * 60);
    }
    let ann = app.user("ann").await;
    let handover = ann.get(paths::Handover(unit())).await.says("GRC closed, seal broken");
    handover
        .says("Told 0 min ago by ann")
        .never_says("The unit loses")
        .never_says("For 3 days")
        .never_says("The book holds this against");
}

#[tokio::test]
async fn nothing_to_report_is_two_taps_and_a_signature() {
    let app = App::start().await;
    let ben = app.user("ben").await;
    let handover = ben.get(paths::Handover(unit())).await;
    handover
        .fill("password", PASSWORD)
        .send()
        .await
        .goes_to(paths::Handover(unit()).with(&[("read", "yes")]));
    app.minutes_pass(420);
    let report = ben.get(paths::Report(unit())).await.says("nothing to report");
    assert_eq!(
        value(&report, "run.started").as_deref(),
        Some("2026-03-03T06:00"),
        "since the handover was read"
    );
    let signed = report.fill("cutout.GRC", "closed_sealed").fill("password", PASSWORD).send().await;
    ben.get(signed.location()).await.is(200).says("closed");
}

#[tokio::test]
async fn what_is_wrong_comes_back_beside_its_field_with_all_that_was_typed() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let page = ann.get(on("breaker_trip", "TC2")).await;
    let page = page.fill("speed_mph", "fast").fill("note", "lost <load> & came back").send().await.is(422);
    let page = page.says("Write a figure, like 64.5");
    assert_eq!(value(&page, "speed_mph").as_deref(), Some("fast"));
    assert!(page.body.contains("lost &#60;load&#62; &#38; came back"));
    assert!(page.body.contains("id=\"left-says\""), "how it was left is asked for: {}", page.text());
    page.fill("speed_mph", "38").fill("left", "on").send().await.goes_to(wrote());
    let report = ann.get(paths::Report(unit())).await;
    let report = report.fill("run.symbol", "K17").fill("password", "not it at all").send().await.is(422);
    let report =
        report.says("Say when the run started.").fill("run.started", "2026-03-03T00:10").send().await;
    let report = report.is(422).says("Type your password");
    assert_eq!(value(&report, "run.symbol").as_deref(), Some("K17"));
    let report =
        report.fill("password", "not it at all").send().await.is(422).says("This is not your password.");
    let signed = report.fill("password", PASSWORD).send().await;
    ann.get(signed.location()).await.is(200).says("K17");
}

#[tokio::test]
async fn a_double_tap_adds_one_entry_and_files_one_report() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let form = ann.get(on("breaker_trip", "TC2")).await.fill("left", "on").form();
    let action = form.action.clone();
    let fields: Vec<_> =
        form.fields.iter().filter_map(|f| Some((f.name.clone(), f.value.clone()?))).collect();
    let mut fields: Vec<_> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.push(("left", "on"));
    for _ in 0..2 {
        ann.post(&action, &fields).await.goes_to(wrote());
    }
    let report = ann.get(paths::Report(unit())).await;
    assert_eq!(report.text().matches("Breaker trip, TC2").count(), 1);
    let form = report.form();
    let fields: Vec<_> =
        form.fields.iter().filter_map(|f| Some((f.name.clone(), f.value.clone()?))).collect();
    let mut fields: Vec<_> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.extend([("run.started", "2026-03-03T00:10"), ("password", PASSWORD)]);
    let (one, two) = tokio::join!(ann.post(&form.action, &fields), ann.post(&form.action, &fields));
    assert_eq!((one.status, one.location()), (303, two.location()), "{} / {}", one.text(), two.text());
    ann.get(one.location()).await.is(200);
    ann.get(paths::Units).await.says("1 entry");
}

#[tokio::test]
async fn the_reset_answer_counts_other_crews_and_the_own_draft() {
    let app = App::start().await;
    let (ann, ben) = (app.user("ann").await, app.user("ben").await);
    ann.get(on("breaker_trip", "TC2")).await.never_says("Do not reset");
    let trip = ann.get(on("breaker_trip", "TC2")).await.fill("resets[0].result", "held");
    trip.fill("resets[0].basis", "looked_no_sign").fill("left", "on").send().await.goes_to(wrote());
    app.minutes_pass(30);
    ann.get(on("breaker_trip", "TC2")).await.says("Do not reset");
    ben.get(on("breaker_trip", "TC2")).await.never_says("Do not reset");
    let report = ann.get(paths::Report(unit())).await.fill("run.started", "2026-03-03T00:10");
    report.fill("password", PASSWORD).send().await;
    ben.get(on("breaker_trip", "TC2")).await.says("Do not reset");
}

#[tokio::test]
async fn a_stale_tab_is_told_and_loses_nothing() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let old_tab = ann.get(paths::Report(unit())).await;
    ann.get(on("breaker_trip", "FP")).await.fill("left", "off").send().await.goes_to(wrote());
    let back = old_tab.fill("run.symbol", "K22").fill("run.started", "2026-03-03T00:10");
    let back = back.fill("password", PASSWORD).send().await.is(409);
    let back = back.says("changed in another tab").says("Breaker trip, FP");
    assert_eq!(value(&back, "run.symbol").as_deref(), Some("K22"));
    let signed = back.fill("password", PASSWORD).send().await;
    ann.get(signed.location()).await.is(200).says("Breaker trip, FP").says("K22");
}

#[tokio::test]
async fn ground_is_sent_at_once_and_the_final_report_does_not_file_it_again() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let page = ann.get(kind("ground_relay")).await.says("send this now");
    let sent = page.fill("reset", "locked_out").fill("then", "send").send().await;
    let page = ann.get(sent.location()).await.says("Send this now").fill("run.started", "2026-03-03T00:10");
    let sent = page.fill("password", PASSWORD).send().await;
    ann.get(sent.location()).await.is(200).says("Sent at once").says("locked out");
    let report = ann.get(paths::Report(unit())).await.says("Sent at once, in a report of its own");
    assert_eq!(value(&report, "run.started").as_deref(), Some("2026-03-03T00:10"));
    let signed = report.fill("password", PASSWORD).send().await;
    ann.get(signed.location()).await.is(200).says("End-of-trip report").never_says("locked out");
}

#[tokio::test]
async fn every_kind_can_be_written_down_also_on_a_unit_that_is_not_on_the_roster() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get(paths::Units.with(&[("q", "999")])).await.says("Write about QHB 999 all the same");
    for (unit, kind, device, field, word) in [
        (UNIT, "engine_start", "", "outcome", "no_crank"),
        (UNIT, "shutdown", "", "cause", "overspeed"),
        (UNIT, "defect", "", "may_go_on", "restricted"),
        (UNIT, "position", "ALR", "seen", "off"),
        (UNIT, "position", "GRC", "seen", "closed"),
        (UNIT, "breaker_trip", "?", "left", "off"),
        ("QHB 999", "breaker_trip", "?", "left", "off"),
    ] {
        let path = paths::WriteKind(unit.into(), kind.into()).with(&[("device", device)]);
        let mut page = ann.get(path).await.is(200).fill(field, word);
        if kind == "defect" {
            page = page.fill("text", "door will not shut");
        }
        if device == "?" {
            page = page.fill("device.not_listed", "AUX COMPRESSOR");
        }
        let wrote = page.send().await;
        assert_eq!(wrote.status, 303, "{kind} on {unit}: {}", wrote.text());
    }
    let report = ann.get(paths::Report("QHB 999".into())).await.fill("occasion", "yard");
    let signed = report.fill("password", PASSWORD).send().await;
    let signed = if signed.status == 422 {
        signed.says("not on the roster").fill("sure", "yes").fill("password", PASSWORD).send().await
    } else {
        signed
    };
    ann.get(signed.location()).await.is(200).says("AUX COMPRESSOR").says("Yard work");
}

#[tokio::test]
async fn an_entry_is_changed_and_taken_out_before_it_is_signed() {
    let app = App::start().await;
    let ann = app.user("ann").await;
    ann.get(on("breaker_trip", "TC2")).await.fill("left", "off").send().await.goes_to(wrote());
    let report = ann.get(paths::Report(unit())).await;
    let change = report.body.split("href=\"").find(|rest| rest.contains("/change\"")).unwrap();
    let change = change.split('"').next().unwrap().to_owned();
    let page = ann.get(&change).await.is(200);
    page.fill("left", "cut_out").send().await.goes_to(wrote());
    let report = ann.get(paths::Report(unit())).await.says("Left cut out").never_says("Left off");
    let version = value(&report, "version").unwrap();
    let out = change.replace("/change", "/out");
    ann.post(out, &[("version", &version)]).await.goes_to(paths::Report(unit()));
    ann.get(paths::Report(unit())).await.says("Nothing so far");
}
