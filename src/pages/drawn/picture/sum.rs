//! A device's occurrences added up over the weeks, before the band in which nine of ten healthy sister units would be.
use super::{
    axis::{Axis, Tick, em, hundredths},
    data::{Sheet, plain},
};
use crate::{
    base::{Instant, Zone, text::count},
    rules::{service_days::ServiceDays, statistics::poisson_at_least},
};

/// Nine of ten: one in twenty is under the band, one in twenty over it.
const TAIL: f64 = 0.05;

/// What is to be drawn.
#[derive(Clone, Debug)]
pub struct Sketch {
    pub weeks: Vec<Week>,
}

/// The state at a week's end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Week {
    pub so_far: u32,
    /// Service days so far.
    pub days: i64,
    /// What nine of ten healthy ones have had by then; `None` where nothing is known to compare with.
    pub band: Option<(u32, u32)>,
}

impl Sketch {
    /// Added up from the axis's first day. `rate` is the sister units', per service day.
    pub fn of(
        occurrences: &[Instant],
        clock: &ServiceDays,
        rate: Option<f64>,
        axis: &Axis,
        zone: &Zone,
    ) -> Self {
        let mut each = vec![0_u32; axis.weeks()];
        for at in occurrences {
            if let Some(n) = axis.week_of(zone.day_of(*at)).and_then(|week| each.get_mut(week)) {
                *n += 1;
            }
        }
        let (mut so_far, mut band) = (0, (0, 0));
        let week = |(week, n): (usize, u32)| {
            so_far += n;
            let days = clock.between(axis.first.plus(-1), axis.week(week).1);
            let told = rate.map(|rate| {
                let expected = rate * days as f64;
                band = (at_most(expected, 1.0 - TAIL, band.0), at_most(expected, TAIL, band.1));
                band
            });
            Week { so_far, days, band: told }
        };
        Self { weeks: each.into_iter().enumerate().map(week).collect() }
    }

    fn most(&self) -> u32 {
        self.weeks.iter().map(|w| w.so_far.max(w.band.map_or(0, |(_, high)| high))).max().unwrap_or(0).max(4)
    }

    pub fn draw(&self, (id, title, csv): (&'static str, &str, String), axis: &Axis, zone: &Zone) -> Sum {
        let most = self.most();
        let y = |n: u32| HEAD + TALL * (1.0 - f64::from(n) / f64::from(most));
        let mut sum = Sum {
            id,
            title: title.to_owned(),
            says: self.says(axis),
            height: em(HEAD + TALL + 0.4),
            top: em(HEAD),
            bottom: em(HEAD + TALL),
            ticks: axis.ticks(zone),
            grid: grid(most).map(|n| Line { y: em(y(n)), text_y: em(y(n) - 0.25), n }).collect(),
            band: Vec::new(),
            steps: Vec::new(),
            csv,
        };
        let mut before = 0;
        for (place, week) in self.weeks.iter().enumerate() {
            let (from, to) = axis.week(place);
            let (left, right) = (axis.x(zone.start_of(from)), axis.x(zone.start_of(to.plus(1))));
            sum.steps.push(Step {
                x: hundredths(left),
                to_x: hundredths(right),
                y: em(y(week.so_far)),
                rise: (week.so_far > before).then(|| em(y(before))),
                until: to.to_string(),
                n: week.so_far,
            });
            before = week.so_far;
            sum.band.extend(week.band.map(|(low, high)| Band {
                x: hundredths(left),
                width: hundredths(right - left),
                y: em(y(high)),
                height: em((y(low) - y(high)).max(0.12)),
                until: to.to_string(),
                low,
                high,
            }));
        }
        sum
    }

    fn says(&self, axis: &Axis) -> String {
        let Some(last) = self.weeks.last() else { return String::new() };
        let own = count(u64::from(last.so_far), "occurrence", "occurrences");
        let band = last.band.map_or_else(
            || "Too little is known of sister units to draw what they would have had.".to_owned(),
            |(low, high)| {
                format!("Nine of ten healthy sister units would have had {low} to {high} by the end.")
            },
        );
        let days = count(last.days.unsigned_abs(), "service day", "service days");
        format!("From {} to {}: {own} in {days}. {band}", axis.first.in_words(), axis.last.in_words())
    }

    /// A row for each week.
    pub fn sheet(&self, name: String, axis: &Axis) -> Sheet {
        let row = |(place, week): (usize, &Week)| {
            let (from, to) = axis.week(place);
            let (low, high) =
                week.band.map_or_else(Default::default, |(low, high)| (low.to_string(), high.to_string()));
            let (so_far, days) = (week.so_far.to_string(), plain(week.days as f64));
            vec![from.to_string(), to.to_string(), so_far, days, low, high]
        };
        let columns =
            &["from", "to", "occurrences_so_far", "service_days_so_far", "healthy_low", "healthy_high"];
        Sheet { name, columns, rows: self.weeks.iter().enumerate().map(row).collect() }
    }
}

/// The least number that is exceeded with at most this chance, looked for upwards from one that is not larger.
fn at_most(expected: f64, chance: f64, from: u32) -> u32 {
    let exceeded = |k: u32| poisson_at_least(u64::from(k) + 1, expected).unwrap_or(0.0);
    (from..from.saturating_add(100_000)).find(|k| exceeded(*k) <= chance).unwrap_or(from)
}

/// Numbers to draw a line at: at most six of them, round ones.
fn grid(most: u32) -> impl Iterator<Item = u32> {
    let steps = (0..9).flat_map(|tens| [1, 2, 5].map(|n| n * 10_u32.pow(tens)));
    let step = steps.into_iter().find(|step| most / step <= 5).unwrap_or(most.max(1));
    (1..=most / step).map(move |n| n * step)
}

const HEAD: f64 = 2.8;
const TALL: f64 = 9.0;

/// Ready to print.
#[derive(Clone, Debug)]
pub struct Sum {
    pub id: &'static str,
    pub title: String,
    pub says: String,
    pub height: String,
    pub top: String,
    pub bottom: String,
    pub ticks: Vec<Tick>,
    pub grid: Vec<Line>,
    pub band: Vec<Band>,
    pub steps: Vec<Step>,
    pub csv: String,
}

#[derive(Clone, Debug)]
pub struct Line {
    pub y: String,
    pub text_y: String,
    pub n: u32,
}

#[derive(Clone, Debug)]
pub struct Band {
    pub x: String,
    pub width: String,
    pub y: String,
    pub height: String,
    pub until: String,
    pub low: u32,
    pub high: u32,
}

/// Level through a week; `rise` is where it comes up from.
#[derive(Clone, Debug)]
pub struct Step {
    pub x: String,
    pub to_x: String,
    pub y: String,
    pub rise: Option<String>,
    pub until: String,
    pub n: u32,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Day;

    /// By hand, from the Poisson law: at 1.0 expected, P(X > 2) = 0.0803 and P(X > 3) = 0.0190; at 5.0, P(X > 1) = 0.9596,
    /// P(X > 2) = 0.8753, P(X > 8) = 0.0681, P(X > 9) = 0.0318.
    #[test]
    fn the_band_holds_nine_of_ten() {
        assert_eq!((at_most(1.0, 0.95, 0), at_most(1.0, 0.05, 0)), (0, 3));
        assert_eq!((at_most(5.0, 0.95, 0), at_most(5.0, 0.05, 0)), (2, 9));
        assert_eq!((at_most(0.0, 0.95, 0), at_most(0.0, 0.05, 0)), (0, 0));
    }

    #[test]
    fn occurrences_are_added_up_and_the_band_grows_with_the_service_days() {
        let zone = Zone::utc();
        let axis = Axis::year_up_to(Day::parse("2026-11-26").unwrap(), 0, &zone);
        let at = |days: i32| zone.start_of(axis.first.plus(days));
        let sketch =
            Sketch::of(&[at(0), at(13), at(363)], &ServiceDays::Calendar, Some(5.0 / 364.0), &axis, &zone);
        let told: Vec<u32> = sketch.weeks.iter().map(|w| w.so_far).collect();
        assert_eq!((told[0], told[1], told[50], told[51]), (1, 2, 2, 3));
        assert_eq!((sketch.weeks[51].days, sketch.weeks[51].band), (364, Some((2, 9))));
        let drawn = sketch.draw(("s", "S", String::new()), &axis, &zone);
        assert_eq!((drawn.band.len(), drawn.steps.len()), (52, 52));
        assert_eq!(drawn.steps.iter().filter(|s| s.rise.is_some()).count(), 3);
        let silent = Sketch::of(&[], &ServiceDays::Calendar, None, &axis, &zone);
        assert!(silent.draw(("s", "S", String::new()), &axis, &zone).band.is_empty());
    }

    #[test]
    fn lines_are_drawn_at_round_numbers() {
        for (most, want) in
            [(4, vec![1, 2, 3, 4]), (11, vec![2, 4, 6, 8, 10]), (2_000, vec![500, 1000, 1500, 2000])]
        {
            assert_eq!(grid(most).collect::<Vec<_>>(), want);
        }
    }
}
