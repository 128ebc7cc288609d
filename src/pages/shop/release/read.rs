//! What the book holds of a unit that bears on releasing it, read at one moment.
use sqlx::Connection;

use crate::{
    base::{Instant, UnitName, instant::DAY},
    desk::{World, parts},
    pages::drawn::told::EntryLine,
    reports,
    rules::Bypass,
    shop::{
        self, Repair,
        against::{Found, against},
        store::Standing,
    },
    web::{App, Oops},
};

pub struct Here {
    pub unit: UnitName,
    /// Pages in the book when the rest was read.
    pub size: u64,
    pub found: Found,
    pub standing: Standing,
    /// Repairs of it that are open.
    pub repairs: Vec<Repair>,
    /// The last page that told of it.
    pub last: u64,
    /// What was written about it lately, the latest first, with the page each came on.
    pub written: Vec<(u64, EntryLine)>,
}

impl Here {
    pub async fn read(app: &App, unit: &UnitName) -> Result<Self, Oops> {
        let now = app.now();
        let mut db = app.desk().read().await?;
        let world = app.desk().world_now(&mut db).await?;
        // One moment of the book for all of it.
        let mut tx = db.begin().await?;
        let size = shop::store::size(&mut tx).await?;
        let dossiers: Vec<_> =
            parts::dossiers_of_units(&mut tx, &[unit.as_str()]).await?.into_iter().collect();
        let open = shop::store::open_bypasses(&mut tx, unit).await?;
        let standing = shop::store::standing(&mut tx, unit, now).await?;
        let repairs = shop::store::repairs_of(&mut tx, std::slice::from_ref(unit)).await?;
        let last = shop::store::last_about(&mut tx, unit).await?;
        let lately = reports::store::Wanted {
            unit: Some(unit),
            recorded_since: Some(now.minus(2 * DAY)),
            limit: Some(50),
            ..Default::default()
        };
        let rows = reports::store::entries(&mut tx, &lately).await?;
        let pages =
            shop::store::pages_of(&mut tx, &rows.iter().map(|row| row.id.clone()).collect::<Vec<_>>())
                .await?;
        tx.rollback().await?;
        let written =
            rows.iter().map(|row| (pages.get(&row.id).copied().unwrap_or(0), EntryLine::of(row, &world)));
        Ok(Self {
            unit: unit.clone(),
            size,
            found: found(&dossiers, &open, unit, &world, now),
            standing,
            repairs: repairs.into_iter().filter(|repair| repair.closed_at.is_none()).collect(),
            last,
            written: written.collect(),
        })
    }

    /// The sentence on top when something was written about the unit since a page was shown.
    pub fn came_since(&self, seen: u64) -> Option<String> {
        (seen > 0 && self.last >= seen).then(|| {
            "Something was written about this unit since this page was shown: it was not released. Read what came, below, then sign again. What you typed is kept.".to_owned()
        })
    }
}

fn found(
    dossiers: &[(crate::rules::DossierKey, crate::rules::Dossier)],
    open: &[Bypass],
    unit: &UnitName,
    world: &World,
    now: Instant,
) -> Found {
    against(dossiers, open, world.roster.schedule_at(unit, now), &world.railway.zone)
}
