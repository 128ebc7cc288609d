//! `findings`, `bypasses` and `entries`: the lists of the contract on standard output.
use std::process::ExitCode;

use serde::Serialize;

use super::{Asking, Format, Outcome, readable, say};
use crate::{
    api::{
        formats,
        out::{self, Question},
    },
    base::Instant,
    desk::{Desk, DeskOptions},
};

impl Asking {
    fn question(&self, now: Instant) -> Question {
        Question { as_of: self.as_of, now, history: self.history }
    }
}

pub async fn findings(asking: Asking) -> Outcome {
    let (path, _copy) = readable(&asking.book).await?;
    let desk = Desk::open(&path, DeskOptions::default()).await?;
    let mut db = desk.read().await?;
    let rows = out::findings(&mut db, &desk.world(), asking.question(desk.clock().now())).await?;
    print(&rows, out::FINDINGS, asking.format)
}

pub async fn bypasses(asking: Asking) -> Outcome {
    let (path, _copy) = readable(&asking.book).await?;
    let desk = Desk::open(&path, DeskOptions::default()).await?;
    let mut db = desk.read().await?;
    let rows = out::bypasses(&mut db, &desk.world(), asking.question(desk.clock().now())).await?;
    print(&rows, out::BYPASSES, asking.format)
}

pub async fn entries(asking: Asking) -> Outcome {
    let (path, _copy) = readable(&asking.book).await?;
    let desk = Desk::open(&path, DeskOptions::default()).await?;
    let mut db = desk.read().await?;
    let rows = out::entries(&mut db, asking.question(desk.clock().now())).await?;
    print(&rows, out::ENTRIES, asking.format)
}

fn print<T: Serialize>(rows: &[T], columns: &[&str], format: Format) -> Outcome {
    let text = match format {
        Format::Json => formats::to_json(rows)?,
        Format::Csv => formats::to_csv(rows, columns)?,
    };
    say(text.trim_end());
    Ok(ExitCode::SUCCESS)
}
