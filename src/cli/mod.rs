//! The command line: beginning a book, serving it, importing into it, asking and checking it.
mod answers;
mod backup;
mod check;
pub mod demo;
mod demo_year;
pub mod import;
mod init;
mod pack;
mod post;
mod run_demo;
mod secrets;
mod serve;
pub mod simulate;
pub mod site;

use std::{io::Write as _, path::PathBuf, process::ExitCode};

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::{
    base::Instant,
    db::{self, OpenError, scratch::Scratch},
    desk::{Desk, DeskOptions},
};

/// The web logbook of breaker trips, fuse checks, failed engine starts, ground-relay operations and openings of the
/// ground-relay cutout switch.
#[derive(Parser, Debug)]
#[command(version, propagate_version = true)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Begin a new book and print the first administrator's one-time password.
    Init(init::Args),
    /// Serve a book to browsers and programs.
    Serve(serve::Args),
    /// Serve a railway of our own invention with a year of history.
    Demo(run_demo::Args),
    /// Import people, schedules, units, authorisations or reports from a file.
    #[command(subcommand)]
    Import(import::What),
    /// Write the files of an invented fleet, and of what is true of it.
    Simulate(simulate::Args),
    /// Print findings.
    Findings(Asking),
    /// Print the register of ground-relay cutout openings.
    Bypasses(Asking),
    /// Print entries.
    Entries(Asking),
    /// Print a token for a program that files in somebody's name, once.
    Token(secrets::Args),
    /// Print a new one-time password for somebody.
    Password(secrets::Args),
    /// Check that the book is what was filed, and goes on from checkpoints kept elsewhere: exit 0 if so, 1 if not.
    Verify(check::Args),
    /// Sign how large the book is and what its root is, and print that: for keeping elsewhere.
    Checkpoint(check::CheckpointArgs),
    /// Put the pages about a bypass, a unit or some days into one file that a stranger can check.
    Pack(pack::Args),
    /// Check such a file, with no book at hand: exit 0 if it is sound, 1 if not.
    CheckPack(pack::CheckArgs),
    /// Copy a book, served or not, into a file of its own, checked and dated.
    Backup(backup::Taking),
    /// Make a book of a back-up, after checking it. Nobody may have the book open that it replaces.
    Restore(backup::Restoring),
    /// Throw the projections away and reckon them anew from the book.
    Rebuild(Book),
}

/// Which book.
#[derive(Args, Debug)]
pub struct Book {
    /// The book's file.
    #[arg(long, value_name = "FILE")]
    db: PathBuf,
}

/// A question to the book.
#[derive(Args, Debug)]
pub struct Asking {
    #[command(flatten)]
    book: Book,
    #[arg(long, value_enum, default_value_t = Format::Json)]
    format: Format,
    /// Judge only what had happened by then, as known now (RFC 3339 with offset).
    #[arg(long, value_name = "TIME", value_parser = moment)]
    as_of: Option<Instant>,
    /// Also what has ended.
    #[arg(long)]
    history: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    Json,
    Csv,
}

fn moment(text: &str) -> Result<Instant, String> {
    Instant::parse(text)
        .ok_or_else(|| "a time with its offset is wanted, as in 2026-03-03T05:14:00-06:00".to_owned())
}

/// A failure that ends the program, in a sentence.
#[derive(Debug)]
pub struct Failed {
    pub says: String,
    pub code: u8,
}

impl<E: std::fmt::Display> From<E> for Failed {
    fn from(why: E) -> Self {
        Self { says: why.to_string(), code: 2 }
    }
}

type Outcome = Result<ExitCode, Failed>;

/// Runs the program; every failure is a sentence on standard error.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(why) => return failed(&Failed::from(why)),
    };
    runtime.block_on(run(cli.command)).unwrap_or_else(|why| failed(&why))
}

fn failed(why: &Failed) -> ExitCode {
    let _ = writeln!(std::io::stderr(), "breakerbook: {}", why.says);
    ExitCode::from(why.code)
}

async fn run(command: Command) -> Outcome {
    match command {
        Command::Init(args) => init::run(args).await,
        Command::Serve(args) => serve::run(args).await,
        Command::Demo(args) => run_demo::run(args).await,
        Command::Import(what) => import::run(what).await,
        Command::Simulate(args) => simulate::run(&args),
        Command::Findings(asking) => answers::findings(asking).await,
        Command::Bypasses(asking) => answers::bypasses(asking).await,
        Command::Entries(asking) => answers::entries(asking).await,
        Command::Token(args) => secrets::token(args).await,
        Command::Password(args) => secrets::password(args).await,
        Command::Verify(args) => check::verify(&args).await,
        Command::Checkpoint(args) => check::checkpoint(args).await,
        Command::Pack(args) => pack::pack(args).await,
        Command::CheckPack(args) => pack::check(&args),
        Command::Backup(args) => backup::take(args).await,
        Command::Restore(args) => backup::restore(args).await,
        Command::Rebuild(book) => check::rebuild(&book).await,
    }
}

/// A line on standard output; a reader that has gone is no failure of ours.
fn say(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// For commands that only read: where nothing can be written, SQLite opens no book that has a log, so a copy is read.
async fn readable(book: &Book) -> Result<(PathBuf, Option<Scratch>), Failed> {
    let path = book.db.clone();
    match db::open::readers(&path, 1).await {
        Err(OpenError::OnlyRead(told)) => {
            let elsewhere = std::env::temp_dir();
            let copy = Scratch::copy_of(&path).map_err(|why| {
                format!(
                    "{told} can only be read where it lies, and could not be copied to {} for that: {why}",
                    elsewhere.display()
                )
            })?;
            let _ = writeln!(
                std::io::stderr(),
                "{told} lies where nothing can be written: a copy of it is read."
            );
            Ok((copy.path().to_owned(), Some(copy)))
        }
        // Whatever else is wrong is said by whoever opens it next.
        opened => {
            if let Ok(readers) = opened {
                readers.close().await;
            }
            Ok((path, None))
        }
    }
}

async fn open(book: &Book) -> Result<Desk, Failed> {
    Ok(Desk::open(&book.db, DeskOptions::default()).await?)
}
