//! What a simulated fleet is like.
use serde::Serialize;

use crate::base::Day;

/// The options of `simulate`. The same options give the same files, to the byte.
#[derive(clap::Args, Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Options {
    /// The seed: another one is another fleet of the same kind.
    #[arg(long, default_value_t = USUAL.seed)]
    pub seed: u64,
    /// Units.
    #[arg(long, default_value_t = USUAL.units)]
    pub units: u32,
    /// Years of 365 days.
    #[arg(long, default_value_t = USUAL.years)]
    pub years: u32,
    /// The first day.
    #[arg(long, default_value_t = USUAL.starts, value_parser = a_day)]
    pub starts: Day,
    /// Classes that the units are shared out to.
    #[arg(long, default_value_t = USUAL.classes)]
    pub classes: u32,
    /// Devices of each class; the last one is its ground relay.
    #[arg(long, default_value_t = USUAL.devices)]
    pub devices: u32,
    /// Of a class's devices the busiest operates once in so many service days of a unit.
    #[arg(long, default_value_t = USUAL.gap_from, value_name = "DAYS")]
    pub gap_from: f64,
    /// And the quietest once in so many; the others lie between, on a logarithmic scale.
    #[arg(long, default_value_t = USUAL.gap_to, value_name = "DAYS")]
    pub gap_to: f64,
    /// Units differ: each device's own rate is its class's times a gamma variable of this shape and mean 1.
    #[arg(long, value_name = "SHAPE")]
    pub spread: Option<f64>,
    /// This share of all devices on units goes bad on some day.
    #[arg(long, default_value_t = USUAL.bad_share, value_name = "SHARE")]
    pub bad_share: f64,
    /// From then on it operates so many times as often.
    #[arg(long, default_value_t = USUAL.jump, value_name = "TIMES")]
    pub jump: f64,
    /// This share of the bad ones comes right again by itself, 30 to 180 days later.
    #[arg(long, default_value_t = USUAL.cures, value_name = "SHARE")]
    pub cures: f64,
    /// Half of the devices operate more often in winter, half in summer, by up to this share.
    #[arg(long, default_value_t = USUAL.season, value_name = "SHARE")]
    pub season: f64,
    /// So many times a year each unit has 20 to 60 days of which nobody writes anything.
    #[arg(long, default_value_t = USUAL.gaps, value_name = "NUMBER")]
    pub gaps: f64,
    /// This share of the reports is lost.
    #[arg(long, default_value_t = USUAL.missing, value_name = "SHARE")]
    pub missing: f64,
    /// This share of the reports comes in 2 to 40 days late.
    #[arg(long, default_value_t = USUAL.late, value_name = "SHARE")]
    pub late: f64,
    /// This share of clock times is written down to the quarter hour only.
    #[arg(long, default_value_t = USUAL.round_times, value_name = "SHARE")]
    pub round_times: f64,
    /// On this share of the units the ground relay operates six times as often on wet days.
    #[arg(long, default_value_t = USUAL.wet, value_name = "SHARE")]
    pub wet: f64,
    /// On this share of the units the battery begins to fail on some day. Above 0, every unit's starts are written down.
    #[arg(long, default_value_t = USUAL.weak_batteries, value_name = "SHARE")]
    pub weak_batteries: f64,
    /// So many times a year, over the whole fleet, one feed trips several breakers within ten minutes.
    #[arg(long, default_value_t = USUAL.shared_causes, value_name = "NUMBER")]
    pub shared_causes: f64,
}

fn a_day(text: &str) -> Result<Day, String> {
    Day::parse(text).ok_or_else(|| "a date is wanted, as in 2026-03-03".to_owned())
}

/// What stands for every option that is not given: a railway as one meets it.
pub const USUAL: Options = Options {
    seed: 1,
    units: 500,
    years: 1,
    // 2025-01-01.
    starts: Day(20_089),
    classes: 5,
    devices: 40,
    gap_from: 90.0,
    gap_to: 1_500.0,
    spread: None,
    bad_share: 0.01,
    jump: 5.0,
    cures: 0.1,
    season: 0.0,
    gaps: 0.2,
    missing: 0.01,
    late: 0.05,
    round_times: 0.2,
    wet: 0.02,
    weak_batteries: 0.02,
    shared_causes: 5.0,
};

impl Options {
    /// The same fleet with nothing but its rates and its jumps: every occurrence by itself, written down once, in
    /// time and to the minute.
    pub const fn bare(self) -> Self {
        Self {
            spread: None,
            cures: 0.0,
            season: 0.0,
            gaps: 0.0,
            missing: 0.0,
            late: 0.0,
            round_times: 0.0,
            wet: 0.0,
            weak_batteries: 0.0,
            shared_causes: 0.0,
            ..self
        }
    }

    /// A sentence for the first option that cannot be.
    pub fn check(&self) -> Result<(), String> {
        let counts = [
            ("units", self.units, 90_000),
            ("years", self.years, 50),
            ("classes", self.classes, 1_000),
            ("devices", self.devices, 1_000),
        ];
        for (name, is, most) in counts {
            if !(1..=most).contains(&is) {
                return Err(format!("--{name} {is} cannot be: give 1 to {most}"));
            }
        }
        if self.classes > self.units {
            let (classes, units) = (self.classes, self.units);
            return Err(format!("--classes {classes} is more than there are units ({units}): give fewer"));
        }
        let numbers = [
            ("gap-from", self.gap_from, 1.0, 100_000.0),
            ("gap-to", self.gap_to, self.gap_from, 100_000.0),
            ("spread", self.spread.unwrap_or(1.0), 0.5, 1_000.0),
            ("bad-share", self.bad_share, 0.0, 1.0),
            ("jump", self.jump, 1.0, 100.0),
            ("cures", self.cures, 0.0, 1.0),
            ("season", self.season, 0.0, 1.0),
            ("gaps", self.gaps, 0.0, 4.0),
            ("missing", self.missing, 0.0, 1.0),
            ("late", self.late, 0.0, 1.0),
            ("round-times", self.round_times, 0.0, 1.0),
            ("wet", self.wet, 0.0, 1.0),
            ("weak-batteries", self.weak_batteries, 0.0, 1.0),
            ("shared-causes", self.shared_causes, 0.0, 100_000.0),
        ];
        let odd = numbers.iter().find(|(_, is, least, most)| !(*least..=*most).contains(is));
        odd.map_or(Ok(()), |(name, is, least, most)| {
            Err(format!("--{name} {is} cannot be: give {least} to {most}"))
        })
    }

    /// Days from the first to the last.
    pub fn days(&self) -> f64 {
        365.0 * f64::from(self.years)
    }

    /// The first day after it all.
    pub fn ends(&self) -> Day {
        self.starts.plus(i32::try_from(365 * self.years).unwrap_or(i32::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_has_a_sentence() {
        assert_eq!(USUAL.check(), Ok(()));
        assert_eq!(USUAL.bare().check(), Ok(()));
        assert_eq!(
            (USUAL.starts.to_string(), USUAL.ends().to_string()),
            ("2025-01-01".into(), "2026-01-01".into())
        );
        for (wrong, says) in [
            (Options { units: 0, ..USUAL }, "--units 0 cannot be: give 1 to 90000"),
            (Options { years: 51, ..USUAL }, "--years 51 cannot be: give 1 to 50"),
            (Options { units: 3, ..USUAL }, "--classes 5 is more than there are units (3): give fewer"),
            (Options { gap_from: f64::NAN, ..USUAL }, "--gap-from NaN cannot be: give 1 to 100000"),
            (Options { gap_to: 50.0, ..USUAL }, "--gap-to 50 cannot be: give 90 to 100000"),
            (Options { spread: Some(0.1), ..USUAL }, "--spread 0.1 cannot be: give 0.5 to 1000"),
            (Options { late: 1.5, ..USUAL }, "--late 1.5 cannot be: give 0 to 1"),
        ] {
            assert_eq!(wrong.check(), Err(says.to_owned()));
        }
    }
}
