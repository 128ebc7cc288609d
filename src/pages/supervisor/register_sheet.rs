//! Lines of the register as a file: everything the page tells, with what is not known of its times left blank or between two moments.
use serde::Deserialize;

use super::known;
use crate::{
    base::Instant,
    desk::World,
    oversight::Line,
    rules::fact::Hand,
    web::sheet::{Cell, Sheet},
};

/// How a list of the register is asked for.
#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    pub format: String,
    #[serde(default)]
    pub page: String,
    /// All on one page, to print.
    #[serde(default)]
    pub print: String,
}

const COLUMNS: &[&str] = &[
    "id",
    "unit",
    "class",
    "device",
    "home_shop",
    "opened_at",
    "found_open_at",
    "last_known_closed_at",
    "opened_by",
    "found_by",
    "authorised",
    "authorised_why",
    "authorised_by",
    "reference",
    "purpose",
    "book_asks_after",
    "book_asks_from",
    "open_when_it_asked",
    "seal_found",
    "seal_applied",
    "closed_at",
    "last_told_open_at",
    "seen_closed_at",
    "closed_by",
    "open_minutes_least",
    "open_minutes_most",
    "state",
    "reviewed_by",
    "reviewed_at",
    "judgement",
    "review_words",
    "entries",
];

pub(super) fn sheet(name: &str, lines: &[Line], world: &World, now: Instant) -> Sheet {
    let mut sheet = Sheet::of(name, COLUMNS);
    sheet.rows = lines.iter().map(|line| row(line, world, now)).collect();
    sheet
}

fn hand(hand: &Hand) -> String {
    match hand {
        Hand::Person(sign_in) => sign_in.to_string(),
        Hand::Named(name) => name.clone(),
        Hand::NotKnown => "not_known".to_owned(),
    }
}

fn minutes(micros: i64) -> Cell {
    (micros / crate::base::instant::MINUTE).into()
}

fn row(line: &Line, world: &World, now: Instant) -> Vec<Cell> {
    let (b, review) = (&line.bypass, line.review());
    let at = |at: Option<Instant>| Cell::from(at.map(Instant::to_z));
    let (least, most) = known::bounds(b, now);
    let home = world.roster.unit(&b.unit).and_then(|card| card.home_shop.clone());
    let entries: Vec<String> = b.entries.iter().map(ToString::to_string).collect();
    vec![
        b.id.to_string().into(),
        b.unit.to_string().into(),
        b.class.as_ref().map(ToString::to_string).into(),
        b.device.to_string().into(),
        home.into(),
        at(b.opened_at),
        at(b.found_open_at),
        at(b.last_closed_at),
        hand(&b.opened_by).into(),
        b.found_by.as_ref().map(ToString::to_string).into(),
        b.authorised.as_str().into(),
        b.authorised_why.clone().into(),
        b.authorised_by.as_ref().map(hand).into(),
        b.reference.clone().into(),
        b.purpose.clone().into(),
        b.limit.as_str().into(),
        at(Some(b.asks_at)),
        if b.past_limit(now) { "yes" } else { "no" }.into(),
        b.seal_found.clone().into(),
        b.seal_applied.clone().into(),
        at(b.closed_at.filter(|_| !b.seen_closed)),
        at(Some(b.last_open_at)),
        at(b.closed_at.filter(|_| b.seen_closed)),
        b.closed_by.as_ref().map(hand).into(),
        minutes(least),
        most.map_or(Cell::Blank, minutes),
        line.standing(now).as_str().into(),
        review.map(|r| r.by.to_string()).into(),
        at(review.map(|r| r.at)),
        review.map(|r| r.judgement.clone()).into(),
        review.map(|r| r.words.clone()).into(),
        entries.join(" ").into(),
    ]
}
