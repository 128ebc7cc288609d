//! `pack` and `check-pack`.
use std::{
    io::Read as _,
    path::{Path, PathBuf},
    process::ExitCode,
};

use super::{Book, Failed, Outcome, check::kept, open, say};
use crate::{
    base::{Day, EntryId, UnitName, text},
    book::note::PublicKey,
    desk::evidence::{About, Days},
    oversight::pack,
    pages::supervisor::pack::packed,
};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    book: Book,
    /// One opening of a ground-relay cutout: its id in the register.
    #[arg(long, value_name = "ID", conflicts_with_all = ["unit", "from", "to"])]
    bypass: Option<EntryId>,
    /// Everything about a unit, as in 'QHB 412'.
    #[arg(long)]
    unit: Option<String>,
    /// What was recorded from this day on (2026-03-01).
    #[arg(long, value_name = "DAY", value_parser = day, requires = "to")]
    from: Option<Day>,
    /// Up to this day, and with it.
    #[arg(long, value_name = "DAY", value_parser = day, requires = "from")]
    to: Option<Day>,
    /// The new file.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
}

#[derive(clap::Args, Debug)]
pub struct CheckArgs {
    /// The pack.
    file: PathBuf,
    /// The railway's public key as it was printed or published before.
    #[arg(long, value_name = "KEY", value_parser = PublicKey::parse)]
    key: Option<PublicKey>,
    /// A checkpoint of that book that was kept elsewhere.
    #[arg(long, value_name = "FILE")]
    checkpoint: Option<PathBuf>,
}

fn day(text: &str) -> Result<Day, String> {
    Day::parse(text).ok_or_else(|| "a day is wanted, as in 2026-03-01".to_owned())
}

impl Args {
    fn about(&self) -> Result<About, Failed> {
        let days = self.from.zip(self.to).map(|(from, to)| Days { from, to });
        if days.is_some_and(|days| days.to < days.from) {
            return Err(Failed::from("the last day is before the first"));
        }
        let unit = match &self.unit {
            Some(typed) => Some(UnitName::tidy(typed).ok_or_else(|| {
                Failed::from(format!(
                    "{} is no unit: give mark and road number, as in 'QHB 412'",
                    text::quoted(typed)
                ))
            })?),
            None => None,
        };
        match (self.bypass, unit, days) {
            (Some(id), ..) => Ok(About::Bypass(id)),
            (None, Some(unit), days) => Ok(About::Unit(unit, days)),
            (None, None, Some(days)) => Ok(About::Days(days)),
            (None, None, None) => {
                Err(Failed::from("say what it is to be about: --bypass, --unit, or --from and --to"))
            }
        }
    }
}

pub async fn pack(args: Args) -> Outcome {
    let about = args.about()?;
    let desk = open(&args.book).await?;
    let made = packed(&desk, &about, "the console", desk.clock().now()).await;
    desk.close().await;
    let made = made?;
    keep(&args.out, &made.zip)
        .map_err(|why| Failed::from(format!("{} cannot be written: {why}", args.out.display())))?;
    say(&format!("{} in {}", text::count(made.pages as u64, "page", "pages"), args.out.display()));
    Ok(ExitCode::SUCCESS)
}

/// Never over a file that is there.
fn keep(at: &Path, bytes: &[u8]) -> std::io::Result<()> {
    use std::io::Write as _;
    let mut file = std::fs::File::create_new(at)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Exit 0: sound, and it agrees with all that was given. 1: not, with the first thing that is wrong.
pub fn check(args: &CheckArgs) -> Outcome {
    let checkpoint = args.checkpoint.as_deref().map(kept).transpose()?;
    let zip = read(&args.file)?;
    let unsound = |why: pack::Unsound| Failed { says: format!("{}: {why}", args.file.display()), code: 1 };
    let checked = pack::check(&zip).map_err(unsound)?;
    if let Some(key) = &args.key {
        checked.hold_key(key).map_err(unsound)?;
    }
    if let Some(checkpoint) = &checkpoint {
        checked.hold_checkpoint(checkpoint).map_err(unsound)?;
    }
    tell(&checked, args);
    Ok(ExitCode::SUCCESS)
}

/// One byte more than a pack can have is enough to know that it is none.
fn read(at: &Path) -> Result<Vec<u8>, Failed> {
    let no = |why: std::io::Error| Failed::from(format!("{} cannot be read: {why}", at.display()));
    let mut zip = Vec::new();
    let file = std::fs::File::open(at).map_err(no)?;
    file.take(pack::LARGEST as u64 + 1).read_to_end(&mut zip).map_err(no)?;
    Ok(zip)
}

fn tell(checked: &pack::Checked, args: &CheckArgs) {
    let pages: Vec<String> = checked.pages.iter().take(12).map(u64::to_string).collect();
    let more = if checked.pages.len() > pages.len() { " …" } else { "" };
    say(&format!("sound: {} ({})", plain(&checked.about), plain(&checked.railway)));
    say(&format!(
        "{} of a book of {}, root {}: {}{more}",
        text::count(checked.pages.len() as u64, "page", "pages"),
        checked.head.size,
        checked.head.root,
        pages.join(", ")
    ));
    say(&format!("packed {} for {}", plain(&checked.made_at), plain(&checked.made_by)));
    for head in &checked.earlier {
        say(&format!("goes on from the checkpoint of {} pages, root {}", head.size, head.root));
    }
    say(&format!("signed with {}", checked.key));
    if args.key.is_none() {
        say(
            "Anybody can make a key: hold this one against the railway's, printed or published before (--key).",
        );
    }
    if args.checkpoint.is_none() {
        say(
            "Since when these pages have been in the book, only a checkpoint kept elsewhere shows (--checkpoint).",
        );
    }
}

/// The pack's own words on a terminal: one line, and nothing that steers it.
fn plain(words: &str) -> String {
    text::own_words(words).chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
