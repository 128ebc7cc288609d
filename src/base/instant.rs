//! Moments: [`Instant`] for reckoning, [`Stamp`] for what somebody wrote, offset and all.
use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use time::{OffsetDateTime, UtcOffset, format_description::well_known::Rfc3339};

/// Microseconds since 1970-01-01T00:00:00Z. Sorts as time does.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, Debug)]
#[serde(transparent)]
pub struct Instant(pub i64);

pub const SECOND: i64 = 1_000_000;
pub const MINUTE: i64 = 60 * SECOND;
pub const HOUR: i64 = 60 * MINUTE;
pub const DAY: i64 = 24 * HOUR;

impl Instant {
    pub const MAX: Self = Self(i64::MAX);

    pub fn plus(self, micros: i64) -> Self {
        Self(self.0.saturating_add(micros))
    }

    pub fn minus(self, micros: i64) -> Self {
        Self(self.0.saturating_sub(micros))
    }

    /// Microseconds from `earlier` to `self`; negative if `earlier` is later.
    pub fn since(self, earlier: Self) -> i64 {
        self.0.saturating_sub(earlier.0)
    }

    pub fn hours_since(self, earlier: Self) -> f64 {
        self.since(earlier) as f64 / HOUR as f64
    }

    /// RFC 3339 with any offset, as in `2026-03-03T05:14:00-06:00`.
    pub fn parse(text: &str) -> Option<Self> {
        Stamp::parse(text).map(|stamp| stamp.at)
    }

    /// `None` only outside the years -9999 to 9999.
    pub fn datetime(self) -> Option<OffsetDateTime> {
        OffsetDateTime::from_unix_timestamp_nanos(i128::from(self.0) * 1_000).ok()
    }

    /// UTC with `Z`, to the second unless there are smaller parts: `2026-03-03T11:14:00Z`.
    pub fn to_z(self) -> String {
        self.datetime().and_then(|t| t.format(&Rfc3339).ok()).unwrap_or_default()
    }
}

impl fmt::Display for Instant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_z())
    }
}

/// For `#[serde(with = …)]`: an instant as text with `Z`, for what is read for ever and by people.
pub mod as_text {
    use serde::{Deserialize, Deserializer, Serializer};

    use super::{Instant, Stamp};

    pub fn serialize<S: Serializer>(at: &Instant, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(at)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Instant, D::Error> {
        Stamp::deserialize(from).map(|stamp| stamp.at)
    }
}

/// A moment as it was given, with its offset. Two stamps are equal when their instants are.
#[derive(Clone, Copy, Debug)]
pub struct Stamp {
    pub at: Instant,
    /// Minutes east of UTC.
    pub offset_min: i16,
}

impl Stamp {
    pub fn utc(at: Instant) -> Self {
        Self { at, offset_min: 0 }
    }

    pub fn parse(text: &str) -> Option<Self> {
        let t = OffsetDateTime::parse(text, &Rfc3339).ok()?;
        let micros = i64::try_from(t.unix_timestamp_nanos().div_euclid(1_000)).ok()?;
        Some(Self { at: Instant(micros), offset_min: t.offset().whole_minutes() })
    }
}

impl fmt::Display for Stamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let offset = UtcOffset::from_whole_seconds(i32::from(self.offset_min) * 60).unwrap_or(UtcOffset::UTC);
        let text = self.at.datetime().and_then(|t| t.to_offset(offset).format(&Rfc3339).ok());
        f.write_str(&text.unwrap_or_default())
    }
}

impl PartialEq for Stamp {
    fn eq(&self, other: &Self) -> bool {
        self.at == other.at
    }
}
impl Eq for Stamp {}

impl Serialize for Stamp {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for Stamp {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(from)?;
        Self::parse(&text).ok_or_else(|| D::Error::custom("not a time with its offset (RFC 3339)"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stamp_keeps_its_offset_and_equals_the_same_instant() {
        let a = Stamp::parse("2026-03-03T05:14:00-06:00").unwrap();
        let b = Stamp::parse("2026-03-03T11:14:00Z").unwrap();
        assert_eq!(a.to_string(), "2026-03-03T05:14:00-06:00");
        assert_eq!(a, b);
        assert_eq!(b.at.to_z(), "2026-03-03T11:14:00Z");
        assert_eq!(Stamp::parse("2026-03-03T05:14:00"), None, "no offset");
    }
}
