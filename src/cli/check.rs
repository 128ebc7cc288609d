//! `verify`, `checkpoint` and `rebuild`.
use std::{
    io::Write as _,
    path::{Path, PathBuf},
    process::ExitCode,
};

use sqlx::Connection;

use super::{Book, Failed, Outcome, open, readable, say};
use crate::{
    book::note::{self, PublicKey},
    db::{self, Opening},
    desk::{
        held::Held,
        rebuild,
        verify::{self, Elsewhere, Verdict},
    },
};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    book: Book,
    /// A checkpoint that was kept elsewhere: the book has to go on from it. May be given several times.
    #[arg(long, value_name = "FILE")]
    checkpoint: Vec<PathBuf>,
    /// The book's public key as it was kept with the checkpoint, where the file does not know it any more.
    #[arg(long, value_name = "KEY", value_parser = PublicKey::parse)]
    key: Vec<PublicKey>,
}

#[derive(clap::Args, Debug)]
pub struct CheckpointArgs {
    #[command(flatten)]
    book: Book,
    /// Into this file, instead of printing it.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

/// Text that somebody kept in a file; a checkpoint is some hundred bytes.
pub fn kept(at: &Path) -> Result<String, Failed> {
    let no = |why: &dyn std::fmt::Display| Failed::from(format!("{} cannot be read: {why}", at.display()));
    let length = std::fs::metadata(at).map_err(|why| no(&why))?.len();
    if length > note::LONGEST as u64 {
        return Err(no(&"it is far too long for a checkpoint"));
    }
    std::fs::read_to_string(at).map_err(|why| no(&why))
}

/// The note alone on standard output; the key, which is to be kept with it, beside it.
pub async fn checkpoint(args: CheckpointArgs) -> Outcome {
    let desk = open(&args.book).await?;
    let (kept, key) = (desk.make_checkpoint(None).await, desk.signer());
    desk.close().await;
    let (kept, key) = (kept?, key?.public());
    let mut err = std::io::stderr();
    let _ = writeln!(err, "public key: {key}");
    match &args.out {
        Some(at) => {
            std::fs::write(at, &kept.note)
                .map_err(|why| Failed::from(format!("{} cannot be written: {why}", at.display())))?;
            let _ = writeln!(err, "checkpoint of {} pages kept in {}", kept.size, at.display());
        }
        None => {
            let _ = write!(std::io::stdout(), "{}", kept.note);
        }
    }
    let _ = writeln!(err, "Give both to somebody else to keep: only there do they prove anything.");
    Ok(ExitCode::SUCCESS)
}

/// Says what the book proves: it proves it against a receipt or checkpoint that is kept elsewhere.
pub async fn verify(args: &Args) -> Outcome {
    let held = |at: &PathBuf| Ok::<_, Failed>(Held { named: at.display().to_string(), note: kept(at)? });
    let elsewhere = Elsewhere {
        checkpoints: args.checkpoint.iter().map(held).collect::<Result<_, _>>()?,
        keys: args.key.clone(),
    };
    let (path, _copy) = readable(&args.book).await?;
    match verify::verify_against(&path, &elsewhere).await? {
        Verdict::Clean { size, root, notes } => {
            say(&format!("clean: {size} pages, root {root}"));
            notes.iter().for_each(|note| say(note));
            if !args.checkpoint.is_empty() {
                return Ok(ExitCode::SUCCESS);
            }
            say(
                "Hold size and root against a receipt, handover sheet or checkpoint (--checkpoint) kept elsewhere: only that shows that nothing was taken off the end or written anew.",
            );
            Ok(ExitCode::SUCCESS)
        }
        Verdict::Flawed(flaws) => {
            flaws.iter().for_each(|flaw| say(flaw));
            Err(Failed {
                says: "this book is not clean: keep the file as it is and compare it with a copy".to_owned(),
                code: 1,
            })
        }
    }
}

pub async fn rebuild(book: &Book) -> Outcome {
    if !book.db.exists() {
        return Err(Failed::from(db::OpenError::NoSuchFile(book.db.display().to_string())));
    }
    let mut connection = db::open::writer(&book.db, &Opening::default()).await?;
    db::migrate::migrate(&mut connection, &book.db).await?;
    rebuild::if_shape_changed(&mut connection).await?;
    let pages = rebuild::rebuild(&mut connection).await?;
    connection.close().await?;
    say(&format!("rebuilt from {pages} pages"));
    Ok(ExitCode::SUCCESS)
}
