//! How long filing waits while a back-up of the same book is taken: the real server, the real `backup`, clients over HTTP.
use std::{
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::{Duration, Instant as Moment},
};

use breakerbook::{
    base::{Clock, SignIn, instant::HOUR},
    desk::{Desk, DeskOptions},
};
use rand::{SeedableRng as _, rngs::StdRng, seq::SliceRandom as _};

use super::{
    filing::seals,
    filled,
    railway::{LARGE, Railway, UNITS, crew},
};
use crate::common::{
    book::{PROGRAM, run},
    client::{self, Client, Outcome},
    percentile,
    server::Serving,
};

pub const CLIENTS: usize = 32;
/// Of each client in a batch: few, so that little of the last one hangs over the back-up's end.
const REPORTS: usize = 10;
/// Until a server that was just started has signed the day's checkpoint and taken the figures that are due.
const WARM: Duration = Duration::from_secs(30);
const BEFORE: Duration = Duration::from_secs(60);

pub struct Measured {
    pub before: Filed,
    pub during: Filed,
    pub took: Duration,
    pub bytes: u64,
}

/// What was filed in some batches.
#[derive(Default)]
pub struct Filed {
    waits: Vec<f64>,
    seconds: f64,
}

impl Filed {
    fn add(&mut self, outcome: &Outcome) {
        self.waits.extend(&outcome.waits);
        self.seconds += outcome.took.as_secs_f64();
    }

    /// Of a hundred answers, how long this many came within, in seconds.
    pub fn within(&self, part: f64) -> f64 {
        percentile(&self.waits, part)
    }

    pub fn per_second(&self) -> f64 {
        self.waits.len() as f64 / self.seconds
    }
}

/// Files into the book and leaves what it filed there: to be measured last.
pub fn measure(book: &Path) -> Measured {
    let mut crews = Crews::of(book);
    let serving = Serving::start(book);
    let mut file = || client::file_all(serving.address, crews.batch());
    let mut file_for = |time: Duration| {
        let (mut filed, began) = (Filed::default(), Moment::now());
        while began.elapsed() < time {
            filed.add(&file());
        }
        filed
    };
    file_for(WARM);
    let before = file_for(BEFORE);
    let to = empty_folder();
    let (began, mut during) = (Moment::now(), Filed::default());
    let mut backup = start(book, &to);
    let ended = loop {
        let outcome = file();
        let ended = backup.try_wait().unwrap();
        // What hung over the end was filed beside nothing, unless there is nothing else.
        if ended.is_none() || during.waits.is_empty() {
            during.add(&outcome);
        }
        if let Some(ended) = ended {
            break ended;
        }
    };
    let took = began.elapsed();
    assert!(ended.success(), "the back-up failed: {ended}");
    let bytes = std::fs::read_dir(&to).unwrap().map(|file| file.unwrap().metadata().unwrap().len()).sum();
    std::fs::remove_dir_all(&to).unwrap();
    Measured { before, during, took, bytes }
}

fn empty_folder() -> PathBuf {
    let to = filled::folder().join("kept");
    let _ = std::fs::remove_dir_all(&to);
    std::fs::create_dir(&to).unwrap();
    to
}

fn start(book: &Path, to: &Path) -> Child {
    Command::new(PROGRAM)
        .args(["backup", "--db", book.to_str().unwrap(), "--to", to.to_str().unwrap()])
        .stdout(Stdio::null())
        .spawn()
        .unwrap()
}

/// Who files, and what: reports of a run that ended a few minutes ago, of one unit after the other.
struct Crews {
    crews: Vec<(SignIn, String)>,
    railway: Railway,
    units: Vec<usize>,
    next: usize,
}

impl Crews {
    fn of(book: &Path) -> Self {
        let token = |crew: &SignIn| {
            run(&["token", "--db", book.to_str().unwrap(), "--for", crew.as_str()]).trim().to_owned()
        };
        let crews = (0..CLIENTS).map(crew).map(|crew| (crew.clone(), token(&crew))).collect();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let seals = runtime.block_on(async {
            let desk = Desk::open(book, DeskOptions::default()).await.unwrap();
            let seals = seals(&desk).await;
            desk.close().await;
            seals
        });
        let mut units: Vec<usize> = (0..UNITS).collect();
        units.shuffle(&mut StdRng::seed_from_u64(13));
        // Ids hang on the dice: those of an earlier run of this on a book that was kept must not come again.
        let seed = Clock::machine().now().0.unsigned_abs();
        let mut railway = Railway::new(LARGE, seed);
        railway.seal(seals);
        Self { crews, railway, units, next: 0 }
    }

    fn batch(&mut self) -> Vec<Client> {
        let now = Clock::machine().now();
        let mut clients = Vec::new();
        for (author, token) in &self.crews {
            let mut bodies = Vec::new();
            for _ in 0..REPORTS {
                let unit = self.units[self.next % UNITS];
                self.next += 1;
                bodies.push(self.railway.report_body(unit, now, 4 * HOUR, author));
            }
            clients.push(Client { token: token.clone(), bodies });
        }
        clients
    }
}
