//! Each sentence of the statistical rules is reckoned again from the entries that it names and the book's lists: its
//! counts, days, dates and averages are read off its words, never off a finding's figures, and no rule is asked.
#![expect(clippy::cast_sign_loss, reason = "counts and days are never below zero")]
#![expect(clippy::print_stdout, reason = "how many sentences were reckoned again")]
mod laws;
mod ledger;
mod normal;
mod operations;
mod others;
mod pairs;
mod railway;
mod words;

use std::collections::BTreeMap;

use breakerbook::{
    base::{Clock, Instant, instant::DAY},
    desk::{Desk, DeskOptions, figures::TakeFigures},
    rules::{Finding, Rule},
};
use serde_json::Value;
use sqlx::Row;

use self::{
    ledger::{ALL, Known, Ledger, moment, rows},
    normal::Figures,
    pairs::Line,
    words::Told,
};
use crate::{
    house::House,
    order::{act_of_shop, eager, findings_and_bypasses},
    process,
};

/// What a sentence is held against.
pub struct Book<'a> {
    /// All that is known.
    pub now: &'a Ledger,
    /// What the class figures in force were taken from.
    pub taken: &'a Ledger,
    /// What the first ones of that month were taken from.
    pub month: &'a Ledger,
    pub figures: Figures<'a>,
}

/// How many sentences of each form were reckoned again.
type Checked = BTreeMap<&'static str, usize>;

fn check(book: &Book<'_>, finding: &Finding) -> Option<Told<&'static str>> {
    let line = || Line::of(book, finding);
    let name = finding.rule.as_str();
    Some(match finding.rule {
        Rule::Burst => line().and_then(|line| line.burst()).map(|()| name),
        Rule::Often => line().and_then(|line| line.often()).map(|()| name),
        Rule::Worsening => line().and_then(|line| line.worsening()),
        Rule::DidNotHold => line().and_then(|line| line.did_not_hold()),
        Rule::Proving => line().and_then(|line| line.proving(false)),
        Rule::Held => line().and_then(|line| line.proving(true)).map(|_| name),
        Rule::ClassWide => others::class_wide(book, finding).map(|()| name),
        Rule::Wet => others::wet(book, finding).map(|()| name),
        Rule::SharedCause => others::shared(book, finding),
        Rule::StartingWeakens => others::starting(book, finding),
        _ => return None,
    })
}

/// Every statistical line in the book.
async fn check_all(desk: &Desk, what: &str, checked: &mut Checked) {
    let mut db = desk.read().await.unwrap();
    let now = Ledger::read(&mut db, ALL).await;
    let figures = rows(&mut db, "SELECT figures FROM class_figures").await;
    let figures: Value = serde_json::from_str(figures[0].get("figures")).unwrap();
    let taken = Ledger::read(&mut db, known(&figures)).await;
    let sql =
        "SELECT blob FROM page WHERE json_extract(blob, '$.kind') = 'class_figures_taken' ORDER BY seq DESC";
    let pages: Vec<Value> =
        rows(&mut db, sql).await.iter().map(|row| serde_json::from_str(row.get("blob")).unwrap()).collect();
    let first = pages.iter().find(|page| page["body"]["as_of"] == figures["monthly"]["as_of"]).unwrap();
    let month = Ledger::read(&mut db, known(&first["body"])).await;
    drop(db);
    let book = Book { now: &now, taken: &taken, month: &month, figures: Figures::of(&taken) };
    let (findings, _) = findings_and_bypasses(desk).await;
    let (mut here, mut wrong) = (Checked::new(), Vec::new());
    for finding in &findings {
        match check(&book, finding) {
            Some(Ok(form)) => *here.entry(form).or_default() += 1,
            Some(Err(why)) => wrong.push(format!("{}\n  {}\n  {why}", finding.key, finding.sentence)),
            None => {}
        }
    }
    println!("{what}: sentences reckoned again: {here:?}");
    let few = &wrong[..wrong.len().min(12)];
    assert!(wrong.is_empty(), "{what}: {} sentences are not borne out:\n{}", wrong.len(), few.join("\n"));
    for (form, n) in here {
        *checked.entry(form).or_default() += n;
    }
}

fn known(figures: &Value) -> Known {
    Known { seq: figures["up_to_seq"].as_i64().unwrap(), at: moment(&figures["as_of"]) }
}

async fn take_figures(desk: &Desk, as_of: Instant) {
    desk.act(TakeFigures::prepare(desk, as_of).await.unwrap()).await.unwrap();
}

/// The demo's year: as it was filed, with figures of its last day, and with every rule made eager to speak.
async fn of_the_demo(checked: &mut Checked) {
    let house = House::bare();
    let filled = process::run(&["demo", "--fill-only", "--db", house.path.to_str().unwrap()]).await;
    assert_eq!(filled.code, Some(0), "{}", filled.err);
    let mut db = house.raw().await;
    let last = rows(&mut db, "SELECT max(recorded_at) AS last FROM report").await;
    let ends = Instant(last[0].get("last"));
    drop(db);
    let clock = Clock::standing_at(ends.plus(DAY / 24));
    let desk = Desk::open(&house.path, DeskOptions { clock, ..DeskOptions::default() }).await.unwrap();
    check_all(&desk, "the demo's year", checked).await;
    take_figures(&desk, ends).await;
    check_all(&desk, "with figures of its last day", checked).await;
    act_of_shop(&desk, eager()).await;
    take_figures(&desk, ends.plus(35 * DAY)).await;
    check_all(&desk, "with eager rules", checked).await;
}

/// A small railway on which happens what the demo does not have: see `railway`.
async fn of_a_small_railway(checked: &mut Checked) {
    let house = House::new().await;
    let desk = house.desk().await;
    railway::fill(&desk).await;
    let now = desk.clock().now();
    take_figures(&desk, now).await;
    check_all(&desk, "a small railway", checked).await;
    act_of_shop(&desk, eager()).await;
    take_figures(&desk, now.plus(35 * DAY)).await;
    check_all(&desk, "a small railway with eager rules", checked).await;
}

const FORMS: &[&str] = &[
    "burst",
    "often",
    "worsening",
    "worsening: of a part that moved",
    "did_not_hold: the first return",
    "did_not_hold: many returns",
    "proving",
    "proving: never",
    "held",
    "class_wide",
    "shared_cause: feed",
    "shared_cause: panel",
    "shared_cause: consist",
    "wet",
    "starting_weakens: faults",
    "starting_weakens: volts",
    "starting_weakens: under the least",
];

#[tokio::test]
async fn every_sentence_is_borne_out_by_the_entries_it_names() {
    let mut checked = Checked::new();
    of_a_small_railway(&mut checked).await;
    of_the_demo(&mut checked).await;
    println!("in all: {checked:?}");
    for form in FORMS {
        assert!(checked.contains_key(form), "no sentence of {form} was reckoned again");
    }
}
