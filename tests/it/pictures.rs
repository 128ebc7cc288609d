//! Pictures of a unit, a class and a line: every mark of a picture is a row of its CSV, and every row a mark; and both are what
//! was written down. The numbers are counted here from what this test filed, not asked of the program.
use breakerbook::{
    base::{
        Day, Instant,
        instant::{DAY, HOUR},
    },
    book::Channel,
    desk::{body::Body, shop::ShopAct},
    web::paths,
};
use serde_json::{Value, json};

use crate::{
    harness::{App, Page, entry_id, report},
    html,
};

/// A mark of a picture: its row, and its attributes that bear data, in the order of `columns`.
fn marks(page: &Page, svg: &str, row: &str, kinds: &[&str], columns: &[&str]) -> Vec<Vec<String>> {
    let (_, drawn) = page.body.split_once(&format!("<svg class=\"{svg}\"")).expect("the picture is there");
    let drawn = drawn.split("<figcaption>").next().unwrap();
    let mut of_row = String::new();
    let mut found = Vec::new();
    for tag in html::tags(drawn) {
        match tag.name.as_str() {
            "g" => of_row = tag.get("data-row").unwrap_or_default().to_owned(),
            "/g" => of_row.clear(),
            _ => {}
        }
        let Some(kind) = tag.get("data-mark").filter(|kind| kinds.contains(kind)) else { continue };
        let cell = |column: &&str| match *column {
            name if name == row => of_row.clone(),
            "mark" => kind.to_owned(),
            // A column is a week.
            "to" if kind == "occurrences" => {
                let first = Day::parse(tag.get("data-from").unwrap()).unwrap();
                first.plus(6).to_string()
            }
            name => tag.get(&format!("data-{name}")).unwrap_or_default().to_owned(),
        };
        found.push(columns.iter().map(cell).collect());
    }
    found.sort();
    found
}

/// The rows of a CSV without its header, which must be these columns.
async fn rows(page: &Page<'_>, link: &str, columns: &str) -> Vec<Vec<String>> {
    let path = leads(page, link);
    let csv = page.again(&path).await.is(200);
    assert_eq!(csv.header("content-type"), "text/csv; charset=utf-8");
    let mut read = csv::ReaderBuilder::new().has_headers(true).from_reader(csv.body.as_bytes());
    assert_eq!(read.headers().unwrap().iter().collect::<Vec<_>>().join(","), columns);
    let mut all: Vec<Vec<String>> =
        read.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    all.sort();
    all
}

/// The first link that begins so.
fn leads(page: &Page, start: &str) -> String {
    let tags = html::tags(&page.body);
    let links = tags.iter().filter(|tag| tag.name == "a").filter_map(|tag| tag.get("href"));
    links
        .into_iter()
        .find(|href| href.starts_with(start))
        .unwrap_or_else(|| panic!("no link to {start}"))
        .to_owned()
}

fn at(text: &str) -> Instant {
    Instant::parse(text).unwrap()
}

/// So many trips of a device, from a moment on so many hours apart, fifty to a report.
async fn trips(app: &App, first: u32, n: u32, device: &str, (from, apart): (Instant, i64)) {
    for part in 0..n.div_ceil(50) {
        let these = (part * 50..n.min(part * 50 + 50)).map(|nth| {
            let at = from.plus(i64::from(nth) * apart * HOUR).to_z();
            json!({"id": entry_id(first + nth), "kind": "breaker_trip", "at": at, "device": device, "resets": [], "left": "on"})
        });
        let told = json!({"id": format!("00000000-0000-4000-8000-{:012}", first + part), "unit": "QHB 412", "author": "ann",
            "occasion": "yard", "entries": these.collect::<Vec<_>>(), "signed_at": "2026-03-03T05:14:00-06:00"});
        app.file("ann", &told).await;
    }
}

async fn shop(app: &App, kind: &str, body: Value) {
    let body = match kind {
        "held" => Body::UnitHeld(serde_json::from_value(body).unwrap()),
        "released" => Body::UnitReleased(serde_json::from_value(body).unwrap()),
        "opened" => Body::RepairOpened(serde_json::from_value(body).unwrap()),
        "closed" => Body::RepairClosed(serde_json::from_value(body).unwrap()),
        other => panic!("{other}?"),
    };
    app.web.desk().act(ShopAct::of(body, Some("sam".into()), Channel::Page, app.clock.now())).await.unwrap();
}

const TIMELINE: &[&str] = &["row", "mark", "from", "to", "n"];
const KINDS: &[&str] = &["occurrences", "repair", "hold", "open", "wet"];

#[tokio::test]
async fn the_picture_of_a_unit_says_what_was_written_and_the_same_as_its_csv() {
    let app = App::start().await;
    // Three trips in one week, a reset that tripped again within the hour, one in another week, one of another device.
    trips(&app, 100, 3, "TC2", (at("2026-02-03T12:00:00Z"), 20)).await;
    trips(&app, 200, 2, "TC2", (at("2026-02-17T12:00:00Z"), 0)).await;
    trips(&app, 300, 1, "FP", (at("2026-01-07T12:00:00Z"), 0)).await;
    let id = "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c77";
    shop(
        &app,
        "opened",
        json!({"id": id, "unit": "QHB 412", "device": "TC2", "at": "2026-02-06T08:00:00Z", "findings": []}),
    )
    .await;
    shop(&app, "closed", json!({"id": id, "at": "2026-02-06T10:00:00Z", "cause": "chafed lead", "words": null, "new_life": false})).await;
    shop(
        &app,
        "held",
        json!({"unit": "QHB 412", "at": "2026-02-06T07:00:00Z", "reason": "repair", "words": null}),
    )
    .await;
    let opened = json!({"id": entry_id(400), "kind": "bypass", "opened_at": "2026-03-03T03:00:00-06:00", "device": "GRC", "by": "ann"});
    let mut wet = report(401, "QHB 412", "ann", vec![opened]);
    wet["weather"] = "rain".into();
    app.file("ann", &wet).await;

    let sam = app.user("sam").await;
    let page = sam.get(paths::Unit("QHB 412".into())).await.is(200);
    let drawn = marks(&page, "timeline", "row", KINDS, TIMELINE);
    let told = rows(&page, "/units/QHB-412/data/timeline.csv", "row,mark,from,to,number").await;
    assert_eq!(drawn, told);
    // Weeks end with today, 3 March 2026.
    let row = |cells: [&str; 5]| cells.map(str::to_owned).to_vec();
    for want in [
        row(["TC2", "occurrences", "2026-01-28", "2026-02-03", "1"]),
        row(["TC2", "occurrences", "2026-02-04", "2026-02-10", "2"]),
        row(["TC2", "occurrences", "2026-02-11", "2026-02-17", "1"]),
        row(["FP", "occurrences", "2026-01-07", "2026-01-13", "1"]),
        row(["TC2", "repair", "2026-02-06T08:00:00Z", "2026-02-06T10:00:00Z", ""]),
        row(["unit", "hold", "2026-02-06T07:00:00Z", "", ""]),
        row(["GRC", "open", "2026-03-03T09:00:00Z", "", ""]),
    ] {
        assert!(told.contains(&want), "{want:?} is not in {told:?}");
    }
    assert!(told.iter().any(|row| row[1] == "wet" && row[2].starts_with("2026-03-0")), "{told:?}");
    let page = page.says("chafed lead").says("Kept from service from 6 February 2026 still");
    // The same is on the page in words, and nobody is named: who opened a cutout is the register's.
    page.says("GRC open from").never_says("ann of the tests");
}

#[tokio::test]
async fn columns_stand_where_their_week_is_and_as_high_as_their_number() {
    let app = App::start().await;
    trips(&app, 100, 20, "TC2", (at("2026-01-01T12:00:00Z"), 70)).await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::Unit("QHB 412".into())).await.is(200);
    let (first, last) = (at("2025-03-05T06:00:00Z"), at("2026-03-04T06:00:00Z"));
    let columns: Vec<_> = html::tags(&page.body)
        .into_iter()
        .filter(|tag| tag.get("data-mark") == Some("occurrences"))
        .collect();
    let number = |tag: &html::Tag, name: &str| -> f64 {
        tag.get(name).unwrap().trim_end_matches(['%', 'e', 'm']).parse().unwrap()
    };
    assert_eq!(columns.iter().map(|tag| number(tag, "data-n")).sum::<f64>(), 20.0);
    for tag in &columns {
        let week = at(&format!("{}T06:00:00Z", tag.get("data-from").unwrap()));
        let left = week.since(first) as f64 / last.since(first) as f64 * 100.0;
        let across = 7.0 * DAY as f64 / last.since(first) as f64 * 100.0;
        assert!((number(tag, "x") - left - 0.1 * across).abs() < 0.02, "{tag:?}: {left}");
        // The tallest of the picture stands for three at least.
        assert!((number(tag, "height") - 1.9 * number(tag, "data-n") / 3.0).abs() < 0.011, "{tag:?}");
    }
}

#[tokio::test]
async fn two_thousand_occurrences_are_a_page_like_any_other_and_none_is_said() {
    let app = App::start().await;
    let sam = app.user("sam").await;
    let empty = sam.get(paths::Unit("QHB 413".into())).await.is(200).says("0 occurrences in 1 row");
    assert!(marks(&empty, "timeline", "row", KINDS, TIMELINE).is_empty());
    assert_eq!(
        rows(&empty, "/units/QHB-413/data/timeline.csv", "row,mark,from,to,number").await,
        Vec::<Vec<String>>::new()
    );
    empty.says("Nobody wrote volts at a start in this time.").says("No class figures have been taken yet");
    trips(&app, 1_000, 2_000, "TC2", (at("2025-04-01T12:00:00Z"), 4)).await;
    let page = sam.get(paths::Unit("QHB 412".into())).await.is(200);
    let drawn = marks(&page, "timeline", "row", &["occurrences"], TIMELINE);
    assert!((46..=50).contains(&drawn.len()), "{}", drawn.len());
    assert_eq!(drawn.iter().map(|row| row[4].parse::<u32>().unwrap()).sum::<u32>(), 2_000);
    assert!(page.body.len() < 60_000, "{} bytes", page.body.len());
    // The weeks before, of which nothing is written, by a link.
    let before =
        page.again("/units/QHB-412/timeline?until=2025-03-04").await.is(200).says("0 occurrences in 1 row");
    let wrong = before.says("The 52 weeks after").again("/units/QHB-412/timeline?until=yesterday").await;
    wrong.is(400).says("There is no such day. Write it as in until=2026-03-03.");
}

/// Class figures as if the others of a large class had each device operate once in 900 service days.
async fn figures(app: &App) {
    let device = |(tag, n): (&str, u32)| json!({"class": "HB6", "device": tag, "legend": tag, "occurrences": {"QHB 431": n, "QHB 412": 2}, "total": n + 2});
    let devices = [("ALR", 18), ("FP", 6), ("GRC", 0), ("SF", 1), ("TC2", 40)].map(device);
    let figures = json!({"as_of": "2026-03-01T00:00:00Z", "up_to_seq": 1, "devices": devices,
        "unit_days": {"QHB 412": 300, "QHB 431": 365}, "class_days": {"HB6": {"days": 18_300, "units": 50}}});
    let body = Body::ClassFiguresTaken(serde_json::from_value(figures).unwrap());
    app.web.desk().act(ShopAct::of(body, None, Channel::Console, app.clock.now())).await.unwrap();
}

#[tokio::test]
async fn a_units_rates_are_drawn_with_the_numbers_of_their_csv() {
    let app = App::start().await;
    figures(&app).await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::Unit("QHB 412".into())).await.is(200);
    let columns = "device,occurrences,service_days,a_year,a_year_low,a_year_high,others_occurrences,others_service_days,\
                   others_a_year,others_a_year_low,others_a_year_high";
    let told = rows(&page, "/units/QHB-412/data/rates.csv", columns).await;
    let own: Vec<_> =
        told.iter().map(|row| [&row[0], &row[3], &row[4], &row[5]].map(Clone::clone).to_vec()).collect();
    assert_eq!(marks(&page, "rates", "row", &["own"], &["row", "n", "low", "high"]), own);
    let others = told.iter().filter(|row| !row[6].is_empty());
    let others: Vec<_> =
        others.map(|row| [&row[0], &row[8], &row[9], &row[10]].map(Clone::clone).to_vec()).collect();
    assert_eq!(marks(&page, "rates", "row", &["others"], &["row", "n", "low", "high"]), others);
    // 40 occurrences of the others in 18,300 - 300 service days are 0.811 in 365.
    assert!(others.iter().any(|row| row[0] == "TC2" && row[1] == "0.811"), "{others:?}");
    page.says("2 in 300 service days, one in 150 service days: 2.433 a year");
}

#[tokio::test]
async fn a_units_battery_is_drawn_with_the_numbers_of_its_csv() {
    let app = App::start().await;
    let start = |n: u32, attempt: u32, rest: Option<f64>, cranking: Option<f64>| {
        let mut entry = json!({"id": entry_id(n), "kind": "engine_start", "at": format!("2026-03-02T{:02}:00:00-06:00", 4 + n),
            "outcome": "running", "attempt": attempt});
        rest.inspect(|volts| entry["battery_rest_v"] = (*volts).into());
        cranking.inspect(|volts| entry["battery_cranking_v"] = (*volts).into());
        entry
    };
    let starts = vec![
        start(1, 1, Some(64.5), Some(52.25)),
        // A second attempt finds the battery drawn down: its volts are no measure of it.
        start(2, 2, Some(63.0), Some(49.0)),
        start(3, 1, None, None),
    ];
    app.file("ann", &report(1, "QHB 412", "ann", starts)).await;
    let sam = app.user("sam").await;
    let page = sam.get(paths::Unit("QHB 412".into())).await.is(200);
    let told = rows(
        &page,
        "/units/QHB-412/data/starts.csv",
        "at,battery_rest_v,battery_cranking_v,class_cranking_v",
    )
    .await;
    let row = |cells: [&str; 4]| cells.map(str::to_owned).to_vec();
    assert_eq!(
        told,
        [row(["2026-03-02T11:00:00Z", "64.5", "52.25", ""]), row(["2026-03-02T12:00:00Z", "63", "", ""])]
    );
    let column = |place: usize| -> Vec<Vec<String>> {
        let with = told.iter().filter(|row| !row[place].is_empty());
        with.map(|row| vec![row[0].clone(), row[place].clone()]).collect()
    };
    assert_eq!(marks(&page, "volts", "row", &["rest"], &["at", "n"]), column(1));
    assert_eq!(marks(&page, "volts", "row", &["cranking"], &["at", "n"]), column(2));
    page.says("55 V, the least of the schedule").says("it takes 8 first attempts");
}

#[tokio::test]
async fn a_line_is_drawn_over_what_its_class_would_have_had() {
    let app = App::start().await;
    figures(&app).await;
    trips(&app, 100, 7, "TC2", (at("2026-02-20T12:00:00Z"), 24)).await;
    let key = app.finding_key("burst").await;
    let sam = app.user("sam").await;
    let page = sam
        .get(paths::Finding(key.clone()))
        .await
        .is(200)
        .says("40 occurrences in 18000 service days, one in 450");
    let link = paths::FindingData(key, "sum.csv".into()).to_string();
    let columns = "from,to,occurrences_so_far,service_days_so_far,healthy_low,healthy_high";
    let told = rows(&page, &link, columns).await;
    assert_eq!((told.len(), told[51][2].as_str()), (52, "7"));
    let so_far: Vec<_> = told.iter().map(|row| vec![row[1].clone(), row[2].clone()]).collect();
    assert_eq!(marks(&page, "sum", "row", &["so_far"], &["to", "n"]), so_far);
    let band: Vec<_> = told.iter().map(|row| vec![row[1].clone(), row[4].clone(), row[5].clone()]).collect();
    assert_eq!(marks(&page, "sum", "row", &["band"], &["to", "low", "high"]), band);
    let link = link.replace("sum.csv", "timeline.csv");
    let lanes = rows(&page, &link, "row,mark,from,to,number").await;
    assert_eq!(marks(&page, "timeline", "row", KINDS, TIMELINE), lanes);
    assert!(
        lanes.iter().filter(|row| row[0] == "TC2").map(|row| row[4].parse::<u32>().unwrap()).sum::<u32>()
            == 7
    );
    let page = page.says("How its figures come about").says("The weight: 30 ×");
    assert!(
        page.body.contains("href=\"/units/QHB-412/timeline\"")
            && page.body.contains("href=\"/classes/HB6?device=TC2\"")
    );
    page.again(&link.replace("timeline.csv", "nothing.csv"))
        .await
        .is(404)
        .says("have timeline.csv, and sum.csv");
}

#[tokio::test]
async fn a_class_shows_where_it_trips_in_words_and_numbers() {
    let app = App::start().await;
    figures(&app).await;
    let sam = app.user("sam").await;
    let page = sam.get("/classes/HB6").await.is(200).says("50 units in service, 18300 service days");
    let told =
        rows(&page, "/classes/HB6/data/devices.csv", "device,occurrences,share_in_100,so_far_in_100").await;
    let counts: Vec<_> = told.iter().map(|row| vec![row[0].clone(), row[1].clone()]).collect();
    assert_eq!(marks(&page, "bars", "row", &["occurrences"], &["row", "n"]), counts);
    // 42 of TC2 are the most; 20 of 42 are many, 8 some, 3 few.
    for (tag, legend, word, n) in [
        ("TC2", "Traction inverter 2", "most", 42),
        ("ALR", "Alerter", "many", 20),
        ("FP", "Fuel pump", "some", 8),
        ("SF", "Start fuse", "few", 3),
    ] {
        let seen = format!("{legend} {tag} {word} {n} occurrences");
        assert!(page.text().contains(&seen), "{seen} is not in {}", page.text());
    }
    let chosen =
        page.again("/classes/HB6?device=TC2").await.is(200).says("TC2 Traction inverter 2 across the fleet");
    let units = rows(&chosen, "/classes/HB6/data/units.csv", "unit,occurrences,service_days").await;
    assert_eq!(
        units,
        [["QHB 412", "2", "300"], ["QHB 431", "40", "365"]].map(|row| row.map(str::to_owned).to_vec())
    );
    chosen.says("42 in 18300 service days, one in 436 service days");
    sam.get("/classes/HB6?device=NOPE").await.is(404).says("has no device \"NOPE\"");
    sam.get("/classes/QX9").await.is(404).says("The classes are: HB6");
    sam.get("/units/QHB-999/timeline").await.is(404).says("The roster has no such unit");
}

#[tokio::test]
async fn what_repairs_found_in_a_class_is_listed_and_told_as_csv() {
    let app = App::start().await;
    for (n, cause) in [(1, "chafed lead"), (2, "Chafed lead"), (3, "no fault found")] {
        let id = format!("0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c{n:02}");
        shop(&app, "opened", json!({"id": id, "unit": "QHB 412", "device": "TC2", "at": "2026-02-06T08:00:00Z", "findings": []})).await;
        let closed = json!({"id": id, "at": format!("2026-02-0{}T10:00:00Z", 6 + n), "cause": cause, "words": null, "new_life": false});
        shop(&app, "closed", closed).await;
    }
    let sam = app.user("sam").await;
    let page = sam.get("/classes/HB6").await.is(200).says("3 repairs: chafed lead (2); no fault found (1)");
    let told = rows(&page, "/classes/HB6/data/causes.csv", "device,cause,repairs").await;
    assert_eq!(
        told,
        [["TC2", "chafed lead", "2"], ["TC2", "no fault found", "1"]]
            .map(|row| row.map(str::to_owned).to_vec())
    );
}
