//! The register's words.
use crate::{
    base::{
        Instant,
        instant::{DAY, HOUR, MINUTE},
        text,
    },
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

/// `45 min`, `1 h 45 min`, `12 days`: to the minute under three days, for a reader who subtracts the two times.
pub fn lasted(from: Instant, to: Instant) -> String {
    let micros = to.since(from);
    if !(HOUR..3 * DAY).contains(&micros) {
        return text::span(micros);
    }
    match micros % HOUR / MINUTE {
        0 => format!("{} h", micros / HOUR),
        minutes => format!("{} h {minutes} min", micros / HOUR),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_long_is_told_to_the_minute_under_three_days() {
        for (micros, want) in [
            (45 * MINUTE, "45 min"),
            (105 * MINUTE, "1 h 45 min"),
            (3 * HOUR, "3 h"),
            (31 * HOUR + 40 * MINUTE, "31 h 40 min"),
            (3 * DAY, "3 days"),
        ] {
            assert_eq!(lasted(Instant(0), Instant(micros)), want);
        }
    }
}
