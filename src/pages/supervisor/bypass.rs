//! One opening: everything about it, the unit's ground-relay history around it, its reviews, and the form to
//! sign one.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use sqlx::SqliteConnection;

use super::{
    around::{self, Around, Happened},
    bypasses::about,
    known, rights,
    seal_rows::{self, SealRow},
    told_of::{ReportLink, ToldOf},
    words,
};
use crate::{
    base::{EntryId, Instant, SignIn, instant::DAY},
    desk::{World, oversee},
    oversight::{self, KeptReview, Line, Standing, store::Tried},
    pages::drawn::{
        form::{Choice, Field},
        picture::opening::Opening,
        rules,
        told::{EntryLine, fold, named, said},
    },
    people::Act,
    reports,
    rules::{
        Bypass, Fact, Finding, Rule,
        fact::Hand,
        register::Authorised,
        store::{self, Wanted},
    },
    web::{Answer, App, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "supervisor/bypass.html")]
pub(super) struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    device: String,
    begins: String,
    open: bool,
    unauthorised: bool,
    standing: &'static str,
    facts: Vec<(String, String)>,
    findings: Vec<Said>,
    grants: Vec<String>,
    entries: Vec<EntryLine>,
    reports: Vec<ReportLink>,
    history: Vec<EntryLine>,
    /// When the cutout was seen closed in between, told together.
    seen: Vec<String>,
    reviews: Vec<Review>,
    /// Reviews that were signed and refused.
    tried: Vec<String>,
    picture: Opening,
    happened: Vec<Happened>,
    found: bool,
    people: Vec<Person>,
    seals: Vec<SealRow>,
    seals_path: String,
    changed: bool,
    /// The pages about it as a file for those who doubt it.
    pack: String,
    sign: Sign,
}

struct Person {
    path: String,
    who: String,
}

struct Said {
    name: &'static str,
    sentence: String,
    /// When it ended; what it says of the opening stays.
    ended: Option<String>,
}

struct Review {
    by: String,
    at: String,
    judgement: &'static str,
    words: String,
    holds: bool,
}

/// The form, or why there is none.
enum Sign {
    Form(Box<Form>),
    Refused(String),
}

struct Form {
    action: String,
    signer: String,
    unit: String,
    seen_seq: u64,
    /// The last review shown; 0: none.
    seen_review: u64,
    judgement: Choice,
    words: Field,
    password: Field,
    /// Above the form: something changed since the page was opened.
    says: Option<String>,
}

/// What was typed into the form before, with the sentences beside it.
#[derive(Default)]
pub(super) struct Typed {
    pub judgement: String,
    pub words: String,
    pub judgement_says: Option<String>,
    pub words_says: Option<String>,
    pub password_says: Option<String>,
    pub says: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    let view = look_up(&app, frame, &me, &id, Typed::default()).await?;
    page(StatusCode::OK, &view)
}

/// Loads all about one opening. `typed` is what a refused form held.
pub(super) async fn look_up(app: &App, frame: Frame, me: &Me, id: &str, typed: Typed) -> Result<View, Oops> {
    let (world, now) = (app.world(), app.now());
    let id: EntryId = id.parse().map_err(|_| Oops::NotFound(NOT_THERE.into()))?;
    let mut db = app.desk().read().await?;
    let line = oversight::store::by_id(&mut db, id).await?.ok_or_else(|| Oops::NotFound(NOT_THERE.into()))?;
    let findings = findings_about(&mut db, &line, &world, now).await?;
    let own = reports::store::Wanted { ids: Some(&line.bypass.entries), ..Default::default() };
    let own = reports::store::entries(&mut db, &own).await?;
    let history = history(&mut db, &line, &world).await?;
    let around = Around::read(&mut db, &line, now).await?;
    let tried = oversight::store::refused_about(&mut db, &line.bypass.entries).await?;
    drop(db);
    let sign = sign(me, &line, &world, typed);
    let read = Read { line, findings, own, history, around, tried };
    Ok(view(frame, read, sign, &world, now))
}

/// Everything that was read of one opening.
struct Read {
    line: Line,
    findings: Vec<Finding>,
    own: Vec<reports::store::EntryRow>,
    history: Vec<EntryLine>,
    around: Around,
    tried: Vec<Tried>,
}

/// What the rules say of one opening, ended or not.
pub(super) async fn findings_about(
    db: &mut SqliteConnection,
    line: &Line,
    world: &World,
    now: Instant,
) -> Result<Vec<Finding>, sqlx::Error> {
    let about_unit =
        Wanted { unit: Some(&line.bypass.unit), rules: Some(&Rule::GROUND_PROTECTION), ..Wanted::default() };
    let mut findings = store::all_until(db, &about_unit, now).await?;
    findings.extend(oversight::joined(&world.ground(), std::slice::from_ref(line), now));
    findings.retain(|finding| about(finding, &line.bypass));
    Ok(findings)
}

pub(super) const NOT_THERE: &str = "The register holds no such opening: look at the unit's openings again.";

/// How far the unit's ground-relay history is shown to either side of an opening.
const AROUND: i64 = 30 * DAY;

/// Ground-relay operations and everything about this cutout, around the opening.
async fn history(db: &mut SqliteConnection, line: &Line, world: &World) -> Result<Vec<EntryLine>, Oops> {
    let bypass = &line.bypass;
    let (from, to) =
        (bypass.begins().minus(AROUND), bypass.closed_at.unwrap_or(bypass.begins()).plus(AROUND));
    let wanted =
        reports::store::Wanted { unit: Some(&bypass.unit), happened_by: Some(to), ..Default::default() };
    let rows = reports::store::entries(db, &wanted).await?;
    let device = bypass.device.as_str();
    let near = rows.iter().filter(|row| {
        row.at >= from.0 && (row.kind == "ground_relay" || row.device.as_deref() == Some(device))
    });
    let others = near.filter(|row| !bypass.entries.iter().any(|id| id.to_string() == row.id));
    Ok(others.take(100).map(|row| EntryLine::of(row, world)).collect())
}

fn view(frame: Frame, read: Read, sign: Sign, world: &World, now: Instant) -> View {
    let Read { line, findings, own, history, around, tried } = read;
    let (bypass, zone) = (&line.bypass, &world.railway.zone);
    let schedule = world.roster.schedule_at(&bypass.unit, bypass.begins());
    let standing = line.standing(now);
    let told = ToldOf::of(&own, bypass.id, zone);
    let (history, seen) = fold(history);
    let sketch = around.sketch(bypass, zone);
    let facts_of: Vec<&Fact> = around.ground.facts().iter().filter(|fact| fact.withdrawn.is_none()).collect();
    View {
        frame,
        unit: bypass.unit.to_string(),
        unit_path: paths::Handover(bypass.unit.clone()).to_string(),
        device: named(&bypass.device, schedule),
        begins: zone.in_words(bypass.begins()),
        open: standing == Standing::Open,
        unauthorised: bypass.authorised == Authorised::Neither,
        standing: words::standing(standing),
        facts: facts(&line, &told, world, now),
        findings: findings.into_iter().map(|finding| said_of(finding, world, now)).collect(),
        grants: rights::of_hands(&line, world),
        entries: own.iter().map(|row| EntryLine::of(row, world)).collect(),
        reports: told.reports,
        history,
        seen,
        reviews: line.reviews.iter().map(|review| shown(review, &line, world)).collect(),
        tried: tried.iter().map(|tried| tried_says(tried, world)).collect(),
        picture: around::draw(&sketch, bypass, zone),
        happened: around::happened(&sketch, zone),
        found: bypass.found_open_at.is_some(),
        people: people(bypass),
        seals: seals_around(seal_rows::rows(&facts_of, &bypass.device, zone), bypass),
        seals_path: paths::BypassSeals(bypass.unit.clone()).to_string(),
        changed: standing == Standing::ChangedSinceReviewed,
        pack: paths::Pack.with(&[("bypass", &bypass.id.to_string())]),
        sign,
    }
}

fn said_of(finding: Finding, world: &World, now: Instant) -> Said {
    let zone = &world.railway.zone;
    Said {
        name: rules::name(finding.rule),
        ended: finding.until.filter(|until| *until <= now).map(|until| zone.in_words(until)),
        sentence: finding.sentence,
    }
}

fn tried_says(tried: &Tried, world: &World) -> String {
    let when = world.railway.zone.in_words(tried.at);
    format!(
        "{} signed a review {when}, and it was refused: {} Page {} of the book.",
        tried.by, tried.says, tried.seq
    )
}

pub(super) fn facts(line: &Line, told: &ToldOf, world: &World, now: Instant) -> Vec<(String, String)> {
    let (bypass, zone) = (&line.bypass, &world.railway.zone);
    let words_of = |word: &Option<String>| word.as_deref().map_or_else(|| "not stated".into(), said);
    let last_closed = bypass.last_closed_at.map(|at| {
        let by = bypass.last_closed_by.as_ref().map_or_else(String::new, |who| format!(", told by {who}"));
        format!("{}{by}", zone.in_words(at))
    });
    let all = [
        ("Opened", Some(known::opened(bypass, told, zone))),
        ("By whom", Some(words::hand(&bypass.opened_by))),
        ("Found open", bypass.found_open_at.map(|at| zone.in_words(at))),
        ("Found by", bypass.found_by.as_ref().map(ToString::to_string)),
        ("Last known closed before", last_closed),
        (
            "Authorised then",
            Some(format!("{}: {}", words::authorised(bypass.authorised), bypass.authorised_why)),
        ),
        ("On whose word", Some(bypass.authorised_by.as_ref().map_or("nobody named".into(), words::hand))),
        ("How authorised", Some(told.authorised_how.clone())),
        ("Reference", Some(told.reference.clone())),
        ("Purpose", Some(words_of(&bypass.purpose))),
        ("Lock, tag or blue signal", Some(told.protection.clone())),
        ("Engine running", Some(told.engine_running.clone())),
        ("Power taken", Some(told.power_taken.clone())),
        ("Seal found", Some(words_of(&bypass.seal_found))),
        ("How long", Some(known::lasted(bypass, now))),
        ("When the book asks", Some(known::asks(bypass, now, zone))),
        ("Closed", Some(known::closed(bypass, zone))),
        ("Closed by", bypass.closed_by.as_ref().map(words::hand)),
        ("Seal applied", Some(words_of(&bypass.seal_applied))),
    ];
    all.into_iter().filter_map(|(name, says)| says.map(|says| (name.to_owned(), says))).collect()
}

/// The people with sign-in names that it names, each with the page of their rights and openings.
fn people(bypass: &Bypass) -> Vec<Person> {
    let hands = [Some(&bypass.opened_by), bypass.authorised_by.as_ref(), bypass.closed_by.as_ref()];
    let named = hands.into_iter().flatten().filter_map(Hand::person);
    let mut all: Vec<&SignIn> = named.chain(&bypass.found_by).collect();
    all.sort();
    all.dedup();
    let link = |who: &SignIn| Person {
        path: paths::BypassPerson(who.to_string()).to_string(),
        who: who.to_string(),
    };
    all.into_iter().map(link).collect()
}

/// The links of the chain while it stood open, the last before it and the two after it.
fn seals_around(rows: Vec<SealRow>, bypass: &Bypass) -> Vec<SealRow> {
    let begin = rows.partition_point(|row| row.to < bypass.begins()).saturating_sub(1);
    let end = bypass.closed_at.map_or(rows.len(), |closed| rows.partition_point(|row| row.at <= closed) + 2);
    let end = end.min(rows.len());
    rows.into_iter().take(end).skip(begin).collect()
}

fn shown(review: &KeptReview, line: &Line, world: &World) -> Review {
    Review {
        by: review.by.to_string(),
        at: world.railway.zone.in_words(review.at),
        judgement: words::judgement(&review.judgement),
        words: review.words.clone(),
        holds: line.review().is_some_and(|holds| holds.seq == review.seq),
    }
}

const JUDGEMENTS: &[(&str, &str)] =
    &[("in_order", "In order"), ("not_in_order", "Not in order"), ("cannot_tell", "Cannot tell")];

fn sign(me: &Me, line: &Line, world: &World, typed: Typed) -> Sign {
    if !me.may(Act::ReviewBypass) {
        return Sign::Refused("Only a supervisor reviews a bypass.".into());
    }
    if let Some(why) = oversee::own_hand(&line.bypass, me.sign_in(), &world.people) {
        return Sign::Refused(why);
    }
    Sign::Form(Box::new(Form {
        action: paths::BypassReview(line.bypass.id).to_string(),
        signer: me.sign_in().to_string(),
        unit: line.bypass.unit.to_string(),
        seen_seq: line.last_seq(),
        seen_review: line.reviews.last().map_or(0, |review| review.seq),
        judgement: Choice::of("judgement", "This opening was", &typed.judgement, JUDGEMENTS)
            .few()
            .says(typed.judgement_says),
        words: Field::text("words", "In your words", &typed.words)
            .hint("What you looked at, whom you asked, what follows.")
            .says(typed.words_says),
        password: Field::password("password", "Your password, as your signature").says(typed.password_says),
        says: typed.says,
    }))
}
