//! `verify` and `rebuild`.
use std::process::ExitCode;

use sqlx::Connection;

use super::{Book, Failed, Outcome, say};
use crate::{
    db::{self, Opening},
    desk::{
        rebuild,
        verify::{self, Verdict},
    },
};

/// Says what the book proves: it proves it against a receipt or checkpoint that is kept elsewhere.
pub async fn verify(book: &Book) -> Outcome {
    match verify::verify(&book.db).await? {
        Verdict::Clean { size, root } => {
            say(&format!("clean: {size} pages, root {root}"));
            say(
                "Hold size and root against a receipt or handover sheet kept elsewhere: only that shows that nothing was taken off the end or written anew.",
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
