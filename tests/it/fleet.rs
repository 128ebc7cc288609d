//! Units and schedules kept by page: what changes is seen before it is signed, and what was written keeps its meaning.
use breakerbook::{
    base::{ClassName, Instant, UnitName},
    desk::verify::{self, Verdict},
    roster::UnitCard,
    web::paths,
};

use crate::harness::{App, Browser, PASSWORD, Page};

async fn clean(app: &App) {
    let verdict = verify::verify(&app.path()).await.unwrap();
    assert!(matches!(verdict, Verdict::Clean { .. }), "{verdict:?}");
}

fn card(app: &App, unit: &str) -> UnitCard {
    app.web.desk().world().roster.unit(&UnitName::from(unit)).unwrap().clone()
}

async fn pages(app: &App, kind: &str) -> i64 {
    let sql = "SELECT count(*) FROM page WHERE blob ->> 'kind' = ?";
    sqlx::query_scalar(sql).bind(kind).fetch_one(&mut *app.web.desk().read().await.unwrap()).await.unwrap()
}

fn value(page: &Page, name: &str) -> String {
    page.form().fields.iter().find(|f| f.name == name).and_then(|f| f.value.clone()).unwrap_or_default()
}

#[tokio::test]
async fn a_unit_is_added_changed_retired_and_back() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let add = |unit: &'static str| {
        let ada = ada.clone();
        async move {
            let page = ada.get("/fleet/new").await.is(200).fill("unit", unit).fill("class", "HB6");
            page.fill("home_shop", "Slate Gap")
                .fill("reason", "bought")
                .fill("password", PASSWORD)
                .send()
                .await
        }
    };
    add("quarry").await.is(422).says("Write its mark, a space and its road number");
    add("qhb 0500").await.goes_to("/fleet/units/QHB-500?done=signed");
    // Whoever signed is told so, and nobody else.
    let page =
        ada.get("/fleet/units/QHB-500?done=signed").await.says("Signed: its card in the book is as below.");
    page.again("/fleet/units/QHB-500").await.never_says("Signed: its card");
    add("QHB 500").await.is(422).says("QHB 500 is on the roster already");
    assert_eq!(pages(&app, "unit_kept").await, 1);
    let unit = "/fleet/units/QHB-500";
    let page = ada.get(unit).await.is(200).fill("home_shop", "Harrow Ferry").fill("reason", "moved");
    page.fill("password", PASSWORD).send().await.goes_to(format!("{unit}?done=signed"));
    assert_eq!(card(&app, "QHB 500").home_shop.as_deref(), Some("Harrow Ferry"));
    let retires = |day: &'static str, seen: String| {
        let ada = ada.clone();
        async move {
            let fields = [
                ("signer", "ada"),
                ("seen", seen.as_str()),
                ("retired", day),
                ("reason", "sold"),
                ("password", PASSWORD),
            ];
            ada.post(format!("{unit}/retire"), &fields).await
        }
    };
    let seen = value(&ada.get(unit).await, "seen");
    retires("2026-03-04", seen.clone()).await.is(422).says("That day has not come");
    retires("2026-03-01", seen.clone()).await.is(422).says("before it came into service");
    retires("2026-03-03", seen.clone()).await.goes_to(format!("{unit}?done=signed"));
    retires("2026-03-03", seen.clone()).await.is(422).says("Nothing is changed");
    ada.get("/fleet?state=retired").await.says("QHB 500").never_says("QHB 412");
    let fields =
        [("signer", "ada"), ("seen", seen.as_str()), ("reason", "bought back"), ("password", PASSWORD)];
    ada.post(format!("{unit}/return"), &fields).await.is(409).says("Somebody changed QHB 500");
    let seen = value(&ada.get(unit).await.says("Retired since 3 March 2026"), "seen");
    let fields =
        [("signer", "ada"), ("seen", seen.as_str()), ("reason", "bought back"), ("password", PASSWORD)];
    ada.post(format!("{unit}/return"), &fields).await.goes_to(format!("{unit}?done=signed"));
    assert_eq!(card(&app, "QHB 500").retired, None);
    ada.post("/fleet/units/QHB-999/return", &fields).await.is(404);
    for who in ["sue", "sam", "ann"] {
        let browser = app.user(who).await;
        browser.get("/fleet").await.is(403);
        browser.post(format!("{unit}/return"), &fields).await.is(403);
        browser.post("/fleet/schedule", &fields).await.is(403);
    }
    clean(&app).await;
}

async fn sent<'a>(ada: &Browser<'a>, list: &str, then: &str, seen: &str, from: &str) -> Page<'a> {
    let fields = [
        ("signer", "ada"),
        ("class", "HB6"),
        ("seen", seen),
        ("list", list),
        ("effective", from),
        ("then", then),
        ("reason", "rewired"),
        ("password", PASSWORD),
    ];
    ada.post(paths::Schedule, &fields).await
}

#[tokio::test]
async fn a_schedule_is_shown_with_what_changes_before_it_is_signed() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let page = ada
        .get("/fleet/schedule?class=HB6")
        .await
        .is(200)
        .says("Nothing: this is the schedule that the class has");
    let (list, seen) = (value(&page, "list").trim_start().to_owned(), value(&page, "seen"));
    assert!(list.contains("Traction inverter 2"), "{list}");
    let checks =
        app.web.desk().world().roster.classes[&ClassName::from("HB6")].latest().unwrap().checks.len();
    let new = list.replace(",FP,", ",FP1,").replace("Traction inverter 2", "Traction motor 2");
    let shown = sent(&ada, &new, "show", &seen, "2026-03-03").await.is(200);
    let shown = shown.says("FP is now called FP1: same place, same kind.");
    let shown = shown.says("TC2: legend Traction inverter 2 becomes Traction motor 2.");
    assert!(shown.body.contains("class=\"panel\"") && shown.text().contains("Traction motor 2"));
    assert_eq!(pages(&app, "schedule_kept").await, 0, "shown is not signed");
    // A row that cannot be is named by the importer's own sentence.
    let wrong = new.replace("switch", "swtch");
    sent(&ada, &wrong, "sign", &seen, "2026-03-03").await.is(422).says("Did you mean switch?").says("Line 5");
    sent(&ada, &new, "sign", &seen, "2026-03-02")
        .await
        .is(422)
        .says("A schedule cannot change what was written by it");
    sent(&ada, &new.replace("HB6,", "HB7,"), "sign", &seen, "2026-03-03")
        .await
        .is(422)
        .says("The list says class HB7");
    sent(&ada, "", "sign", &seen, "2026-03-03").await.is(422);
    sent(&ada, &new, "sign", &seen, "2026-03-03").await.goes_to(paths::Fleet.with(&[("done", "HB6")]));
    // A second press, and a second tab.
    sent(&ada, &new, "sign", &seen, "2026-03-03").await.is(409).says("A version of class HB6 was written");
    sent(&ada, &new, "sign", "2", "2026-03-04").await.is(422).says("Nothing is changed");
    assert_eq!(pages(&app, "schedule_kept").await, 1);
    let world = app.web.desk().world();
    let class = &world.roster.classes[&ClassName::from("HB6")];
    assert_eq!(class.latest().unwrap().checks.len(), checks, "the checks of a class stay");
    let before = class.at(Instant::parse("2026-03-02T12:00:00Z").unwrap()).unwrap();
    assert!(before.device(&"FP".into()).is_some() && before.device(&"FP1".into()).is_none());
    ada.get("/units/QHB-412/write/breaker_trip").await.is(200).says("Traction motor 2");
    clean(&app).await;
}

#[tokio::test]
async fn a_new_class_begins_with_its_schedule() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    ada.get("/fleet/schedule").await.is(200).says("The schedule of a new class");
    ada.get("/fleet/schedule?class=none").await.is(404);
    let list = "class,panel,tag,legend,kind,row,column\nZZ1,A,B1,Lights,breaker,1,1\n";
    let send = |list: &'static str, then: &'static str| {
        let ada = ada.clone();
        async move {
            let fields = [
                ("signer", "ada"),
                ("class", ""),
                ("seen", "0"),
                ("list", list),
                ("effective", "2026-03-03"),
                ("then", then),
                ("reason", "bought"),
                ("password", PASSWORD),
            ];
            ada.post(paths::Schedule, &fields).await
        }
    };
    send(list, "show").await.is(200).says("ZZ1 is new");
    send("class,panel,tag,legend,kind,row,column\nHB6,A,B1,Lights,breaker,1,1\n", "sign")
        .await
        .is(422)
        .says("There is a class HB6 already");
    send(list, "sign").await.goes_to(paths::Fleet.with(&[("done", "ZZ1")]));
    ada.get("/fleet").await.says("ZZ1 0 units, 1 device on its schedule, 1 version");
    clean(&app).await;
}

/// A year that lost a digit would give the unit eighteen hundred years of service, and its class their average.
#[tokio::test]
async fn a_year_before_there_were_such_units_is_asked_about() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    for day in ["0206-03-01", "0000-01-01", "1899-12-31"] {
        let page = ada.get("/fleet/new").await.fill("unit", "QHB 500").fill("class", "HB6");
        let page =
            page.fill("in_service", day).fill("reason", "bought").fill("password", PASSWORD).send().await;
        assert_eq!(value(&page.is(422).says("Before 1900. Check the year."), "in_service"), day);
    }
    assert_eq!(pages(&app, "unit_kept").await, 0);
}

#[tokio::test]
async fn a_list_without_a_device_is_told_what_it_lacks() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let heads = "class,panel,tag,legend,kind,row,column";
    for list in ["", "  \n ", heads] {
        for then in ["show", "sign"] {
            let fields = [
                ("signer", "ada"),
                ("seen", "0"),
                ("class", ""),
                ("list", list),
                ("effective", "2026-03-03"),
                ("reason", "new"),
                ("password", PASSWORD),
                ("then", then),
            ];
            let page = ada.post(paths::Schedule, &fields).await.is(422);
            let page = page.says("Write the columns' names in its first line, and a row for each device");
            page.never_says("named below");
        }
    }
}

/// It stands in a choice on the board, and nothing that fills the screen or cannot be seen does.
#[tokio::test]
async fn a_home_shop_is_a_few_words_or_none() {
    let app = App::start().await;
    let ada = app.user("ada").await;
    let add = |shop: String| {
        let ada = ada.clone();
        async move {
            let page = ada.get("/fleet/new").await.fill("unit", "QHB 500").fill("class", "HB6");
            page.fill("home_shop", &shop).fill("reason", "bought").fill("password", PASSWORD).send().await
        }
    };
    let page = add("x".repeat(81)).await.is(422).says("At most 80 letters, please: it stands in lists.");
    assert_eq!(value(&page, "home_shop"), "x".repeat(81), "and is kept to be shortened");
    add("\u{200b}".into()).await.goes_to("/fleet/units/QHB-500?done=signed");
    assert_eq!(card(&app, "QHB 500").home_shop, None);
}
