//! Fetching what the shop's acts are decided by, beside what their pages lead to.
use std::collections::BTreeSet;

use sqlx::{Row, SqliteConnection};

use super::{
    draft::Draft,
    load::{damaged, fetch, seq, unit},
};
use crate::{base::UnitName, shop::store::TOLD_ABOUT};

impl Draft {
    /// What is open on a unit.
    pub(super) async fn load_in_repair(
        &mut self,
        db: &mut SqliteConnection,
        units: &BTreeSet<UnitName>,
    ) -> Result<(), sqlx::Error> {
        let sql =
            "SELECT data FROM repair WHERE unit IN (SELECT value FROM json_each(?)) AND closed_at IS NULL";
        for row in fetch(db, sql, units).await? {
            let repair: crate::shop::Repair =
                serde_json::from_str(row.try_get("data")?).map_err(|why| damaged(why.to_string()))?;
            self.repairs.insert(repair.id, repair);
        }
        Ok(())
    }

    pub(super) async fn load_told_about(
        &mut self,
        db: &mut SqliteConnection,
        units: &BTreeSet<UnitName>,
    ) -> Result<(), sqlx::Error> {
        self.told_about.extend(units.iter().map(|unit| (unit.clone(), 0)));
        for row in fetch(db, TOLD_ABOUT, units).await? {
            self.told_about.insert(unit(&row)?, seq(&row, "seq")?);
        }
        Ok(())
    }
}
