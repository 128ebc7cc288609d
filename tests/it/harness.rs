//! `app.crew("ann").await.get("/units").await`: people with browsers, speaking to the real router.
use std::{
    collections::{BTreeMap, HashMap},
    sync::{Arc, Mutex, OnceLock},
};

use axum::{Router, body::Body};
use breakerbook::{
    base::{Clock, Instant, SignIn, instant::MINUTE},
    book::Channel,
    cli::site,
    desk::{
        Desk, DeskOptions,
        backup::{Backups, TimeOfDay},
        begin::{self, NewBook},
        keep_people::{KeepPeople, KeepSecret, PersonWanted},
        keep_roster::{IssueSchedules, KeepUnits},
    },
    people::{
        Role,
        password::{self, Password},
        session::Token,
    },
    web::{self, Settings, paths},
};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use tower::ServiceExt;

use crate::{contract::Asked, html, roster};

/// Everybody's, in tests.
pub const PASSWORD: &str = "nine wet sheep at the gate";

pub struct App {
    pub web: web::App,
    pub clock: Clock,
    pub router: Router,
    dir: tempfile::TempDir,
}

/// ann and ben are crew, sam and tom are the shop, sue and stan supervise, ada keeps the roster, ida has a one-time password.
const PEOPLE: &[(&str, Role)] = &[
    ("ann", Role::Crew),
    ("ben", Role::Crew),
    ("sam", Role::Shop),
    ("tom", Role::Shop),
    ("sue", Role::Supervisor),
    ("stan", Role::Supervisor),
    ("ada", Role::Administrator),
    ("ida", Role::Crew),
];

impl App {
    pub async fn start() -> Self {
        Self::start_with(Settings::default()).await
    }

    pub async fn start_with(settings: Settings) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let clock = Clock::standing_at(Instant::parse("2026-03-03T12:00:00Z").unwrap());
        let web = web::App::new(desk(&dir, &clock).await, settings);
        let router = site::site(&web);
        Self { web, clock, router, dir }
    }

    /// A server that takes back-ups, into this folder.
    pub async fn backed_up() -> (Self, std::path::PathBuf) {
        let mut app = Self::start().await;
        let to = app.dir.path().join("kept");
        let at = TimeOfDay::parse("03:00").unwrap();
        let backups = Backups::new(app.path(), to.clone(), at, 30);
        let desk = app.web.desk().clone();
        app.web = web::App::backed_up(desk, Settings::default(), Some(Arc::new(backups)));
        app.router = site::site(&app.web);
        (app, to)
    }

    /// The book's file.
    pub fn path(&self) -> std::path::PathBuf {
        self.dir.path().join("book.db")
    }

    pub fn minutes_pass(&self, minutes: i64) {
        self.clock.set(self.clock.now().plus(minutes * MINUTE));
    }

    /// A browser in which nobody has signed in.
    pub fn anon(&self) -> Browser<'_> {
        Browser { app: self, cookies: Arc::default() }
    }

    /// Somebody, signed in through the page.
    pub async fn user(&self, name: &str) -> Browser<'_> {
        let browser = self.anon();
        let page =
            browser.get(paths::SignIn).await.fill("sign_in", name).fill("password", PASSWORD).send().await;
        assert_eq!(page.status, 303, "{name} signs in: {}", page.text());
        browser
    }

    /// A program's token for somebody.
    pub async fn token(&self, name: &str) -> String {
        let token = Token::fresh().unwrap();
        let act = KeepSecret::token(&SignIn::from(name), token.hash().0, None, self.clock.now());
        self.web.desk().act(act).await.unwrap();
        token.reveal()
    }

    /// Files a report as a program of its author would.
    pub async fn file(&self, author: &str, report: &Value) {
        let token = self.token(author).await;
        let (status, answer) = self.api(&token, "POST", "/api/v1/reports", Some(report)).await;
        assert_eq!(status, 201, "{answer}");
    }

    pub fn request(&self, token: &str, method: &str, path: &str) -> axum::http::Request<Body> {
        let request = axum::http::Request::builder().method(method).uri(path);
        request.header("authorization", format!("Bearer {token}")).body(Body::empty()).unwrap()
    }

    pub async fn api(&self, token: &str, method: &str, path: &str, body: Option<&Value>) -> (u16, Value) {
        let mut request = self.request(token, method, path);
        if let Some(body) = body {
            *request.body_mut() = Body::from(body.to_string());
        }
        let page = self.bare(request).await;
        (page.status, serde_json::from_str(&page.body).unwrap_or(Value::Null))
    }

    pub async fn api_bytes(&self, token: Option<&str>, body: Vec<u8>) -> (u16, Value) {
        let mut request = axum::http::Request::builder().method("POST").uri("/api/v1/reports");
        if let Some(token) = token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        let page = self.bare(request.body(Body::from(body)).unwrap()).await;
        (page.status, serde_json::from_str(&page.body).unwrap_or(Value::Null))
    }

    /// The key of the first open finding by a rule.
    pub async fn finding_key(&self, rule: &str) -> String {
        self.finding_about(rule, "").await
    }

    /// The same, resting on an entry.
    pub async fn finding_about(&self, rule: &str, entry: &str) -> String {
        let token = self.token("sue").await;
        let (_, rows) = self.api(&token, "GET", "/api/v1/findings", None).await;
        let is_it = |row: &&Value| row["rule"] == rule && row["entries"].to_string().contains(entry);
        let found = rows.as_array().unwrap().iter().find(is_it);
        found.unwrap_or_else(|| panic!("no {rule} in {rows}"))["key"].as_str().unwrap().to_owned()
    }

    /// A request as it stands, without a browser's manners.
    pub async fn bare(&self, request: axum::http::Request<Body>) -> Page<'_> {
        let asked = Asked::of(&request);
        let page = Page::read(self.anon(), self.router.clone().oneshot(request).await.unwrap()).await;
        asked.is_answered_as_documented(&page);
        page
    }
}

async fn desk(dir: &tempfile::TempDir, clock: &Clock) -> Desk {
    let path = dir.path().join("book.db");
    let book = NewBook {
        railway: "Quarry & Harbor".into(),
        mark: "QHB".into(),
        time_zone: "America/Chicago".into(),
        demo: false,
    };
    begin::create(&path, &book, clock).await.unwrap();
    let options = DeskOptions { clock: clock.clone(), ..DeskOptions::default() };
    let desk = Desk::open(&path, options).await.unwrap();
    let wanted: Vec<_> = PEOPLE.iter().map(wanted).collect();
    desk.act(KeepPeople::of(&wanted, &HashMap::new(), None, Channel::Console).unwrap()).await.unwrap();
    desk.act(IssueSchedules::of(vec![roster::schedule()], None, Channel::Console)).await.unwrap();
    desk.act(KeepUnits::of(roster::units(), |_| false, None, Channel::Console)).await.unwrap();
    give_passwords(&desk, clock.now()).await;
    desk
}

fn wanted((name, role): &(&str, Role)) -> PersonWanted {
    PersonWanted {
        sign_in: SignIn::from(*name),
        role: *role,
        name: format!("{name} of the tests"),
        craft: String::new(),
    }
}

async fn give_passwords(desk: &Desk, now: Instant) {
    static HASH: OnceLock<String> = OnceLock::new();
    let hash = HASH.get_or_init(|| password::hash_now(&Password::typed(PASSWORD)).unwrap());
    for (name, _) in PEOPLE {
        let act = KeepSecret::password(&SignIn::from(*name), hash.clone(), *name == "ida", None, now);
        desk.act(act).await.unwrap();
    }
}

/// A run that began on the evening of 2 March and was signed the next morning.
pub fn report(n: u32, unit: &str, author: &str, entries: Vec<Value>) -> Value {
    json!({"id": format!("00000000-0000-4000-8000-{n:012}"), "unit": unit, "author": author,
        "run": {"symbol": "K17", "started": "2026-03-02T21:40:00-06:00", "ended": "2026-03-03T05:10:00-06:00"},
        "position": "lead", "entries": entries, "signed_at": "2026-03-03T05:14:00-06:00"})
}

pub fn entry_id(n: u32) -> String {
    format!("00000000-0000-4000-9000-{n:012}")
}

/// Keeps cookies and says where it comes from, as browsers do.
#[derive(Clone)]
pub struct Browser<'a> {
    app: &'a App,
    cookies: Arc<Mutex<BTreeMap<String, String>>>,
}

impl<'a> Browser<'a> {
    pub async fn get(&self, path: impl ToString) -> Page<'a> {
        self.send(self.request("GET", path).body(Body::empty()).unwrap()).await
    }

    pub async fn post(&self, path: impl ToString, fields: &[(&str, &str)]) -> Page<'a> {
        let pair =
            |(name, value): &(&str, &str)| format!("{}={}", paths::encoded(name), paths::encoded(value));
        let body = fields.iter().map(pair).collect::<Vec<_>>().join("&");
        let request = self
            .request("POST", path)
            .header("sec-fetch-site", "same-origin")
            .header("content-type", "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(body)).unwrap()).await
    }

    pub fn request(&self, method: &str, path: impl ToString) -> axum::http::request::Builder {
        let cookies = self.cookies.lock().unwrap();
        let line = cookies.iter().map(|(n, v)| format!("{n}={v}")).collect::<Vec<_>>().join("; ");
        let request =
            axum::http::Request::builder().method(method).uri(path.to_string()).header("host", "book.test");
        if line.is_empty() { request } else { request.header("cookie", line) }
    }

    pub async fn send(&self, request: axum::http::Request<Body>) -> Page<'a> {
        let asked = Asked::of(&request);
        let response = self.app.router.clone().oneshot(request).await.unwrap();
        for line in response.headers().get_all("set-cookie") {
            let pair = line.to_str().unwrap().split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            self.cookies.lock().unwrap().insert(name.to_owned(), value.to_owned());
        }
        let page = Page::read(self.clone(), response).await;
        asked.is_answered_as_documented(&page);
        page
    }

    pub fn cookie(&self) -> String {
        self.cookies.lock().unwrap().get("breakerbook").cloned().unwrap_or_default()
    }
}

/// One answer, and what is typed into its form.
pub struct Page<'a> {
    browser: Browser<'a>,
    pub status: u16,
    pub headers: axum::http::HeaderMap,
    pub body: String,
    typed: Vec<(String, String)>,
}

impl<'a> Page<'a> {
    async fn read(browser: Browser<'a>, response: axum::response::Response) -> Self {
        let (head, body) = response.into_parts();
        let body = body.collect().await.unwrap().to_bytes();
        let body = String::from_utf8_lossy(&body).into_owned();
        Self { browser, status: head.status.as_u16(), headers: head.headers, body, typed: vec![] }
    }

    /// Another page, in the same browser.
    pub async fn again(&self, path: impl ToString) -> Page<'a> {
        self.browser.get(path).await
    }

    /// What a person reads on it.
    pub fn text(&self) -> String {
        html::text(&self.body)
    }

    #[track_caller]
    pub fn says(self, words: &str) -> Self {
        let text = self.text();
        assert!(text.contains(words), "{words:?} is not said in {text:?}");
        self
    }

    #[track_caller]
    pub fn never_says(self, words: &str) -> Self {
        let text = self.text();
        assert!(!text.contains(words), "{words:?} is said in {text:?}");
        self
    }

    #[track_caller]
    pub fn is(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}", self.text());
        self
    }

    #[track_caller]
    pub fn goes_to(self, path: impl ToString) -> Self {
        assert_eq!((self.status, self.location()), (303, path.to_string()), "{}", self.text());
        self
    }

    /// Where the first link to such a path leads, in the page itself.
    #[track_caller]
    pub fn link_to(&self, start: &str) -> String {
        let tags = html::tags(&self.body);
        let links = tags.iter().filter(|tag| tag.name == "a").filter_map(|tag| tag.get("href"));
        let found = links.filter(|href| href.starts_with(start)).find(|href| href.len() > start.len());
        found.unwrap_or_else(|| panic!("no link to {start} in {}", self.text())).to_owned()
    }

    pub fn location(&self) -> String {
        self.header("location").to_owned()
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// Types into the page's main form, which must have that field and, where it offers a choice, that choice.
    #[track_caller]
    pub fn fill(mut self, name: &str, value: &str) -> Self {
        let form = self.form();
        let field = form.fields.iter().find(|f| f.name == name);
        let field = field.unwrap_or_else(|| panic!("no field {name:?} in {form:?}"));
        if let Some(choices) = &field.choices {
            assert!(choices.iter().any(|c| c == value), "{name:?} offers {choices:?}, not {value:?}");
        }
        self.typed.push((name.to_owned(), value.to_owned()));
        self
    }

    /// Sends the form with what was typed, and everything else as the page had it.
    pub async fn send(self) -> Page<'a> {
        let form = self.form();
        let typed = |name: &str| self.typed.iter().rev().find(|(n, _)| n == name).map(|(_, v)| v.clone());
        let fields =
            form.fields.iter().filter_map(|f| Some((f.name.clone(), typed(&f.name).or(f.value.clone())?)));
        let fields: Vec<_> = fields.collect();
        let borrowed: Vec<_> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        self.browser.post(&form.action, &borrowed).await
    }

    /// Asks the form's page with what was typed, as a form does that changes nothing; `at` where one of its buttons
    /// leads elsewhere.
    pub async fn ask(self, at: Option<&str>) -> Page<'a> {
        let form = self.form();
        let typed = |name: &str| self.typed.iter().rev().find(|(n, _)| n == name).map(|(_, v)| v.clone());
        let pair = |f: &html::Field| {
            let value = typed(&f.name).or(f.value.clone())?;
            Some(format!("{}={}", paths::encoded(&f.name), paths::encoded(&value)))
        };
        let query: Vec<String> = form.fields.iter().filter_map(pair).collect();
        if let Some(at) = at {
            assert!(self.body.contains(&format!("formaction=\"{at}\"")), "no button leads to {at}");
        }
        let path = format!("{}?{}", at.unwrap_or(&form.action), query.join("&"));
        self.browser.get(path).await
    }

    /// The first form of the page itself, not those of the frame around it.
    #[track_caller]
    pub fn form(&self) -> html::Form {
        let main = self.body.split_once("<main").map_or("", |(_, rest)| rest);
        let main = main.split_once("</main>").map_or(main, |(inside, _)| inside);
        let forms = html::forms(main);
        forms.into_iter().next().unwrap_or_else(|| panic!("no form on this page: {}", self.text()))
    }
}
