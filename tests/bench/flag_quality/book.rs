//! The same fleet through a real book: lists by the importer, every report by the desk, figures as a page, findings as
//! the file keeps them.
use std::collections::VecDeque;

use breakerbook::{
    base::{Clock, Instant, instant::DAY},
    book::Channel,
    cli::{
        import::{self, List},
        simulate::{Options, lists},
    },
    desk::{
        Desk, DeskOptions,
        begin::{self, NewBook},
        figures::TakeFigures,
        reports::{FileReport, Filer},
    },
    rules::{
        Finding, Rule,
        store::{self, Wanted},
    },
};

use super::railway::{Railway, arrived, figures_as_of};

/// Reports under way at once, as in an import.
const UNDER_WAY: usize = 256;

/// What *burst* and *often* find, sorted by key.
pub fn findings(options: &Options, railway: &Railway) -> Vec<Finding> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(through_a_book(options, railway))
}

async fn through_a_book(options: &Options, railway: &Railway) -> Vec<Finding> {
    let dir = tempfile::tempdir().unwrap();
    let desk = begin(&dir.path().join("book.db"), options).await;
    let lists = lists(&railway.fleet);
    for (list, text) in [
        (List::People, lists.people),
        (List::Schedules, lists.schedules),
        (List::Units, lists.units),
        (List::Authorisations, lists.authorisations),
    ] {
        let done = import::list(&desk, list, text.as_bytes(), Some(options.starts), None).await;
        assert!(done.is_ok_and(|done| done.rejects.is_empty()), "{list:?}");
    }
    file(&desk, railway).await;
    let figures = TakeFigures::prepare(&desk, figures_as_of(options)).await.unwrap();
    assert!(desk.act(figures).await.unwrap().is_some());
    let mut all = Vec::new();
    let mut db = desk.read().await.unwrap();
    for rule in [Rule::Burst, Rule::Often] {
        let wanted = Wanted { rule: Some(rule), ..Wanted::default() };
        all.extend(store::all_until(&mut db, &wanted, Instant::MAX).await.unwrap());
    }
    drop(db);
    desk.close().await;
    all.sort_by(|a, b| a.key.cmp(&b.key));
    all
}

async fn begin(path: &std::path::Path, options: &Options) -> Desk {
    // After the last late report.
    let clock = Clock::standing_at(figures_as_of(options).plus(60 * DAY));
    let book =
        NewBook { railway: "Simford".into(), mark: "SIM".into(), time_zone: "Etc/UTC".into(), demo: false };
    begin::create(path, &book, &clock).await.unwrap();
    Desk::open(path, DeskOptions { clock, ..DeskOptions::default() }).await.unwrap()
}

async fn file(desk: &Desk, railway: &Railway) {
    let filer = Filer { by: None, channel: Channel::Import };
    let mut under_way = VecDeque::new();
    for one in arrived(&railway.filed) {
        let line = serde_json::to_vec(&one.report).unwrap();
        let Ok(act) = FileReport::read(&line, &filer, &desk.world(), desk.clock().now()) else {
            unreachable!("the simulator writes what can be read")
        };
        under_way.push_back(desk.hand_over_patiently(act, None).await.unwrap());
        if under_way.len() >= UNDER_WAY {
            assert!(under_way.pop_front().unwrap().answer().await.unwrap().is_new);
        }
    }
    for pending in under_way {
        assert!(pending.answer().await.unwrap().is_new);
    }
}
