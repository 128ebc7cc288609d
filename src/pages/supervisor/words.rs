//! The register's words.
use crate::{
    base::{Instant, Zone, text},
    oversight::Standing,
    rules::{fact::Hand, register::Authorised},
};

pub fn hand(hand: &Hand) -> String {
    match hand {
        Hand::Person(sign_in) => sign_in.to_string(),
        Hand::Named(name) => format!("“{name}”"),
        Hand::NotKnown => "not known".into(),
    }
}

pub fn authorised(authorised: Authorised) -> &'static str {
    match authorised {
        Authorised::OwnRight => "authorised, own right",
        Authorised::Ordered => "ordered by one who holds it",
        Authorised::Neither => "not authorised",
        Authorised::NotKnown => "not known",
    }
}

pub fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Open => "open",
        Standing::Closed => "closed, not reviewed",
        Standing::Reviewed => "reviewed",
        Standing::ChangedSinceReviewed => "changed since reviewed",
        Standing::Withdrawn => "withdrawn by amendment",
    }
}

pub fn judgement(word: &str) -> &'static str {
    match word {
        "in_order" => "in order",
        "not_in_order" => "not in order",
        _ => "cannot tell",
    }
}

/// `45 min`, `6 h`, `12 days`.
pub fn lasted(from: Instant, to: Instant) -> String {
    text::span(to.since(from))
}

pub fn moment(at: Option<Instant>, zone: &Zone) -> String {
    at.map_or_else(|| "not known".into(), |at| zone.in_words(at))
}
