//! Findings as the file keeps them, and what people decided about them. The rules' only SQL.
use std::collections::BTreeSet;

use sqlx::{AssertSqlSafe, QueryBuilder, Row, Sqlite, SqliteConnection, sqlite::SqliteRow};

use super::{Finding, Rule};
use crate::base::{EntryId, Instant, Tag, UnitName, words::words};

type Sql<T> = Result<T, sqlx::Error>;

words! {
    /// What became of a finding, joined from people's decisions when it is read.
    pub enum State { Open = "open", SetAside = "set_aside", InRepair = "in_repair", Proving = "proving", Reviewed = "reviewed", Ended = "ended", }
}

/// Which findings are wanted; nothing set is all that are open.
#[derive(Clone, Debug, Default)]
pub struct Wanted<'a> {
    pub unit: Option<&'a UnitName>,
    pub class: Option<&'a str>,
    pub rule: Option<Rule>,
    /// Only by one of these.
    pub rules: Option<&'a [Rule]>,
    /// About this device; a shared cause is about each that it names.
    pub device: Option<&'a Tag>,
    /// About any of these, as `unit`.
    pub units: Option<&'a BTreeSet<UnitName>>,
    /// At least so severe.
    pub severity: Option<f64>,
}

impl Wanted<'_> {
    /// Whether anything is left out but by `rules`.
    pub fn is_narrow(&self) -> bool {
        self.unit.is_some()
            || self.class.is_some()
            || self.rule.is_some()
            || self.device.is_some()
            || self.units.is_some()
            || self.severity.is_some()
    }

    /// Whether findings by this rule are wanted.
    pub fn has_rule(&self, rule: Rule) -> bool {
        self.rule.is_none_or(|wanted| wanted == rule) && self.rules.is_none_or(|rules| rules.contains(&rule))
    }

    /// Whether a finding is by unit, class and rules.
    pub fn has(&self, finding: &Finding) -> bool {
        let consist = finding.rule == Rule::SharedCause;
        let of_unit =
            |unit: &UnitName| finding.unit.as_ref() == Some(unit) || consist && finding.units.contains(unit);
        let of_device =
            |tag: &Tag| finding.device.as_ref() == Some(tag) || consist && finding.devices.contains(tag);
        let any = |units: &BTreeSet<UnitName>| {
            let own = finding.unit.as_ref().is_some_and(|unit| units.contains(unit));
            own || consist && finding.units.iter().any(|unit| units.contains(unit))
        };
        let of_class = |class: &str| finding.class.as_ref().is_some_and(|of| of.as_str() == class);
        self.unit.is_none_or(of_unit)
            && self.class.is_none_or(of_class)
            && self.has_rule(finding.rule)
            && self.device.is_none_or(of_device)
            && self.units.is_none_or(any)
            && self.severity.is_none_or(|least| finding.severity >= least)
    }
}

/// When the next finding begins or ends, or is no longer set aside, of those that are in the book now.
pub async fn next_change(db: &mut SqliteConnection, after: Instant) -> Sql<Option<Instant>> {
    let sql = "SELECT min(at) FROM (SELECT min(until) AS at FROM finding WHERE until > ?1
        UNION ALL SELECT min(since) FROM finding WHERE until > ?1 AND since > ?1
        UNION ALL SELECT min(since) FROM finding WHERE until IS NULL AND since > ?1
        UNION ALL SELECT min(until) FROM set_aside WHERE until > ?1)";
    let next: Option<i64> = sqlx::query_scalar(sql).bind(after.0).fetch_one(db).await?;
    Ok(next.map(Instant))
}

/// Findings open at a moment: certain ones first, newest first, then by rank.
pub async fn open_at(db: &mut SqliteConnection, wanted: &Wanted<'_>, then: Instant) -> Sql<Vec<Finding>> {
    let mut query = QueryBuilder::new("SELECT data FROM finding WHERE since <= ");
    query.push_bind(then.0).push(" AND (until IS NULL OR until > ").push_bind(then.0).push(")");
    narrow(&mut query, wanted);
    query.push(" ORDER BY rank IS NOT NULL, rank DESC, since DESC, key");
    read_all(db, query).await
}

/// Findings whether open or ended, in the same order.
pub async fn all_until(db: &mut SqliteConnection, wanted: &Wanted<'_>, then: Instant) -> Sql<Vec<Finding>> {
    let mut query = QueryBuilder::new("SELECT data FROM finding WHERE since <= ");
    query.push_bind(then.0);
    narrow(&mut query, wanted);
    query.push(" ORDER BY rank IS NOT NULL, rank DESC, since DESC, key");
    read_all(db, query).await
}

pub async fn by_key(db: &mut SqliteConnection, key: &str) -> Sql<Option<Finding>> {
    let row = sqlx::query("SELECT data FROM finding WHERE key = ?").bind(key).fetch_optional(db).await?;
    row.as_ref().map(read).transpose()
}

fn narrow(query: &mut QueryBuilder<Sqlite>, wanted: &Wanted<'_>) {
    if let Some(unit) = wanted.unit {
        // A line about a consist is every such unit's, whichever of them tells of it. Each part has an index of its own.
        query
            .push(" AND rowid IN (SELECT rowid FROM finding WHERE unit = ")
            .push_bind(unit.as_str().to_owned());
        query.push(" UNION SELECT rowid FROM finding WHERE rule = 'shared_cause' AND EXISTS (SELECT 1");
        query
            .push(" FROM json_each(data, '$.units') WHERE value = ")
            .push_bind(unit.as_str().to_owned())
            .push("))");
    }
    if let Some(class) = wanted.class {
        query.push(" AND class = ").push_bind(class.to_owned());
    }
    if let Some(rule) = wanted.rule {
        query.push(" AND rule = ").push_bind(rule.as_str());
    }
    if let Some(tag) = wanted.device {
        query.push(" AND (device = ").push_bind(tag.as_str().to_owned());
        query.push(
            " OR rule = 'shared_cause' AND EXISTS (SELECT 1 FROM json_each(data, '$.devices') WHERE value = ",
        );
        query.push_bind(tag.as_str().to_owned()).push("))");
    }
    if let Some(units) = wanted.units {
        let units = serde_json::json!(units).to_string();
        query.push(" AND (unit IN (SELECT value FROM json_each(").push_bind(units.clone());
        query.push(")) OR rule = 'shared_cause' AND EXISTS (SELECT 1 FROM json_each(data, '$.units') u");
        query.push(" WHERE u.value IN (SELECT value FROM json_each(").push_bind(units).push("))))");
    }
    if let Some(least) = wanted.severity {
        query.push(" AND severity >= ").push_bind(least);
    }
    if let Some(rules) = wanted.rules {
        let rules: Vec<&str> = rules.iter().map(|rule| rule.as_str()).collect();
        query.push(" AND rule IN (SELECT value FROM json_each(");
        query.push_bind(serde_json::json!(rules).to_string()).push("))");
    }
}

async fn read_all(db: &mut SqliteConnection, mut query: QueryBuilder<Sqlite>) -> Sql<Vec<Finding>> {
    query.build().fetch_all(db).await?.iter().map(read).collect()
}

fn read(row: &SqliteRow) -> Sql<Finding> {
    serde_json::from_str(row.try_get("data")?).map_err(|why| sqlx::Error::Decode(Box::new(why)))
}

/// What people decided, as far as it changes a finding's state.
#[derive(Clone, Debug, Default)]
pub struct Decisions {
    /// Rule, unit, device, and until when it is set aside.
    aside: Vec<(String, UnitName, Option<Tag>, Instant)>,
    under_repair: Vec<UnderRepair>,
    /// Entries of bypasses that were reviewed as they now stand.
    reviewed: std::collections::HashSet<EntryId>,
}

/// A repair under way: what it is of, and what it names.
#[derive(Clone, Debug, serde::Deserialize)]
struct UnderRepair {
    unit: UnitName,
    device: Option<Tag>,
    #[serde(default)]
    also: Vec<Option<Tag>>,
    findings: Vec<String>,
    #[serde(default)]
    entries: Vec<EntryId>,
}

impl UnderRepair {
    /// One of the unit that names nothing takes in everything about it.
    fn takes_in(&self, finding: &Finding) -> bool {
        let consist = finding.rule == Rule::SharedCause;
        if finding.unit.as_ref() != Some(&self.unit) && !(consist && finding.units.contains(&self.unit)) {
            return false;
        }
        let names_nothing = self.findings.is_empty() && self.entries.is_empty();
        let of = |device: &Option<Tag>| match device {
            Some(tag) => finding.device.as_ref() == Some(tag) || consist && finding.devices.contains(tag),
            None if names_nothing => true,
            None => finding.device.is_none() && finding.entries.iter().any(|e| self.entries.contains(e)),
        };
        self.findings.contains(&finding.key) || std::iter::once(&self.device).chain(&self.also).any(of)
    }
}

/// Loads the decisions that were in force at a moment: about everything, or about one unit.
pub async fn decisions(db: &mut SqliteConnection, unit: Option<&UnitName>, then: Instant) -> Sql<Decisions> {
    let mut all = Decisions::default();
    let (of, of_bypass) = if unit.is_some() { (" AND unit = ?2", " AND b.unit = ?2") } else { ("", "") };
    let ask = |sql: String| {
        let query = sqlx::query(AssertSqlSafe(sql)).bind(then.0);
        if let Some(unit) = unit { query.bind(unit.to_string()) } else { query }
    };
    // The last word about a line counts: one with a date that has come brings it back.
    let aside = format!(
        "SELECT rule, unit, device, until FROM set_aside AS said WHERE at <= ?1 AND until > ?1{of}
            AND NOT EXISTS (SELECT 1 FROM set_aside later WHERE later.rule = said.rule AND later.unit = said.unit
                AND later.device IS said.device AND later.at <= ?1 AND later.seq > said.seq)"
    );
    for row in ask(aside).fetch_all(&mut *db).await? {
        let device = row.try_get::<Option<String>, _>("device")?.map(Tag::from);
        let unit = UnitName::from(row.try_get::<String, _>("unit")?);
        all.aside.push((row.try_get("rule")?, unit, device, Instant(row.try_get("until")?)));
    }
    let repairs = format!(
        "SELECT data FROM repair WHERE opened_at <= ?1 AND (closed_at IS NULL OR closed_at > ?1){of}"
    );
    for row in ask(repairs).fetch_all(&mut *db).await? {
        let repair = serde_json::from_str(row.try_get("data")?);
        all.under_repair.push(repair.map_err(|why| sqlx::Error::Decode(Box::new(why)))?);
    }
    let reviewed = format!(
        "SELECT b.data ->> 'entries' AS entries FROM bypass b
        WHERE EXISTS (SELECT 1 FROM review r WHERE r.at <= ?1 AND r.unit = b.unit
            AND r.bypass IN (SELECT value FROM json_each(b.data ->> 'entries'))
            AND r.last_seq >= b.data ->> 'last_seq'
            AND NOT EXISTS (SELECT 1 FROM statement s WHERE s.seq > r.last_seq AND s.at <= ?1
                AND s.entry IN (SELECT value FROM json_each(b.data ->> 'entries')))){of_bypass}"
    );
    for row in ask(reviewed).fetch_all(&mut *db).await? {
        let entries: Vec<EntryId> = serde_json::from_str(row.try_get("entries")?)
            .map_err(|why| sqlx::Error::Decode(Box::new(why)))?;
        all.reviewed.extend(entries);
    }
    Ok(all)
}

impl Decisions {
    /// The state of a finding at a moment. Set aside never quiets certain or ground-protection findings.
    pub fn state(&self, finding: &Finding, then: Instant) -> State {
        if !finding.open_at(then) {
            return State::Ended;
        }
        // What became of these is in their `until`: a review that they are about cannot answer them.
        if matches!(finding.rule, Rule::SameHand | Rule::NotReviewed | Rule::Expiring) {
            return State::Open;
        }
        if finding.rule.is_ground_protection() {
            let reviewed =
                !finding.entries.is_empty() && finding.entries.iter().all(|e| self.reviewed.contains(e));
            return if reviewed { State::Reviewed } else { State::Open };
        }
        let same = |unit: &UnitName, device: &Option<Tag>| {
            finding.unit.as_ref() == Some(unit) && (device.is_none() || *device == finding.device)
        };
        if self.under_repair.iter().any(|repair| repair.takes_in(finding)) {
            return State::InRepair;
        }
        let quiet = |(rule, unit, device, _): &&(String, UnitName, Option<Tag>, Instant)| {
            rule == finding.rule.as_str() && same(unit, device)
        };
        if !finding.rule.is_certain() && self.aside.iter().any(|aside| quiet(&aside)) {
            return State::SetAside;
        }
        State::Open
    }
}
