//! What is small enough to keep in memory: railway, people, roster, class figures, thresholds. Replaced only after COMMIT.
use std::{collections::BTreeMap, sync::Arc};

use sqlx::{Row, SqliteConnection};

use super::body::{Body, BookOpened};
use crate::{
    base::{Instant, Zone},
    book::{self, Envelope, Frontier},
    people::{People, Person, Proposal},
    roster::{Class, Roster, Schedule, UnitCard},
    rules::{ClassFigures, Thresholds, earlier::Moved},
    shop::Repair,
};

#[derive(Clone, Debug)]
pub struct Railway {
    pub book_id: uuid::Uuid,
    pub name: String,
    /// The reporting mark.
    pub mark: String,
    pub zone: Zone,
    pub demo: bool,
}

#[derive(Clone, Debug)]
pub struct World {
    pub railway: Railway,
    pub roster: Roster,
    pub people: People,
    pub figures: Option<Arc<ClassFigures>>,
    pub thresholds: Thresholds,
    /// Parts that came from another unit.
    pub moved: Vec<Moved>,
    /// Rights that were ever proposed, by id.
    pub proposals: BTreeMap<uuid::Uuid, Arc<Proposal>>,
    /// The last page that changed any of it.
    pub seq: u64,
}

impl World {
    pub fn ground(&self) -> crate::rules::Ground<'_> {
        crate::rules::Ground {
            roster: &self.roster,
            people: &self.people,
            zone: &self.railway.zone,
            figures: self.figures.as_deref(),
            thresholds: &self.thresholds,
        }
    }

    /// A book of which only page 0 is written.
    pub fn new(opened: &BookOpened) -> Result<Self, String> {
        let zone = Zone::named(&opened.time_zone)
            .ok_or_else(|| format!("this program knows no time zone {:?}", opened.time_zone))?;
        let railway = Railway {
            book_id: opened.book_id,
            name: opened.railway.clone(),
            mark: opened.mark.clone(),
            zone,
            demo: opened.demo,
        };
        Ok(Self {
            railway,
            roster: Roster::default(),
            people: People::default(),
            figures: None,
            thresholds: Thresholds::default(),
            moved: Vec::new(),
            proposals: BTreeMap::new(),
            seq: 0,
        })
    }
}

/// Why a book's contents could not be taken up, in a sentence.
#[derive(Debug)]
pub enum Unreadable {
    Database(sqlx::Error),
    Contents(String),
}
impl From<sqlx::Error> for Unreadable {
    fn from(why: sqlx::Error) -> Self {
        Self::Database(why)
    }
}
impl std::fmt::Display for Unreadable {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Database(why) => write!(f, "the file cannot be read: {why}"),
            Self::Contents(why) => write!(
                f,
                "the book cannot be read: {why}. Run `breakerbook verify`, then `breakerbook rebuild`"
            ),
        }
    }
}

fn from_json<T: serde::de::DeserializeOwned>(text: &str, what: &str) -> Result<T, Unreadable> {
    serde_json::from_str(text).map_err(|why| Unreadable::Contents(format!("{what}: {why}")))
}

/// Page 0, read.
pub async fn opened(db: &mut SqliteConnection) -> Result<BookOpened, Unreadable> {
    let page = book::store::page(db, 0)
        .await?
        .ok_or_else(|| Unreadable::Contents("it has no first page".to_owned()))?;
    let envelope =
        Envelope::read(&page.blob).map_err(|why| Unreadable::Contents(format!("page 0: {why}")))?;
    match Body::read(&envelope.kind, envelope.body) {
        Ok(Body::BookOpened(opened)) => Ok(*opened),
        Ok(_) => Err(Unreadable::Contents("page 0 does not open a book".to_owned())),
        Err(why) => Err(Unreadable::Contents(format!("page 0: {why}"))),
    }
}

/// Where the book stands: the tree's right edge, and the last page that changed the world.
pub async fn head(db: &mut SqliteConnection) -> Result<(Frontier, u64), Unreadable> {
    let row = sqlx::query("SELECT size, frontier, world_seq FROM head").fetch_optional(db).await?;
    let Some(row) = row else { return Ok((Frontier::default(), 0)) };
    let size = u64::try_from(row.try_get::<i64, _>("size")?).unwrap_or(0);
    let frontier = Frontier::from_bytes(size, row.try_get("frontier")?)
        .ok_or_else(|| Unreadable::Contents("the tree's edge in table head is damaged".to_owned()))?;
    Ok((frontier, u64::try_from(row.try_get::<i64, _>("world_seq")?).unwrap_or(0)))
}

/// Every row of a projection, read; `what`: one of them, for whoever has to put the file right.
async fn all<T: serde::de::DeserializeOwned>(
    db: &mut SqliteConnection,
    sql: &'static str,
    what: &str,
) -> Result<Vec<T>, Unreadable> {
    let rows = sqlx::query_scalar::<_, String>(sql).fetch_all(db).await?;
    rows.iter().map(|text| from_json(text, what)).collect()
}

/// The world as the projections have it.
pub async fn load(db: &mut SqliteConnection) -> Result<World, Unreadable> {
    let mut world = World::new(&opened(db).await?).map_err(Unreadable::Contents)?;
    world.seq = head(db).await?.1;
    for person in all::<Person>(db, "SELECT card FROM person", "a person").await? {
        world.people.persons.insert(person.sign_in.clone(), Arc::new(person));
    }
    let grants = "SELECT card FROM authorisation ORDER BY seq";
    world.people.authorisations =
        all(db, grants, "an authorisation").await?.into_iter().map(Arc::new).collect();
    for proposal in all::<Proposal>(db, "SELECT card FROM authorisation_proposal", "a proposal").await? {
        world.proposals.insert(proposal.id, Arc::new(proposal));
    }
    let schedules = "SELECT schedule FROM class_schedule ORDER BY class, effective, seq";
    for schedule in all(db, schedules, "a schedule").await? {
        put_schedule(&mut world.roster, schedule);
    }
    for unit in all::<UnitCard>(db, "SELECT card FROM unit_card", "a unit").await? {
        world.roster.units.insert(unit.unit.clone(), Arc::new(unit));
    }
    let figures = all(db, "SELECT figures FROM class_figures", "the class figures").await?;
    world.figures = figures.into_iter().next().map(Arc::new);
    let settings = "SELECT settings FROM thresholds ORDER BY seq DESC LIMIT 1";
    world.thresholds = all(db, settings, "the thresholds").await?.pop().unwrap_or_default();
    let moved = "SELECT data FROM repair WHERE data ->> 'from' IS NOT NULL";
    for repair in all::<Repair>(db, moved, "a repair").await? {
        if let (Some(device), Some(from)) = (repair.device, repair.from) {
            world.moved.push(Moved { device, to: repair.unit, from });
        }
    }
    Ok(world)
}

/// Adds a version; versions stay in the order they take effect, the later issued after the earlier.
pub fn put_schedule(roster: &mut Roster, schedule: Schedule) {
    let class = roster
        .classes
        .entry(schedule.class.clone())
        .or_insert_with(|| Arc::new(Class { name: schedule.class.clone(), schedules: Vec::new() }));
    let versions = &mut Arc::make_mut(class).schedules;
    let place = versions.partition_point(|s| s.effective <= schedule.effective);
    versions.insert(place, Arc::new(schedule));
}

/// Recorded more than 24 hours after it happened (49 CFR 229.20(c)(1)): shown as late, never refused.
pub fn is_late(happened: Instant, recorded: Instant) -> bool {
    recorded.since(happened) > 24 * crate::base::instant::HOUR
}
