//! The railway's time zone: the only file that knows zone rules, over jiff's bundled tz database.
use std::{fmt, ops::Range, sync::Arc};

use jiff::{Timestamp, civil, tz::TimeZone};

use super::Instant;

/// A calendar day in the railway's zone, as days since 1970-01-01; written out as `2026-03-03`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Day(pub i32);

impl serde::Serialize for Day {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}
impl<'de> serde::Deserialize<'de> for Day {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        use serde::de::Error as _;
        let text = std::borrow::Cow::<'de, str>::deserialize(from)?;
        Self::parse(&text).ok_or_else(|| D::Error::custom("not a date (2026-03-03)"))
    }
}

impl Day {
    /// `2026-03-03`.
    pub fn parse(text: &str) -> Option<Self> {
        let date: civil::Date = text.trim().parse().ok()?;
        Some(Self::of_date(date))
    }

    fn of_date(date: civil::Date) -> Self {
        let epoch = civil::Date::constant(1970, 1, 1);
        Self(epoch.until(date).map(|span| span.get_days()).unwrap_or(0))
    }

    fn date(self) -> civil::Date {
        let epoch = civil::Date::constant(1970, 1, 1);
        epoch.checked_add(jiff::Span::new().days(self.0)).unwrap_or(epoch)
    }

    pub fn plus(self, days: i32) -> Self {
        Self(self.0.saturating_add(days))
    }

    /// Its calendar month: the year, and the month from 1 on.
    pub fn month(self) -> (i16, i8) {
        let date = self.date();
        (date.year(), date.month())
    }

    /// `3 March 2026`, for sentences.
    pub fn in_words(self) -> String {
        self.date().strftime("%-d %B %Y").to_string()
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.date().fmt(f)
    }
}

#[derive(Clone, Debug)]
pub struct Zone {
    name: String,
    tz: TimeZone,
    /// Seconds east of UTC from a moment on, of each change in [`SPAN`]: new class figures ask for the day of every
    /// operation in the book, and jiff reckons the rule of the year anew each time.
    changes: Arc<[(i64, i32)]>,
}

/// From when to when changes are kept, in seconds since 1970: up to 2100. Before and after it jiff is asked.
const SPAN: Range<i64> = 0..4_102_444_800;

impl Zone {
    /// By IANA name, `America/Chicago`; `None` if the bundled database has no such zone.
    pub fn named(name: &str) -> Option<Self> {
        Some(Self::of(name, TimeZone::get(name).ok()?))
    }

    pub fn utc() -> Self {
        Self::of("Etc/UTC", TimeZone::UTC)
    }

    fn of(name: &str, tz: TimeZone) -> Self {
        let first = (SPAN.start, tz.to_offset(Timestamp::UNIX_EPOCH).seconds());
        let changes = tz.following(Timestamp::UNIX_EPOCH);
        let changes = changes.map(|change| (change.timestamp().as_second(), change.offset().seconds()));
        let changes = std::iter::once(first).chain(changes.take_while(|(at, _)| SPAN.contains(at))).collect();
        Self { name: name.to_owned(), tz, changes }
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    fn zoned(&self, at: Instant) -> jiff::ZonedDateTime {
        Timestamp::from_microsecond(at.0).unwrap_or(Timestamp::MAX).to_zoned_datetime(self.tz.clone())
    }

    pub fn day_of(&self, at: Instant) -> Day {
        let offset = self.offset_s(at);
        let days =
            at.0.saturating_add(i64::from(offset) * super::instant::SECOND).div_euclid(super::instant::DAY);
        Day(i32::try_from(days).unwrap_or(i32::MAX))
    }

    fn offset_s(&self, at: Instant) -> i32 {
        let second = at.0.div_euclid(super::instant::SECOND);
        if SPAN.contains(&second) {
            let next = self.changes.partition_point(|(from, _)| *from <= second);
            return self.changes[next.saturating_sub(1)].1;
        }
        let ts = Timestamp::from_microsecond(at.0).unwrap_or(Timestamp::MAX);
        self.tz.to_offset(ts).seconds()
    }

    /// Minutes east of UTC at that moment.
    pub fn offset_min(&self, at: Instant) -> i16 {
        i16::try_from(self.offset_s(at) / 60).unwrap_or(0)
    }

    /// From when on which minutes east of UTC hold, for whoever has no tz database: what holds at `from`, and every
    /// change until `to`.
    pub fn offsets(&self, from: Instant, to: Instant) -> Vec<(Instant, i16)> {
        let begin = Timestamp::from_microsecond(from.0).unwrap_or(Timestamp::MIN);
        let changes = self.tz.following(begin).map(|change| Instant(change.timestamp().as_microsecond()));
        let changes = changes.take_while(|at| *at <= to);
        std::iter::once(from).chain(changes).map(|at| (at, self.offset_min(at))).collect()
    }

    /// The first moment of that day here.
    pub fn start_of(&self, day: Day) -> Instant {
        let start = day.date().to_zoned_datetime(self.tz.clone()).map(|z| z.timestamp());
        Instant(start.unwrap_or(Timestamp::MAX).as_microsecond())
    }

    /// A wall-clock time typed here, `2026-03-03T05:14` (a form's `datetime-local`).
    pub fn parse_local(&self, typed: &str) -> Option<Instant> {
        let local: civil::DateTime = typed.trim().parse().ok()?;
        local.to_zoned_datetime(self.tz.clone()).ok().map(|z| Instant(z.timestamp().as_microsecond()))
    }

    /// `2026-03-03T05:14`, what a form's `datetime-local` wants.
    pub fn local_input(&self, at: Instant) -> String {
        self.zoned(at).strftime("%Y-%m-%dT%H:%M").to_string()
    }

    /// `3 Mar 2026 05:14 -06:00`, for pages.
    pub fn in_words(&self, at: Instant) -> String {
        // Every finding's sentence has such a time, and whole histories are judged at once: no format string is read.
        const MONTHS: [&str; 12] =
            ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
        let ts = Timestamp::from_microsecond(at.0).unwrap_or(Timestamp::MAX);
        let offset = self.tz.to_offset(ts);
        let there = offset.to_datetime(ts);
        let month =
            usize::try_from(there.month()).ok().and_then(|m| MONTHS.get(m.wrapping_sub(1))).unwrap_or(&"");
        let (sign, minutes) =
            if offset.seconds() < 0 { ('-', -offset.seconds() / 60) } else { ('+', offset.seconds() / 60) };
        format!(
            "{} {month} {} {:02}:{:02} {sign}{:02}:{:02}",
            there.day(),
            there.year(),
            there.hour(),
            there.minute(),
            minutes / 60,
            minutes % 60
        )
    }

    /// `3 March`, for sentences about days of this year or last.
    pub fn day_in_words(&self, at: Instant) -> String {
        self.zoned(at).strftime("%-d %B %Y").to_string()
    }

    /// `14:10:05`, where seconds matter.
    pub fn clock_in_words(&self, at: Instant) -> String {
        self.zoned(at).strftime("%H:%M:%S").to_string()
    }

    /// `14:10`.
    pub fn time_in_words(&self, at: Instant) -> String {
        self.zoned(at).strftime("%H:%M").to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_in_words_is_what_the_format_says() {
        for name in ["America/Chicago", "Asia/Kathmandu", "Etc/UTC", "America/St_Johns"] {
            let zone = Zone::named(name).unwrap();
            for n in 0..2_000_i64 {
                let at = Instant(n * 1_234_567_890_123);
                let formatted = zone.zoned(at).strftime("%-d %b %Y %H:%M %:z").to_string();
                assert_eq!(zone.in_words(at), formatted, "{name}");
            }
        }
    }

    #[test]
    fn offsets_tell_as_much_as_the_database() {
        let (from, to) = ("2025-12-01T00:00:00Z", "2026-12-01T00:00:00Z");
        let of = |name: &str| {
            let zone = Zone::named(name).unwrap();
            let all = zone.offsets(Instant::parse(from).unwrap(), Instant::parse(to).unwrap());
            all.iter().map(|(at, minutes)| (at.to_z(), *minutes)).collect::<Vec<_>>()
        };
        let row = |at: &str, minutes| (at.to_owned(), minutes);
        // US daylight time from 2026-03-08 08:00Z to 2026-11-01 07:00Z; tz database.
        let chicago = [row(from, -360), row("2026-03-08T08:00:00Z", -300), row("2026-11-01T07:00:00Z", -360)];
        assert_eq!(of("America/Chicago"), chicago);
        assert_eq!(of("Etc/UTC"), [row(from, 0)]);
        assert_eq!(of("Asia/Kathmandu"), [row(from, 345)]);
    }

    /// Second opinion: jiff, asked for each moment by itself.
    #[test]
    fn kept_changes_say_what_the_database_says() {
        for name in ["America/Chicago", "America/St_Johns", "Africa/Casablanca", "Asia/Kathmandu", "Etc/UTC"]
        {
            let zone = Zone::named(name).unwrap();
            let changes = zone.changes.iter().map(|(from, _)| *from);
            let years = (-100_i64..250).map(|years| years * 31_556_952);
            for second in changes.chain(years).chain([SPAN.start, SPAN.end]) {
                for beside in [-1_000_000, -1, 0, 1, 1_000_000] {
                    let at = Instant(second * super::super::instant::SECOND + beside);
                    let asked = zone.tz.to_offset(Timestamp::from_microsecond(at.0).unwrap()).seconds();
                    assert_eq!(zone.offset_s(at), asked, "{name} {}", at.to_z());
                }
            }
        }
    }

    #[test]
    fn days_turn_at_local_midnight_also_when_clocks_change() {
        let zone = Zone::named("America/Chicago").unwrap();
        // US daylight time began 2026-03-08 at 02:00; tz database.
        for (utc, day, offset) in [
            ("2026-03-08T05:59:00Z", "2026-03-07", -360),
            ("2026-03-08T06:01:00Z", "2026-03-08", -360),
            ("2026-03-09T04:59:00Z", "2026-03-08", -300),
            ("2026-03-09T05:00:00Z", "2026-03-09", -300),
        ] {
            let at = Instant::parse(utc).unwrap();
            assert_eq!(zone.day_of(at).to_string(), day, "{utc}");
            assert_eq!(zone.offset_min(at), offset, "{utc}");
        }
        let day = Day::parse("2026-03-08").unwrap();
        assert_eq!(zone.start_of(day).to_z(), "2026-03-08T06:00:00Z");
        assert_eq!(zone.parse_local("2026-03-09T00:00").unwrap().to_z(), "2026-03-09T05:00:00Z");
    }
}
