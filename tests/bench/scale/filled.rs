//! A book of so many entries: the pages are written in bulk, and the program's own `rebuild` makes everything else of
//! them, which is the very code that filing runs, fed from the book. Filing ten million entries one by one through the
//! desk would take an hour and end in the same rows: `verify` and the tests hold the two equal, table by table.
use std::{
    path::{Path, PathBuf},
    time::Instant as Moment,
};

use breakerbook::{
    base::{
        Clock, SignIn,
        instant::{DAY, HOUR},
    },
    book::Frontier,
    db::{Opening, open},
    desk::{
        Desk, DeskOptions,
        begin::{self, NewBook},
        figures::TakeFigures,
        keep_people::KeepSecret,
        rebuild,
        tables::PageRow,
        world,
    },
    people::password::{self, Password},
};
use sqlx::{AssertSqlSafe, Connection as _, SqliteConnection};

use super::railway::{self, ENTRIES, Fleet, Page, Railway};
use crate::common::table::{Table, note};

/// Books of so many entries take a while to build.
const MANY: usize = 100_000;

pub const PASSWORD: &str = "seven green lanterns burn";

pub struct Filled {
    pub path: PathBuf,
    pub entries: usize,
    pub fleet: Fleet,
    pub rebuilt_per_second: f64,
    pub figures_took: f64,
}

/// Where large books are kept until the benchmark is over.
pub fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).with_file_name("bench");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

impl Filled {
    /// With `BREAKERBOOK_BENCH_KEEP` set books are left behind, and taken up again as they are by the next run.
    pub fn build(entries: usize, fleet: Fleet) -> Self {
        let path = folder().join(format!("scale-{entries}-of-{}.db", fleet.units));
        // What an earlier run filed into a small one would be much of what it holds.
        if keep() && entries > MANY && path.exists() {
            note(&format!("the book of {entries} entries is there from an earlier run"));
            return Self { path, entries, fleet, rebuilt_per_second: f64::NAN, figures_took: f64::NAN };
        }
        remove(&path);
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let (rebuilt_per_second, figures_took) = runtime.block_on(fill(&path, entries, fleet));
        Self { path, entries, fleet, rebuilt_per_second, figures_took }
    }

    /// What was built.
    pub fn told(&self, table: &mut Table) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let counts = runtime.block_on(counts(&self.path));
        let name = format!("book of {} entries", self.entries);
        for (what, count) in counts {
            table.figure(&format!("{name}: {what}"), count);
        }
        let size = std::fs::metadata(&self.path).unwrap().len() as f64 / 1e9;
        table.figure(&format!("{name}: file"), format!("{size:.2} GB"));
        table.figure(
            &format!("{name}: rebuilt, judged, indexed"),
            format!("{:.0} reports/s", self.rebuilt_per_second),
        );
        table.figure(
            &format!("{name}: class figures taken, all judged"),
            format!("{:.2} s", self.figures_took),
        );
    }
}

fn keep() -> bool {
    std::env::var_os("BREAKERBOOK_BENCH_KEEP").is_some()
}

/// When the benchmark is over.
pub fn clear(book: &Filled) {
    if !keep() {
        remove(&book.path);
    }
}

fn remove(path: &Path) {
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
}

async fn fill(path: &Path, entries: usize, fleet: Fleet) -> (f64, f64) {
    let book = NewBook {
        railway: "Bench".to_owned(),
        mark: "QHB".to_owned(),
        time_zone: "America/Chicago".to_owned(),
        demo: false,
    };
    begin::create(path, &book, &Clock::machine()).await.unwrap();
    note(&format!("writing the pages of {entries} entries"));
    // Nothing of this has to outlive a crash, and nobody reads beside it.
    let mut db = open::writer(path, &Opening { max_pages: None, throwaway: true }).await.unwrap();
    sqlx::raw_sql("PRAGMA journal_mode = OFF; PRAGMA cache_size = -1000000").execute(&mut db).await.unwrap();
    write_pages(&mut db, entries, fleet).await;
    note("rebuilding");
    let began = Moment::now();
    let pages = rebuild::rebuild(&mut db).await.unwrap();
    let rate = entries as f64 / ENTRIES as f64 / began.elapsed().as_secs_f64();
    note(&format!("{pages} pages in {:.0} s", began.elapsed().as_secs_f64()));
    sqlx::raw_sql("PRAGMA journal_mode = WAL").execute(&mut db).await.unwrap();
    db.close().await.unwrap();
    (rate, finish(path).await)
}

async fn write_pages(db: &mut SqliteConnection, entries: usize, fleet: Fleet) {
    let (mut frontier, _) = world::head(db).await.unwrap();
    let mut railway = Railway::new(fleet, 7);
    // What is filed into it when it is measured is later than all of it.
    let end = Clock::machine().now().minus(12 * HOUR);
    let begin = end.minus(fleet.days * DAY);
    put(db, &railway.roster(begin.minus(DAY)), &mut frontier).await;
    let reports = entries / ENTRIES;
    let apart = fleet.days * DAY / i64::try_from(reports).unwrap();
    let mut waiting = Vec::new();
    for n in 0..reports {
        let signed = begin.plus(i64::try_from(n).unwrap() * apart);
        waiting.extend(railway.report(turn(n, fleet), signed));
        if waiting.len() >= 1_000 || n + 1 == reports {
            put(db, &waiting, &mut frontier).await;
            waiting.clear();
        }
    }
}

/// Whose turn it is: every unit once in each round, in an order of its own.
fn turn(n: usize, fleet: Fleet) -> usize {
    (n * 1_117) % fleet.units
}

async fn put(db: &mut SqliteConnection, pages: &[Page], frontier: &mut Frontier) {
    let mut rows = PageRow::table();
    pages.iter().for_each(|page| rows.add(&page.row(frontier)));
    let mut tx = db.begin().await.unwrap();
    rows.flush(&mut tx).await.unwrap();
    tx.commit().await.unwrap();
}

/// Two people who can sign in, and class figures, taken as a server takes them.
async fn finish(path: &Path) -> f64 {
    let desk = Desk::open(path, DeskOptions::default()).await.unwrap();
    let now = desk.clock().now();
    for who in [railway::crew(0), SignIn::from("shop.one")] {
        let hash = password::hash_now(&Password::typed(PASSWORD)).unwrap();
        desk.act(KeepSecret::password(&who, hash, false, None, now)).await.unwrap();
    }
    note("taking class figures");
    let began = Moment::now();
    let figures = TakeFigures::prepare(&desk, now).await.unwrap();
    desk.act(figures).await.unwrap();
    let took = began.elapsed().as_secs_f64();
    desk.close().await;
    took
}

async fn counts(path: &Path) -> Vec<(&'static str, String)> {
    let mut db = open::writer(path, &Opening::default()).await.unwrap();
    let asked = [
        ("entries", "SELECT count(*) FROM entry"),
        ("reports", "SELECT count(*) FROM report"),
        ("dossiers", "SELECT count(*) FROM dossier"),
        ("earlier parts of dossiers", "SELECT count(*) FROM dossier_part"),
        ("bytes of packed facts", "SELECT sum(length(facts)) FROM dossier_part"),
        ("findings", "SELECT count(*) FROM finding"),
        ("findings open", "SELECT count(*) FROM finding WHERE until IS NULL"),
        ("bypasses", "SELECT count(*) FROM bypass"),
    ];
    let mut out = Vec::new();
    for (what, sql) in asked {
        let count: i64 = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&mut db).await.unwrap();
        out.push((what, count.to_string()));
    }
    db.close().await.unwrap();
    out
}
