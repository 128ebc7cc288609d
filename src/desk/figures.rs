//! Taking class figures: on a schedule, as a page of the book.
use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{
    Desk,
    act::{Act, Decided},
    body::Body,
    draft::{Draft, Filed, Page, UnitHistory},
    history,
    judge::clock,
    parts,
    refused::Refused,
};
use crate::{
    base::{Instant, Stamp, UnitName, instant::DAY},
    book::Channel,
    db::writer::Trouble,
    rules::{
        cranking::Cranked,
        figures::{Pairs, Taken, figures_from},
        service_days::ServiceDays,
    },
};

/// How long class figures stay in force: over 365 days a day changes little.
const IN_FORCE: i64 = DAY;

impl Desk {
    /// Takes class figures when there are none, or they are a day old, or the book has doubled since (a young book, a
    /// large import), and something was reported at all. Returns whether it did. A server asks this every minute, an
    /// import at its end.
    pub async fn take_figures_if_due(&self) -> Result<bool, Refused> {
        let now = self.clock().now();
        let size = self.tree_size().await?;
        let in_force = self.world().figures.as_ref().is_some_and(|figures| {
            now.since(figures.as_of) < IN_FORCE && size < figures.up_to_seq.saturating_mul(2)
        });
        if in_force {
            return Ok(false);
        }
        let act = TakeFigures::prepare(self, now).await?;
        if act.say_nothing() {
            return Ok(false);
        }
        Ok(self.act(act).await?.is_some())
    }

    async fn tree_size(&self) -> Result<u64, Trouble> {
        let mut db = self.read().await?;
        let size: i64 = sqlx::query_scalar("SELECT size FROM head")
            .fetch_one(&mut *db)
            .await
            .map_err(|why| Trouble::from(&why))?;
        Ok(u64::try_from(size).unwrap_or(0))
    }
}

/// Figures as they were reckoned from what the book held; filing them has every pair judged again.
#[derive(Debug)]
pub struct TakeFigures(Page);

impl TakeFigures {
    /// Reckons figures over the 365 days up to `as_of` from everything now in the book.
    pub async fn prepare(desk: &Desk, as_of: Instant) -> Result<Self, Trouble> {
        let size = desk.tree_size().await?;
        let mut db = desk.read().await?;
        let sql = |why: sqlx::Error| Trouble::from(&why);
        let world = desk.world_now(&mut db).await?;
        let units = history::units_up_to(&mut db, &world, as_of).await.map_err(sql)?;
        let (pairs, cranked) = in_outline(&mut db, &units, as_of).await.map_err(sql)?;
        let clocks: BTreeMap<UnitName, ServiceDays> = world
            .roster
            .units
            .keys()
            .map(|unit| (unit.clone(), clock(&world, unit, units.get(unit))))
            .collect();
        let up_to_seq = size.saturating_sub(1);
        let ground = world.ground();
        let taken = Taken { as_of, up_to_seq, ground: &ground };
        let figures = figures_from(&taken, &clocks, &pairs, &cranked);
        Ok(Self(Page {
            author: None,
            channel: Channel::Console,
            on_behalf_of: None,
            happened_at: Some(Stamp::utc(as_of)),
            body: Body::ClassFiguresTaken(Box::new(figures)),
        }))
    }

    /// No unit of the roster had a service day: there is nothing to compare with.
    fn say_nothing(&self) -> bool {
        matches!(&self.0.body, Body::ClassFiguresTaken(figures) if figures.unit_days.values().all(|days| *days == 0))
    }
}

const UNITS_AT_ONCE: usize = 64;

/// What had happened by a moment, as far as figures are taken from it.
async fn in_outline(
    db: &mut SqliteConnection,
    units: &BTreeMap<UnitName, UnitHistory>,
    as_of: Instant,
) -> Result<(Pairs, Vec<Cranked>), sqlx::Error> {
    let (mut pairs, mut cranked) = (Pairs::new(), Vec::new());
    let names: Vec<&str> = units.keys().map(UnitName::as_str).collect();
    for units in names.chunks(UNITS_AT_ONCE) {
        for (key, packed) in parts::outlines_of_units(db, units).await? {
            let mut outlines = packed.outlines()?;
            outlines.retain(|outline| outline.at <= as_of);
            pairs.insert(key, outlines);
        }
        for (key, packed) in parts::told_of_units(db, units).await? {
            cranked.push(Cranked::of(&key.unit, &packed.unpacked()?.up_to(as_of)));
        }
    }
    Ok((pairs, cranked))
}

impl Act for TakeFigures {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }
    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        Ok(Decided::all(1))
    }
    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}
