//! A group in the making: the world as it will be, the histories that were loaded, the rows that wait.
use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::Arc,
};

use super::{
    body::Body,
    cabinet::{Cabinet, Kept},
    rows::Script,
    runs::NewRun,
    tables::{HeadRow, Judged, PageRow, Waiting, json},
    world::World,
};
use crate::{
    base::{AmendmentId, EntryId, Instant, ReportId, SignIn, Stamp, UnitName},
    book::{self, Channel, Frontier, Hash, Heading, tree},
    people::tablet::{TabletKey, TabletReport},
    reports::{Amendment, Entry},
    rules::{
        Bypass, DossierKey,
        service_days::{DaySet, Held},
        weather::WeatherDays,
    },
};

/// A page that somebody wants filed; its number and time are given when it is.
#[derive(Clone, Debug)]
pub struct Page {
    pub author: Option<SignIn>,
    pub channel: Channel,
    pub on_behalf_of: Option<SignIn>,
    pub happened_at: Option<Stamp>,
    pub body: Body,
}

/// A page as it was filed.
#[derive(Clone, Copy, Debug)]
pub struct Filed {
    pub seq: u64,
    pub recorded_at: Instant,
    pub root: Hash,
}

/// A report that is in the book.
#[derive(Clone, Debug)]
pub struct KnownReport {
    pub filed: Filed,
    pub author: SignIn,
    pub unit: UnitName,
    pub sha256: String,
}

/// An entry that is in the book, as it now stands.
#[derive(Clone, Debug)]
pub struct KnownEntry {
    pub report: ReportId,
    pub seq: u64,
    pub place_in: usize,
    pub unit: UnitName,
    pub author: SignIn,
    pub channel: Channel,
    pub recorded_at: Instant,
    pub entry: Entry,
    /// The run of its report, for the rules.
    pub run: Option<Instant>,
    pub position: Option<crate::reports::vocabulary::RunPosition>,
    /// The units coupled together on it, as its report says.
    pub consist: Vec<UnitName>,
}

/// An amendment that is in the book, as far as it can be handed in again.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownAmendment {
    pub entry: EntryId,
    pub report: ReportId,
    pub author: SignIn,
    pub reason: String,
    pub replacement: Option<String>,
}

impl KnownAmendment {
    pub fn of(amendment: &Amendment) -> Self {
        Self {
            entry: amendment.entry,
            report: amendment.report,
            author: amendment.author.clone(),
            reason: amendment.reason.clone(),
            replacement: amendment.replacement.as_ref().map(json),
        }
    }
}

/// What is known of a unit beyond its card.
#[derive(Clone, Debug, Default)]
pub struct UnitHistory {
    /// Days on which somebody reported about it.
    pub days: DaySet,
    /// What their reports told of the weather.
    pub weather: WeatherDays,
    /// From, to; open while `None`.
    pub holds: Vec<Held>,
}

/// What has to be judged again beyond what was loaded.
#[derive(Clone, Debug, Default)]
pub struct Again {
    pub everything: bool,
    /// Everything that rests on class figures.
    pub reckoned: bool,
    pub units: BTreeSet<UnitName>,
    /// The lines about whole classes, which follow from the class figures alone.
    pub classes: bool,
}

impl Again {
    pub fn is_nothing(&self) -> bool {
        !self.everything && !self.reckoned && !self.classes && self.units.is_empty()
    }
}

#[derive(Debug)]
pub struct Draft {
    pub world: Arc<World>,
    pub frontier: Frontier,
    pub reports: HashMap<ReportId, KnownReport>,
    pub entries: HashMap<EntryId, KnownEntry>,
    pub amendments: HashMap<AmendmentId, KnownAmendment>,
    pub units: BTreeMap<UnitName, UnitHistory>,
    pub dossiers: BTreeMap<DossierKey, Kept>,
    pub bypasses: HashMap<EntryId, Bypass>,
    /// The page of the latest review that names an entry.
    pub reviewed: HashMap<EntryId, u64>,
    /// The page of the latest statement beside an entry of a loaded bypass.
    pub stated: HashMap<EntryId, u64>,
    pub repairs: HashMap<uuid::Uuid, crate::shop::Repair>,
    /// Measurements and inspections that are in the book, of those that a page names.
    pub taken: BTreeSet<uuid::Uuid>,
    /// The last page about a unit, of those that a page asks it for.
    pub told_about: HashMap<UnitName, u64>,
    pub tablet_keys: HashMap<uuid::Uuid, TabletKey>,
    pub tablet_reports: HashMap<ReportId, TabletReport>,
    pub rows: Waiting,
    pub judged: Judged,
    pub again: Again,
    /// Histories in the file that need not be read from there.
    pub cabinet: Cabinet,
    /// The runs of this group's reports, until the dossiers that they matter to have taken them up.
    pub new_runs: Vec<NewRun>,
    /// Units whose history is not as the file has it.
    pub changed_units: BTreeSet<UnitName>,
    /// Nothing is judged before all is in: of a dossier only the end is read, but for amending.
    pub unjudged: bool,
    /// What was loaded, whether or not the file had it. Writing to anything else would wipe out what the file has.
    pub asked: BTreeSet<DossierKey>,
    pub asked_units: BTreeSet<UnitName>,
    /// Something was written to that had not been loaded: the draft must not be kept.
    pub unloaded: Option<String>,
}

impl Draft {
    pub fn on(world: Arc<World>, frontier: Frontier) -> Self {
        Self {
            world,
            frontier,
            reports: HashMap::new(),
            entries: HashMap::new(),
            amendments: HashMap::new(),
            units: BTreeMap::new(),
            dossiers: BTreeMap::new(),
            bypasses: HashMap::new(),
            reviewed: HashMap::new(),
            stated: HashMap::new(),
            repairs: HashMap::new(),
            taken: BTreeSet::new(),
            told_about: HashMap::new(),
            tablet_keys: HashMap::new(),
            tablet_reports: HashMap::new(),
            rows: Waiting::default(),
            judged: Judged::default(),
            again: Again::default(),
            cabinet: Cabinet::default(),
            new_runs: Vec::new(),
            changed_units: BTreeSet::new(),
            unjudged: false,
            asked: BTreeSet::new(),
            asked_units: BTreeSet::new(),
            unloaded: None,
        }
    }

    /// Appends the page to the book and works it into the projections.
    pub fn file(&mut self, page: &Page, now: Instant) -> Result<Filed, serde_json::Error> {
        let heading = Heading {
            author: page.author.clone(),
            channel: page.channel,
            on_behalf_of: page.on_behalf_of.clone(),
            recorded_at: Stamp::utc(now),
            happened_at: page.happened_at,
        };
        let seq = self.frontier.size();
        let blob = book::page::write(seq, page.body.kind(), &heading, &page.body.to_raw()?)?;
        let leaf = tree::leaf_hash(blob.as_bytes());
        self.frontier.push(leaf);
        self.rows.pages.add(&PageRow { seq, blob, leaf: leaf.to_string() });
        let filed = Filed { seq, recorded_at: now, root: self.frontier.root() };
        self.apply(filed, &heading, &page.body);
        Ok(filed)
    }

    /// A page that is in the book already, for `rebuild`.
    pub fn refile(&mut self, leaf: Hash, heading: &Heading, body: &Body) {
        let seq = self.frontier.size();
        self.frontier.push(leaf);
        let filed = Filed { seq, recorded_at: heading.recorded_at.at, root: self.frontier.root() };
        self.apply(filed, heading, body);
    }

    /// Where the book stands after it.
    pub fn head(&self) -> Result<Script, sqlx::Error> {
        let mut head = HeadRow::table();
        head.add(&HeadRow {
            one: 1,
            size: self.frontier.size(),
            root: self.frontier.root().to_string(),
            frontier: hex::encode(self.frontier.to_bytes()),
            world_seq: self.world.seq,
        });
        Script::of([&mut head])
    }

    /// The world, about to change with this page.
    pub fn world_mut(&mut self, seq: u64) -> &mut World {
        let world = Arc::make_mut(&mut self.world);
        world.seq = seq;
        world
    }

    /// The dossier, about to change.
    pub fn dossier_mut(&mut self, key: DossierKey) -> &mut Kept {
        if !self.asked.contains(&key) {
            self.unloaded = Some(format!("{} of {}", key.subject, key.unit));
        }
        self.dossiers.entry(key).or_default()
    }

    /// What is known of a unit, about to change.
    pub fn unit_mut(&mut self, unit: &UnitName) -> &mut UnitHistory {
        if !self.asked_units.contains(unit) {
            self.unloaded = Some(unit.to_string());
        }
        if !self.changed_units.contains(unit) {
            self.changed_units.insert(unit.clone());
        }
        self.units.entry(unit.clone()).or_default()
    }
}
