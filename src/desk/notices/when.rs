//! When something is sent: the next morning by the railway's clocks, and how long a failed try waits. Pure.
use crate::{
    base::{
        Instant, Zone,
        instant::{DAY, HOUR, MINUTE},
    },
    desk::backup::TimeOfDay,
};

/// After so long nothing is tried any more; the inbox has it.
pub const GIVEN_UP_AFTER: i64 = 3 * DAY;

/// A notice about something older than this, when it comes into the book, would be about the past.
pub const TOO_OLD: i64 = 30 * DAY;

/// The next time that it is that hour there. One that the clocks jump over comes as much later as they jump.
pub fn next_morning(now: Instant, at: TimeOfDay, zone: &Zone) -> Instant {
    let today = zone.day_of(now);
    let on = |days| zone.parse_local(&format!("{}T{at}", today.plus(days)));
    // A day that is not in the calendar any more: at once.
    [0, 1, 2].into_iter().filter_map(on).find(|then| *then > now).unwrap_or(now)
}

/// Before the next try after so many failures: doubled each time, an hour at most.
pub fn wait_after(failures: i64) -> i64 {
    let doubled = u32::try_from(failures.clamp(1, 16) - 1).unwrap_or(0);
    (MINUTE << doubled).min(HOUR)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_morning_keeps_its_hour_when_the_clocks_change() {
        let zone = Zone::named("America/Chicago").unwrap();
        // US daylight time 2026: from 8 March 02:00 to 1 November 02:00; tz database.
        for (now, hour, then) in [
            ("2026-03-07T11:59:59Z", "06:00", "2026-03-07T12:00:00Z"),
            ("2026-03-07T12:00:00Z", "06:00", "2026-03-08T11:00:00Z"),
            ("2026-03-08T11:00:00Z", "06:00", "2026-03-09T11:00:00Z"),
            ("2026-10-31T12:00:00Z", "06:00", "2026-11-01T12:00:00Z"),
            ("2026-11-01T13:00:00Z", "06:00", "2026-11-02T12:00:00Z"),
            // There is no half past two on 8 March; and there are two half past ones on 1 November: the first counts, once.
            ("2026-03-08T06:00:00Z", "02:30", "2026-03-08T08:30:00Z"),
            ("2026-11-01T05:30:00Z", "01:30", "2026-11-01T06:30:00Z"),
            ("2026-11-01T06:30:00Z", "01:30", "2026-11-02T07:30:00Z"),
        ] {
            let at = TimeOfDay::parse(hour).unwrap();
            let now = Instant::parse(now).unwrap();
            assert_eq!(next_morning(now, at, &zone).to_z(), then, "{now} {hour}");
        }
    }

    #[test]
    fn waits_double_up_to_an_hour() {
        let waits: Vec<i64> = [0, 1, 2, 3, 6, 7, 8, 80, i64::MAX].map(|n| wait_after(n) / MINUTE).to_vec();
        assert_eq!(waits, [1, 1, 2, 4, 32, 60, 60, 60, 60]);
    }
}
