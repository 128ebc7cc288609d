//! Which of a unit's days were wet: told by its crews' reports, the same source for days with and without an operation.
use super::service_days::DaySet;
use crate::{base::Day, reports::vocabulary::Weather};

/// Days of which some report tells the weather, and those of them on which any told of water.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WeatherDays {
    told: DaySet,
    wet: DaySet,
}

/// Water on the unit: rain, snow, high water, or washed. Fog is not.
pub fn is_wet(weather: Weather) -> Option<bool> {
    match weather {
        Weather::Rain | Weather::Snow | Weather::BlowingSnow | Weather::HighWater | Weather::Washed => {
            Some(true)
        }
        Weather::Dry | Weather::Fog => Some(false),
        Weather::NotKnown => None,
    }
}

impl WeatherDays {
    pub fn insert(&mut self, day: Day, wet: bool) {
        self.told.insert(day);
        if wet {
            self.wet.insert(day);
        }
    }

    /// Whether telling this would change anything.
    pub fn would_change(&self, day: Day, wet: bool) -> bool {
        !self.told.contains(day) || (wet && !self.wet.contains(day))
    }

    /// `None`: nobody told.
    pub fn wet(&self, day: Day) -> Option<bool> {
        self.told.contains(day).then(|| self.wet.contains(day))
    }

    /// Every day of which the weather is told, with whether it was wet.
    pub fn iter(&self) -> impl Iterator<Item = (Day, bool)> + '_ {
        self.told.iter().map(|day| (day, self.wet.contains(day)))
    }

    /// Only the days up to and with this one: for judging as of a moment.
    pub fn up_to(&self, last: Day) -> Self {
        Self { told: self.told.up_to(last), wet: self.wet.up_to(last) }
    }

    /// Four bytes for the length of the first set, then both sets.
    pub fn to_bytes(&self) -> Vec<u8> {
        let told = self.told.to_bytes();
        let length = u32::try_from(told.len()).unwrap_or(u32::MAX);
        length.to_le_bytes().into_iter().chain(told).chain(self.wet.to_bytes()).collect()
    }

    /// `None` if these are not such bytes.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (length, rest) = bytes.split_first_chunk::<4>()?;
        let (told, wet) = rest.split_at_checked(usize::try_from(u32::from_le_bytes(*length)).ok()?)?;
        Some(Self { told: DaySet::from_bytes(told)?, wet: DaySet::from_bytes(wet)? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wet_word_makes_a_wet_day_in_any_order() {
        let told = [(Day(20_000), false), (Day(20_000), true), (Day(20_001), false)];
        let mut there = WeatherDays::default();
        told.iter().for_each(|(day, wet)| there.insert(*day, *wet));
        let mut back = WeatherDays::default();
        told.iter().rev().for_each(|(day, wet)| back.insert(*day, *wet));
        assert_eq!(there, back);
        assert_eq!(
            [there.wet(Day(20_000)), there.wet(Day(20_001)), there.wet(Day(20_002))],
            [Some(true), Some(false), None]
        );
        assert!(!there.would_change(Day(20_000), false) && there.would_change(Day(20_001), true));
        assert_eq!(WeatherDays::from_bytes(&there.to_bytes()).unwrap(), there);
        assert_eq!(
            WeatherDays::from_bytes(&WeatherDays::default().to_bytes()).unwrap(),
            WeatherDays::default()
        );
        for cut in 0..there.to_bytes().len() {
            // Cut short it may read as other days, but never panics.
            let _ = WeatherDays::from_bytes(&there.to_bytes()[..cut]);
        }
    }
}
