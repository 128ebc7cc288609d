//! One repair: what it is to answer, what was done and measured, what was found, and whether it held.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};
use sqlx::SqliteConnection;

use super::{
    super::{
        measure,
        signing::{fresh, signer},
    },
    RepairLine, capital, find, measured_for,
    proof::{Proof, proofs},
    subjects,
};
use crate::{
    base::Instant,
    desk::World,
    pages::drawn::{form::Field, rules, told::EntryLine},
    people::Act,
    reports,
    rules::store,
    shop::{self, Before, Repair, measurements::store::Kept},
    web::{Answer, App, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "shop/repair.html")]
struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    of: String,
    open: bool,
    opened: String,
    /// On top: somebody was quicker.
    problems: Vec<String>,
    /// What was typed on a closing form that came too late.
    typed: Vec<(&'static str, String)>,
    proofs: Vec<Proof>,
    answers: Vec<Answered>,
    entries: Vec<EntryLine>,
    found_in_shop: bool,
    why: String,
    steps: Vec<StepLine>,
    measured: Vec<measure::Line>,
    measure: String,
    found: Option<Found>,
    before: Vec<Earlier>,
    may_work: bool,
    work: Work,
    close: String,
    amend: String,
    release: String,
}

/// A line of the board that it is to answer.
struct Answered {
    path: String,
    what: String,
    says: String,
    state: &'static str,
    /// Another repair answered it.
    by: Option<RepairLine>,
}

struct StepLine {
    by: String,
    at: String,
    words: String,
    parts: String,
}

/// What its closing says.
struct Found {
    cause: String,
    replaced: String,
    words: String,
    parts: String,
    signed: String,
}

/// What it said before it was corrected.
struct Earlier {
    cause: String,
    says: String,
    corrected: String,
    reason: String,
}

/// The form of a step.
struct Work {
    action: String,
    step: String,
    signer: String,
    words: Field,
    parts: Field,
    at: Field,
    by: Field,
    password: Field,
}

/// What was typed into a form on this page, with the sentences beside it.
#[derive(Default)]
pub struct Typed {
    pub problems: Vec<String>,
    /// Of a closing that came too late.
    pub closing: Vec<(&'static str, String)>,
    pub step: String,
    pub words: String,
    pub parts: String,
    pub at: String,
    pub by: String,
    pub words_says: Option<String>,
    pub at_says: Option<String>,
    pub by_says: Option<String>,
    pub password_says: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    again(&app, frame, &me, &id, StatusCode::OK, Typed::default()).await
}

pub async fn again(
    app: &App,
    frame: Frame,
    me: &Me,
    id: &str,
    status: StatusCode,
    typed: Typed,
) -> Result<Response, Oops> {
    let world = app.world();
    let read = Read::of(app, id, &world).await?;
    page(status, &view(frame, me, &world, read, typed))
}

/// What the file holds of a repair.
struct Read {
    repair: Repair,
    answers: Vec<Answered>,
    entries: Vec<reports::store::EntryRow>,
    measured: Vec<Kept>,
    proofs: Vec<Proof>,
}

impl Read {
    async fn of(app: &App, id: &str, world: &World) -> Result<Self, Oops> {
        let now = app.now();
        let mut db = app.desk().read().await?;
        let repair = find(&mut db, id).await?;
        let answers = answered(&mut db, &repair, world, now).await?;
        let own = reports::store::Wanted { ids: Some(&repair.entries), ..Default::default() };
        let entries = reports::store::entries(&mut db, &own).await?;
        let measured = measured_for(&mut db, repair.id).await?;
        let proofs = proofs(&mut db, world, &repair, now).await?;
        Ok(Self { repair, answers, entries, measured, proofs })
    }
}

fn view(frame: Frame, me: &Me, world: &World, read: Read, mut typed: Typed) -> View {
    let Read { repair, answers, entries, measured, proofs } = read;
    let zone = &world.railway.zone;
    View {
        frame,
        unit: repair.unit.to_string(),
        unit_path: paths::UnitShop(repair.unit.clone()).to_string(),
        of: subjects(&repair, world),
        open: repair.closed_at.is_none(),
        opened: format!("{}, {}", repair.opened_by, zone.in_words(repair.opened_at)),
        problems: std::mem::take(&mut typed.problems),
        typed: std::mem::take(&mut typed.closing),
        proofs,
        answers,
        entries: entries.iter().map(|row| EntryLine::of(row, world)).collect(),
        found_in_shop: repair.found_in_shop(),
        why: repair.why.clone().unwrap_or_default(),
        steps: steps(&repair, world),
        measured: measured.iter().map(|kept| measure::Line::of(kept, &world.railway.zone)).collect(),
        measure: paths::MeasurementNew(repair.unit.clone()).with(&[("repair", &repair.id.to_string())]),
        found: found(&repair, world),
        before: repair.before.iter().map(|before| earlier(before, world)).collect(),
        may_work: me.may(Act::WorkOnUnits),
        work: work(&repair, me, typed),
        close: paths::RepairClose(repair.id.to_string()).to_string(),
        amend: paths::RepairAmend(repair.id.to_string()).to_string(),
        release: paths::Release(repair.unit.clone()).to_string(),
    }
}

async fn answered(
    db: &mut SqliteConnection,
    repair: &Repair,
    world: &World,
    now: Instant,
) -> Result<Vec<Answered>, sqlx::Error> {
    let decisions = store::decisions(db, Some(&repair.unit), now).await?;
    let all = shop::store::repairs_of(db, std::slice::from_ref(&repair.unit)).await?;
    let mut lines = Vec::new();
    for key in &repair.findings {
        let path = paths::Finding(key.clone()).to_string();
        let Some(finding) = store::by_key(db, key).await? else {
            let says = "This line is no more: what was written since took it back.".to_owned();
            lines.push(Answered { path, what: key.clone(), says, state: "ended", by: None });
            continue;
        };
        let other = all.iter().filter(|other| other.id != repair.id && other.is_of(finding.device.as_ref()));
        let mut other = other.filter(|other| finding.until.is_some() && other.closed_at == finding.until);
        let of =
            finding.device.as_ref().map(|tag| super::of_what(Some(tag), &repair.unit, finding.since, world));
        lines.push(Answered {
            path,
            what: of.map_or_else(String::new, |of| format!("{of} · ")) + rules::name(finding.rule),
            says: finding.sentence.clone(),
            state: super::super::finding::state_says(decisions.state(&finding, now)),
            by: other.next().map(|other| RepairLine::of(other, world)),
        });
    }
    Ok(lines)
}

fn steps(repair: &Repair, world: &World) -> Vec<StepLine> {
    let line = |step: &shop::Step| StepLine {
        by: step.by.to_string(),
        at: world.railway.zone.in_words(step.at),
        words: step.words.clone(),
        parts: step.parts.clone().unwrap_or_default(),
    };
    repair.steps.iter().map(line).collect()
}

fn found(repair: &Repair, world: &World) -> Option<Found> {
    let (at, by) = (repair.closed_at?, repair.closed_by.as_ref()?);
    let replaced = repair.subjects().flatten().filter(|tag| repair.replaced(tag));
    let mut replaced: Vec<String> =
        replaced.map(|tag| super::of_what(Some(tag), &repair.unit, at, world)).collect();
    if let (Some(from), Some(first)) = (&repair.from, replaced.first_mut()) {
        first.push_str(&format!(", by the one of {from}"));
    }
    Some(Found {
        cause: capital(repair.cause.as_deref().unwrap_or(shop::NOT_KNOWN)),
        replaced: replaced.join(", "),
        words: repair.words.clone().unwrap_or_default(),
        parts: repair.parts.clone().unwrap_or_default(),
        signed: format!("{by}, {}", world.railway.zone.in_words(at)),
    })
}

fn earlier(before: &Before, world: &World) -> Earlier {
    let replaced = before.new_life.then(|| "Replaced.".to_owned());
    let parts = before.parts.as_ref().map(|parts| format!("Parts: {parts}"));
    let says = [replaced, before.words.clone(), parts].into_iter().flatten().collect::<Vec<_>>().join(" ");
    Earlier {
        cause: capital(before.cause.as_deref().unwrap_or(shop::NOT_KNOWN)),
        says,
        corrected: format!("{}, {}", before.by, world.railway.zone.in_words(before.at)),
        reason: before.reason.clone(),
    }
}

fn work(repair: &Repair, me: &Me, typed: Typed) -> Work {
    let step = if typed.step.is_empty() { fresh().to_string() } else { typed.step };
    Work {
        action: paths::RepairWork(repair.id.to_string()).to_string(),
        step,
        signer: signer(me),
        words: Field::text("words", "What was done", &typed.words).says(typed.words_says),
        parts: Field::text("parts", "Parts used", &typed.parts)
            .hint("In your words; leave it empty for none."),
        at: Field::time("at", "When", &typed.at).hint("Leave it empty for now.").says(typed.at_says),
        by: Field::text(
            "by",
            "Who did it",
            if typed.by.is_empty() { me.sign_in().as_str() } else { &typed.by },
        )
        .hint("Sign-in name. Everybody who worked on it signs their own step, here on this screen too.")
        .says(typed.by_says),
        password: Field::password("password", "Their password, as their signature").says(typed.password_says),
    }
}
