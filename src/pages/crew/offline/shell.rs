//! The page that stands in when there is no network: every form of the crew's as an inert template, filled by script.
//! It is the same for everybody, so that it can be kept by the worker.
use askama::Template;
use axum::{
    extract::State,
    http::{HeaderMap, HeaderValue, header, request::Parts},
    response::IntoResponse,
};
use serde_json::json;
use sha2::{Digest, Sha256};

use super::super::{
    answers::Says,
    asking::{Answer as How, If, parts},
    entry_form::{AskView, PartView, WhenView, part_views, when_view},
    handing,
    run::RunFields,
    slip::{CUTOUT, SlipView},
    typed::Typed,
    unit_of::UnitHere,
    write::{ChoosePage, KindKey, begins_at_the_panel, title},
};
use crate::{
    base::{Instant, UnitName, Zone, instant::DAY},
    pages::drawn::form::{Choice, Field},
    reports::kinds::Kind,
    roster::DeviceKind,
    rules::situation,
    web::{Answer, App, Frame, assets, page, page::Surroundings, paths},
};

#[derive(Template)]
#[template(path = "crew/offline.html")]
pub struct ShellPage {
    pub frame: Frame,
    pub script: String,
    pub mark: String,
    /// From when on which minutes east of UTC hold: a browser's own list of zones may be older than ours.
    pub zone: String,
    /// Sentences of the script, by name: those of both answers, and its own.
    pub words: String,
    pub kinds: Vec<KindKey>,
    pub forms: Vec<FormView>,
    pub slip: SlipView,
    /// What is asked of each unit of a run: these names begin with the unit's own.
    pub own: SlipView,
    pub run_fields: RunFields,
    pub slip_fields: String,
    pub cutout: Choice,
    pub seal: Field,
}

/// One kind of entry. `fields` tells the script how each answer is written in the contract.
pub struct FormView {
    pub id: String,
    pub title: &'static str,
    /// With a device, whatever is drawn.
    pub begins: bool,
    pub fields: String,
    pub times: String,
    pub when: WhenView,
    parts: Vec<PartView>,
}

impl FormView {
    fn parts(&self) -> &[PartView] {
        &self.parts
    }
}

const KINDS: &[Kind] = Kind::ALL;

fn shell_page(app: &App, head: &Parts) -> ShellPage {
    let world = app.world();
    let here = UnitHere { unit: UnitName::from(""), world: world.clone(), now: app.now() };
    let forms = KINDS.iter().map(|kind| form(*kind, false));
    let seal = Field { mode: "numeric", ..Field::text("OWN.cutout.TAG.seal", "Number on the seal", "") };
    let slip = SlipView::of(&here, &Typed::default(), &Says::new());
    ShellPage {
        // Nobody's: who uses it is the script's matter.
        frame: Surroundings::of(head).frame(app, None),
        script: assets::url("shell.js"),
        mark: world.railway.mark.clone(),
        zone: offsets(&world.railway.zone, here.now),
        words: words(),
        kinds: ChoosePage::kinds_of(&UnitName::from("UNIT")),
        forms: forms.chain([form(Kind::Position, true)]).collect(),
        own: of_each(slip.clone()),
        slip,
        run_fields: RunFields::of("", &Typed::default(), &Says::new()),
        slip_fields: slip_fields(),
        cutout: Choice::of("OWN.cutout.TAG", "Ground-relay cutout TAG as you leave it", "", CUTOUT)
            .hint("If it was open, 'Closed and sealed' says that you closed it. Somebody else: write that down first"),
        seal: seal.hint("If you can read it"),
    }
}

const OWN: [(&str, &str); 13] = [
    ("NOT_KEPT", "Nothing of it is kept on this tablet."),
    ("NO_RESET", "Do not reset: nothing of this unit is kept on this tablet. Ask first."),
    ("WHO", "Say that it is you."),
    ("BAD_ENTRY", "One of the entries cannot be sent like this: change it."),
    ("OTHER_TAB", "This was changed or signed in another tab meanwhile: look again, then sign."),
    ("GONE", "What is written down here and not signed is gone for good."),
    ("UNITS", "Write road numbers, with commas between several: 412, 431."),
    ("UNREAD", "This cannot be read: correct it, or leave it empty."),
    ("TIME", "Set a date and a time, or choose one of the keys."),
    ("ANSWER", "Has to be answered."),
    ("PLATE", "Write the words on its plate."),
    ("STARTED", "Say when the run started."),
    ("HANDED", handing::HANDED_OVER),
];

fn words() -> String {
    let mut words = situation::words();
    words.extend(OWN);
    json!(words).to_string()
}

fn of_each(slip: SlipView) -> SlipView {
    let own = |name: &mut String| *name = format!("OWN.{name}");
    let mut each = slip;
    own(&mut each.position.name);
    own(&mut each.consist.name);
    own(&mut each.remarks.name);
    each
}

/// The same all year, or browsers would take every answer for a new program.
fn offsets(zone: &Zone, now: Instant) -> String {
    const YEAR: i64 = 366 * DAY;
    let this = Instant(now.0 - now.0.rem_euclid(YEAR));
    json!(zone.offsets(this.minus(YEAR), this.plus(3 * YEAR))).to_string()
}

/// How the report's own answers are written in the contract, like an entry's.
fn slip_fields() -> String {
    let text = ["occasion", "run.symbol", "run.from", "run.to", "position", "weather", "remarks"];
    let fields = text.map(|name| (name, "text"));
    let others = [("run.started", "time"), ("run.ended", "time"), ("consist", "list")];
    let all: Vec<_> = fields.into_iter().chain(others).map(|(name, how)| json!([name, how, ""])).collect();
    json!(all).to_string()
}

fn form(kind: Kind, of_switch: bool) -> FormView {
    let device = of_switch.then(a_switch).flatten();
    let (typed, says) = (Typed::default(), Says::new());
    let fields: Vec<_> = parts(kind, device.as_ref())
        .iter()
        .flat_map(|part| part.questions.iter().map(|q| json!([q.name, how(q.answer), met(part.only_if)])))
        .collect();
    let (at, found) = kind.time_fields();
    FormView {
        id: if of_switch { format!("{kind}_switch") } else { kind.to_string() },
        title: title(kind),
        begins: begins_at_the_panel(kind, None),
        fields: json!(fields).to_string(),
        times: json!([at, found]).to_string(),
        when: when_view(kind, &typed, &says),
        parts: part_views(kind, device.as_ref(), &typed, &says, &[]),
    }
}

/// A switch is asked about in other words than a breaker.
fn a_switch() -> Option<crate::roster::Device> {
    let device = json!({"tag": "S", "legend": "S", "kind": DeviceKind::Switch, "place": {"outside": {"at": ""}},
        "rating_a": null, "rating_v": null, "speed": null, "body": null, "feed": null, "start_group": false,
        "normal_lead": null, "normal_trail": null, "normal_dead": null, "normal_shut_down": null, "keep_on_running": false,
        "keep_on_after_shutdown_min": null, "crew_resets": {"times": null, "hours": null, "wait_s": null},
        "overload_by_design": false, "before_closing": null, "after_closing": null, "if_left_off": null, "off_effect": null,
        "restricts_off": [], "ground_protection": false, "safety_device": false, "severity": null});
    serde_json::from_value(device).ok()
}

fn how(answer: How) -> &'static str {
    match answer {
        How::Words(_) | How::Few(_) | How::Text | How::Lines => "text",
        How::Figure => "figure",
        How::Count => "count",
        How::Who => "who",
        How::Person => "person",
        How::Seal => "seal",
        How::Time => "time",
        How::List => "list",
        How::Gate(_) => "gate",
    }
}

fn met(only_if: If) -> &'static str {
    match only_if {
        If::Always => "",
        If::Reset => "reset",
        If::Opened => "opened",
        If::Closed => "closed",
        If::Replaced => "replaced",
    }
}

pub async fn show(State(app): State<App>, head: Parts) -> Answer {
    page(axum::http::StatusCode::OK, &shell_page(&app, &without_choice(head)))
}

/// The light is the script's matter, too: it knows what was chosen last.
fn without_choice(mut head: Parts) -> Parts {
    head.headers = HeaderMap::new();
    head
}

/// The worker, with what it keeps from the start. Whatever changes in the page or in a file changes its first line, by
/// which browsers know a new one.
pub async fn worker(State(app): State<App>, head: Parts) -> Answer {
    let mut shell = vec![paths::Offline::PATTERN.to_owned(), paths::Manifest::PATTERN.to_owned()];
    shell.extend(assets::names().map(assets::url));
    let html = shell_page(&app, &without_choice(head)).render()?;
    let version = hex::encode(&Sha256::digest(format!("{html}{shell:?}"))[..6]);
    // What begins alike is said once: these bytes count among the scripts'.
    let list = shell.join(" ").replace(&scripts_at(), "*");
    let text = format!(
        "const VERSION={},SHELL={}.replaceAll(\"*\",{}).split(\" \");\n{}",
        json!(version),
        json!(list),
        json!(scripts_at()),
        assets::WORKER
    );
    Ok(([typed("text/javascript; charset=utf-8"), always_asked()], text).into_response())
}

/// The folder of the scripts, `/static/…/`.
fn scripts_at() -> String {
    assets::url("shell.js").replace("shell.js", "")
}

pub async fn manifest(State(app): State<App>) -> Answer {
    let railway = app.world().railway.name.clone();
    let manifest = json!({
        "id": "/", "start_url": "/", "scope": "/", "display": "standalone", "lang": "en",
        "name": format!("Breakerbook, {railway}"), "short_name": "Breakerbook",
        "background_color": "#edefe9", "theme_color": "#0a4556",
        "icons": [{"src": assets::url("icon.svg"), "sizes": "any", "type": "image/svg+xml"}],
    });
    Ok(([typed("application/manifest+json"), always_asked()], manifest.to_string()).into_response())
}

fn typed(kind: &'static str) -> (header::HeaderName, HeaderValue) {
    (header::CONTENT_TYPE, HeaderValue::from_static(kind))
}

fn always_asked() -> (header::HeaderName, HeaderValue) {
    (header::CACHE_CONTROL, HeaderValue::from_static("no-cache"))
}
