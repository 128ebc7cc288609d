//! What filing and judging one report costs, by the desk itself, in a small book and in a large one.
use std::time::Instant as Moment;

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
    railway::{ENTRIES, Railway, crew},
};
use crate::common::server;

/// How many units report in a round, and into how many desks, each opened anew, of which the first are not counted: what
/// a server reckons once and keeps (how seldom luck brings a score) is there then, and no part of what a report costs.
#[derive(Clone, Copy)]
pub struct Rounds {
    units: usize,
    desks: usize,
    before: usize,
}

/// As many units as most books of ten thousand entries do not have.
pub const MANY: Rounds = Rounds { units: 512, desks: 1, before: 0 };
/// What forty units can do, and as many reports in all.
pub const FEW: Rounds = Rounds { units: 32, desks: 16, before: 8 };

/// What one report cost, in microseconds.
#[derive(Clone, Copy, Default)]
pub struct Cost {
    pub wall: f64,
    pub cpu: f64,
}

impl Cost {
    /// One of so many that make a mean.
    fn add(&mut self, one: Self, of: usize) {
        self.wall += one.wall / of as f64;
        self.cpu += one.cpu / of as f64;
    }
}

/// As many as the writer takes into one group.
const AT_ONCE: usize = 64;

impl Rounds {
    /// One at a time with a cold and with a warm cabinet, many at a time with a cold and with a warm one.
    pub fn names(self) -> [String; 4] {
        let many = AT_ONCE.min(self.units);
        [
            "alone, cold".into(),
            "alone, warm".into(),
            format!("{many} at once, cold"),
            format!("{many} at once, warm"),
        ]
    }
}

pub fn measure(book: &Filled, rounds: Rounds) -> [Cost; 4] {
    // A server judges again by new class figures every day: what it reckons once and keeps then is there.
    judging::again(&book.path, false);
    // What building the book and judging it again left for the disk is not for the first reports to pay.
    std::fs::File::options().write(true).open(&book.path).unwrap().sync_all().unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut units: Vec<usize> = (0..book.fleet.units).collect();
        units.shuffle(&mut StdRng::seed_from_u64(11));
        let mut railway = Railway::new(book.fleet, 12);
        let mut costs = [Cost::default(); 4];
        for (some, at_once) in [1, AT_ONCE].into_iter().enumerate() {
            for desk in 0..rounds.before + rounds.desks {
                // In a large fleet others each time.
                units.rotate_left(2 * rounds.units % book.fleet.units);
                let both = desk_of(book, rounds, (&units, at_once), &mut railway).await;
                if desk >= rounds.before {
                    let sums = costs[2 * some..].iter_mut().zip(both);
                    sums.for_each(|(sum, cost)| sum.add(cost, rounds.desks));
                }
            }
        }
        costs
    })
}

/// What reports of units cost a desk that has them not in hand yet, and what the next ones of the same do.
async fn desk_of(
    book: &Filled,
    rounds: Rounds,
    (units, at_once): (&[usize], usize),
    railway: &mut Railway,
) -> [Cost; 2] {
    let clock = later(book).await;
    let desk = Desk::open(&book.path, DeskOptions { clock, ..DeskOptions::default() }).await.unwrap();
    railway.seal(seals(&desk).await);
    let (units, others) = units.split_at(rounds.units);
    let others = &others[..others.len().min(rounds.units)];
    // A server that has run for a while.
    let now = desk.clock().now();
    let bodies = write(railway, others, now.minus(9 * HOUR), 4 * HOUR);
    round(&desk, &bodies, 1).await;
    let bodies = write(railway, units, now.minus(5 * HOUR), 4 * HOUR);
    let cold = round(&desk, &bodies, at_once).await;
    let bodies = write(railway, units, now.minus(MINUTE), 4 * HOUR);
    let warm = round(&desk, &bodies, at_once).await;
    desk.close().await;
    [cold, warm]
}

/// As long after all that the book holds as a unit's reports are apart in it, and two days at most: what is filed is then later than all of it,
/// and no nearer to it than the railway's own, in a book that was kept from an earlier run, too.
async fn later(book: &Filled) -> Clock {
    let mut db = open::writer(&book.path, &Opening::default()).await.unwrap();
    let last: Option<i64> =
        sqlx::query_scalar("SELECT max(recorded_at) FROM report").fetch_one(&mut db).await.unwrap();
    db.close().await.unwrap();
    let now = Clock::machine().now();
    let rounds = i64::try_from(book.entries / ENTRIES / book.fleet.units).unwrap();
    let apart = (book.fleet.days * DAY / rounds.max(1)).min(2 * DAY);
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
