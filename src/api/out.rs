//! Findings, bypasses and entries as they leave the book: the names of the contract, for the API and the console.

use serde::Serialize;
use sqlx::SqliteConnection;

use crate::{
    base::{ClassName, EntryId, Instant, Tag, UnitName},
    desk::{
        World,
        history::{self, History},
        judge::judge_batch,
        world::is_late,
    },
    oversight::{self, Line},
    reports,
    rules::{
        Finding, Judgement, Rule,
        explained::{explained_by, take_over_ranks},
        fact::Hand,
        store::{Decisions, State, Wanted, all_until, decisions, open_at},
    },
};

type Sql<T> = Result<T, sqlx::Error>;

/// What is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Question {
    /// Judge only what had happened by then, as known now; `None`: as the book stands.
    pub as_of: Option<Instant>,
    pub now: Instant,
    /// Also what has ended.
    pub history: bool,
}

impl Question {
    fn then(&self) -> Instant {
        self.as_of.unwrap_or(self.now)
    }
}

/// One finding. Field order is column order.
#[derive(Clone, Debug, Serialize, schemars::JsonSchema)]
pub struct FindingOut {
    pub rule: Rule,
    pub key: String,
    pub unit: Option<UnitName>,
    pub device: Option<Tag>,
    pub units: Vec<UnitName>,
    pub devices: Vec<Tag>,
    pub class: Option<ClassName>,
    pub since: Instant,
    pub until: Option<Instant>,
    pub state: State,
    pub severity: f64,
    pub rank: Option<f64>,
    pub sentence: String,
    pub entries: Vec<EntryId>,
    pub figures: serde_json::Map<String, serde_json::Value>,
    /// The key of the line about a shared cause that explains this one, and carries its rank.
    pub explained_by: Option<String>,
}

/// Findings in the board's order: certain ones first, newest first, then by rank.
pub async fn findings(db: &mut SqliteConnection, world: &World, question: Question) -> Sql<Vec<FindingOut>> {
    let then = question.then();
    let decisions = decisions(db, None, then).await?;
    let (mut found, lines) = match question.as_of {
        Some(then) => {
            let judged = judged_as_of(db, world, then).await?;
            (judged.findings, oversight::store::with_reviews(db, judged.bypasses, then).await?)
        }
        None => {
            let found = match question.history {
                true => all_until(db, &Wanted::default(), then).await?,
                false => open_at(db, &Wanted::default(), then).await?,
            };
            (found, oversight::store::register(db, then).await?)
        }
    };
    found.extend(oversight::joined(&world.ground(), &lines, then));
    found.retain(|f| f.since <= then && (question.history || f.open_at(then)));
    let open: Vec<Finding> = found.iter().filter(|f| f.open_at(then)).cloned().collect();
    let explained = explained_by(&open);
    take_over_ranks(&mut found, &explained);
    found.sort_by(|a, b| {
        order(a).partial_cmp(&order(b)).unwrap_or(std::cmp::Ordering::Equal).then_with(|| a.key.cmp(&b.key))
    });
    Ok(found
        .into_iter()
        .map(|finding| {
            let explained_by = explained.get(&finding.key).cloned();
            FindingOut { explained_by, ..finding_out(finding, &decisions, then) }
        })
        .collect())
}

fn order(finding: &Finding) -> (f64, i64) {
    (finding.rank.map_or(f64::MIN, |rank| -rank), -finding.since.0)
}

fn finding_out(finding: Finding, decisions: &Decisions, then: Instant) -> FindingOut {
    FindingOut {
        state: decisions.state(&finding, then),
        rule: finding.rule,
        key: finding.key,
        unit: finding.unit,
        device: finding.device,
        units: finding.units,
        devices: finding.devices,
        class: finding.class,
        since: finding.since,
        until: finding.until,
        severity: finding.severity,
        rank: finding.rank,
        sentence: finding.sentence,
        entries: finding.entries,
        figures: finding.figures,
        explained_by: None,
    }
}

/// Everything judged anew from what had happened by a moment.
async fn judged_as_of(db: &mut SqliteConnection, world: &World, then: Instant) -> Sql<Judgement> {
    let History { units, dossiers, runs } = history::up_to(db, world, then).await?;
    Ok(judge_batch(world, &units, &dossiers, &runs))
}

/// One opening of a cutout. Field order is column order.
#[derive(Clone, Debug, Serialize, schemars::JsonSchema)]
pub struct BypassOut {
    pub id: EntryId,
    pub unit: UnitName,
    pub class: Option<ClassName>,
    pub device: Tag,
    pub opened_at: Option<Instant>,
    pub found_open_at: Option<Instant>,
    pub opened_by: String,
    pub authorised: crate::rules::register::Authorised,
    pub authorised_why: String,
    pub authorised_by: Option<String>,
    pub reference: Option<String>,
    pub purpose: Option<String>,
    pub seal_found: Option<String>,
    pub seal_applied: Option<String>,
    pub closed_at: Option<Instant>,
    pub closed_by: Option<String>,
    pub open_hours: f64,
    pub state: oversight::Standing,
    pub reviewed_by: Option<String>,
    pub reviewed_at: Option<Instant>,
    pub judgement: Option<String>,
    pub entries: Vec<EntryId>,
}

/// The register, the latest opening first. Without `history` only what is open or not reviewed.
pub async fn bypasses(db: &mut SqliteConnection, world: &World, question: Question) -> Sql<Vec<BypassOut>> {
    let then = question.then();
    let lines = match question.as_of {
        Some(then) => {
            let judged = judged_as_of(db, world, then).await?.bypasses;
            oversight::store::with_reviews(db, judged, then).await?
        }
        None => oversight::store::register(db, then).await?,
    };
    let mut out: Vec<BypassOut> = lines.into_iter().map(|line| bypass_out(line, then)).collect();
    out.retain(|b| question.history || !matches!(b.state, oversight::Standing::Reviewed));
    out.sort_by_key(|b| std::cmp::Reverse((b.opened_at.or(b.found_open_at), b.id)));
    Ok(out)
}

fn hand(hand: Hand) -> String {
    match hand {
        Hand::Person(sign_in) => sign_in.to_string(),
        Hand::Named(name) => name,
        Hand::NotKnown => "not_known".to_owned(),
    }
}

fn bypass_out(line: Line, then: Instant) -> BypassOut {
    let review = line.review().cloned();
    let (state, hours) = (line.standing(then), line.open_hours(then));
    let b = line.bypass;
    BypassOut {
        id: b.id,
        unit: b.unit,
        class: b.class,
        device: b.device,
        opened_at: b.opened_at,
        found_open_at: b.found_open_at,
        opened_by: hand(b.opened_by),
        authorised: b.authorised,
        authorised_why: b.authorised_why,
        authorised_by: b.authorised_by.map(hand),
        reference: b.reference,
        purpose: b.purpose,
        seal_found: b.seal_found,
        seal_applied: b.seal_applied,
        closed_at: b.closed_at,
        closed_by: b.closed_by.map(hand),
        open_hours: (hours * 100.0).round() / 100.0,
        state,
        reviewed_by: review.as_ref().map(|r| r.by.to_string()),
        reviewed_at: review.as_ref().map(|r| r.at),
        judgement: review.map(|r| r.judgement),
        entries: b.entries,
    }
}

/// One entry as it now stands. Field order is column order.
#[derive(Clone, Debug, Serialize, schemars::JsonSchema)]
pub struct EntryOut {
    pub entry: String,
    pub report: String,
    pub unit: String,
    pub class: Option<String>,
    pub kind: String,
    pub at: Option<Instant>,
    pub found_at: Option<Instant>,
    pub device: Option<String>,
    pub place: Option<String>,
    pub throttle: Option<String>,
    pub author: String,
    pub channel: String,
    pub recorded_at: Instant,
    pub late: YesNo,
    pub amended: YesNo,
    /// The fields of its kind, as it was filed or last amended.
    pub detail: serde_json::Value,
}

/// A flag, written yes or no.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct YesNo(pub bool);
impl schemars::JsonSchema for YesNo {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Flag".into()
    }
    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "string", "enum": ["yes", "no"] })
    }
}
impl Serialize for YesNo {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(if self.0 { "yes" } else { "no" })
    }
}

/// Entries, the latest first. With `history` also those that were withdrawn.
pub async fn entries(db: &mut SqliteConnection, question: Question) -> Sql<Vec<EntryOut>> {
    let wanted = reports::store::Wanted { happened_by: question.as_of, ..Default::default() };
    let mut rows = reports::store::entries(db, &wanted).await?;
    rows.retain(|row| question.history || !row.withdrawn);
    Ok(rows.into_iter().map(entry_out).collect())
}

fn entry_out(row: reports::store::EntryRow) -> EntryOut {
    let (at, recorded_at) = (Instant(row.at), Instant(row.recorded_at));
    EntryOut {
        entry: row.id,
        report: row.report,
        unit: row.unit,
        class: row.class,
        kind: row.kind,
        at: (!row.found).then_some(at),
        found_at: row.found.then_some(at),
        device: row.device,
        place: row.place,
        throttle: row.throttle,
        author: row.author,
        channel: row.channel,
        recorded_at,
        late: YesNo(is_late(at, recorded_at)),
        amended: YesNo(row.amended.is_some()),
        detail: serde_json::from_str(&row.detail).unwrap_or(serde_json::Value::Null),
    }
}

/// The columns of each list, in the order of the contract.
pub const FINDINGS: &[&str] = &[
    "rule",
    "key",
    "unit",
    "device",
    "units",
    "devices",
    "class",
    "since",
    "until",
    "state",
    "severity",
    "rank",
    "sentence",
    "entries",
    "figures",
    "explained_by",
];
pub const BYPASSES: &[&str] = &[
    "id",
    "unit",
    "class",
    "device",
    "opened_at",
    "found_open_at",
    "opened_by",
    "authorised",
    "authorised_why",
    "authorised_by",
    "reference",
    "purpose",
    "seal_found",
    "seal_applied",
    "closed_at",
    "closed_by",
    "open_hours",
    "state",
    "reviewed_by",
    "reviewed_at",
    "judgement",
    "entries",
];
pub const ENTRIES: &[&str] = &[
    "entry",
    "report",
    "unit",
    "class",
    "kind",
    "at",
    "found_at",
    "device",
    "place",
    "throttle",
    "author",
    "channel",
    "recorded_at",
    "late",
    "amended",
    "detail",
];
