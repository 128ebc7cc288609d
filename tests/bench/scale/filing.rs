//! What filing and judging one report costs, by the desk itself, in a small book and in a large one.
use std::{path::Path, time::Instant as Moment};

use breakerbook::{
    base::{
        Clock, Instant, SignIn, UnitName,
        instant::{DAY, HOUR, MINUTE},
    },
    book::Channel,
    db::{Opening, open},
    desk::{
        Desk, DeskOptions,
        reports::{FileReport, Filer},
    },
};
use rand::{SeedableRng as _, rngs::StdRng, seq::SliceRandom as _};
use sqlx::Connection as _;

use super::{
    filled::Filled,
    judging,
    railway::{ENTRIES, Railway, UNITS, YEARS, crew},
};
use crate::common::server;

/// Of each kind, in each measured round.
const REPORTS: usize = 512;

/// What one report cost, in microseconds.
#[derive(Clone, Copy)]
pub struct Cost {
    pub wall: f64,
    pub cpu: f64,
}

/// One at a time with a cold and with a warm cabinet, 64 at a time with a cold and with a warm one.
pub const NAMES: [&str; 4] = ["alone, cold", "alone, warm", "64 at once, cold", "64 at once, warm"];

pub fn measure(book: &Filled) -> [Cost; 4] {
    // A server judges again by new class figures every day: what it reckons once and keeps then is there.
    judging::again(&book.path, false);
    // What building the book and judging it again left for the disk is not for the first reports to pay.
    std::fs::File::options().write(true).open(&book.path).unwrap().sync_all().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let clock = later(&book.path, book.entries).await;
        let desk = Desk::open(&book.path, DeskOptions { clock, ..DeskOptions::default() }).await.unwrap();
        let mut units: Vec<usize> = (0..UNITS).collect();
        units.shuffle(&mut StdRng::seed_from_u64(11));
        let mut railway = Railway::new(12).with_seals(seals(&desk).await);
        let mut costs = Vec::new();
        // A server that has run for a while.
        let now = desk.clock().now();
        let bodies = write(&mut railway, &units[2 * REPORTS..3 * REPORTS], now.minus(5 * HOUR), 4 * HOUR);
        round(&desk, &bodies, 1).await;
        // Others than those of before are cold; the same again are warm.
        for (some, at_once) in [(0, 1), (1, 64)] {
            let units = &units[some * REPORTS..(some + 1) * REPORTS];
            let now = desk.clock().now();
            let bodies = write(&mut railway, units, now.minus(5 * HOUR), 4 * HOUR);
            costs.push(round(&desk, &bodies, at_once).await);
            let bodies = write(&mut railway, units, now.minus(MINUTE), 4 * HOUR);
            costs.push(round(&desk, &bodies, at_once).await);
        }
        desk.close().await;
        costs.try_into().unwrap_or_else(|_| unreachable!("four rounds"))
    })
}

/// As long after all that the book holds as a unit's reports are apart in it, and two days at most: what is filed is then later than all of it,
/// and no nearer to it than the railway's own, in a book that was kept from an earlier run, too.
async fn later(book: &Path, entries: usize) -> Clock {
    let mut db = open::writer(book, &Opening::default()).await.unwrap();
    let last: Option<i64> =
        sqlx::query_scalar("SELECT max(recorded_at) FROM report").fetch_one(&mut db).await.unwrap();
    db.close().await.unwrap();
    let now = Clock::machine().now();
    let rounds = i64::try_from(entries / ENTRIES / UNITS).unwrap();
    let apart = (YEARS * 365 * DAY / rounds.max(1)).min(2 * DAY);
    Clock::standing_at(last.map_or(now, |last| now.max(Instant(last))).plus(apart))
}

/// What each cutout was last sealed with, where it was ever opened: crews find that seal, and no other.
pub async fn seals(desk: &Desk) -> Vec<(UnitName, usize)> {
    let mut db = desk.read().await.unwrap();
    let sql = "SELECT unit, data->>'seal_applied' FROM bypass ORDER BY begins";
    let rows: Vec<(String, Option<String>)> = sqlx::query_as(sql).fetch_all(&mut *db).await.unwrap();
    let one = |(unit, seal): (String, Option<String>)| Some((UnitName::from(unit), seal?.parse().ok()?));
    rows.into_iter().filter_map(one).collect()
}

/// A report of each unit, each later than what the book has of nearly all of them.
fn write(railway: &mut Railway, units: &[usize], signed: Instant, length: i64) -> Vec<(String, SignIn)> {
    let one = |unit: &usize| {
        let author = crew(*unit);
        (railway.report_body(*unit, signed, length, &author), author)
    };
    units.iter().map(one).collect()
}

async fn round(desk: &Desk, bodies: &[(String, SignIn)], at_once: usize) -> Cost {
    let (began, cpu) = (Moment::now(), server::own_cpu());
    for some in bodies.chunks(at_once) {
        let mut pending = Vec::new();
        for (body, author) in some {
            let filer = Filer { by: Some(author.clone()), channel: Channel::Token };
            let act = FileReport::read(body.as_bytes(), &filer, &desk.world(), desk.clock().now()).unwrap();
            pending.push(desk.hand_over(act, None).unwrap_or_else(|why| unreachable!("{}", why.says())));
        }
        for one in pending {
            let receipt = one.answer().await.unwrap_or_else(|why| unreachable!("{}", why.says()));
            assert!(receipt.is_new);
        }
    }
    let each = 1e6 / bodies.len() as f64;
    Cost { wall: began.elapsed().as_secs_f64() * each, cpu: (server::own_cpu() - cpu) * each }
}
