//! One page of the book: its bytes, its hash, who wrote what and when.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::{HeaderValue, StatusCode, header},
    response::IntoResponse,
};
use serde::Deserialize;

use super::{super::page_told::PageTold, numbered};
use crate::{
    book::{Envelope, Hash, store, tree::leaf_hash},
    desk::checkpoint,
    web::{Answer, App, Asked, Frame, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "supervisor/book_page.html")]
struct View {
    frame: Frame,
    book: String,
    told: PageTold,
    hash: String,
    /// The bytes are not those that were filed.
    changed: bool,
    /// It was recorded before the page in front of it.
    set_back: bool,
    bytes: String,
    length: usize,
    cut: bool,
    file: String,
    before: Option<String>,
    after: Option<String>,
}

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    format: String,
}

/// A class schedule has a hundred times as much: that comes as a file.
const SHOWN: usize = 6_000;

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    number: Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let seq = numbered(number)?;
    let mut db = app.desk().read().await?;
    let size = checkpoint::head(&mut db).await?.size;
    let kept = store::page(&mut db, seq).await?;
    let in_front = store::page(&mut db, seq.saturating_sub(1)).await?.filter(|page| page.seq < seq);
    drop(db);
    let kept =
        kept.ok_or_else(|| Oops::NotFound(format!("The book has pages 0 to {}.", size.saturating_sub(1))))?;
    if query.format == "json" {
        return file(seq, kept.blob);
    }
    let number = u64::try_from(seq).unwrap_or(0);
    let hash = leaf_hash(kept.blob.as_bytes());
    let at = |blob: &str| Envelope::read(blob).ok().map(|envelope| envelope.recorded_at.at);
    let neighbour = |seq: u64| paths::BookPage(seq).to_string();
    let view = View {
        frame,
        book: paths::Book.to_string(),
        told: PageTold::of(number, &kept.blob, &app.world()),
        hash: hash.to_string(),
        changed: Hash::from_slice(&kept.leaf) != Some(hash),
        set_back: in_front.is_some_and(|before| at(&kept.blob) < at(&before.blob)),
        bytes: kept.blob.chars().take(SHOWN).collect(),
        length: kept.blob.len(),
        cut: kept.blob.chars().nth(SHOWN).is_some(),
        file: paths::BookPage(number).with(&[("format", "json")]),
        before: number.checked_sub(1).map(neighbour),
        after: (number + 1 < size).then(|| neighbour(number + 1)),
    };
    page(StatusCode::OK, &view)
}

/// The exact bytes.
fn file(seq: i64, blob: String) -> Answer {
    let named = format!("attachment; filename=\"page-{seq:08}.json\"");
    let named = HeaderValue::try_from(named).map_err(|why| Oops::machine(&why))?;
    let kind = HeaderValue::from_static("application/json");
    Ok(([(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, named)], blob).into_response())
}
