//! `backup` and `restore`.
use std::{path::PathBuf, process::ExitCode};

use super::{Book, Failed, Outcome, say};
use crate::{
    base::Clock,
    desk::backup::{self, Backups, NotDone, Pace, TimeOfDay, restore, told},
};

#[derive(clap::Args, Debug)]
pub struct Taking {
    #[command(flatten)]
    book: Book,
    /// The folder it is put into, under a dated name, with the signing key in a file beside it. It has to be there.
    #[arg(long, value_name = "FOLDER")]
    to: PathBuf,
    /// Remove this book's back-ups there that are older than this many days, once the new one is found good and has all
    /// their pages. The last one before it always stays.
    #[arg(long, value_name = "DAYS")]
    keep: Option<u32>,
    /// Do not rest between portions: quicker, where nobody files meanwhile.
    #[arg(long)]
    fast: bool,
}

#[derive(clap::Args, Debug)]
pub struct Restoring {
    /// The back-up. Its signing key is looked for beside it, in FILE.key.
    #[arg(long, value_name = "FILE")]
    from: PathBuf,
    #[command(flatten)]
    book: Book,
    /// Put it in the place of the book that is there, which is kept under another name.
    #[arg(long)]
    replace: bool,
}

/// How `serve` backs up.
#[derive(clap::Args, Debug, Clone)]
pub struct Daily {
    /// Take a back-up into this folder every day, and when an administrator asks for one.
    #[arg(long, value_name = "FOLDER")]
    backup_to: Option<PathBuf>,
    /// When, by the railway's clocks.
    #[arg(long, value_name = "HH:MM", default_value = "03:00", value_parser = time_of_day, requires = "backup_to")]
    backup_at: TimeOfDay,
    /// Remove back-ups that are older than this many days, each time that a new one is found good and has all their pages.
    /// The last one before it always stays.
    #[arg(long, value_name = "DAYS", default_value_t = 30, requires = "backup_to")]
    keep: u32,
}

fn time_of_day(text: &str) -> Result<TimeOfDay, String> {
    TimeOfDay::parse(text).ok_or_else(|| "hours and minutes are wanted, as in 03:00".to_owned())
}

impl Daily {
    pub fn of(self, book: &Book) -> Option<Backups> {
        let to = whole(self.backup_to?);
        Some(Backups::new(book.db.clone(), to, self.backup_at, self.keep))
    }
}

/// The page that shows a path knows nothing of the folder in which the program was started.
fn whole(path: PathBuf) -> PathBuf {
    std::path::absolute(&path).unwrap_or(path)
}

pub async fn take(args: Taking) -> Outcome {
    let (clock, db) = (Clock::machine(), &args.book.db);
    let pace = if args.fast { Pace::Alone } else { Pace::BesideFiling };
    let begun = clock.now();
    let outcome = backup::take(db, &whole(args.to), args.keep, pace, &clock).await;
    if db.is_file() {
        let (what, told) = told::of(&outcome, clock.now(), begun);
        if let Err(why) = told::keep_in(db, what, &told).await {
            say(&format!("The Back-ups page will not tell of this one: {why}"));
        }
    }
    let taken = outcome.map_err(failed)?;
    for old in &taken.removed {
        say(&format!("removed {}", old.display()));
    }
    taken.says.iter().for_each(|says| say(says));
    match &taken.key {
        Some(key) => say(&format!(
            "The key that checkpoints are signed with is beside it, in {}: keep it there for a restoring, and leave it out of what you hand to others.",
            key.display()
        )),
        None => say("No key that checkpoints are signed with went along."),
    }
    say(&format!("checked: {} pages, root {}, {} bytes", taken.end.size, taken.end.root, taken.bytes));
    say(&format!("backed up {}", taken.path.display()));
    Ok(ExitCode::SUCCESS)
}

pub async fn restore(args: Restoring) -> Outcome {
    let done = restore::restore(&whole(args.from), &args.book.db, args.replace, &Clock::machine()).await;
    let done = done.map_err(failed)?;
    if let Some(kept) = &done.replaced {
        say(&format!("kept {}", kept.display()));
    }
    done.says.iter().for_each(|says| say(says));
    let (end, at) = (done.label.end, done.label.taken_at);
    say(&format!(
        "It is the book of {at}. Pages, passwords, tokens and names are as they were then: set again what was changed or revoked since, and hold size and root against a receipt from before that moment. Everybody signs in anew."
    ));
    say(&format!("restored {}: {} pages, root {}", args.book.db.display(), end.size, end.root));
    Ok(ExitCode::SUCCESS)
}

fn failed(why: NotDone) -> Failed {
    Failed { says: why.0, code: 1 }
}
