//! The settings that the statistical rules go by: each with its default, its bounds and the reason for it. A railway
//! changes them by a page of the book; what is judged, is judged by those in force now.
use serde::{Deserialize, Serialize};

/// One setting as a page shows it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Its name in pages of the book and in forms.
    pub name: &'static str,
    pub default: f64,
    /// Values outside make no sense, whatever the fleet.
    pub least: f64,
    pub most: f64,
    /// Counts and days are whole numbers.
    pub whole: bool,
    /// What it is and what it is counted in, for people.
    pub says: &'static str,
    pub reason: &'static str,
}

macro_rules! settings {
    ($($name:ident = $default:literal, $least:literal..=$most:literal, $whole:ident, $says:literal, $reason:literal;)*) => {
        /// The settings in force.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct Thresholds { $(pub $name: f64,)* }

        impl Default for Thresholds {
            fn default() -> Self {
                Self { $($name: $default,)* }
            }
        }

        /// Every setting, in the order a page shows them.
        pub const SETTINGS: &[Setting] = &[$(Setting {
            name: stringify!($name), default: $default, least: $least, most: $most, whole: settings!($whole), says: $says,
            reason: $reason,
        },)*];

        impl Thresholds {
            /// By name; `None` for a name that is no setting.
            pub fn get(&self, name: &str) -> Option<f64> {
                match name { $(stringify!($name) => Some(self.$name),)* _ => None }
            }

            /// The name or the value does not fit: nothing is changed, and the error says what would.
            pub fn set(&mut self, name: &str, value: f64) -> Result<(), String> {
                let setting = SETTINGS.iter().find(|s| s.name == name);
                let setting = setting.ok_or_else(|| format!("There is no setting {name:?}."))?;
                setting.check(value)?;
                match name { $(stringify!($name) => self.$name = value,)* _ => {} }
                Ok(())
            }
        }
    };
    (count) => { true };
    (real) => { false };
}

settings! {
    burst_ratio = 4.5, 2.0..=50.0, real, "burst looks for a rate so many times the other units'",
        "Tried on simulated fleets: finds jumps of 3, 5 and 10 times about equally well; 5 misses more of 3 times, 4 more of 10.";
    burst_chance = 2.3e-3, 1e-6..=1.0, real, "chance lines of burst per pair and year, about",
        "46 a year on 20,000 pairs: not one a week, what a shop will look into without learning to ignore the board.";
    burst_at_least = 3.0, 2.0..=20.0, count, "occurrences since its score was last near what it is without any, for burst",
        "Two close together happen to every healthy fleet.";
    often_at_least = 3.0, 2.0..=100.0, count, "occurrences in 365 service days, for often",
        "Fewer say nothing about a rate.";
    often_ratio = 2.0, 1.1..=50.0, real, "often looks for a rate over so many times the class's",
        "Units differ by less than this without anything being wrong with them.";
    often_certainty = 0.90, 0.5..=0.9999, real, "how sure often has to be",
        "One in ten such lines may be wrong, and each says how sure it is.";
    worsening_at_least = 5.0, 4.0..=100.0, count, "occurrences in one life, for worsening",
        "Fewer say nothing about a trend.";
    worsening_z = 1.645, 0.5..=6.0, real, "Laplace's trend over the spread of the gaps, for worsening",
        "The upper twentieth of the normal law.";
    worsening_tail = 0.05, 1e-6..=0.5, real, "chance of such a trend in a steady device, at most",
        "One in twenty, before all pairs are looked at together.";
    worsening_discovery = 0.10, 1e-4..=0.5, real, "share of wrong lines among those of worsening",
        "Benjamini and Hochberg 1995, over all pairs with enough occurrences.";
    returned_chance = 0.05, 1e-6..=0.5, real, "chance of so early a return in a normal unit, for did not hold",
        "One in twenty; less where a shop closes many repairs, see the next.";
    returned_budget = 12.0, 0.1..=1000.0, real, "chance lines of did not hold a year on 20,000 pairs",
        "One a month: every repair is looked at once, so many repairs need a stricter chance.";
    returned_tail = 0.01, 1e-6..=0.5, real, "chance of so many returns in a normal unit, for did not hold",
        "Looked at after each return, so stricter than for the first.";
    proving_chance = 0.05, 1e-4..=0.5, real, "chance of such a silence had nothing changed, for held",
        "One in twenty.";
    proving_days = 730.0, 30.0..=3650.0, count, "service days of silence that a repair is waited for",
        "After two years nobody remembers what the repair was to prove.";
    class_wide_ratio = 1.5, 1.1..=20.0, real, "a class's rate over that of the rest, for class-wide",
        "Less is not worth a campaign.";
    class_wide_discovery = 0.05, 1e-4..=0.5, real, "share of wrong lines among those of class-wide",
        "Benjamini and Hochberg 1995, over all devices of all classes.";
    class_wide_units = 3.0, 2.0..=100.0, count, "units with an occurrence, for class-wide",
        "Fewer are those units' matter, not the class's.";
    shared_devices = 3.0, 2.0..=20.0, count, "devices of one panel or feed together, for shared cause",
        "Two together happen by chance some times a year in a fleet.";
    shared_minutes = 10.0, 1.0..=60.0, count, "minutes within which devices of one unit operate together",
        "Clocks and memories are good to some minutes.";
    consist_minutes = 15.0, 1.0..=60.0, count, "minutes within which units of one consist operate together",
        "Two crews' clocks.";
    shared_chance = 0.05, 1e-6..=10.0, real, "such groups by chance per fleet and year, at most",
        "One in twenty years.";
    wet_at_least = 5.0, 3.0..=100.0, count, "ground-relay operations, for wet",
        "Fewer fall on wet days by chance.";
    wet_chance = 0.01, 1e-6..=0.5, real, "chance of so many on wet days, month by month",
        "Looked at after each operation.";
    wet_ratio = 2.0, 1.1..=50.0, real, "rate on wet days over that on dry days, for wet",
        "Less is of no help in finding the leak.";
    starts_at_least = 8.0, 4.0..=100.0, count, "electric starts with cranking volts, for starting weakens",
        "Fewer give a slope whose interval is too wide to say anything.";
    starts_days = 60.0, 7.0..=365.0, count, "days within which cranking volts reach their minimum",
        "Time to plan a battery, not more.";
    start_faults = 2.0, 2.0..=20.0, count, "failed starts of a kind in 14 days, for starting weakens",
        "One may be the weather.";
    quiet_gaps = 2.0, 0.5..=10.0, real, "average gaps without an occurrence that end a line",
        "A healthy unit is silent so long one time in seven, a bad one hardly ever.";
    quiet_days = 90.0, 7.0..=730.0, count, "service days without an occurrence that end a line, at most",
        "A quarter: what has been silent so long is no work for today.";
    watch_count = 3.0, 2.0..=50.0, count, "occurrences for the watch list",
        "The rule of thumb of many shops. It opens no line: beside it stands how many healthy units it takes along.";
    watch_days = 30.0, 2.0..=365.0, count, "service days for the watch list",
        "The same.";
}

/// Score of the burst rule, in service days, times the chance lines a pair and year that it brings: 30,000 times 2.3e-3.
/// At a ratio of 4.5 a score of 30,000 brings 4.8e-3 to a device that operates once in 90 service days and 0.25e-3 to one of
/// once in 1,500; 2.2e-3 as the mean over ln rate between them. For other ratios it is about right; the forecast tells what a
/// fleet should expect.
const SCORE_TIMES_CHANCE: f64 = 69.0;

impl Thresholds {
    /// The score at which *burst* speaks, in service days.
    pub fn burst_score(&self) -> f64 {
        SCORE_TIMES_CHANCE / self.burst_chance
    }
}

impl Setting {
    /// The error says what would fit.
    pub fn check(&self, value: f64) -> Result<(), String> {
        let fits = value.is_finite() && (self.least..=self.most).contains(&value);
        match (fits, self.whole && value.fract() != 0.0) {
            (true, false) => Ok(()),
            (true, true) => Err(format!("{}: a whole number, please.", self.says)),
            _ => Err(format!("{}: a number from {} to {}, please.", self.says, self.least, self.most)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_fit_their_own_bounds() {
        let defaults = Thresholds::default();
        for setting in SETTINGS {
            setting.check(setting.default).unwrap();
            assert_eq!(defaults.get(setting.name), Some(setting.default));
            assert!(!setting.says.is_empty() && setting.reason.ends_with('.'), "{}", setting.name);
        }
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_what_would() {
        let mut now = Thresholds::default();
        for value in [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e9] {
            let says = now.set("burst_ratio", value).unwrap_err();
            assert_eq!(
                says,
                "burst looks for a rate so many times the other units': a number from 2 to 50, please."
            );
        }
        assert!(now.set("quiet_days", 30.5).unwrap_err().ends_with("a whole number, please."));
        assert!(now.set("no_such", 1.0).unwrap_err().contains("no_such"));
        assert_eq!(now, Thresholds::default());
        now.set("quiet_days", 30.0).unwrap();
        assert_eq!(now.get("quiet_days"), Some(30.0));
    }

    #[test]
    fn an_older_page_reads_with_todays_defaults() {
        let old: Thresholds = serde_json::from_str(r#"{"burst_ratio": 6}"#).unwrap();
        assert_eq!(old, Thresholds { burst_ratio: 6.0, ..Thresholds::default() });
        assert!(serde_json::from_str::<Thresholds>(r#"{"burst_rat": 5}"#).is_err());
    }
}
