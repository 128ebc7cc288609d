//! The days of the demo's year: local times as people write them, and the weather.
use super::dice::Dice;
use crate::base::{
    Instant, Stamp, Zone,
    instant::{DAY, MINUTE},
    zone::Day,
};

pub struct Calendar<'a> {
    zone: &'a Zone,
    pub starts: Instant,
    pub ends: Instant,
    weather: Vec<&'static str>,
}

impl<'a> Calendar<'a> {
    /// The 365 days before `ends`, which is cut to the minute as people write times.
    pub fn new(ends: Instant, zone: &'a Zone, dice: &mut Dice) -> Self {
        let ends = Instant(ends.0 - ends.0.rem_euclid(MINUTE));
        let starts = ends.minus(365 * DAY);
        let mut calendar = Self { zone, starts, ends, weather: Vec::new() };
        calendar.weather =
            (0..=366).map(|day| weather_of(calendar.month(starts.plus(day * DAY)), dice)).collect();
        calendar
    }

    /// `2026-03-02T23:12:00-06:00`.
    pub fn stamp(&self, at: Instant) -> String {
        Stamp { at, offset_min: self.zone.offset_min(at) }.to_string()
    }

    pub fn weather(&self, at: Instant) -> &'static str {
        let day = usize::try_from(at.since(self.starts).div_euclid(DAY)).unwrap_or(0);
        self.weather.get(day).copied().unwrap_or("dry")
    }

    /// The day it is there.
    pub fn day(&self, at: Instant) -> Day {
        self.zone.day_of(at)
    }

    /// 1 to 12.
    pub fn month(&self, at: Instant) -> u32 {
        self.zone.local_input(at).get(5..7).and_then(|month| month.parse().ok()).unwrap_or(1)
    }

    /// The local day of the end, less so many, at `hour` and `minute` local time.
    pub fn ago(&self, days: i32, hour: i64, minute: i64) -> Instant {
        self.zone.start_of(self.zone.day_of(self.ends).plus(-days)).plus((hour * 60 + minute) * MINUTE)
    }

    /// Half past four on the first of each month, when class figures are taken.
    pub fn firsts_of_months(&self) -> Vec<Instant> {
        let (first, last) = (self.zone.day_of(self.starts), self.zone.day_of(self.ends));
        (first.0..=last.0)
            .map(Day)
            .filter(|day| day.to_string().ends_with("-01"))
            .map(|day| self.zone.start_of(day).plus(270 * MINUTE))
            .filter(|at| (self.starts..=self.ends).contains(at))
            .collect()
    }
}

fn weather_of(month: u32, dice: &mut Dice) -> &'static str {
    match month {
        12 | 1 | 2 => dice.weighted(&[
            ("dry", 0.62),
            ("snow", 0.2),
            ("rain", 0.08),
            ("blowing_snow", 0.06),
            ("fog", 0.04),
        ]),
        3..=5 | 10 | 11 => {
            dice.weighted(&[("dry", 0.63), ("rain", 0.28), ("fog", 0.07), ("high_water", 0.02)])
        }
        _ => dice.weighted(&[("dry", 0.81), ("rain", 0.17), ("fog", 0.02)]),
    }
}
