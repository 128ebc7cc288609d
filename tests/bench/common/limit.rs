//! The raw limit: the very rows that the desk writes, in groups of the same size, through sqlx, synchronous=FULL,
//! with no deciding, judging or HTTP. What a group writes is listened in on once and written again and again.
use std::{
    path::Path,
    sync::Arc,
    time::{Duration, Instant as Moment},
};

use breakerbook::{
    base::{Clock, Instant},
    book::Channel,
    db::{Opening, open},
    desk::{
        Draft, Page,
        act::Act as _,
        cabinet::Cabinet,
        reports::{FileReport, Filer},
        rows::Script,
        world::{self, World},
    },
    reports,
};
use sqlx::{Connection as _, SqliteConnection};

/// What one group writes: the rows of its pages, then what judging made of them, then the head.
type Written = Script;

/// Files the reports on this copy of the book in groups, and keeps what each group wrote.
pub fn listen_in(db: &Path, bodies: &[String], group: usize) -> Vec<Written> {
    runtime().block_on(async {
        let mut db = open::writer(db, &Opening::default()).await.unwrap();
        let (mut groups, mut cabinet) = (Vec::new(), Cabinet::default());
        for bodies in bodies.chunks(group) {
            groups.push(one_group(&mut db, bodies, &mut cabinet).await);
        }
        groups
    })
}

async fn one_group(db: &mut SqliteConnection, bodies: &[String], cabinet: &mut Cabinet) -> Written {
    let now = Clock::machine().now();
    let (frontier, _) = world::head(db).await.unwrap();
    let world = Arc::new(world::load(db).await.unwrap());
    let acts: Vec<FileReport> = bodies.iter().map(|body| read(body, &world, now)).collect();
    let mut tx = db.begin_with("BEGIN IMMEDIATE").await.unwrap();
    let pages: Vec<&Page> = acts.iter().flat_map(|act| act.pages()).collect();
    let mut draft = Draft::on(world, frontier);
    draft.cabinet = std::mem::take(cabinet);
    draft.load_for(&mut tx, &pages).await.unwrap();
    for page in pages {
        draft.file(page, now).unwrap();
    }
    let rows = draft.rows.script().unwrap();
    rows.clone().run(&mut tx).await.unwrap();
    draft.judge_unwritten(&mut tx).await.unwrap();
    let judged = draft.judged.script().unwrap().then(draft.head().unwrap());
    judged.clone().run(&mut tx).await.unwrap();
    let written = rows.then(judged);
    tx.commit().await.unwrap();
    *cabinet = draft.cabinet;
    written
}

fn read(body: &str, world: &World, now: Instant) -> FileReport {
    let tree = reports::json::parse(body.as_bytes()).unwrap();
    let (report, _) = reports::reading::read_report(&tree).unwrap();
    let filer = Filer { by: Some(report.author.clone()), channel: Channel::Token };
    FileReport::read(body.as_bytes(), &filer, world, now).unwrap()
}

/// Writes what was listened in on into a copy that stands where that one stood.
pub fn write_again(db: &Path, groups: &[Written]) -> Duration {
    runtime().block_on(async {
        let mut db = open::writer(db, &Opening::default()).await.unwrap();
        let groups = groups.to_vec();
        let began = Moment::now();
        for group in groups {
            let mut tx = db.begin_with("BEGIN IMMEDIATE").await.unwrap();
            group.run(&mut tx).await.unwrap();
            tx.commit().await.unwrap();
        }
        began.elapsed()
    })
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap()
}
