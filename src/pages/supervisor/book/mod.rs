//! The book's own page: how large it is and what it hangs on, its checkpoints, whether it was verified, packs to hand on.
mod checkpoint;
mod page;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;
use sqlx::SqliteConnection;

use crate::{
    base::{Zone, text},
    book::{
        checkpoint_store::{self, Checked, Kept},
        store,
    },
    desk::{checkpoint::head, evidence::Days},
    pages::drawn::{
        form::Field,
        pager::{PER_PAGE, Pager, page_of},
    },
    people::Act,
    web::{Answer, App, Asked, Frame, Me, Oops, page as answer, paths, see},
};

pub use checkpoint::show as show_checkpoint;
pub use page::show as show_page;

use super::page_told::PageTold;

#[derive(Template)]
#[template(path = "supervisor/book.html")]
pub(super) struct View {
    frame: Frame,
    size: u64,
    root: String,
    number: Field,
    latest: Vec<Line>,
    /// Something that was asked for and not done.
    says: Option<String>,
    checking: Option<String>,
    checked: Option<LastCheck>,
    key: String,
    checkpoints: Vec<Line>,
    pager: Pager,
    unit: Field,
    from: Field,
    to: Field,
    paths: Paths,
}

struct Paths {
    book: String,
    verify: String,
    checkpoints: String,
    pack: String,
    bypasses: String,
}

struct Line {
    path: String,
    main: String,
    sub: String,
}

struct LastCheck {
    clean: bool,
    when: String,
    says: Vec<String>,
}

#[derive(Deserialize, Default)]
pub struct Query {
    #[serde(default)]
    number: String,
    #[serde(default)]
    page: String,
}

/// What was typed before, with the sentences beside it.
#[derive(Default)]
pub(super) struct Typed {
    pub number: String,
    pub number_says: Option<String>,
    pub unit: String,
    pub unit_says: Option<String>,
    pub from: String,
    pub from_says: Option<String>,
    pub to: String,
    pub to_says: Option<String>,
    pub says: Option<String>,
    pub page: usize,
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(query): Asked<Query>) -> Answer {
    let mut typed = Typed { page: page_of(&query.page), ..Typed::default() };
    let wanted = query.number.trim().replace([',', ' '], "");
    if !wanted.is_empty() {
        let mut db = app.desk().read().await?;
        let size = head(&mut db).await?.size;
        match wanted.parse::<u64>() {
            Ok(seq) if seq < size => return see(&paths::BookPage(seq)),
            _ => {
                typed.number_says = Some(format!("Give a number from 0 to {}.", size.saturating_sub(1)));
                typed.number = query.number;
                return look_up(&app, frame, StatusCode::UNPROCESSABLE_ENTITY, typed).await;
            }
        }
    }
    look_up(&app, frame, StatusCode::OK, typed).await
}

/// Signs the book as it is.
pub async fn make_checkpoint(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    me.permit(Act::SignBook)?;
    match app.desk().make_checkpoint(Some(me.sign_in().clone())).await {
        Ok(kept) => see(&paths::Checkpoint(kept.size)),
        Err(why) => {
            let typed = Typed { says: Some(text::sentence(&why.to_string())), ..Typed::default() };
            look_up(&app, frame, StatusCode::SERVICE_UNAVAILABLE, typed).await
        }
    }
}

/// Begins to verify, and comes back at once.
pub async fn verify(State(app): State<App>, me: Me) -> Answer {
    me.permit(Act::SignBook)?;
    app.desk().begin_check(me.sign_in().clone()).map_err(|why| Oops::machine(&why))?;
    see(&format!("{}#verified", paths::Book))
}

/// Everything on the page, with what was typed in it.
pub(super) async fn look_up(app: &App, frame: Frame, status: StatusCode, typed: Typed) -> Answer {
    let (world, desk) = (app.world(), app.desk());
    let zone = &world.railway.zone;
    let mut db = desk.read().await?;
    let head = head(&mut db).await?;
    let total = usize::try_from(checkpoint_store::count(&mut db).await?).unwrap_or(0);
    let (range, pager) = Pager::of(total, typed.page, |n| paths::Book.with(&[("page", &n.to_string())]));
    let per_page = i64::try_from(PER_PAGE).unwrap_or(i64::MAX);
    let kept = checkpoint_store::all(&mut db, per_page, i64::try_from(range.start).unwrap_or(0)).await?;
    let checked = checkpoint_store::last_check(&mut db).await?;
    let latest = latest(&mut db, head.size, &world).await?;
    let keys = checkpoint_store::keys(&mut db).await?;
    drop(db);
    let checking =
        desk.checking().map(|now| format!("Asked for by {} at {}.", now.by, zone.clock_in_words(now.since)));
    let day = |name, label, value: &str, says| Field {
        input: "date",
        ..Field::text(name, label, value).says(says)
    };
    let view = View {
        frame,
        size: head.size,
        root: head.root.to_string(),
        number: Field::number("number", "Number of the page", &typed.number).says(typed.number_says),
        latest,
        says: typed.says,
        checking,
        checked: checked.map(|checked| last_check(checked, zone)),
        key: keys.last().cloned().unwrap_or_default(),
        checkpoints: kept.iter().map(|kept| line(kept, zone)).collect(),
        pager,
        unit: Field::text("unit", "Unit", &typed.unit).hint("Empty: all units.").says(typed.unit_says),
        from: day("from", "Recorded from", &typed.from, typed.from_says),
        to: day("to", "Recorded to", &typed.to, typed.to_says),
        paths: Paths::here(),
    };
    answer(status, &view)
}

impl Paths {
    fn here() -> Self {
        Self {
            book: paths::Book.to_string(),
            verify: paths::BookVerify.to_string(),
            checkpoints: paths::Checkpoints.to_string(),
            pack: paths::Pack.to_string(),
            bypasses: paths::Bypasses.to_string(),
        }
    }
}

const LATEST: u64 = 8;

async fn latest(
    db: &mut SqliteConnection,
    size: u64,
    world: &crate::desk::World,
) -> Result<Vec<Line>, sqlx::Error> {
    let from = i64::try_from(size.saturating_sub(LATEST)).unwrap_or(0);
    let pages = store::pages_from(db, from, 100).await?;
    let line = |page: store::StoredPage| {
        let told = PageTold::of(u64::try_from(page.seq).unwrap_or(0), &page.blob, world);
        Line {
            path: paths::BookPage(told.seq).to_string(),
            main: format!("Page {}: {}", told.seq, told.what),
            sub: told.by,
        }
    };
    Ok(pages.into_iter().rev().map(line).collect())
}

fn line(kept: &Kept, zone: &Zone) -> Line {
    let by = kept.by.as_ref().map_or_else(|| "made by itself".to_owned(), |by| format!("made by {by}"));
    Line {
        path: paths::Checkpoint(kept.size).to_string(),
        main: zone.in_words(kept.made_at),
        sub: format!("{}, {by}", text::count(kept.size, "page", "pages")),
    }
}

fn last_check(checked: Checked, zone: &Zone) -> LastCheck {
    LastCheck {
        clean: checked.clean,
        when: format!(
            "asked for by {} at {}, ended {}",
            checked.asked_by,
            zone.in_words(checked.asked_at),
            zone.clock_in_words(checked.ended_at)
        ),
        says: checked.says.lines().map(text::sentence).collect(),
    }
}

/// Both days, the first not after the last, or the sentences beside them.
pub(super) fn days(typed: &mut Typed) -> Option<Days> {
    let read = |text: &str| crate::base::Day::parse(text);
    let (from, to) = (read(&typed.from), read(&typed.to));
    let wanted = "Give a day, as in 2026-03-01.".to_owned();
    typed.from_says = from.is_none().then(|| wanted.clone());
    typed.to_says = to.is_none().then_some(wanted);
    let (from, to) = (from?, to?);
    if to < from {
        typed.to_says = Some("The last day is before the first.".to_owned());
        return None;
    }
    Some(Days { from, to })
}

/// A number in an address.
fn numbered(Path(typed): Path<String>) -> Result<i64, Oops> {
    typed
        .parse()
        .map_err(|_| Oops::NotFound("That is no number of a page: look in the book again.".to_owned()))
}
