//! `demo`: our own invented railway, its year of history filed through the desk, then served.
use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

use super::{Failed, Outcome, demo, demo_year::file_year, import, post::Carrying, say, serve};
use crate::{
    base::{Clock, Instant, SignIn, instant::DAY},
    db::OpenError,
    desk::{
        Desk, DeskOptions, begin,
        keep_people::KeepSecret,
        notices::look::{Looking, look},
    },
    people::password::{Password, hash_now},
};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// The demo's book; kept, and served again if it is there. Without it a fresh one in the temporary folder is
    /// served, and taken away at the end.
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
    #[command(flatten)]
    listening: serve::Listening,
    /// Fill the book and stop.
    #[arg(long)]
    fill_only: bool,
}

pub async fn run(args: Args) -> Outcome {
    let path = args.db.clone().unwrap_or_else(fresh_file);
    if !path.exists() {
        fill(&path, Clock::machine().now()).await?;
    }
    if args.fill_only {
        say(&format!("filled {}", path.display()));
        sign_ins();
        return Ok(ExitCode::SUCCESS);
    }
    let outcome = serve_demo(&path, &args.listening).await;
    if args.db.is_none() {
        take_away(&path);
    }
    outcome
}

async fn serve_demo(path: &Path, listening: &serve::Listening) -> Outcome {
    let desk = Desk::open(path, DeskOptions::default()).await?;
    if !desk.world().railway.demo {
        let says = format!("{} is a railway's own book, not a demo: give another file", path.display());
        return Err(Failed::from(says));
    }
    serve::serve(desk, listening, None, Carrying::default().post()?, |url| {
        say(&format!("listening {url}"));
        sign_ins();
    })
    .await
}

fn fresh_file() -> PathBuf {
    std::env::temp_dir().join(format!("breakerbook-demo-{}.db", std::process::id()))
}

fn take_away(path: &Path) {
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
}

fn sign_ins() {
    for (role, name, password) in demo::SIGN_INS {
        say(&format!("sign-in {role} {name} {password}"));
    }
}

/// Begins the demo's book and files its year, ending now. A book that could not be finished is taken away again.
pub async fn fill(path: &Path, ends: Instant) -> Result<(), Failed> {
    let ends = Instant(ends.0 - ends.0.rem_euclid(60_000_000));
    let outcome = fill_new(path, ends).await;
    if outcome.is_err() && !matches!(outcome, Err(Filling::Open(OpenError::AlreadyThere(_)))) {
        take_away(path);
    }
    outcome.map_err(|why| match why {
        Filling::Open(why) => Failed::from(why),
        Filling::Other(why) => why,
    })
}

enum Filling {
    Open(OpenError),
    Other(Failed),
}
impl From<OpenError> for Filling {
    fn from(why: OpenError) -> Self {
        Self::Open(why)
    }
}
impl From<Failed> for Filling {
    fn from(why: Failed) -> Self {
        Self::Other(why)
    }
}

async fn fill_new(path: &Path, ends: Instant) -> Result<(), Filling> {
    let clock = Clock::standing_at(ends.minus(366 * DAY));
    let book = begin::NewBook {
        railway: demo::RAILWAY.to_owned(),
        mark: demo::MARK.to_owned(),
        time_zone: demo::ZONE.to_owned(),
        demo: true,
    };
    begin::create(path, &book, &clock).await?;
    let desk = Desk::open(path, DeskOptions { clock, ..DeskOptions::default() }).await?;
    let zone = desk.world().railway.zone.clone();
    load_lists(&desk, &demo::files(ends, &zone)).await?;
    file_year(&desk, ends, &zone).await?;
    // The last week is told; what was open before is known.
    let looking = Looking { book: true, thorough: true, mail: false, from: ends.minus(7 * DAY) };
    look(&desk, looking, ends).await.map_err(|why| Failed::from(why.to_string()))?;
    desk.close().await;
    Ok(())
}

async fn load_lists(desk: &Desk, files: &demo::Csvs) -> Result<(), Failed> {
    for (what, text) in [
        (import::List::People, &files.people),
        (import::List::Schedules, &files.schedules),
        (import::List::Checks, &files.checks),
        (import::List::Units, &files.units),
        (import::List::Authorisations, &files.authorisations),
    ] {
        let done = import::list(desk, what, text.as_bytes(), None, None).await?;
        if let Some(first) = done.rejects.first() {
            return Err(Failed::from(format!("the demo's {what:?}, line {}: {}", first.line, first.reason)));
        }
    }
    for (_, name, password) in demo::SIGN_INS {
        let hash = hash_now(&Password::typed(password)).map_err(|why| Failed::from(format!("{why:?}")))?;
        let of = SignIn::from(*name);
        desk.act(KeepSecret::password(&of, hash, false, None, desk.clock().now()))
            .await
            .map_err(|why| Failed::from(why.says()))?;
    }
    Ok(())
}
