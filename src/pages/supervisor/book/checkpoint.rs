//! One checkpoint, to print, to keep, to mail away: as text, as a file, as a square that a telephone reads.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::{HeaderValue, StatusCode, header},
    response::IntoResponse,
};
use serde::Deserialize;

use super::numbered;
use crate::{
    book::{
        checkpoint_store,
        note::{By, Note, PublicKey},
    },
    web::{
        Answer, App, Asked, Frame, Oops, page, paths,
        qr::{Square, square},
    },
};

#[derive(Template)]
#[template(path = "supervisor/checkpoint.html")]
struct View {
    frame: Frame,
    book: String,
    railway: String,
    made: String,
    by: String,
    size: u64,
    note: String,
    key: Option<String>,
    square: Option<Square>,
    file: String,
}

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    format: String,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    size: Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let size = numbered(size)?;
    let mut db = app.desk().read().await?;
    let kept = checkpoint_store::of_size(&mut db, size).await?;
    let keys = checkpoint_store::keys(&mut db).await?;
    drop(db);
    let kept = kept.ok_or_else(|| {
        Oops::NotFound(
            "No checkpoint was made of the book at that size: choose one of those in the list.".to_owned(),
        )
    })?;
    if query.format == "txt" {
        return file(size, kept.note);
    }
    let world = app.world();
    let by = kept.by.map_or_else(|| "by the program itself".to_owned(), |by| format!("asked for by {by}"));
    let view = View {
        frame,
        book: paths::Book.to_string(),
        railway: world.railway.name.clone(),
        made: world.railway.zone.in_words(kept.made_at),
        by,
        size: kept.size,
        key: signed_with(&kept.note, &keys),
        square: square(&kept.note),
        file: paths::Checkpoint(kept.size).with(&[("format", "txt")]),
        note: kept.note,
    };
    page(StatusCode::OK, &view)
}

/// The key it was signed with: the book may have had several.
fn signed_with(note: &str, keys: &[String]) -> Option<String> {
    let note = Note::read(note).ok()?;
    let signed = |key: &&String| PublicKey::parse(key).is_ok_and(|key| note.signed_by(&key) == By::Yes);
    keys.iter().find(signed).cloned()
}

fn file(size: i64, note: String) -> Answer {
    let named = format!("attachment; filename=\"checkpoint-{size}.txt\"");
    let named = HeaderValue::try_from(named).map_err(|why| Oops::machine(&why))?;
    let kind = HeaderValue::from_static("text/plain; charset=utf-8");
    Ok(([(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, named)], note).into_response())
}
