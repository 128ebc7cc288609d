//! The test vectors of the standards notes about ground protection and the web (V17, V20 to V22, V54 to V65, as corrected there), each
//! tried through the pages that people use. `cargo test --test it vectors -- --nocapture` prints how many ran. The others are in
//! `src/shop/measurements/tests/vectors.rs`. Marks: C read in the text, D reckoned.
use std::{
    collections::BTreeSet,
    io::Write,
    sync::{Arc, Mutex},
};

use axum::{
    body::Body,
    http::{Method, Request},
};
use breakerbook::{
    base::{ClassName, SignIn, text, zone::Day},
    book::Channel,
    cli::site,
    desk::{
        body::{Body as PageBody, Grant, PersonCard},
        keep_people::GrantAuthorisations,
        shop::ShopAct,
    },
    people::Role,
    web::{Settings, paths},
};
use serde_json::{Value, json};

use crate::{
    harness::{App, Browser, PASSWORD, entry_id, report},
    html,
};

type Ran = Result<(), String>;

/// `Err` with what did not hold.
macro_rules! holds {
    ($($what:expr),* $(,)?) => { $(let holds: bool = $what; if !holds { return Err(stringify!($what).to_owned()); })* };
}

const VECTORS: [(&str, &str); 16] = [
    ("V17", "1.1 C"),
    ("V20", "1.9 C+D"),
    ("V21", "1.11 D, corrected: it concerns who opened"),
    ("V22", "0.4 C+D"),
    ("V54", "4.9 C"),
    ("V55", "6.1 C"),
    ("V56", "6.1 C+D"),
    ("V57", "6.2 C"),
    ("V58", "6.2 C, corrected: foreign Origin or cross-site"),
    ("V59", "6.2 C"),
    ("V60", "6.2 8.2.2, 16.3.2 C"),
    ("V61", "6.2 2.3.5 C+D"),
    ("V62", "6.2 1.2.10 C"),
    ("V63", "6.3 D by formula"),
    ("V64", "6.3 C, 6.4 C+D"),
    ("V65", "6.3 C"),
];

async fn run(name: &str) -> Ran {
    match name {
        "V17" => v17().await,
        "V20" => v20().await,
        "V21" => v21().await,
        "V22" => v22().await,
        "V54" => v54().await,
        "V55" => v55().await,
        "V56" => v56().await,
        "V57" => v57().await,
        "V58" => v58().await,
        "V59" => v59().await,
        "V60" => v60().await,
        "V61" => v61().await,
        "V62" => v62().await,
        "V63" => v63(),
        "V64" => v64(),
        "V65" => v65().await,
        other => Err(format!("{other} has nothing that tries it")),
    }
}

#[tokio::test]
async fn vectors_of_the_standards_notes() {
    let asked: BTreeSet<String> =
        [17, 20, 21, 22].into_iter().chain(54..=65).map(|n| format!("V{n}")).collect();
    let known: BTreeSet<String> = VECTORS.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(asked, known, "each is run");
    let (mut ran, mut broken) = (0, Vec::new());
    for (name, source) in VECTORS {
        ran += 1;
        if let Err(why) = run(name).await {
            broken.push(format!("{name} ({source}): {why}"));
        }
    }
    println!("{ran} of {} test vectors ran; none is left out.", asked.len());
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

// Electrical classes

/// The form says where high voltage begins: 150 V is not, 151 V is.
async fn v17() -> Ran {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let form = ann.get("/units/QHB-412/write/ground_relay?device=ground_relay").await;
    let text = form.text();
    let (_, rest) =
        text.split_once("High voltage is more than ").ok_or_else(|| format!("not said: {text}"))?;
    let limit: f64 = rest.split(' ').next().and_then(|n| n.parse().ok()).ok_or("no number")?;
    let is_high = |volts: f64| volts > limit;
    holds!(rest.contains("volts (49 CFR 229.5)"), !is_high(150.0), is_high(151.0));
    Ok(())
}

async fn findings(app: &App) -> Vec<Value> {
    let token = app.token("sue").await;
    let (_, rows) = app.api(&token, "GET", "/api/v1/findings", None).await;
    rows.as_array().cloned().unwrap_or_default()
}

fn opened(n: u32, by: &str, more: &Value) -> Value {
    let mut entry = json!({"id": entry_id(n), "kind": "bypass", "opened_at": "2026-03-03T01:00:00-06:00", "device": "GRC", "by": by,
        "purpose": "repair", "engine_running": "no", "power_taken": "no", "protection": "lock",
        "closed_at": "2026-03-03T01:30:00-06:00", "closed_by": by, "seal_applied": "20418"});
    entry.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    entry
}

/// A ground cutout is never told as a safety device of part 218; an alerter cut out on the controlling unit is.
async fn v20() -> Ran {
    let app = App::start().await;
    app.file("ann", &report(1, "QHB 412", "ann", vec![opened(1, "ann", &json!({}))])).await;
    let alerter = json!({"id": entry_id(2), "kind": "position", "at": "2026-03-03T02:00:00-06:00", "device": "ALR", "seen": "on",
        "moved_to": "off", "by": "ben"});
    app.file("ben", &report(2, "QHB 413", "ben", vec![alerter])).await;
    let found = findings(&app).await;
    let safety: Vec<&Value> = found.iter().filter(|row| row["rule"] == "safety_device").collect();
    holds!(safety.len() == 1, safety[0]["device"] == "ALR", safety[0]["unit"] == "QHB 413");
    let sue = app.user("sue").await;
    let register = sue.get(paths::Bypasses).await.text();
    let (ground, part_218) = register.split_once("Safety devices cut out").ok_or("no list of its own")?;
    holds!(
        part_218.contains("49 CFR 218") && part_218.contains("QHB 413") && !part_218.contains("GRC"),
        ground.contains("GRC") && !ground.contains("218") && !ground.contains("ALR"),
    );
    let own = sue.get(paths::Bypass(entry_id(1).parse().unwrap())).await.text();
    holds!(!own.contains("218") && !own.to_lowercase().contains("safety device"));
    Ok(())
}

async fn grant(app: &App, person: &str, class: Option<&str>, to: &str) {
    let grant = Grant {
        sign_in: SignIn::from(person),
        classes: class.map(ClassName::from).into_iter().collect(),
        from: Day::parse("2026-01-01").unwrap(),
        to: Day::parse(to),
        basis: None,
        granted_by: SignIn::from("stan"),
        from_list: true,
        proposed_by: None,
        proposal: None,
    };
    app.web.desk().act(GrantAuthorisations::of(vec![grant], None, Channel::Import)).await.unwrap();
}

/// No right, an ended one, one for another class: not authorised. A named authoriser without one is a note, no more.
async fn v21() -> Ran {
    for (class, to, authorised) in [
        (None, Some("2026-12-31"), true),
        (Some("HB6"), Some("2026-03-03"), true),
        (None, None, false),
        (None, Some("2026-03-02"), false),
        (Some("OTHER"), Some("2026-12-31"), false),
    ] {
        let app = App::start().await;
        if let Some(to) = to {
            grant(&app, "ann", class, to).await;
        }
        let entry = opened(1, "ann", &json!({"authorised_by": "ben"}));
        app.file("ann", &report(1, "QHB 412", "ann", vec![entry])).await;
        let found = findings(&app).await;
        let alert = found.iter().any(|row| row["rule"] == "not_authorised");
        if alert == authorised {
            return Err(format!("{class:?} to {to:?}: {found:?}"));
        }
        let sue = app.user("sue").await;
        let says = sue.get(paths::Bypass(entry_id(1).parse().unwrap())).await.text();
        holds!(!authorised || says.contains("note: ben, named as authorising it"));
    }
    Ok(())
}

/// A ground indication while the cutout is open, or soon after: nothing stands higher.
async fn v22() -> Ran {
    for (at, rule) in
        [("2026-03-03T01:10:00-06:00", "position_doubtful"), ("2026-03-03T03:00:00-06:00", "second_ground")]
    {
        let app = App::start().await;
        let relay = json!({"id": entry_id(2), "kind": "ground_relay", "at": at, "device": null, "operations": 1,
            "reset": "by_hand"});
        let defect = json!({"id": entry_id(3), "kind": "defect", "at": at, "system": "brakes", "text": "gone", "may_go_on": "no"});
        app.file("ann", &report(1, "QHB 412", "ann", vec![opened(1, "ann", &json!({})), relay, defect]))
            .await;
        let found = findings(&app).await;
        let severity = |row: &Value| row["severity"].as_f64().unwrap_or(0.0);
        let highest = found.iter().map(severity).fold(0.0, f64::max);
        let it =
            found.iter().find(|row| row["rule"] == rule).ok_or_else(|| format!("no {rule}: {found:?}"))?;
        holds!(severity(it) >= highest, found.iter().filter(|row| severity(row) >= highest).count() == 1);
    }
    Ok(())
}

// Battery

/// A battery's record follows it from one unit to another.
async fn v54() -> Ran {
    let app = App::start().await;
    let sam = app.user("sam").await;
    for unit in ["QHB-412", "QHB-413"] {
        let form = sam.get(format!("/units/{unit}/measurements/new?kind=battery")).await.is(200);
        let form =
            form.fill("battery", "B17").fill("gravities", "1.262 1.260 1.255").fill("temperature", "80");
        form.fill("full_gravity", "1.265").fill("password", PASSWORD).send().await.is(303);
        app.minutes_pass(5);
    }
    let text = sam.get("/batteries/B17").await.is(200).text();
    holds!(text.contains("QHB 412") && text.contains("QHB 413"));
    Ok(())
}

// Web

async fn new_password(of: &Browser<'_>, new: &str) -> (u16, String) {
    let page = of.get(paths::Password).await;
    let page = page.fill("password", PASSWORD).fill("new_password", new).fill("new_password_again", new);
    let page = page.send().await;
    (page.status, page.text())
}

/// As passwords are the only factor here, the least is 15 characters.
async fn v55() -> Ran {
    let app = App::start().await;
    let ann = app.user("ann").await;
    for (new, why) in [
        ("7 chars", "At least 15 characters"),
        ("fourteen chars", "At least 15 characters"),
        ("aaaaaaaaaaaaaaa", "repeats one short piece"),
        ("ann ann ann ann ann", "guessed early"),
        ("quarry & harbor", "little more than your sign-in name, the railway"),
        ("abcdefghijklmnopq", "runs along the alphabet"),
    ] {
        let (status, text) = new_password(&ann, new).await;
        if status != 422 || !text.contains(why) {
            return Err(format!("{new}: {status} {text}"));
        }
    }
    // 64 with blanks and letters of other scripts: taken whole.
    let long = "zwölf Schafe an der Mauer, деревня за рекой, 三 horses on a roof!";
    holds!(long.chars().count() == 64, new_password(&ann, long).await.0 == 303);
    let cut: String = long.chars().take(63).collect();
    for (password, comes_in) in [(cut.as_str(), false), (long, true)] {
        let page = app.anon().post(paths::SignIn, &[("sign_in", "ann"), ("password", password)]).await;
        holds!((page.status == 303) == comes_in);
    }
    let ben = app.user("ben").await;
    holds!(new_password(&ben, "ten wet geese x").await.0 == 303);
    Ok(())
}

async fn tries(app: &App, password: &str) -> (u16, String) {
    let page = app.anon().post(paths::SignIn, &[("sign_in", "ann"), ("password", password)]).await;
    (page.status, page.text())
}

/// While a name waits, the right password gets the same answer as a wrong one; success begins the count anew; after a hundred in a row
/// none is looked at.
async fn v56() -> Ran {
    let app = App::start().await;
    for _ in 0..3 {
        tries(&app, "wrong").await;
    }
    let (right, wrong) = (tries(&app, PASSWORD).await, tries(&app, "wrong").await);
    holds!(right.0 == 422 && right == wrong && right.1.contains("Too many wrong passwords in a row"));
    app.minutes_pass(16);
    holds!(tries(&app, PASSWORD).await.0 == 303);
    for _ in 0..2 {
        holds!(tries(&app, "wrong").await.1.contains("do not go together"));
    }
    holds!(tries(&app, PASSWORD).await.0 == 303);
    for nth in 1..=100 {
        app.minutes_pass(16);
        let says = tries(&app, "wrong").await.1;
        if !says.contains("do not go together") {
            return Err(format!("the {nth}th was not looked at: {says}"));
        }
    }
    app.minutes_pass(60 * 24);
    let (right, wrong) = (tries(&app, PASSWORD).await, tries(&app, "wrong").await);
    holds!(right == wrong, right.1.contains("An administrator must set a new one"));
    Ok(())
}

/// Whether a session cookie still opens a page.
async fn opens(app: &App, cookie: &str) -> bool {
    let browser = app.anon();
    let request = browser.request("GET", "/units").header("cookie", format!("breakerbook={cookie}"));
    browser.send(request.body(Body::empty()).unwrap()).await.status == 200
}

async fn v57() -> Ran {
    let app = App::start().await;
    let ann = app.user("ann").await;
    let first = ann.cookie();
    ann.get(paths::SignIn).await.fill("sign_in", "ann").fill("password", PASSWORD).send().await;
    let second = ann.cookie();
    holds!(first != second, !opens(&app, &first).await, opens(&app, &second).await);
    ann.post(paths::SignOut, &[]).await;
    holds!(!opens(&app, &second).await);
    let ben = app.user("ben").await.cookie();
    holds!(opens(&app, &ben).await);
    let card = PersonCard {
        sign_in: "ben".into(),
        role: Role::Crew,
        active: false,
        name_digest: String::new(),
        reason: None,
    };
    let leaves = ShopAct::of(
        PageBody::PersonChanged(Box::new(card)),
        Some("ada".into()),
        Channel::Page,
        app.clock.now(),
    );
    app.web.desk().act(leaves).await.unwrap();
    holds!(!opens(&app, &ben).await);
    Ok(())
}

async fn pages(app: &App) -> i64 {
    let mut db = app.web.desk().read().await.unwrap();
    sqlx::query_scalar("SELECT count(*) FROM page").fetch_one(&mut *db).await.unwrap()
}

/// From another site, or from nobody knows where: 403, nothing stored. And reading changes nothing, whatever is read.
async fn v58() -> Ran {
    let app = App::start().await;
    crate::board::a_night(&app).await;
    let (ann, sue) = (app.user("ann").await, app.user("sue").await);
    let before = pages(&app).await;
    let posts: Vec<_> = site::routes().into_iter().filter(|route| route.method == Method::POST).collect();
    holds!(posts.len() > 20);
    for route in posts.iter().filter(|route| !route.path.contains('{')) {
        for (name, value) in
            [("origin", "https://evil.test"), ("sec-fetch-site", "cross-site"), ("x-nothing", "at all")]
        {
            let request = ann.request("POST", route.path).header(name, value);
            let request = request.header("content-type", "application/x-www-form-urlencoded");
            let status = ann.send(request.body(Body::from("words=x")).unwrap()).await.status;
            // The API's own door asks for a token first, and says so.
            if status != 403 {
                return Err(format!("{} with {name}: {status}", route.path));
            }
        }
    }
    for route in site::routes().iter().filter(|route| route.method == Method::GET) {
        let path =
            route.path.replace("{unit}", "QHB-412").replace("{kind}", "bypass").replace("{class}", "HB6");
        let path =
            path.replace("{id}", &entry_id(2)).replace("{month}", "2026-03").replace("{sign_in}", "ann");
        if !path.contains('{') {
            ann.get(&path).await;
            sue.get(&path).await;
        }
    }
    holds!(pages(&app).await == before);
    Ok(())
}

async fn v59() -> Ran {
    let app = App::start_with(Settings { tls: true }).await;
    let page = app.anon().get(paths::SignIn).await.fill("sign_in", "ann").fill("password", PASSWORD);
    let page = page.send().await;
    let cookie = page.header("set-cookie").to_owned();
    let parts: BTreeSet<&str> = cookie.split("; ").skip(1).collect();
    holds!(
        cookie.starts_with("__Host-"),
        parts.contains("Secure") && parts.contains("HttpOnly") && parts.contains("Path=/"),
        parts.contains("SameSite=Lax") || parts.contains("SameSite=Strict"),
        !cookie.contains("Domain"),
    );
    Ok(())
}

/// What the program logged, kept to be read.
#[derive(Clone, Default)]
struct Log(Arc<Mutex<Vec<u8>>>);
impl Write for Log {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// What is not theirs is refused by its address, too, and stands in the log.
async fn v60() -> Ran {
    let app = App::start().await;
    crate::board::a_night(&app).await;
    let ben = app.user("ben").await;
    let log = Log::default();
    let kept = log.clone();
    let subscriber = tracing_subscriber::fmt().with_ansi(false).with_writer(move || kept.clone()).finish();
    let _listening = tracing::subscriber::set_default(subscriber);
    let bypass = paths::Bypass(entry_id(2).parse().unwrap()).to_string();
    for (path, status) in [(bypass.as_str(), 403), ("/book/pages/0", 403), ("/register/people/ann", 403)] {
        holds!(ben.get(path).await.status == status);
    }
    let dropped = ben.post("/kept/0198f3a2-6c1e-4d3a-9b1f-2f0c5a9e7c99/drop", &[]).await.status;
    holds!(dropped == 404 || dropped == 303);
    let told = String::from_utf8(log.0.lock().unwrap().clone()).unwrap();
    for path in [bypass.as_str(), "/book/pages/0", "/register/people/ann"] {
        let line = told
            .lines()
            .find(|line| line.contains(path))
            .ok_or_else(|| format!("{path} is not in {told}"))?;
        holds!(line.contains("WARN") && line.contains("by=ben") && line.contains("refused"));
    }
    Ok(())
}

/// Who opened it does not review it; and that they tried is a page of the book.
async fn v61() -> Ran {
    let app = App::start().await;
    crate::board::sues_own(&app).await;
    let sue = app.user("sue").await;
    let path = paths::Bypass(entry_id(3).parse().unwrap()).to_string();
    let before = pages(&app).await;
    let typed = [
        ("judgement", "in_order"),
        ("words", "mine"),
        ("password", PASSWORD),
        ("signer", "sue"),
        ("unit", "QHB 413"),
        ("seen_seq", "999"),
    ];
    let page = sue.post(format!("{path}/review"), &typed).await;
    holds!(page.status == 403, page.text().contains("somebody with no hand in it has to review it"));
    holds!(pages(&app).await == before + 1);
    let stan = app.user("stan").await.get(&path).await.text();
    holds!(stan.contains("sue signed a review") && stan.contains("closed, not reviewed"));
    Ok(())
}

async fn v62() -> Ran {
    for cell in ["=1+1", "+1", "-1", "@x", "\t1"] {
        holds!(text::defused(cell) == format!("'{cell}"));
    }
    let app = App::start().await;
    for (n, cell) in [(1, "=1+1"), (2, "+1"), (3, "-1"), (4, "@x")] {
        let entry = opened(
            n,
            "ann",
            &json!({"reference": cell, "opened_at": format!("2026-03-02T0{n}:00:00-06:00"),
            "closed_at": format!("2026-03-02T0{n}:30:00-06:00")}),
        );
        app.file("ann", &report(n, "QHB 412", "ann", vec![entry])).await;
    }
    let sue = app.user("sue").await;
    for list in ["/bypasses?format=csv", "/api/v1/bypasses?format=csv", "/register/months/2026-03?format=csv"]
    {
        let token = app.token("sue").await;
        let csv = if list.starts_with("/api") {
            app.bare(app.request(&token, "GET", list)).await.body
        } else {
            sue.get(list).await.is(200).body
        };
        for cell in ["=1+1", "+1", "-1", "@x"] {
            if !csv.contains(&format!(",'{cell},")) {
                return Err(format!("{list}: {cell} in {csv}"));
            }
        }
    }
    Ok(())
}

/// Relative luminance and contrast as WCAG 2.2 defines them.
fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |hex: &str| {
        let channel = |at: usize| {
            let c = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
    };
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

const CSS: &str = include_str!("../../static/book.css");

/// The published pairs, then the colours that text has here.
fn v63() -> Ran {
    for (grey, least, passes) in [
        ("#767676", 4.5, true),
        ("#777777", 4.5, false),
        ("#595959", 7.0, true),
        ("#5a5a5a", 7.0, false),
        ("#949494", 3.0, true),
        ("#959595", 3.0, false),
        ("#ff0000", 4.5, false),
    ] {
        if (contrast(grey, "#ffffff") >= least) != passes {
            return Err(format!("{grey}: {:.3}", contrast(grey, "#ffffff")));
        }
    }
    holds!(
        (contrast("#767676", "#ffffff") - 4.54).abs() < 0.005,
        (contrast("#ff0000", "#ffffff") - 4.0).abs() < 0.005
    );
    let mut palettes = 0;
    for block in
        CSS.split(":root").skip(1).filter_map(|part| Some(part.split_once('{')?.1.split_once('}')?.0))
    {
        let colour = |name: &str| {
            let (_, rest) = block.split_once(&format!("{name}: "))?;
            rest.split([';', '\n']).next()
        };
        let (Some(ink), Some(ground)) = (colour("--ink"), colour("--ground")) else { continue };
        palettes += 1;
        for text in [ink, colour("--quiet").unwrap_or("#777777"), colour("--accent").unwrap_or("#777777")] {
            if contrast(text, ground) < 7.0 {
                return Err(format!("{text} on {ground}: {:.2}", contrast(text, ground)));
            }
        }
    }
    holds!(palettes == 3);
    Ok(())
}

/// 44 CSS px, and 72 on the crew's pages, for whatever is pressed; `tests/browser/screens.rs` measures every page of it.
fn v64() -> Ran {
    let px = |rule: &str| -> Option<f64> {
        let (_, rest) = CSS.split_once(rule)?;
        let rem: f64 = rest.split("--touch: ").nth(1)?.split("rem").next()?.parse().ok()?;
        Some(rem * 16.0)
    };
    holds!(px("\nbody {").is_some_and(|px| px >= 44.0), px("body.crew {").is_some_and(|px| px >= 72.0));
    for pressed in [".button", ".key", "select", "textarea", "summary", ".lines a.alone", "table.rows td > a"]
    {
        let has = CSS.split('}').any(|rule| {
            rule.split_once('{').is_some_and(|(of, says)| {
                of.contains(pressed) && says.contains("min-height:") && says.contains("var(--touch)")
            })
        });
        if !has {
            return Err(format!("{pressed} is not held to --touch"));
        }
    }
    Ok(())
}

/// Without any class, so without any colour, the words still say it; and every mark of a picture has its words.
async fn v65() -> Ran {
    let app = App::start().await;
    crate::board::a_night(&app).await;
    let sue = app.user("sue").await;
    let register = sue.get(paths::Bypasses).await.is(200);
    let page = sue.get(paths::Bypass(entry_id(2).parse().unwrap())).await.is(200);
    for word in ["OPEN", "not authorised", "still open", "second ground"] {
        holds!(register.text().contains(word));
    }
    for body in [&register.body, &page.body] {
        for part in body.split("class=\"word").skip(1) {
            let word =
                part.split_once('>').and_then(|(_, rest)| rest.split_once('<')).map_or("", |(word, _)| word);
            holds!(!word.trim().is_empty());
        }
    }
    let (_, drawn) = page.body.split_once("<svg class=\"opening\"").ok_or("no picture")?;
    let drawn = drawn.split("</svg>").next().unwrap_or_default();
    let marks = html::tags(drawn).iter().filter(|tag| tag.get("data-mark").is_some()).count();
    holds!(marks > 0, drawn.matches("<title>").count() == marks);
    Ok(())
}

/// What the vectors ask of a request that nobody signed.
#[tokio::test]
async fn a_change_by_nobody_at_all_is_refused() {
    let app = App::start().await;
    for (path, status) in
        [("/api/v1/reports", 401), ("/api/v1/signed-reports", 403), ("/book/checkpoints", 403)]
    {
        let request = Request::builder().method("POST").uri(path).body(Body::empty()).unwrap();
        assert_eq!(app.bare(request).await.status, status, "{path}");
    }
}
