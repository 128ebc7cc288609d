//! The shop's measurements, inspections and papers, as the people of the shop meet them.
use std::io::Cursor;

use breakerbook::{
    base::UnitName,
    book::Channel,
    desk::{
        body::{Body, RepairOpened},
        shop::ShopAct,
        verify::{self, Verdict},
    },
    web::paths,
};
use calamine::{Data, Reader as _};
use http_body_util::BodyExt as _;

use crate::{
    board::a_night,
    harness::{App, Browser, PASSWORD, Page},
};

fn unit() -> UnitName {
    UnitName::from("QHB 412")
}

async fn form<'a>(of: &Browser<'a>, kind: &str) -> Page<'a> {
    of.get(paths::MeasurementNew(unit()).with(&[("kind", kind)])).await.is(200)
}

/// An insulation test of the whole power circuit at 77 °F.
async fn megger<'a>(of: &Browser<'a>, mohm: &str) -> Page<'a> {
    let page = form(of, "insulation").await.fill("object", "power_circuit").fill("ir1_mohm", mohm);
    page.fill("temperature", "77").fill("password", PASSWORD).send().await
}

async fn look<'a>(of: &Browser<'a>, sent: &Page<'a>) -> Page<'a> {
    assert_eq!(sent.status, 303, "{}", sent.text());
    of.get(sent.location()).await.is(200)
}

#[tokio::test]
async fn an_insulation_test_fails_then_passes_and_both_stay() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let choose = sam.get(paths::MeasurementNew(unit())).await.is(200).says("insulation resistance");
    choose.never_says("A ground-relay test is asked for");
    form(&sam, "insulation")
        .await
        .says("Engine shut down, electronics disconnected")
        .says("qualified people decide");
    let failed = look(&sam, &megger(&sam, "0.4").await).await;
    failed
        .says("FAIL")
        .says("0.4 MΩ is under 1 MΩ.")
        .says("TR0656")
        .says("read in the text itself")
        .says("page ");
    let passed = look(&sam, &megger(&sam, "12").await).await;
    passed.says("pass").says("12 MΩ at 77 °F × 2^((77 − 77) ÷ 22) = 12 × 1 = 12 MΩ at 77 °F");
    let list = sam.get(paths::Measurements(unit())).await.is(200);
    list.says("0.4 MΩ is under 1 MΩ.").says("12 MΩ reaches 1 MΩ.");
}

#[tokio::test]
async fn the_pages_alone_decide_what_is_on_the_list() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    megger(&sam, "0.4").await.is(303);
    let page = form(&sam, "lock_out").await.fill("lock", "17").fill("password", PASSWORD);
    page.send().await.is(303);
    // It reckons every table anew from the pages, and compares.
    let verdict = verify::verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
    let mut db = breakerbook::db::open::writer(&app.path(), &Default::default()).await.unwrap();
    let sql = "SELECT count(*) FROM measurement";
    assert_eq!(sqlx::query_scalar::<_, i64>(sql).fetch_one(&mut db).await.unwrap(), 2);
}

#[tokio::test]
async fn what_is_odd_is_asked_once_and_kept_as_asked() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let asked = megger(&sam, "1500").await.is(422).says("If the instrument showed kilohms, write 1.5");
    // Another slip in its place is asked about again.
    let again = asked.fill("ir1_mohm", "2500").fill("password", PASSWORD).send().await;
    let again = again.is(422).says("write 2.5");
    let kept = look(&sam, &again.fill("password", PASSWORD).send().await).await;
    kept.says("Asked, and signed all the same: 2500 megohms is very much.").says("pass");
}

#[tokio::test]
async fn without_a_temperature_it_is_kept_and_judged_by_nothing() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = form(&sam, "insulation")
        .await
        .fill("object", "armature")
        .fill("wound", "later")
        .fill("ir1_mohm", "2");
    let kept = look(&sam, &page.fill("password", PASSWORD).send().await).await;
    kept.says("does not apply").says("no temperature was stated").never_says("FAIL");
    // A polarization index the wrong way round.
    let page = form(&sam, "insulation")
        .await
        .fill("object", "form_wound")
        .fill("wound", "later")
        .fill("ir1_mohm", "200");
    let page = page
        .fill("ir10_mohm", "100")
        .fill("temperature", "104")
        .fill("class", "f")
        .fill("password", PASSWORD);
    let asked = page.send().await.is(422).says("Are the two in each other's place?");
    look(&sam, &asked.fill("password", PASSWORD).send().await)
        .await
        .says("FAIL")
        .says("100 MΩ ÷ 200 MΩ = 0.5");
}

#[tokio::test]
async fn nothing_typed_is_lost_and_nobody_signs_for_another() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page =
        form(&sam, "insulation").await.fill("object", "cable").fill("ir1_mohm", "five").fill("of", "wire 51");
    let again = page.fill("password", PASSWORD).send().await.is(422).says("\"five\" is no number");
    assert!(again.body.contains("value=\"wire 51\""), "{}", again.body);
    let again = again.fill("ir1_mohm", "5").fill("password", "wrong").send().await.is(422);
    let again = again.says("This is not your password.");
    // Sent twice, it is one.
    let once = again.fill("password", PASSWORD);
    let fields: Vec<(String, String)> =
        once.form().fields.into_iter().filter_map(|f| Some((f.name, f.value?))).collect();
    let mut fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    fields.retain(|(name, _)| *name != "password");
    fields.push(("password", PASSWORD));
    let (first, second) = (
        sam.post(paths::MeasurementNew(unit()), &fields).await.is(303),
        sam.post(paths::MeasurementNew(unit()), &fields).await.is(303),
    );
    assert_eq!(first.location(), second.location());
    let list = sam.get(paths::Measurements(unit())).await;
    assert_eq!(list.text().matches("wire 51").count(), 1);
    // Somebody else's form.
    fields.retain(|(name, _)| *name != "signer");
    fields.push(("signer", "ben"));
    sam.post(paths::MeasurementNew(unit()), &fields).await.is(422).says("This page was opened by ben");
    app.user("ann").await.get(paths::MeasurementNew(unit())).await.is(403);
    app.user("sue").await.get(paths::MeasurementNew(unit())).await.is(403);
    app.user("sue").await.get(paths::Measurements(unit())).await.is(200).says("wire 51");
}

#[tokio::test]
async fn a_battery_takes_its_record_to_another_unit() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    for (name, low) in [("QHB-412", "1.240"), ("QHB-413", "1.165")] {
        let page = sam
            .get(format!("/units/{name}/measurements/new?kind=battery"))
            .await
            .is(200)
            .says("50 volts can kill");
        let page = page.fill("battery", "b 17").fill("full_gravity", "1.265").fill("temperature", "80");
        let page = page.fill("gravities", &format!("1.262 1.260\n{low}")).fill("cells", "32");
        let kept = look(&sam, &page.fill("password", PASSWORD).send().await).await;
        kept.link_to("/batteries/");
        app.minutes_pass(20);
    }
    let battery = sam.get("/batteries/B%2017").await.is(200).says("Last measured on QHB 413");
    let battery = battery.says("QHB 412, first measured there").says("Cell 3 is 100 points below full");
    battery.says("97 points").says("22 points");
    sam.get("/batteries/nowhere").await.is(404);
}

#[tokio::test]
async fn the_railways_own_table_judges_and_none_is_built_in() {
    let app = App::start().await;
    let (sam, ada) = (app.user("sam").await, app.user("ada").await);
    let test = async || {
        let page =
            form(&sam, "breaker").await.fill("device", "TC2").fill("rated_a", "60").fill("seconds", "150");
        look(&sam, &page.fill("password", PASSWORD).send().await).await
    };
    test().await.says("does not apply").says("not confirmed");
    sam.get(paths::BreakerTable).await.is(200).says("This railway keeps none");
    let page =
        ada.get(paths::BreakerTable).await.is(200).fill("rows", "100, , 140").fill("password", PASSWORD);
    let page = page.send().await.is(422).says("Say where it is from");
    page.fill("from", "sheet 7").fill("password", PASSWORD).send().await.goes_to(paths::BreakerTable);
    test().await.says("FAIL").says("150 s is over 140 s.").says("the railway's own table: sheet 7");
}

#[tokio::test]
async fn a_lock_is_removed_by_another_only_with_both_answers() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = form(&sam, "lock_out")
        .await
        .fill("lock", "17")
        .fill("applied_by", "ben")
        .fill("place", "battery switch");
    page.fill("password", PASSWORD).send().await.is(303);
    sam.get(paths::Measurements(unit())).await.says("17, applied by ben");
    let page =
        form(&sam, "lock_out").await.fill("lock", "17").fill("step", "removed").fill("password", PASSWORD);
    let page = page.send().await.is(422).says("answer this, or it is not recorded");
    let page =
        page.fill("absence_ensured", "yes").fill("told_before_resuming", "no").fill("password", PASSWORD);
    look(&sam, &page.send().await)
        .await
        .says("FAIL")
        .says("without both conditions")
        .says("1910.333(b)(2)(v)(C)");
    sam.get(paths::Measurements(unit())).await.never_says("no removal written");
}

#[tokio::test]
async fn a_ground_relay_test_is_asked_for_after_a_bypass() {
    let app = App::start().await;
    crate::board::sues_own(&app).await;
    let sam = app.user("sam").await;
    let at = |n: &str| format!("/units/{n}/measurements/new");
    sam.get(at("QHB-412")).await.never_says("A ground-relay test is asked for");
    sam.get(at("QHB-413")).await.says("A ground-relay test is asked for");
    for (reset, asked) in [("", true), ("yes", false)] {
        let page =
            sam.get(at("QHB-413") + "?kind=ground_relay").await.fill("picked_up", "yes").fill("reset", reset);
        page.fill("picked_up_at", "12.5").fill("password", PASSWORD).send().await.is(303);
        let list = sam.get("/units/QHB-413/measurements").await;
        assert_eq!(list.text().contains("A ground-relay test is asked for"), asked);
    }
}

#[tokio::test]
async fn a_measurement_belongs_to_a_repair_of_the_same_unit() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let id = uuid::Uuid::from_u128(7);
    let opened = RepairOpened {
        id,
        unit: unit(),
        device: Some("TC2".into()),
        at: app.clock.now(),
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    let act =
        ShopAct::of(Body::RepairOpened(Box::new(opened)), Some("sam".into()), Channel::Page, app.clock.now());
    app.web.desk().act(act).await.unwrap();
    let fresh = |unit: &str| format!("/units/{unit}/measurements/new?kind=tested_dead&repair={id}");
    let kept = look(&sam, &dead(sam.get(fresh("QHB-412")).await).await).await;
    let kept = kept.says("FAIL").says("proves nothing").says("The repair");
    kept.link_to("/repairs/");
    dead(sam.get(fresh("QHB-413")).await).await.is(404).says("That repair is of QHB 412, not of QHB 413");
}

#[tokio::test]
async fn inspections_are_due_by_the_day_and_told_without_asking() {
    let app = App::start().await;
    let (sam, ada) = (app.user("sam").await, app.user("ada").await);
    sam.get(paths::Triage).await.never_says("due within");
    let page = sam.get(paths::UnitInspections(unit())).await.is(200).says("The paper is what counts");
    let page = page.says("periodic inspection: none in the book");
    let page =
        page.fill("kind", "periodic").fill("at", "2025-12-08T09:00").fill("password", PASSWORD).send().await;
    let page = page.is(422).says("Write where it was inspected.").says("or 'none'.");
    let page = page.fill("place", "Slate Gap").fill("conditions", "none").fill("repairs", "jumper replaced");
    let page = page.fill("repaired_by", "ben").fill("password", PASSWORD).send().await.is(422);
    let page = page.says("ben made the repairs and has to sign for them");
    let page = page.fill("repaired_by", "sam").fill("password", PASSWORD).send().await;
    page.goes_to(paths::UnitInspections(unit()));
    // 8 December + 92 days is 10 March: a week from now.
    sam.get(paths::Inspections)
        .await
        .says("10 March 2026")
        .says("7 days left")
        .says("Days out of use are not credited");
    sam.get(paths::Triage).await.says("1 inspection due within 14 days.");
    app.minutes_pass(8 * 24 * 60);
    let sam = app.user("sam").await;
    sam.get(paths::Triage).await.says("1 inspection overdue.");
    sam.get(paths::Inspections).await.says("OVERDUE by 1 day");
    // With monitoring on board it goes by 184 days.
    let ada_later = app.user("ada").await;
    let page = ada_later
        .get(paths::Inspections)
        .await
        .fill("what", "qhb412")
        .fill("days", "184")
        .fill("password", PASSWORD);
    let page = page.send().await.is(422).says("Say why");
    page.fill("reason", "condition monitoring fitted").fill("password", PASSWORD).send().await.is(303);
    sam.get(paths::Inspections).await.says("10 June 2026");
    sam.get(paths::Triage).await.never_says("overdue");
    drop(ada);
}

#[tokio::test]
async fn the_list_since_the_last_inspection_has_what_came_after_and_nothing_before() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    let since = paths::SinceInspection(unit());
    sam.get(&since)
        .await
        .says("no periodic inspection of it is in this book")
        .says("TC2 Traction inverter 2 tripped");
    // Between the trip at 2 and the bypass at 3.
    let page =
        sam.get(paths::UnitInspections(unit())).await.fill("kind", "periodic").fill("at", "2026-03-03T02:30");
    let page =
        page.fill("place", "Slate Gap").fill("conditions", "none").fill("password", PASSWORD).send().await;
    page.is(303);
    let page = sam.get(&since).await.is(200).says("by sam at Slate Gap").says("Ground-relay cutout");
    let (listed, late) =
        page.body.split_once("Written down since, of before").expect("the trip was recorded since");
    assert!(
        !listed.contains("TC2 Traction inverter 2 tripped")
            && late.contains("TC2 Traction inverter 2 tripped")
    );
}

#[tokio::test]
async fn a_tag_is_printed_with_all_seven_fields_or_not_at_all() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::Tag(unit())).await.is(200).says("the tag on paper decides");
    let page =
        page.fill("inspected", "Slate Gap, 3 March").fill("defects", "ground on motor 3").ask(None).await;
    let page =
        page.is(422).says("Write the restrictions, or 'none'.").says("not printed while a field is missing");
    let page = page.never_says("Non-complying locomotive");
    let page = page.fill("restrictions", "none").fill("destination", "Harrow Ferry").ask(None).await.is(200);
    page.says("Non-complying locomotive").says("ground on motor 3").says("this book keeps nothing of it");
    app.user("sue").await.get(paths::Tag(unit())).await.is(403);
}

#[tokio::test]
async fn all_records_of_a_unit_stand_with_what_was_amended() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    megger(&sam, "0.4").await.is(303);
    let page =
        sam.get(paths::Records(unit())).await.is(200).says("4 records").says("18 March 2026").says("SHA-256");
    let page = page.says("TC2 Traction inverter 2 tripped").says("insulation: fail.").says("page ");
    page.says("The paper is what counts");
    sam.get(paths::Records(unit()).with(&[("from", "2026-03-04"), ("to", "2026-03-05")]))
        .await
        .says("0 records");
    sam.get(paths::Records(unit()).with(&[("from", "yesterday")])).await.says("Write the day as 2026-03-01.");
}

async fn dead(page: Page<'_>) -> Page<'_> {
    page.fill("circuit", "traction")
        .fill("volts", "700")
        .fill("found", "dead")
        .fill("password", PASSWORD)
        .send()
        .await
}

async fn file(of: &Browser<'_>, app: &App, path: &str) -> (String, Vec<u8>) {
    let request = of.request("GET", path).body(axum::body::Body::empty()).unwrap();
    let response = tower::ServiceExt::oneshot(app.router.clone(), request).await.unwrap();
    assert_eq!(response.status().as_u16(), 200, "{path}");
    let named = response.headers().get("content-disposition").map_or("", |h| h.to_str().unwrap()).to_owned();
    (named, response.into_body().collect().await.unwrap().to_bytes().to_vec())
}

#[tokio::test]
async fn every_list_leaves_as_csv_and_as_a_spreadsheet() {
    let app = App::start().await;
    a_night(&app).await;
    let sam = app.user("sam").await;
    let page = form(&sam, "lock_out")
        .await
        .fill("lock", "=17+1")
        .fill("place", "@switch")
        .fill("password", PASSWORD);
    page.send().await.is(303);
    let lists = sam.get(paths::Lists).await.is(200);
    let links: Vec<String> = lists
        .body
        .split("href=\"")
        .filter_map(|rest| rest.split('"').next())
        .filter(|href| href.contains("format="))
        .map(|href| href.replace("&amp;", "&"))
        .collect();
    assert!(links.len() >= 12, "{links:?}");
    let more = ["measurements", "since-inspection", "records"]
        .iter()
        .flat_map(|what| ["csv", "xlsx"].map(|f| format!("/units/QHB-412/{what}?format={f}")));
    for link in links.into_iter().chain(more) {
        let (named, bytes) = file(&sam, &app, &link).await;
        if link.contains("xlsx") {
            let mut book = calamine::Xlsx::new(Cursor::new(bytes)).unwrap_or_else(|e| panic!("{link}: {e}"));
            let sheet = book.worksheet_range_at(0).unwrap().unwrap();
            assert!(sheet.get_size().1 > 3, "{link}");
            assert!(named.ends_with(".xlsx\""), "{link}: {named}");
            if link == "/lists/measurements?format=xlsx" {
                assert_eq!(sheet.get_value((1, 5)), Some(&Data::String("=17+1".into())));
            }
        } else {
            let text = String::from_utf8(bytes).unwrap();
            assert!(text.lines().next().is_some_and(|head| head.contains(',')), "{link}");
            assert!(!text.contains("\n=") && !text.contains(",=") && !text.contains(",@"), "{link}: {text}");
        }
    }
    sam.get("/lists/nothing").await.is(404);
    sam.get("/lists/repairs?format=pdf").await.is(400);
}

/// A file as a browser sends it.
async fn upload<'a>(of: &Browser<'a>, bytes: &[u8], mapping: &str) -> Page<'a> {
    let mut body =
        b"--x\r\ncontent-disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\n\r\n".to_vec();
    body.extend(bytes);
    body.extend(
        format!("\r\n--x\r\ncontent-disposition: form-data; name=\"mapping\"\r\n\r\n{mapping}\r\n--x--\r\n")
            .bytes(),
    );
    let request = of.request("POST", paths::Import).header("sec-fetch-site", "same-origin");
    let request = request.header("content-type", "multipart/form-data; boundary=x");
    of.send(request.body(axum::body::Body::from(body)).unwrap()).await
}

/// The form of the columns, pressed with one of its buttons.
async fn press<'a>(of: &Browser<'a>, page: &Page<'a>, more: &[(&str, &str)]) -> Page<'a> {
    let fields: Vec<(String, String)> =
        page.form().fields.into_iter().filter_map(|f| Some((f.name, f.value?))).collect();
    let typed = fields
        .iter()
        .map(|(n, v)| (n.as_str(), v.as_str()))
        .filter(|(n, _)| !more.iter().any(|(m, _)| m == n));
    let fields: Vec<(&str, &str)> = typed.chain(more.iter().copied()).collect();
    of.post(paths::ImportRows, &fields).await
}

const FILE: &str = "Road number,Event,Date,Breaker,Left,Who
QHB 412,Breaker trip,2026-03-01 14:05,TC2,on,ann
QHB 412,breaker trip,2026-03-02 09:00,NO9,on,ann
QHB 413,Breaker trip,soon,TC2,on,ann
QHB 413,Breaker trip,2026-03-02,TC2,off,
";

#[tokio::test]
async fn a_shops_own_spreadsheet_comes_in_with_its_rejects_named() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    sam.get(paths::Import).await.is(200).says("Nothing is written before you sign");
    upload(&sam, b"", "").await.is(422).says("Choose a file first.");
    upload(&sam, b"\xff\xfe", "").await.is(422).says("CSV UTF-8");
    let read = upload(&sam, FILE.as_bytes(), "").await.is(200).says("4 rows were read.");
    let blind = press(&sam, &read, &[("column.kind", ""), ("do", "try")]).await.is(422);
    blind.says("Say which column holds: What happened");
    let tried = press(&sam, &read, &[("column.author", "Who"), ("do", "try")]).await.is(200);
    let tried = tried.says("2 can be taken, 2 cannot.").says("\"soon\"").says("NO9");
    assert_eq!(entries(&app).await, 0, "nothing is written before the signature");
    let unsigned = press(&sam, &tried, &[("do", "sign"), ("password", "wrong")]).await.is(422);
    unsigned.says("This is not your password.");
    let sign = &[("do", "sign"), ("password", PASSWORD), ("keep_as", "the old list")];
    press(&sam, &tried, sign).await.is(200).says("2 new, 0 in the book already, 2 rejected.");
    press(&sam, &tried, sign).await.is(200).says("0 new, 2 in the book already, 2 rejected.");
    assert_eq!(entries(&app).await, 2);
    // The columns were kept, and the next file is read the same way.
    let kept = upload(&sam, FILE.as_bytes(), "the old list").await.is(200);
    assert!(kept.body.contains("<option value=\"Who\" selected>"), "{}", kept.body);
    app.user("sue").await.get(paths::Import).await.is(403);
    app.user("ada").await.get(paths::Import).await.is(200).says("the old list");
}

async fn entries(app: &App) -> i64 {
    let mut db = app.web.desk().read().await.unwrap();
    sqlx::query_scalar("SELECT count(*) FROM entry").fetch_one(&mut *db).await.unwrap()
}

/// A browser may bring back a form that was signed: another reading in it is another measurement, and is not lost.
#[tokio::test]
async fn a_form_that_was_signed_before_does_not_swallow_another_reading() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = form(&sam, "insulation").await;
    let id = page.form().fields.iter().find(|f| f.name == "id").and_then(|f| f.value.clone()).unwrap();
    let fields = |mohm: &'static str| {
        let id = id.clone();
        move || {
            [
                ("kind", "insulation"),
                ("signer", "sam"),
                ("object", "power_circuit"),
                ("temperature", "77"),
                ("scale", "f"),
                ("password", PASSWORD),
                ("ir1_mohm", mohm),
            ]
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .into_iter()
            .chain([("id".to_owned(), id.clone())])
            .collect::<Vec<_>>()
        }
    };
    let path = paths::MeasurementNew(unit());
    let send = async |fields: Vec<(String, String)>| {
        let fields: Vec<_> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        sam.post(&path, &fields).await
    };
    let first = send(fields("0.4")()).await.is(303).location();
    assert_eq!(send(fields("0.4")()).await.is(303).location(), first, "pressed twice, it is one");
    let page = send(fields("12")()).await.is(422).says("signed before, with another reading");
    let second = page.fill("password", PASSWORD).send().await.is(303).location();
    assert_ne!(first, second);
    sam.get(&first).await.says("0.4 MΩ is under 1 MΩ.");
    sam.get(&second).await.says("12 MΩ reaches 1 MΩ.");
}

#[tokio::test]
async fn an_inspections_form_that_was_signed_before_does_not_swallow_another_one() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::UnitInspections(unit())).await;
    let id = page.form().fields.iter().find(|f| f.name == "id").and_then(|f| f.value.clone()).unwrap();
    let send = async |kind: &str| {
        let fields = [
            ("id", id.as_str()),
            ("signer", "sam"),
            ("kind", kind),
            ("at", "2026-03-03T02:30"),
            ("place", "Slate Gap"),
            ("conditions", "none"),
            ("password", PASSWORD),
        ];
        sam.post(paths::UnitInspections(unit()), &fields).await
    };
    for _ in 0..2 {
        send("daily").await.goes_to(paths::UnitInspections(unit()));
    }
    let page = send("mechanical_daily").await.is(422).says("signed before, with other words");
    page.fill("password", PASSWORD).send().await.goes_to(paths::UnitInspections(unit()));
    let text = sam.get(paths::UnitInspections(unit())).await.text();
    assert_eq!(text.matches("Slate Gap. Conditions: none").count(), 2, "{text}");
}
