//! Who may what: every route of the site, for every role, with one's own things and with somebody else's. The
//! table is one snapshot, read by people; a route that it cannot address fails the test.
//!
//! in: the door opened (what was sent may still have been refused for what it says) · sent on: to another page ·
//! refused: 403 · not there: 404 · a/b: with one's own thing / with somebody else's.
use std::fmt::Write as _;

use axum::http::Method;
use breakerbook::{
    base::{SignIn, UnitName},
    book::Channel,
    cli::site,
    desk::{
        body::{Body, GrantProposed},
        grants::ProposeGrant,
        keep_people::GrantAuthorisations,
        shop::ShopAct,
    },
    people::{
        Act,
        secrets::{self, ParkedForm},
    },
    web::{Door, Route, paths},
};
use serde_json::json;

use crate::harness::{App, Browser, PASSWORD, Page, entry_id, report};

/// A person of each role; ben is the somebody else.
const ROLES: [(&str, &str); 4] =
    [("crew", "ann"), ("shop", "sam"), ("supervisor", "sue"), ("administrator", "ada")];
const SOMEBODY_ELSE: &str = "ben";
const UNIT: &str = "QHB 413";
/// The shop's, whoever opened it.
const REPAIR: &str = "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7e01";

async fn open_repair(app: &App) {
    let opened =
        json!({"id": REPAIR, "unit": UNIT, "device": "TC2", "at": "2026-03-03T11:00:00Z", "findings": []});
    let body = Body::RepairOpened(serde_json::from_value(opened).unwrap());
    let act = ShopAct::of(body, Some("sam".into()), Channel::Page, app.clock.now());
    app.web.desk().act(act).await.unwrap();
}

/// The supervisors', whoever proposed it and whoever it is for.
const PROPOSAL: &str = "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7f01";

async fn propose_and_grant(app: &App) {
    let (desk, now) = (app.web.desk(), app.clock.now());
    let day = desk.world().railway.zone.day_of(now);
    let stan =
        desk.world().people.person(&SignIn::from("stan")).unwrap().permit(Act::GrantAuthorisation).unwrap();
    let wanted = GrantProposed {
        id: PROPOSAL.parse().unwrap(),
        sign_in: "sam".into(),
        classes: vec![],
        from: day,
        to: None,
        basis: "a course".into(),
    };
    desk.act(ProposeGrant::of(wanted, &stan, now)).await.unwrap();
    let listed = json!({"sign_in": "tom", "classes": [], "from": day, "to": null, "basis": null, "granted_by": "stan",
        "from_list": true});
    let listed = serde_json::from_value(listed).unwrap();
    desk.act(GrantAuthorisations::of(vec![listed], None, Channel::Import)).await.unwrap();
}

/// What one person has that others may not touch.
struct Things {
    name: &'static str,
    /// Number of the report and of the bypass entry in it.
    n: u32,
}

impl Things {
    fn report(&self) -> String {
        format!("00000000-0000-4000-8000-{:012}", self.n)
    }
    fn kept(&self) -> String {
        format!("kept-of-{}", self.name)
    }
}

/// One opening for each person, ten minutes long, opened by nobody with a right to it.
async fn file_one(app: &App, things: &Things) {
    let hour = things.n;
    let bypass = json!({"id": entry_id(things.n), "kind": "bypass", "opened_at": format!("2026-03-03T0{hour}:00:00-06:00"),
        "device": "GRC", "by": things.name, "purpose": "repair", "engine_running": "no", "power_taken": "no",
        "closed_at": format!("2026-03-03T0{hour}:10:00-06:00"), "closed_by": things.name, "seal_applied": "20418"});
    app.file(things.name, &report(things.n, UNIT, things.name, vec![bypass])).await;
}

async fn park_one(app: &App, things: &Things) {
    let (of, now) = (SignIn::from(things.name), app.clock.now());
    let form = ParkedForm {
        id: things.kept(),
        path: "/password".into(),
        fields: vec![("a".into(), None)],
        parked_at: now,
    };
    app.web.desk().aside(move |c| Box::pin(secrets::park(c, of.clone(), form.clone()))).await.unwrap();
}

/// A trip written down but not signed; its id.
async fn draft_one(of: &Browser<'_>) -> String {
    let path = paths::WriteKind(UnitName::from(UNIT), "breaker_trip".into()).with(&[("device", "TC2")]);
    of.get(path).await.fill("when", "15").fill("left", "off").send().await;
    let page = of.get(paths::Report(UnitName::from(UNIT))).await;
    let link = page.link_to("/units/QHB-413/report/");
    link.split('/').nth(4).unwrap().to_owned()
}

/// Whether it matters whose thing the address names.
fn is_somebodys(route: &Route) -> bool {
    let owned = ["{id}", "{key}", "{entry}"].iter().any(|part| route.path.contains(part));
    owned || route.path == paths::ApiReports::PATTERN && route.method == Method::POST
}

/// The page of the only authorisation there is.
fn grant(app: &App) -> String {
    app.web.desk().world().people.authorisations[0].seq.to_string()
}

/// The route's address with one person's things in it. A new parameter is named here, or the test fails.
async fn address(app: &App, route: &Route, whose: &Things, browser: &Browser<'_>) -> String {
    let mut path = route
        .path
        .replace("{unit}", "QHB-413")
        .replace("{kind}", "defect")
        .replace("{class}", "HB6")
        .replace("{name}", "repairs")
        .replace("{seq}", "0")
        .replace("{month}", "2026-03")
        .replace("{sign_in}", "ann")
        .replace("{proposal}", PROPOSAL)
        .replace("{grant}", &grant(app))
        .replace("{size}", &app.web.desk().make_checkpoint(None).await.unwrap().size.to_string());
    let data = match () {
        () if path.starts_with("/classes") => "devices.csv",
        () if path.starts_with("/bypasses") => "around",
        () => "timeline.csv",
    };
    path = path.replace("{what}", data);
    if path.contains("{entry}") {
        path = path.replace("{entry}", &draft_one(browser).await);
    }
    if path.contains("{key}") {
        let key = app.finding_about("not_authorised", &entry_id(whose.n)).await;
        path = path.replace("{key}", &paths::encoded(&key));
    }
    let id = match route.path {
        p if p.starts_with("/bypasses") => entry_id(whose.n),
        p if p.starts_with("/reports") => whose.report(),
        p if p.starts_with("/kept") => whose.kept(),
        p if p.starts_with("/repairs") => REPAIR.to_owned(),
        p if p.starts_with("/entries") => entry_id(whose.n),
        p if p.starts_with("/tablets/reports") => whose.report(),
        p if p.starts_with("/notices/webhooks") => "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c03".to_owned(),
        p if p.starts_with("/tablets/keys") => "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c01".to_owned(),
        p if p.starts_with("/units/{unit}/measurements") => "0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c02".to_owned(),
        _ => String::new(),
    };
    let path = path.replace("{id}", &id) + query(route);
    assert!(
        !path.contains('{') && !path.contains("//"),
        "this test does not know how to address {}",
        route.path
    );
    path
}

/// A form that is in order where the answer depends on it; anything else is refused for its contents, which
/// says that the door was open.
fn fields<'a>(route: &Route, me: &'a str) -> Vec<(&'static str, &'a str)> {
    match route.path {
        paths::BypassReview::PATTERN => vec![
            ("judgement", "in_order"),
            ("words", "Looked."),
            ("password", PASSWORD),
            ("signer", me),
            ("unit", UNIT),
            ("seen_seq", "9999"),
        ],
        _ => vec![],
    }
}

/// What an address asks for, where it asks for nothing by itself.
fn query(route: &Route) -> &'static str {
    if route.path == paths::Pack::PATTERN { "?unit=QHB+413" } else { "" }
}

fn word(route: &Route, page: &Page) -> &'static str {
    match page.status {
        200 | 201 | 400 | 409 | 422 => "in",
        303 if page.location().starts_with("/sign-in") && route.path != paths::SignOut::PATTERN => "sign in",
        303 => "sent on",
        401 => "sign in",
        403 => "refused",
        404 => "not there",
        other => panic!("{} {} answered {other}: {}", route.method, route.path, page.text()),
    }
}

async fn ask<'a>(
    app: &'a App,
    route: &Route,
    path: &str,
    browser: &Browser<'a>,
    me: &Things,
    whose: &Things,
) -> Page<'a> {
    if path.starts_with("/api/") && !me.name.is_empty() {
        let token = app.token(me.name).await;
        let mut request = app.request(&token, route.method.as_str(), path);
        if route.method == Method::POST {
            *request.body_mut() = report(100 + whose.n, UNIT, whose.name, vec![]).to_string().into();
        }
        return app.bare(request).await;
    }
    if route.method == Method::GET {
        browser.get(path).await
    } else {
        browser.post(path, &fields(route, me.name)).await
    }
}

async fn cell<'a>(app: &'a App, route: &Route, me: &Seat<'a>, other: &Seat<'a>) -> String {
    // Whoever signs out needs a browser of their own to do it in.
    let leaves = route.path == paths::SignOut::PATTERN;
    let mine = if leaves { app.user(me.things.name).await } else { me.browser.clone() };
    let (theirs, me, other) = (other.browser.clone(), &me.things, &other.things);
    // Somebody else's first: one's own may be used up by being asked for.
    let path = address(app, route, other, &theirs).await;
    let with_other = word(route, &ask(app, route, &path, &mine, me, other).await);
    if !is_somebodys(route) {
        return with_other.to_owned();
    }
    let path = address(app, route, me, &mine).await;
    let with_own = word(route, &ask(app, route, &path, &mine, me, me).await);
    if with_own == with_other { with_own.to_owned() } else { format!("{with_own}/{with_other}") }
}

/// Somebody before their browser.
struct Seat<'a> {
    things: Things,
    browser: Browser<'a>,
}

async fn seat<'a>(app: &'a App, name: &'static str, n: u32) -> Seat<'a> {
    let things = Things { name, n };
    file_one(app, &things).await;
    park_one(app, &things).await;
    Seat { things, browser: app.user(name).await }
}

fn door(route: &Route) -> String {
    match route.door {
        Door::Open => "open to all".into(),
        Door::SignedIn => "signed in".into(),
        Door::For(act) => act.to_string(),
    }
}

#[tokio::test]
async fn who_may_what() {
    let app = App::start().await;
    open_repair(&app).await;
    propose_and_grant(&app).await;
    let nobody = Things { name: "", n: 0 };
    let other = seat(&app, SOMEBODY_ELSE, 1).await;
    let mut people = Vec::new();
    for ((_, name), n) in ROLES.iter().zip(2..) {
        people.push(seat(&app, name, n).await);
    }
    let mut table = format!("{:4} {:38} {:13} {:8}", "", "", "asks for", "nobody");
    for (role, _) in ROLES {
        write!(table, " {role:16}").unwrap();
    }
    table.truncate(table.trim_end().len());
    table.push('\n');
    for route in site::routes() {
        let path = address(&app, &route, &other.things, &other.browser).await;
        let anon = word(&route, &ask(&app, &route, &path, &app.anon(), &nobody, &other.things).await);
        write!(table, "{:4} {:38} {:13} {anon:8}", route.method.as_str(), route.path, door(&route)).unwrap();
        for me in &people {
            write!(table, " {:16}", cell(&app, &route, me, &other).await).unwrap();
        }
        table.truncate(table.trim_end().len());
        table.push('\n');
    }
    insta::assert_snapshot!(table);
}
