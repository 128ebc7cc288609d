//! What is known of when an opening began and when it ended. Where a moment is not known, the two between which it lies.
use super::{told_of::ToldOf, words};
use crate::{
    base::{Instant, Zone, instant::MINUTE},
    rules::{Bypass, register::Limit},
};

/// When it was opened, and how anybody knows.
pub fn opened(bypass: &Bypass, told: &ToldOf, zone: &Zone) -> String {
    let when = |at| zone.in_words(at);
    let Some(found) = bypass.found_open_at else {
        return match told.first {
            Some(ref first) => format!("{}{}", when(bypass.begins()), first.as_told(bypass.begins(), zone)),
            None => when(bypass.begins()),
        };
    };
    match bypass.last_closed_at {
        Some(closed) => format!(
            "not known: after {}, when it was last known closed, and not after {}, when it was found open",
            when(closed),
            when(found)
        ),
        None => format!(
            "not known: not after {}, when it was found open. The book does not know it closed at any time before",
            when(found)
        ),
    }
}

/// When it was closed again.
pub fn closed(bypass: &Bypass, zone: &Zone) -> String {
    let when = |at| zone.in_words(at);
    match bypass.closed_at {
        Some(closed) if bypass.seen_closed => format!(
            "not known: after {}, when it was last told open, and not after {}, when it was seen closed",
            when(bypass.last_open_at),
            when(closed)
        ),
        Some(closed) => when(closed),
        None => format!("not written down. Last told open {}", when(bypass.last_open_at)),
    }
}

/// The least that it stood open, and the most; `None`: nobody knows.
pub fn bounds(bypass: &Bypass, now: Instant) -> (i64, Option<i64>) {
    let ended = bypass.closed_at.unwrap_or(now);
    let least = if bypass.seen_closed { bypass.last_open_at } else { ended };
    let from = if bypass.found_open_at.is_some() { bypass.last_closed_at } else { bypass.opened_at };
    (least.since(bypass.begins()).max(0), from.map(|from| ended.since(from)))
}

/// `50 min`, or `at least 2 h, at most 31 h`.
pub fn lasted(bypass: &Bypass, now: Instant) -> String {
    let (least, most) = bounds(bypass, now);
    let so_far = if bypass.closed_at.is_none() { " so far, if nobody closed it unrecorded" } else { "" };
    match most {
        Some(most) if most == least => format!("{}{so_far}", told(least)),
        Some(most) if least < MINUTE => format!("at most {}{so_far}", told(most)),
        Some(most) => format!("at least {}, at most {}{so_far}", told(least), told(most)),
        None if least < MINUTE => format!("not known{so_far}"),
        None => format!("at least {}{so_far}; how much more is not known", told(least)),
    }
}

/// The same in a column: the least, and whether it may have been more.
pub fn lasted_short(bypass: &Bypass, now: Instant) -> String {
    match bounds(bypass, now) {
        (least, Some(most)) if most == least => told(least),
        (least, Some(most)) if least < MINUTE => format!("at most {}", told(most)),
        (least, None) if least < MINUTE => "not known".to_owned(),
        (least, _) => format!("at least {}", told(least)),
    }
}

fn told(micros: i64) -> String {
    words::lasted(Instant(0), Instant(micros))
}

/// How long the book waits before it asks about this one, and whether it did.
pub fn asks(bypass: &Bypass, now: Instant, zone: &Zone) -> String {
    let limit = match bypass.limit {
        Limit::AtOnce => "at once, as it was opened to keep moving",
        Limit::Hour => "after an hour",
        Limit::EightHours => {
            "after 8 hours, as for a test, a search or a repair under lock or tag with the engine shut down"
        }
    };
    let sooner = if bypass.asks_at < bypass.begins().plus(bypass.limit.micros()) {
        "; something gave it reason sooner"
    } else {
        ""
    };
    let at = zone.in_words(bypass.asks_at);
    let did = match bypass.closed_at {
        _ if bypass.past_limit(now) => format!("It asked from {at} on"),
        Some(_) => "It was closed before".to_owned(),
        None => format!("It asks from {at} on"),
    };
    format!("{limit}{sooner}. {did}. A reminder, never a permission")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        fact::{Fact, Hand},
        sample::{Railway, at, bypass, device, position, word},
    };

    fn line(facts: Vec<Fact>) -> Bypass {
        let railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        railway.judge(Subject::GroundProtection, facts).bypasses.remove(0)
    }

    fn found() -> Fact {
        Fact { found: true, ..bypass("2026-03-01T10:00:00Z", "GRC", |b| b.by = Hand::NotKnown) }
    }

    #[test]
    fn what_is_not_known_is_told_by_the_moments_around_it() {
        let (zone, now) = (Zone::utc(), at("2026-03-05T10:00:00Z"));
        let before = || position("2026-02-27T08:00:00Z", "GRC", "closed", None);
        let after = || position("2026-03-01T16:30:00Z", "GRC", "closed", None);
        let told = ToldOf::default();
        let both = line(vec![before(), found(), after()]);
        assert_eq!(
            opened(&both, &told, &zone),
            "not known: after 27 Feb 2026 08:00 +00:00, when it was last known closed, and not after \
             1 Mar 2026 10:00 +00:00, when it was found open"
        );
        assert_eq!(
            closed(&both, &zone),
            "not known: after 1 Mar 2026 10:00 +00:00, when it was last told open, and not after \
             1 Mar 2026 16:30 +00:00, when it was seen closed"
        );
        assert_eq!(
            (lasted(&both, now), lasted_short(&both, now)),
            ("at most 56 h 30 min".into(), "at most 56 h 30 min".into())
        );
        let still = position("2026-03-01T12:00:00Z", "GRC", "open", None);
        let longer = line(vec![before(), found(), still, after()]);
        assert_eq!(lasted(&longer, now), "at least 2 h, at most 56 h 30 min");
        assert_eq!(lasted_short(&longer, now), "at least 2 h");
        let never = line(vec![found()]);
        assert!(opened(&never, &told, &zone).ends_with("does not know it closed at any time before"));
        assert_eq!(
            lasted(&never, now),
            "at least 4 days so far, if nobody closed it unrecorded; how much more is not known"
        );
        let exact = line(vec![bypass("2026-03-01T10:00:00Z", "GRC", |b| {
            b.closed_at = Some(at("2026-03-01T10:50:00Z"));
        })]);
        assert_eq!((lasted(&exact, now), lasted_short(&exact, now)), ("50 min".into(), "50 min".into()));
    }

    #[test]
    fn when_the_book_asks_goes_by_what_it_was_opened_for() {
        let (zone, now) = (Zone::utc(), at("2026-03-01T13:00:00Z"));
        let opened = |purpose: &str| {
            line(vec![bypass("2026-03-01T10:00:00Z", "GRC", |b| b.purpose = Some(word(purpose)))])
        };
        for (purpose, want) in [
            ("repair", "It asks from 1 Mar 2026 18:00 +00:00 on."),
            ("other", "after an hour. It asked from 1 Mar 2026 11:00 +00:00 on."),
            (
                "to_keep_moving",
                "at once, as it was opened to keep moving. It asked from 1 Mar 2026 10:00 +00:00 on.",
            ),
        ] {
            let says = asks(&opened(purpose), now, &zone);
            assert!(says.contains(want) && says.ends_with("never a permission"), "{purpose}: {says}");
        }
    }
}
