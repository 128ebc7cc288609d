//! Fetching what a group needs to be decided and judged, a query for each table, whatever the group's size.
use std::collections::{BTreeMap, BTreeSet};

use sqlx::{AssertSqlSafe, Row, SqliteConnection, sqlite::SqliteRow};

use super::{
    draft::{Draft, Filed, KnownAmendment, KnownEntry, KnownReport, Page, UnitHistory},
    tables::json,
    wanted::Wanted,
};
use crate::{
    base::{AmendmentId, EntryId, Instant, ReportId, SignIn, UnitName, zone::Day},
    book::{Channel, Hash},
    reports::stored,
    rules::{Bypass, service_days::DaySet, weather::WeatherDays},
};

impl Draft {
    /// Loads everything that filing these pages will look at.
    pub async fn load_for(&mut self, db: &mut SqliteConnection, pages: &[&Page]) -> Result<(), sqlx::Error> {
        let mut wanted = Wanted::ids_of(pages);
        if any_filed(db, &wanted).await? {
            self.load_reports(db, &wanted.reports).await?;
            self.load_entries(db, &wanted.entries).await?;
        }
        self.load_amendments(db, &wanted.amendments).await?;
        self.load_bypasses(db, &wanted.bypasses).await?;
        self.load_repairs(db, &wanted.repairs).await?;
        self.load_taken(db, &wanted.taken).await?;
        self.load_in_repair(db, &wanted.in_repair).await?;
        self.load_told_about(db, &wanted.told_about).await?;
        self.load_tablets(db, &wanted).await?;
        wanted.add_subjects(pages, self);
        self.asked.extend(wanted.dossiers.keys().cloned());
        self.load_units(db, &wanted.units).await?;
        self.asked_units.extend(wanted.units.keys().cloned());
        self.load_dossiers(db, &wanted).await
    }

    async fn load_reports(
        &mut self,
        db: &mut SqliteConnection,
        ids: &BTreeSet<ReportId>,
    ) -> Result<(), sqlx::Error> {
        let sql = "SELECT seq, id, unit, author, recorded_at, sha256, root FROM report WHERE id IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, ids).await? {
            let root = hex::decode(row.try_get::<String, _>("root")?)
                .ok()
                .and_then(|bytes| Hash::from_slice(&bytes));
            let filed = Filed {
                seq: seq(&row, "seq")?,
                recorded_at: Instant(row.try_get("recorded_at")?),
                root: root.unwrap_or(Hash([0; 32])),
            };
            let known = KnownReport {
                filed,
                author: text(&row, "author")?,
                unit: text(&row, "unit")?,
                sha256: row.try_get("sha256")?,
            };
            self.reports.insert(id(&row, "id")?, known);
        }
        Ok(())
    }

    async fn load_entries(
        &mut self,
        db: &mut SqliteConnection,
        ids: &BTreeSet<EntryId>,
    ) -> Result<(), sqlx::Error> {
        let sql =
            "SELECT e.id, e.report, e.seq, e.place_in, e.unit, e.author, e.channel, e.recorded_at, e.detail,
                CASE WHEN r.occasion = 'run' THEN r.started END AS run, r.position, r.consist
            FROM entry e JOIN report r ON r.id = e.report WHERE e.id IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, ids).await? {
            let entry = stored::entry(row.try_get("detail")?).map_err(damaged)?;
            let known = KnownEntry {
                report: id(&row, "report")?,
                seq: seq(&row, "seq")?,
                place_in: usize::try_from(row.try_get::<i64, _>("place_in")?).unwrap_or(0),
                unit: text(&row, "unit")?,
                author: text(&row, "author")?,
                channel: Channel::parse(row.try_get("channel")?).unwrap_or(Channel::Import),
                recorded_at: Instant(row.try_get("recorded_at")?),
                entry,
                run: row.try_get::<Option<i64>, _>("run")?.map(Instant),
                position: row
                    .try_get::<Option<&str>, _>("position")?
                    .and_then(crate::reports::vocabulary::RunPosition::parse),
                consist: consist(&row)?,
            };
            self.entries.insert(id(&row, "id")?, known);
        }
        Ok(())
    }

    async fn load_amendments(
        &mut self,
        db: &mut SqliteConnection,
        ids: &BTreeSet<AmendmentId>,
    ) -> Result<(), sqlx::Error> {
        let sql = "SELECT id, entry, report, author, reason, replacement FROM amendment
            WHERE id IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, ids).await? {
            let known = KnownAmendment {
                entry: id(&row, "entry")?,
                report: id(&row, "report")?,
                author: text(&row, "author")?,
                reason: row.try_get("reason")?,
                replacement: row.try_get("replacement")?,
            };
            self.amendments.insert(id(&row, "id")?, known);
        }
        Ok(())
    }

    async fn load_bypasses(
        &mut self,
        db: &mut SqliteConnection,
        ids: &BTreeSet<EntryId>,
    ) -> Result<(), sqlx::Error> {
        let sql = "SELECT data FROM bypass WHERE id IN (SELECT value FROM json_each(?)) ORDER BY data ->> 'withdrawn', device";
        for row in fetch(db, sql, ids).await? {
            let bypass: Bypass =
                serde_json::from_str(row.try_get("data")?).map_err(|why| damaged(why.to_string()))?;
            // Whoever had a hand in the withdrawn one has one in what it became.
            let known = self.bypasses.entry(bypass.id);
            known.and_modify(|known| known.hands.extend(bypass.hands.clone())).or_insert(bypass);
        }
        self.load_reviewed(db).await
    }

    /// A bypass is told of by several entries: a review may name any of them, and a statement stand beside any.
    async fn load_reviewed(&mut self, db: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let entries: BTreeSet<EntryId> =
            self.bypasses.values().flat_map(|bypass| &bypass.entries).copied().collect();
        let sql = "SELECT bypass, max(seq) AS seq FROM review WHERE bypass IN (SELECT value FROM json_each(?)) GROUP BY bypass";
        for row in fetch(db, sql, &entries).await? {
            self.reviewed.insert(id(&row, "bypass")?, seq(&row, "seq")?);
        }
        let sql = "SELECT entry, max(seq) AS seq FROM statement WHERE entry IN (SELECT value FROM json_each(?)) GROUP BY entry";
        for row in fetch(db, sql, &entries).await? {
            self.stated.insert(id(&row, "entry")?, seq(&row, "seq")?);
        }
        Ok(())
    }

    async fn load_repairs(
        &mut self,
        db: &mut SqliteConnection,
        ids: &BTreeSet<uuid::Uuid>,
    ) -> Result<(), sqlx::Error> {
        let sql = "SELECT data FROM repair WHERE id IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, ids).await? {
            let repair: crate::shop::Repair =
                serde_json::from_str(row.try_get("data")?).map_err(|why| damaged(why.to_string()))?;
            self.repairs.insert(repair.id, repair);
        }
        Ok(())
    }

    async fn load_units(
        &mut self,
        db: &mut SqliteConnection,
        units: &BTreeMap<UnitName, BTreeSet<Day>>,
    ) -> Result<(), sqlx::Error> {
        let mut names = Vec::new();
        for unit in units.keys() {
            match self.cabinet.take_unit(unit) {
                Some(history) => drop(self.units.insert(unit.clone(), history)),
                None => names.push(unit),
            }
        }
        let sql = "SELECT unit, days, weather, holds FROM unit_history WHERE unit IN (SELECT value FROM json_each(?))";
        for row in fetch(db, sql, &names).await? {
            self.units.insert(text(&row, "unit")?, history(&row)?);
        }
        Ok(())
    }
}

/// Whether the file has any of these reports or entries; of new ones it has none, and one question tells.
async fn any_filed(db: &mut SqliteConnection, wanted: &Wanted) -> Result<bool, sqlx::Error> {
    if wanted.reports.nothing() && wanted.entries.nothing() {
        return Ok(false);
    }
    let sql = "SELECT EXISTS (SELECT 1 FROM report WHERE id IN (SELECT value FROM json_each(?)))
        OR EXISTS (SELECT 1 FROM entry WHERE id IN (SELECT value FROM json_each(?)))";
    sqlx::query_scalar(sql).bind(json(&wanted.reports)).bind(json(&wanted.entries)).fetch_one(db).await
}

/// The units coupled together, as the row's report says.
fn consist(row: &SqliteRow) -> Result<Vec<UnitName>, sqlx::Error> {
    let told = row.try_get::<Option<&str>, _>("consist")?;
    Ok(told
        .map(serde_json::from_str)
        .transpose()
        .map_err(|why| damaged(why.to_string()))?
        .unwrap_or_default())
}

pub fn history(row: &SqliteRow) -> Result<UnitHistory, sqlx::Error> {
    let days = DaySet::from_bytes(row.try_get("days")?).ok_or_else(|| damaged("report days".to_owned()))?;
    let holds = serde_json::from_str(row.try_get("holds")?).map_err(|why| damaged(why.to_string()))?;
    let weather =
        WeatherDays::from_bytes(row.try_get("weather")?).ok_or_else(|| damaged("the weather".to_owned()))?;
    Ok(UnitHistory { days, weather, holds })
}

pub(super) async fn fetch(
    db: &mut SqliteConnection,
    sql: &str,
    ids: &impl Serializable,
) -> Result<Vec<SqliteRow>, sqlx::Error> {
    if ids.nothing() {
        return Ok(Vec::new());
    }
    // The texts are this program's own constants only.
    sqlx::query(AssertSqlSafe(sql)).bind(json(ids)).fetch_all(db).await
}

/// A list of ids that can be told empty before the database is asked.
pub(super) trait Serializable: serde::Serialize {
    fn nothing(&self) -> bool;
}
impl<T: serde::Serialize> Serializable for BTreeSet<T> {
    fn nothing(&self) -> bool {
        self.is_empty()
    }
}
impl<T: serde::Serialize> Serializable for Vec<T> {
    fn nothing(&self) -> bool {
        self.is_empty()
    }
}

/// A projection that cannot be read: `verify` names it, `rebuild` mends it.
pub fn damaged(why: String) -> sqlx::Error {
    sqlx::Error::Decode(
        format!("a projection is damaged ({why}): run `breakerbook verify`, then `breakerbook rebuild`")
            .into(),
    )
}

pub(super) fn seq(row: &SqliteRow, column: &str) -> Result<u64, sqlx::Error> {
    Ok(u64::try_from(row.try_get::<i64, _>(column)?).unwrap_or(0))
}

pub(super) fn text<T: for<'a> From<&'a str>>(row: &SqliteRow, column: &str) -> Result<T, sqlx::Error> {
    Ok(T::from(row.try_get::<&str, _>(column)?))
}

fn id<T: std::str::FromStr>(row: &SqliteRow, column: &str) -> Result<T, sqlx::Error> {
    row.try_get::<&str, _>(column)?.parse().map_err(|_| damaged(format!("column {column}")))
}

/// The sign-in name in a column, for the readers of other rooms.
pub fn sign_in(row: &SqliteRow, column: &str) -> Result<SignIn, sqlx::Error> {
    text(row, column)
}

/// The unit in a row's column `unit`.
pub fn unit(row: &SqliteRow) -> Result<UnitName, sqlx::Error> {
    text(row, "unit")
}
