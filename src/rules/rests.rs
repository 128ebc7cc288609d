//! What a judgement rests on of its unit's service days. Reports tell of more of them every day, and of nearly all of
//! these nothing follows: a line that stands open ends when enough quiet days are known, and until then they may come.
use crate::base::Instant;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rests {
    /// On those that begin before this moment; `None`: on none.
    pub before: Option<Instant>,
    /// And on whether its unit has so many of them in all: a line is open that ends then.
    pub waits_for: Option<i64>,
    /// On the weather of every day.
    pub on_weather: bool,
}

impl Rests {
    pub fn on(before: Instant) -> Self {
        Self { before: Some(before), ..Self::default() }
    }

    pub fn and(self, other: Self) -> Self {
        let both = self.waits_for.zip(other.waits_for);
        Self {
            before: self.before.max(other.before),
            waits_for: both.map(|(one, other)| one.min(other)).or(self.waits_for).or(other.waits_for),
            on_weather: self.on_weather || other.on_weather,
        }
    }

    /// Whether the judgement stays as it is when only service days change that begin at or after a moment, after which
    /// there are so many in all.
    pub fn stands(self, from: Instant, in_all: i64) -> bool {
        self.before.is_none_or(|before| before <= from) && self.waits_for.is_none_or(|n| in_all < n)
    }

    /// Whether all that it rests on was over by then.
    pub fn over_by(self, at: Instant) -> bool {
        self.before.is_none_or(|before| before <= at) && self.waits_for.is_none()
    }
}
