//! The rule of thumb 'k in T', as a list to look at: it opens no line, since it takes healthy devices along.
use super::{Thresholds, occurrence::Occurrence, service_days::ServiceDays};
use crate::base::{Day, Instant, Zone};

/// What puts a device on the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Watched {
    pub occurrences: usize,
    /// The first of them, and the last.
    pub first: Instant,
    pub last: Instant,
}

/// Whether a device has had so many occurrences within so many service days, up to and with today.
pub fn watched(
    occurrences: &[Occurrence],
    days: &ServiceDays,
    zone: &Zone,
    today: Day,
    set: &Thresholds,
) -> Option<Watched> {
    let recent = |o: &&Occurrence| {
        let day = zone.day_of(o.at);
        day <= today && (days.between(day, today) as f64) < set.watch_days
    };
    let within: Vec<Instant> = occurrences.iter().filter(recent).map(|o| o.at).collect();
    let enough = within.len() as f64 >= set.watch_count;
    let (first, last) = (*within.first()?, *within.last()?);
    enough.then_some(Watched { occurrences: within.len(), first, last })
}

/// Calendar days that are looked back over: what a unit did before a long time out of service is no news.
pub fn looks_back(set: &Thresholds) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "2 to 365 by the setting's bounds")]
    let days = set.watch_days as i64;
    2 * days + 30
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        Dossier,
        occurrence::occurrences,
        outline::outlines,
        sample::{at, trips, with_gap},
    };

    #[test]
    fn three_in_thirty_service_days_are_watched_and_two_or_older_ones_are_not() {
        let railway = with_gap(90);
        let today = Day::parse("2026-03-31").unwrap();
        let look = |days: &[&str]| {
            let dossier = Dossier::of(trips(days));
            let zone = &railway.zone;
            watched(
                &occurrences(&outlines(dossier.facts())),
                &railway.days,
                zone,
                today,
                &Thresholds::default(),
            )
        };
        assert_eq!(
            look(&["2026-03-02", "2026-03-10", "2026-03-31"]),
            Some(Watched {
                occurrences: 3,
                first: at("2026-03-02T12:00:00Z"),
                last: at("2026-03-31T12:00:00Z")
            })
        );
        assert_eq!(look(&["2026-03-01", "2026-03-10", "2026-03-31"]), None);
        assert_eq!(look(&["2026-03-10", "2026-03-31"]), None);
        assert_eq!(look(&[]), None);
        assert_eq!(look(&["2026-03-30", "2026-03-31", "2026-04-01"]), None, "tomorrow's is not there yet");
    }
}
