//! What the shop can do about a line, and what it did: repairs, a date until which it is set aside.
use sqlx::SqliteConnection;

use super::{
    aside::{self, aside_of, may_be_set_aside},
    repair::RepairLine,
};
use crate::{
    base::Instant,
    desk::World,
    people::Act,
    rules::Finding,
    shop::store::repairs_of,
    web::{Me, paths},
};

/// Ready to print by `templates/shop/finding_acts.html`.
#[derive(Default)]
pub struct Acts {
    /// Empty: nothing is offered.
    pub open_repair: String,
    pub set_aside: String,
    pub aside: Option<String>,
    /// Repairs of the same, the open ones first, then the latest.
    pub repairs: Vec<RepairLine>,
    pub unit_path: String,
}

impl Acts {
    pub async fn of(
        db: &mut SqliteConnection,
        finding: &Finding,
        me: &Me,
        world: &World,
        now: Instant,
    ) -> Result<Self, sqlx::Error> {
        let Some(unit) = finding.unit.clone().filter(|_| !finding.rule.is_ground_protection()) else {
            return Ok(Self::default());
        };
        let works = me.may(Act::WorkOnUnits);
        let mut repairs = repairs_of(db, std::slice::from_ref(&unit)).await?;
        repairs.retain(|repair| {
            repair.findings.contains(&finding.key)
                || finding.devices.iter().any(|tag| repair.is_of(Some(tag)))
                || finding.entries.iter().any(|entry| repair.entries.contains(entry))
        });
        repairs.sort_by_key(|repair| (repair.closed_at.is_some(), std::cmp::Reverse(repair.closed_at)));
        repairs.truncate(20);
        let aside = aside_of(db, finding, now).await?;
        let to_repair = paths::RepairNew(unit.clone()).with(&[("finding", &finding.key)]);
        let can_wait = works && may_be_set_aside(finding).is_ok();
        Ok(Self {
            open_repair: if works && finding.open_at(now) { to_repair } else { String::new() },
            set_aside: if can_wait {
                paths::FindingAside(finding.key.clone()).to_string()
            } else {
                String::new()
            },
            aside: aside.map(|row| aside::says(&row, &world.railway.zone)),
            repairs: repairs.iter().map(|repair| RepairLine::of(repair, world)).collect(),
            unit_path: paths::UnitShop(unit).to_string(),
        })
    }
}
