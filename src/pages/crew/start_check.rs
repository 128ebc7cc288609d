//! Start check: the class's checks in walking order, the readings, and how the unit may be started now.
use std::collections::BTreeMap;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{
    asking::{Words, words},
    picture::Picture,
    resetting::drafted,
    store,
    typed::Typed,
    unit_of::UnitHere,
    walk::{Marked, Stop, ToWrite, marked, not_right, otherwise, stops},
};
use crate::{
    base::{SignIn, Tag, text::count},
    pages::drawn::form::{Choice, Field},
    reports::{kinds::Kind, vocabulary::TestCock},
    roster::check::{AppliesWhen, Prevents},
    rules::{
        Dossier, DossierKey,
        situation::{Beside, InShop, in_book},
        start_answer::{Readings, ShutDown, Situation, StartAnswer, Verdict, start_answer},
    },
    shop,
    web::{Answer, App, Frame, Me, Oops, forms::Asked, page, paths},
};

#[derive(Template)]
#[template(path = "crew/start_check.html")]
pub struct StartCheckPage {
    pub frame: Frame,
    pub walk: Walk,
}

/// The page's own part. A tablet keeps one for each `for`, nothing marked in it, and its script answers.
#[derive(Template)]
#[template(path = "crew/start_check_walk.html")]
pub struct Walk {
    /// To be filled and answered by script: whatever may come to be asked is in it.
    pub kept: bool,
    pub unit: String,
    pub title: &'static str,
    pub about: String,
    pub tabs: Vec<Tab>,
    pub action: String,
    pub hidden: Vec<(&'static str, String)>,
    pub cautions: &'static [&'static str],
    /// How it may be started; nothing for other checks.
    pub start: Option<StartView>,
    pub stops: Vec<Stop>,
    pub to_write: Vec<ToWrite>,
    pub otherwise: Vec<ToWrite>,
    /// How many checks there are, and how many of them nobody has marked.
    pub unmarked: String,
    pub handover: String,
}

#[derive(Clone, Debug)]
pub struct Tab {
    pub href: String,
    pub text: &'static str,
    pub here: bool,
}

pub struct StartView {
    pub answer: StartAnswer,
    /// Nothing was read or marked yet.
    pub from_the_book: bool,
    /// The cold engine's procedure, where it applies; a kept page has it ready.
    pub cold_stops: Option<Vec<Stop>>,
    pub cock: Choice,
    pub shut_down: Choice,
    pub battery: Field,
    pub reservoir: Field,
    /// Where an attempt is written down, with what this form has.
    pub attempt: String,
}

const TABS: [(AppliesWhen, &str, &str); 3] = [
    (AppliesWhen::Start, "Before a start", "Start check"),
    (AppliesWhen::BrakeSetUp, "Brake set-up", "Brake set-up"),
    (AppliesWhen::Parking, "Parking", "Parking"),
];

const START: &[&str] = &[
    "Starting on air spends the air that holds the brakes: secure the unit first.",
    "A unit with automatic start may start by itself. Crankcase device tripped: stay away, open nothing, no restart.",
    "Local instructions and qualified people decide.",
];
const BRAKES: &[&str] = &[
    "A cut-out motor does not free a locked axle: see every wheel turn.",
    "Local instructions and qualified people decide.",
];
const PARKING: &[&str] = &[
    "Shut down near freezing: call, the cooling water freezes. A unit with automatic start may start by itself.",
    "Local instructions and qualified people decide.",
];

pub async fn show(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path(unit): Path<String>,
    Asked(given): Asked<Vec<(String, String)>>,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let typed: Typed = given.into_iter().collect();
    let gathered = gather(&app, &me, &here).await?;
    let walk = Walk::of(&here, me.sign_in(), &typed, &gathered, false);
    let unread = walk.start.as_ref().is_some_and(|s| s.battery.says.is_some() || s.reservoir.says.is_some());
    let status = if unread { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    page(status, &StartCheckPage { frame, walk })
}

/// Each of the walks for a tablet to keep, by its `for`. What lies in a draft the tablet adds itself.
pub fn to_keep(
    here: &UnitHere,
    me: &SignIn,
    dossiers: Vec<(DossierKey, Dossier)>,
    in_shop: InShop,
) -> Result<BTreeMap<&'static str, String>, Oops> {
    let gathered = Gathered { dossiers, in_shop };
    let walk = |(when, ..): (AppliesWhen, _, _)| {
        let typed = Typed::default().with("for", when.as_str());
        Ok((when.as_str(), Walk::of(here, me, &typed, &gathered, true).render()?))
    };
    TABS.into_iter().map(walk).collect()
}

impl Walk {
    fn of(here: &UnitHere, me: &SignIn, typed: &Typed, gathered: &Gathered, kept: bool) -> Self {
        let when = TABS.iter().find(|(when, ..)| when.as_str() == typed.raw("for")).unwrap_or(&TABS[0]);
        let (when, _, title) = *when;
        let picture = Picture::of(&gathered.dossiers, here.schedule());
        let mut checks = marked(here.schedule(), when, typed);
        let walked = stops(&checks, here, &picture);
        let mut start = None;
        if when == AppliesWhen::Start {
            let cold = marked(here.schedule(), AppliesWhen::ColdStart, typed);
            let mut view = StartView::of(here, me, typed, &[&checks, &cold], gathered);
            view.cold_stops = (kept || view.answer.cold.is_some()).then(|| stops(&cold, here, &picture));
            if view.answer.cold.is_some() {
                checks.extend(cold);
            }
            start = Some(view);
        }
        Self {
            kept,
            unit: here.unit.to_string(),
            title,
            about: about(here),
            tabs: tabs(here, when),
            action: paths::StartCheck(here.unit.clone()).to_string(),
            // What a kept page goes by may have changed: its script says it anew.
            hidden: hidden(when, start.as_ref().filter(|_| !kept)),
            cautions: cautions(when),
            start,
            stops: walked,
            to_write: not_right(&checks, here),
            otherwise: otherwise(&checks, here, &picture),
            unmarked: if kept && !checks.is_empty() { String::new() } else { unmarked(&checks) },
            handover: paths::Handover(here.unit.clone()).to_string(),
        }
    }
}

fn cautions(when: AppliesWhen) -> &'static [&'static str] {
    match when {
        AppliesWhen::Start | AppliesWhen::ColdStart => START,
        AppliesWhen::BrakeSetUp => BRAKES,
        AppliesWhen::Parking => PARKING,
    }
}

struct Gathered {
    dossiers: Vec<(DossierKey, Dossier)>,
    in_shop: InShop,
}

/// What the book has of the unit, and what lies in this person's own draft.
async fn gather(app: &App, me: &Me, here: &UnitHere) -> Result<Gathered, Oops> {
    let mut db = app.desk().read().await?;
    let mut dossiers = store::dossiers_of(&mut db, &here.unit).await?;
    let draft = store::draft_of(&mut db, me.sign_in(), &here.unit).await?;
    let in_shop = shop::store::in_shop(&mut db, &here.unit).await?;
    for (subject, fact) in drafted(here, me.sign_in(), draft.as_ref(), None) {
        match dossiers.iter_mut().find(|(key, _)| key.subject == subject) {
            Some((_, dossier)) => dossier.add(fact),
            None => {
                let key = DossierKey { unit: here.unit.clone(), subject };
                dossiers.push((key, Dossier::of(vec![fact])));
            }
        }
    }
    Ok(Gathered { dossiers, in_shop })
}

fn about(here: &UnitHere) -> String {
    match here.card() {
        Some(card) => format!("Class {}", card.class),
        None => "Not on the roster: the book has no checks for it".to_owned(),
    }
}

fn tabs(here: &UnitHere, now: AppliesWhen) -> Vec<Tab> {
    let path = paths::StartCheck(here.unit.clone());
    let tab = |(when, text, _): (AppliesWhen, _, _)| {
        let word = if when == AppliesWhen::Start { "" } else { when.as_str() };
        Tab { href: path.with(&[("for", word)]), text, here: when == now }
    };
    TABS.map(tab).into()
}

/// What an entry of an attempt begins with besides what is typed.
fn hidden(when: AppliesWhen, start: Option<&StartView>) -> Vec<(&'static str, String)> {
    let mut hidden = vec![("for", when.as_str().to_owned())];
    if let Some(StartView { answer, .. }) = start {
        let long = if answer.cold.is_some() { "yes" } else { "no" };
        hidden.push(("attempt", answer.attempt.to_string()));
        hidden.push(("after_long_shutdown", long.to_owned()));
        if answer.verdict != Verdict::NotNow {
            hidden.push(("motors", answer.verdict.as_str().to_owned()));
        }
    }
    hidden
}

fn unmarked(checks: &[Marked<'_>]) -> String {
    let (all, open) = (checks.len(), checks.iter().filter(|one| one.right.is_none()).count());
    match (all, open) {
        (0, _) => "The schedule has no checks for this. Local instructions say what is looked at.".to_owned(),
        (_, 0) => format!("{} marked.", count(all as u64, "check", "checks")),
        (all, open) => format!("{open} of {} not marked yet.", count(all as u64, "check", "checks")),
    }
}

const VOLTS: &str = "battery_rest_v";
const PSI: &str = "main_reservoir_psi";
const COCK: &str = "test_cock_result";

/// The sentences beside volts and psi, if they are no figures.
type Unread = (Option<String>, Option<String>);

fn readings(typed: &Typed, checks: &[&[Marked<'_>]; 2]) -> (Readings, Unread) {
    let marked = || checks.iter().copied().flatten();
    let ((battery_rest_v, volts_says), (main_reservoir_psi, psi_says)) =
        (figure(typed, VOLTS, 200.0), figure(typed, PSI, 250.0));
    let stands = marked().filter(|one| one.right == Some(false));
    let stands = stands.filter(|one| one.check.prevents.contains(&Prevents::Start));
    let seen_on = marked().filter(|one| one.right == Some(true)).filter_map(|one| one.check.device.clone());
    let readings = Readings {
        battery_rest_v,
        main_reservoir_psi,
        test_cock: TestCock::parse(typed.raw(COCK)),
        shut_down: ShutDown::parse(typed.raw("shut_down")),
        not_right: stands.map(|one| one.check.text.trim_end_matches('.').to_owned()).collect(),
        seen_on: seen_on.collect::<Vec<Tag>>(),
    };
    (readings, (volts_says, psi_says))
}

/// As in an entry's form, `64,5` is a figure, too.
fn figure(typed: &Typed, name: &str, most: f64) -> (Option<f64>, Option<String>) {
    let Some(text) = typed.stated(name) else { return (None, None) };
    match text.replace(',', ".").parse::<f64>() {
        Ok(figure) if (0.0..=most).contains(&figure) => (Some(figure), None),
        _ => (None, Some(format!("Write a figure from 0 to {most}, like 64.5, or leave it empty."))),
    }
}

impl StartView {
    fn of(
        here: &UnitHere,
        me: &SignIn,
        typed: &Typed,
        checks: &[&[Marked<'_>]; 2],
        gathered: &Gathered,
    ) -> Self {
        let (readings, (volts_says, psi_says)) = readings(typed, checks);
        let zone = &here.world.railway.zone;
        let (people, schedule, now) = (&here.world.people, here.schedule(), here.now);
        let book = in_book(
            &gathered.dossiers,
            gathered.in_shop.clone(),
            &Beside { me, people, zone, schedule, now },
        );
        let answer = start_answer(&Situation { picture_from: now, book, readings }, zone, now);
        Self {
            from_the_book: [VOLTS, PSI, COCK, "shut_down"].iter().all(|name| typed.stated(name).is_none()),
            cold_stops: None,
            cock: Choice::of(COCK, "Test cocks, blown before cranking", typed.raw(COCK), COCKS).few(),
            shut_down: shut_down(here, typed),
            battery: Field::number(VOLTS, "Battery at rest, V", typed.raw(VOLTS)).says(volts_says),
            reservoir: Field::number(PSI, "Main reservoir, psi", typed.raw(PSI)).says(psi_says),
            attempt: paths::WriteKind(here.unit.clone(), Kind::EngineStart.as_str().to_owned()).to_string(),
            answer,
        }
    }
}

const COCKS: Words = words::TEST_COCK;

fn shut_down(here: &UnitHere, typed: &Typed) -> Choice {
    let limit = here.schedule().and_then(|s| s.start.long_shutdown_h);
    let long = limit.map(|hours| format!("Long is from {hours} h on. ")).unwrap_or_default();
    let keys = [("short", "Not long"), ("long", "Long, or not known")];
    let choice = Choice::of("shut_down", "How long has it been shut down?", typed.raw("shut_down"), &keys);
    choice.few().hint(&format!("{long}Leave it to go by the book."))
}
