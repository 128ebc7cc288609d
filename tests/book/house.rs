//! A small book to try things on: the roster of `cli::demo::small`, a standing clock, and ways to look inside.
use std::{
    collections::{BTreeMap, HashMap},
    path::{Path, PathBuf},
    time::Duration,
};

use breakerbook::{
    base::{Clock, Instant, SignIn},
    book::Channel,
    cli::demo::small::small,
    desk::{
        Desk, DeskOptions, Refused,
        begin::{self, NewBook},
        body::Grant,
        keep_people::{GrantAuthorisations, KeepPeople, PersonWanted},
        keep_roster::{IssueSchedules, KeepUnits},
        rebuild,
        reports::{FileReport, Filer, ReadingFailed, Receipt},
        verify::{self, Verdict},
    },
    people::{self, authorisation::Scope},
    roster,
    rules::{Dossier, Fact, Told, chunk::Chunk},
};
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, Row, SqliteConnection, sqlite::SqliteConnectOptions};
use tokio::sync::OnceCell;

/// All tests' now: after everything they tell of.
pub const NOW: &str = "2026-06-01T12:00:00Z";

/// One book in a directory of its own.
pub struct House {
    pub path: PathBuf,
    pub clock: Clock,
    pub dir: tempfile::TempDir,
}

impl House {
    /// The small roster, and not a single report.
    pub async fn new() -> Self {
        static BYTES: OnceCell<Vec<u8>> = OnceCell::const_new();
        let bytes = BYTES.get_or_init(roster_only).await;
        let house = Self::bare();
        std::fs::write(&house.path, bytes).unwrap();
        house
    }

    /// A directory in which no book was begun yet.
    pub fn bare() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let clock = Clock::standing_at(Instant::parse(NOW).unwrap());
        Self { path: dir.path().join("book.db"), clock, dir }
    }

    pub fn options(&self) -> DeskOptions {
        DeskOptions { clock: self.clock.clone(), ..DeskOptions::default() }
    }

    pub async fn desk(&self) -> Desk {
        Desk::open(&self.path, self.options()).await.unwrap()
    }

    pub fn file(&self, name: &str, text: impl AsRef<[u8]>) -> PathBuf {
        let path = self.dir.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    /// A connection that may write: what somebody with a tool of their own would do.
    pub async fn raw(&self) -> SqliteConnection {
        raw(&self.path).await
    }

    /// The whole file after everybody has gone.
    pub async fn bytes(&self) -> Vec<u8> {
        closed(&self.path).await;
        std::fs::read(&self.path).unwrap()
    }

    #[track_caller]
    pub fn is_clean(&self) -> impl Future<Output = u64> + use<> {
        let (path, caller) = (self.path.clone(), std::panic::Location::caller());
        async move {
            match verify::verify(&path).await.unwrap() {
                Verdict::Clean { size, .. } => size,
                Verdict::Flawed(flaws) => panic!("{caller}: not clean: {flaws:#?}"),
            }
        }
    }

    pub async fn flaws(&self) -> Vec<String> {
        match verify::verify(&self.path).await.unwrap() {
            Verdict::Clean { .. } => Vec::new(),
            Verdict::Flawed(flaws) => flaws,
        }
    }
}

pub async fn raw(path: &Path) -> SqliteConnection {
    SqliteConnection::connect_with(&SqliteConnectOptions::new().filename(path)).await.unwrap()
}

/// Waits until the writer, on a thread of its own, has folded the log into the file.
pub async fn closed(path: &Path) {
    let log = PathBuf::from(format!("{}-wal", path.display()));
    for _ in 0..1000 {
        if !log.exists() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    panic!("somebody still has {} open", path.display());
}

async fn roster_only() -> Vec<u8> {
    let house = House::bare();
    let book = NewBook {
        railway: "Quarry & Harbor".into(),
        mark: "QHB".into(),
        time_zone: "America/Chicago".into(),
        demo: false,
    };
    begin::create(&house.path, &book, &house.clock).await.unwrap();
    let desk = house.desk().await;
    load_lists(&desk).await;
    drop(desk);
    house.bytes().await
}

/// The small roster's lists, as `import` takes them in.
async fn load_lists(desk: &Desk) {
    let lists = small();
    let people = people::import::people(lists.people.as_bytes()).unwrap().good;
    let wanted: Vec<_> = people
        .into_iter()
        .map(|row| PersonWanted {
            sign_in: row.sign_in,
            role: row.role,
            name: row.name,
            craft: String::new(),
        })
        .collect();
    desk.act(KeepPeople::of(&wanted, &HashMap::new(), None, Channel::Import).unwrap()).await.unwrap();
    let from = Instant::parse("2020-01-01T00:00:00Z").unwrap();
    let schedules = roster::import::schedules(lists.schedules.as_bytes(), from).unwrap().good;
    desk.act(IssueSchedules::of(schedules, None, Channel::Import)).await.unwrap();
    let today = breakerbook::base::Day::parse("2026-03-03").unwrap();
    let units = roster::import::units(lists.units.as_bytes(), |_| true, today).unwrap().good;
    desk.act(KeepUnits::of(units, |_| false, None, Channel::Import)).await.unwrap();
    let world = desk.world();
    let rows = people::import::authorisations(lists.authorisations.as_bytes(), &world.people, |_| true)
        .unwrap()
        .good;
    let grants = rows.into_iter().map(|row| Grant {
        sign_in: row.person,
        classes: if let Scope::Classes(classes) = row.scope { classes } else { Vec::new() },
        from: row.from,
        to: row.to,
        basis: row.basis,
        granted_by: row.granted_by,
        from_list: true,
        proposed_by: None,
        proposal: None,
    });
    desk.act(GrantAuthorisations::of(grants.collect(), None, Channel::Import)).await.unwrap();
}

/// A report as programs send it: unit 1 by ann, one breaker trip at an hour of March 2026.
pub fn trip(n: u64, hour: u32) -> Value {
    let (day, hour) = (1 + hour / 24 % 28, hour % 24);
    let at = format!("2026-03-{day:02}T{hour:02}:30:00-06:00");
    serde_json::json!({
        "id": id(n), "unit": "QHB 1", "author": "ann",
        "run": {"symbol": "K17", "started": format!("2026-03-{day:02}T{hour:02}:00:00-06:00"), "ended": null},
        "entries": [{"id": id(n + 1_000_000), "kind": "breaker_trip", "at": at, "device": "TC1",
            "resets": [{"at": at, "basis": "looked_no_sign", "result": "tripped_again"}], "left": "tripped"}],
        "signed_at": at,
    })
}

pub fn id(n: u64) -> String {
    uuid::Uuid::from_u64_pair(0x0198_f3a2_6c1e_7d3a, 0x8000_0000_0000_0000 | n).to_string()
}

/// A report with an entry of every kind, and two of those that make a bypass.
pub fn every_kind() -> Value {
    let text = include_str!("../../src/reports/example.json");
    let text = text.replace("n.okafor", "ann").replace("a.lind", "sam").replace("m.ruiz", "sue");
    let text = text.replace("QHB 412", "QHB 1").replace("QHB 431", "QHB 2").replace("TC2", "TC1");
    serde_json::from_str(&text).unwrap()
}

pub fn filer(by: &str, channel: Channel) -> Filer {
    Filer { by: (by != "console").then(|| SignIn::from(by)), channel }
}

/// Reads, checks and files as somebody.
pub async fn file(desk: &Desk, report: &Value, by: &str, channel: Channel) -> Result<Receipt, Refused> {
    desk.act(read(desk, report, by, channel)?).await
}

pub fn read(desk: &Desk, report: &Value, by: &str, channel: Channel) -> Result<FileReport, Refused> {
    let bytes = serde_json::to_vec(report).unwrap();
    FileReport::read(&bytes, &filer(by, channel), &desk.world(), desk.clock().now()).map_err(
        |why| match why {
            ReadingFailed::Refused(refused) => refused,
            ReadingFailed::Unreadable(why) => panic!("{}", why.says()),
        },
    )
}

/// What everybody reads, in a form that does not say when and by which page it came in.
pub async fn contents(db: &mut SqliteConnection) -> BTreeMap<String, Vec<String>> {
    let mut all = BTreeMap::new();
    for table in rebuild::tables().filter(|table| *table != "head") {
        let sql = format!("SELECT * FROM {table}");
        let rows = sqlx::query(AssertSqlSafe(sql)).fetch_all(&mut *db).await.unwrap();
        let mut lines: Vec<String> = rows.iter().map(line).collect();
        lines.sort();
        all.insert(table.to_owned(), lines);
    }
    all
}

/// Columns that say how and when something came in.
const CAME_IN: &[&str] = &["seq", "channel", "entered_by", "recorded_at", "root", "last_seq", "closed_seq"];

/// Columns that are digests of what other tables hold with such columns in it.
const PRINTS: &[&str] = &["print", "findings", "reckoned", "bypasses"];

fn line(row: &sqlx::sqlite::SqliteRow) -> String {
    use sqlx::{Column, TypeInfo, ValueRef};
    let mut cells = Vec::new();
    let left_out = |name: &str| CAME_IN.contains(&name) || PRINTS.contains(&name);
    for column in row.columns().iter().filter(|c| !left_out(c.name())) {
        let (name, place) = (column.name(), column.ordinal());
        let kind = row.try_get_raw(place).unwrap().type_info().name().to_owned();
        let cell = match (name, kind.as_str()) {
            ("facts", _) => facts(&row.get::<Vec<u8>, _>(place)),
            ("packed", _) => outline(&row.get::<Vec<u8>, _>(place)),
            ("data" | "card" | "schedule", _) => without_arrival(row.get(place)),
            (_, "NULL") => "-".to_owned(),
            (_, "TEXT") => row.get(place),
            (_, "INTEGER") => row.get::<i64, _>(place).to_string(),
            (_, "REAL") => row.get::<f64, _>(place).to_string(),
            _ => hex::encode(row.get::<Vec<u8>, _>(place)),
        };
        cells.push(format!("{name}={cell}"));
    }
    cells.join(" ")
}

fn facts(packed: &[u8]) -> String {
    let dossier: Dossier = postcard::from_bytes(packed).unwrap();
    let plain = |fact: &Fact| {
        let mut fact = Fact { seq: 0, recorded_at: Instant(0), ..fact.clone() };
        if let Some(withdrawn) = &mut fact.withdrawn {
            withdrawn.seq = 0;
        }
        // An act of the shop has no entry; its number is made of its page's.
        if matches!(
            fact.told,
            Told::Released
                | Told::RepairClosed { .. }
                | Told::Mended { .. }
                | Told::StartRepaired
                | Told::RepairAnswered { .. }
        ) {
            fact.entry = breakerbook::base::EntryId(uuid::Uuid::nil());
            fact.report = breakerbook::base::ReportId(uuid::Uuid::nil());
        }
        format!("{fact:?}")
    };
    format!("{:#?}", dossier.facts().iter().map(plain).collect::<Vec<_>>())
}

/// Nothing where it is no device's.
fn outline(packed: &[u8]) -> String {
    if packed.is_empty() {
        return String::new();
    }
    let mut chunk = Chunk::unpack(packed).unwrap();
    for outline in &mut chunk.outlines {
        outline.seq = 0;
        if outline.repaired.is_some() {
            outline.entry = breakerbook::base::EntryId(uuid::Uuid::nil());
        }
    }
    format!("{chunk:?}")
}

fn without_arrival(json: &str) -> String {
    let mut value: Value = serde_json::from_str(json).unwrap();
    if let Some(fields) = value.as_object_mut() {
        CAME_IN.iter().for_each(|name| {
            fields.remove(*name);
        });
    }
    // An act of the shop stands in for an entry under a number made of its page's.
    if let Some(entries) = value.get_mut("entries").and_then(Value::as_array_mut) {
        let of_shop = |e: &&mut Value| e.as_str().is_some_and(|id| id.starts_with("00000000-0000-0000-"));
        entries.iter_mut().filter(of_shop).for_each(|e| *e = "shop".into());
    }
    value.to_string()
}

#[track_caller]
pub fn same_contents(left: &BTreeMap<String, Vec<String>>, right: &BTreeMap<String, Vec<String>>, why: &str) {
    for (table, lines) in left {
        let other = &right[table];
        if lines == other {
            continue;
        }
        let only = |a: &[String], b: &[String]| {
            a.iter().filter(|l| !b.contains(l)).cloned().collect::<Vec<_>>().join("\n  ")
        };
        panic!(
            "{why}: {table} differs\n only left:\n  {}\n only right:\n  {}",
            only(lines, other),
            only(other, lines)
        );
    }
}
