//! A stretch of time laid across a picture: weeks that end with its last day, months as ticks. Places are parts of the
//! width in a hundred, so that one drawing fits every screen and its words keep their size.
use crate::base::{Day, Instant, Zone, instant::DAY};

/// Weeks of a picture that looks back a year.
pub const WEEKS: i32 = 52;

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Axis {
    pub first: Day,
    /// The last day of the last week.
    pub last: Day,
    pub from: Instant,
    /// The first moment after the last day that is drawn.
    pub to: Instant,
}

/// A month's first day on the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    pub x: String,
    /// Empty where it would reach over the edge.
    pub month: &'static str,
    /// In January, and for the first of them.
    pub year: Option<i16>,
    /// Left out where there is little room.
    pub minor: bool,
}

const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

impl Axis {
    /// The 52 weeks that end with a day, and so many days more.
    pub fn year_up_to(last: Day, more: i32, zone: &Zone) -> Self {
        let first = last.plus(1 - 7 * WEEKS);
        let (from, to) = (zone.start_of(first), zone.start_of(last.plus(1 + more)));
        Self { first, last, from, to }
    }

    /// Where a moment lies, 0 to 100; what lies outside is at the edge.
    pub fn x(&self, at: Instant) -> f64 {
        let all = self.to.since(self.from).max(1) as f64;
        (at.since(self.from) as f64 / all * 100.0).clamp(0.0, 100.0)
    }

    /// The week of a day, from 0; `None` outside.
    pub fn week_of(&self, day: Day) -> Option<usize> {
        let week = (day.0 - self.first.0).div_euclid(7);
        (day <= self.last).then_some(week).and_then(|week| usize::try_from(week).ok())
    }

    /// First and last day of a week.
    pub fn week(&self, week: usize) -> (Day, Day) {
        let days = i32::try_from(week).unwrap_or(0).saturating_mul(7);
        (self.first.plus(days), self.first.plus(days.saturating_add(6)))
    }

    /// When each week begins, and last when the one after all of them does: found once, for days in a zone take a while.
    pub fn week_begins(&self, zone: &Zone) -> Vec<Instant> {
        (0..=self.weeks()).map(|week| zone.start_of(self.week(week).0)).collect()
    }

    pub fn weeks(&self) -> usize {
        self.week_of(self.last).map_or(0, |week| week + 1)
    }

    pub fn ticks(&self, zone: &Zone) -> Vec<Tick> {
        let days = (0..).map(|n| self.first.plus(n)).take_while(|day| zone.start_of(*day) < self.to);
        let begins = days.filter(|day| day.month() != day.plus(-1).month());
        let mut ticks: Vec<Tick> = begins.map(|day| self.tick(day, zone)).collect();
        let first = ticks.iter_mut().find(|tick| !tick.month.is_empty() && !tick.minor);
        if let Some(tick) = first {
            tick.year = tick.year.or(Some(self.year_at(&tick.x, zone)));
        }
        ticks
    }

    fn tick(&self, day: Day, zone: &Zone) -> Tick {
        let (year, month) = day.month();
        let place = usize::try_from(month - 1).unwrap_or(0);
        let x = self.x(zone.start_of(day));
        let month = MONTHS.get(place).filter(|_| x < 93.0).copied().unwrap_or("");
        let year = (place == 0 && !month.is_empty()).then_some(year);
        Tick { x: hundredths(x), month, year, minor: !place.is_multiple_of(3) }
    }

    /// The year of a tick that was placed there.
    fn year_at(&self, x: &str, zone: &Zone) -> i16 {
        let part = x.parse::<f64>().unwrap_or(0.0) / 100.0;
        // To the nearest day: the tick stands at a day's beginning, to a hundredth of the width.
        #[expect(clippy::cast_possible_truncation, reason = "within the axis")]
        let into = (part * self.to.since(self.from) as f64) as i64;
        zone.day_of(self.from.plus(into + DAY / 2)).month().0
    }
}

/// A place across the picture, in a hundred of its width: `12.34`.
pub fn hundredths(x: f64) -> String {
    places(x, "")
}

/// A place down the picture, in heights of its letters: `3.5em`.
pub fn em(y: f64) -> String {
    places(y, "em")
}

/// By whole hundredths: a picture has a thousand of them, and the general way to write a float is slow.
fn places(number: f64, unit: &str) -> String {
    #[expect(clippy::cast_possible_truncation, reason = "within the picture")]
    let hundredths = (number * 100.0).round() as i64;
    let sign = if hundredths < 0 { "-" } else { "" };
    let (whole, part) = (hundredths.unsigned_abs() / 100, hundredths.unsigned_abs() % 100);
    format!("{sign}{whole}.{part:02}{unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn axis(last: &str) -> (Axis, Zone) {
        let zone = Zone::named("America/Chicago").unwrap();
        (Axis::year_up_to(Day::parse(last).unwrap(), 0, &zone), zone)
    }

    #[test]
    fn the_last_week_ends_with_the_last_day() {
        let (axis, _) = axis("2026-11-26");
        assert_eq!((axis.weeks(), axis.first.to_string().as_str()), (52, "2025-11-28"));
        assert_eq!(axis.week_of(axis.last), Some(51));
        assert_eq!(axis.week(51), (axis.last.plus(-6), axis.last));
        assert_eq!(axis.week_of(axis.last.plus(-7)), Some(50));
        assert_eq!((axis.week_of(axis.first.plus(-1)), axis.week_of(axis.last.plus(1))), (None, None));
    }

    #[test]
    fn every_month_has_its_tick_and_the_first_that_is_read_and_january_their_year() {
        let (axis, zone) = axis("2026-11-26");
        let ticks = axis.ticks(&zone);
        let names: Vec<_> = ticks.iter().map(|t| t.month).collect();
        assert_eq!(
            names,
            ["Dec", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov"]
        );
        let years: Vec<_> = ticks.iter().filter_map(|t| t.year).collect();
        assert_eq!(years, [2026]);
        let (axis, zone) = self::axis("2026-08-31");
        let years: Vec<_> = axis.ticks(&zone).iter().filter_map(|t| Some((t.month, t.year?))).collect();
        assert_eq!(years, [("Oct", 2025), ("Jan", 2026)]);
    }

    #[test]
    fn a_moment_lies_where_its_time_is() {
        let (axis, zone) = axis("2026-11-26");
        assert!(axis.x(axis.from).abs() < 1e-9 && (axis.x(axis.to) - 100.0).abs() < 1e-9);
        let middle = axis.x(zone.start_of(axis.first.plus(182)));
        // Summer time moves it by an hour at most.
        assert!((middle - 50.0).abs() < 0.02, "{middle}");
        assert!(axis.x(axis.from.minus(DAY)).abs() < 1e-9, "outside it is at the edge");
    }
}
