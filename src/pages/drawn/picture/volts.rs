//! The battery at engine starts: volts at rest and while cranking, the class's median, the trend and where it leads.
use super::{
    axis::{Axis, Tick, em, hundredths},
    data::{Sheet, plain},
};
use crate::{
    base::{Instant, Zone, instant::DAY, text::count},
    rules::statistics::slope::{Slope, theil_sen},
};

/// So many days ahead are drawn.
pub const AHEAD: i32 = 91;
/// So many starts are reckoned with, the latest: as *starting weakens* does.
const LATEST: usize = 60;
const CONFIDENCE: f64 = 0.95;

/// One start that somebody read a gauge at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Read {
    pub at: Instant,
    pub rest: Option<f64>,
    /// While the electric motors alone cranked, at the first attempt.
    pub cranking: Option<f64>,
    /// The class's median cranking volts of that fortnight.
    pub class: Option<f64>,
}

/// What is to be drawn.
#[derive(Clone, Debug, Default)]
pub struct Sketch {
    /// Oldest first.
    pub starts: Vec<Read>,
    /// The schedule's least volts while cranking.
    pub minimum: Option<f64>,
    /// The last repair of what starts it: a trend begins after it.
    pub repaired: Option<Instant>,
    /// Starts that a trend is reckoned from, at least.
    pub at_least: f64,
}

/// A trend against the class, from the first start it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    pub slope: Slope,
    pub first: Instant,
    pub last: Instant,
    pub starts: usize,
    /// The class's median at the last of them.
    pub class: f64,
}

impl Trend {
    /// By how much the trend is away from the class at a moment.
    fn away(&self, at: Instant) -> f64 {
        self.slope.intercept + self.slope.slope * (at.since(self.first) as f64 / DAY as f64)
    }

    /// Volts of a line of this slope at a moment; all lines meet at the last start.
    fn volts(&self, slope: f64, at: Instant) -> f64 {
        let days = |to: Instant| to.since(self.first) as f64 / DAY as f64;
        let now = self.class + self.away(self.last);
        now + slope * (days(at) - days(self.last))
    }

    /// Days after the last start until a line of this slope is at the minimum; `None` where it never is.
    fn reaches(&self, slope: f64, minimum: f64) -> Option<f64> {
        let now = self.volts(slope, self.last);
        if now <= minimum {
            return Some(0.0);
        }
        (slope < 0.0).then(|| (minimum - now) / slope)
    }
}

impl Sketch {
    /// Starts since the last repair that can be held against the class: when, by how much, and the class's.
    fn against(&self) -> Vec<(Instant, f64, f64)> {
        let after = self.repaired.unwrap_or(Instant(i64::MIN));
        let held = self.starts.iter().filter(|s| s.at > after);
        held.filter_map(|s| Some((s.at, s.cranking? - s.class?, s.class?))).collect()
    }

    /// `None`: too few starts with a class to hold them against.
    pub fn trend(&self) -> Option<Trend> {
        let against = self.against();
        let latest = against.get(against.len().saturating_sub(LATEST)..)?;
        let (first, last) = (latest.first()?, latest.last()?);
        if (latest.len() as f64) < self.at_least {
            return None;
        }
        let day = |at: Instant| at.since(first.0) as f64 / DAY as f64;
        let points: Vec<(f64, f64)> = latest.iter().map(|(at, below, _)| (day(*at), *below)).collect();
        let slope = theil_sen(&points, CONFIDENCE)?;
        Some(Trend { slope, first: first.0, last: last.0, starts: latest.len(), class: last.2 })
    }

    /// The trend and the forecast in a sentence or two.
    pub fn answer(&self, trend: Option<&Trend>, zone: &Zone) -> String {
        if self.starts.is_empty() {
            return "Nobody wrote volts at a start in this time.".to_owned();
        }
        let Some(trend) = trend else {
            let since = self.repaired.map(|at| format!(" since the repair of {}", zone.day_in_words(at)));
            return format!(
                "No trend is reckoned: it takes {} first attempts with electric motors whose volts can be held against the \
                 class's of the same fortnight, and there are {}{}.",
                plain(self.at_least),
                self.against().len(),
                since.unwrap_or_default()
            );
        };
        let month = |slope: f64| plain((300.0 * slope).round() / 10.0);
        let (low, high) = (month(trend.slope.low), month(trend.slope.high));
        let moves = format!(
            "Against the class, cranking volts change by {} V in 30 days (19 times of 20 between {low} and {high}), by {} \
             since {}; by that line {:.1} V at the last.",
            month(trend.slope.slope),
            count(trend.starts as u64, "start", "starts"),
            zone.day_in_words(trend.first),
            trend.volts(0.0, trend.last)
        );
        format!("{moves} {}", self.forecast(trend))
    }

    fn forecast(&self, trend: &Trend) -> String {
        let Some(minimum) = self.minimum else {
            return "The schedule names no least volts to hold it against.".to_owned();
        };
        let days = |slope: f64| trend.reaches(slope, minimum);
        match (days(trend.slope.low), days(trend.slope.slope), days(trend.slope.high)) {
            (_, Some(now), _) if now <= 0.0 => format!("That is under the {minimum} V of the schedule."),
            (None, ..) => format!("It does not lead to the {minimum} V of the schedule."),
            (Some(soon), None, _) => format!(
                "It may as well stand still as fall: at the worst it is at the {minimum} V of the schedule {soon:.0} days after the \
                 last start."
            ),
            (Some(soon), Some(likely), None) => format!(
                "At this rate it is at the {minimum} V of the schedule {likely:.0} days after the last start, at the worst after \
                 {soon:.0}, at the best never."
            ),
            (Some(soon), Some(likely), Some(late)) => format!(
                "At this rate it is at the {minimum} V of the schedule {likely:.0} days after the last start, at the worst after \
                 {soon:.0}, at the best after {late:.0}."
            ),
        }
    }

    fn span(&self) -> (f64, f64) {
        let told = self.starts.iter().flat_map(|s| [s.rest, s.cranking, s.class]).flatten();
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for volts in told.chain(self.minimum) {
            (low, high) = (low.min(volts), high.max(volts));
        }
        if low > high { (0.0, 1.0) } else { ((low - 1.0).floor(), (high + 1.0).ceil()) }
    }

    /// Given its trend and what [`Self::answer`] says of it: they are reckoned once for a page.
    pub fn draw(
        &self,
        (id, title, csv): (&'static str, &str, String),
        (trend, answer): (Option<&Trend>, &str),
        axis: &Axis,
        zone: &Zone,
    ) -> Volts {
        let (low, high) = self.span();
        let y = move |volts: f64| em(HEAD + TALL * (1.0 - (volts - low) / (high - low)).clamp(0.0, 1.0));
        let dot = |at: Instant, volts: f64| Dot {
            x: hundredths(axis.x(at)),
            y: y(volts),
            at: at.to_z(),
            volts: plain(volts),
        };
        let (line, rays) = (self.line(trend, axis, y), rays(trend, axis, y));
        let dots = |of: fn(&Read) -> Option<f64>| -> Vec<Dot> {
            self.starts.iter().filter_map(|s| Some(dot(s.at, of(s)?))).collect()
        };
        let step = ((high - low) / 4.0).ceil().max(1.0);
        let grid = (0..5).map(|n| low + f64::from(n) * step).take_while(|v| *v <= high);
        // A number beside the schedule's least would lie in its line.
        let apart = |v: &f64| self.minimum.is_none_or(|m| TALL * (v - m).abs() / (high - low) >= APART);
        let grid = grid.filter(apart);
        Volts {
            id,
            title: title.to_owned(),
            says: format!(
                "{} {answer}",
                count(self.starts.len() as u64, "start with volts.", "starts with volts.")
            ),
            height: em(HEAD + TALL + 0.5),
            top: em(HEAD),
            bottom: em(HEAD + TALL),
            ticks: axis.ticks(zone),
            grid: grid.map(|v| (y(v), plain(v))).collect(),
            cranking: dots(|s| s.cranking),
            rest: dots(|s| s.rest),
            class: once_each(dots(|s| s.class)),
            minimum: self.minimum.map(|volts| (y(volts), plain(volts))),
            line,
            rays,
            csv,
        }
    }

    /// The trend up to the last start: so far from the class's median, wherever that was.
    fn line(&self, trend: Option<&Trend>, axis: &Axis, y: impl Fn(f64) -> String) -> Vec<Ray> {
        let Some(trend) = trend else { return Vec::new() };
        let mut told = self.against();
        told.retain(|(at, ..)| *at >= trend.first);
        let last = told.last().copied();
        told.dedup_by(|later, earlier| plain(later.2) == plain(earlier.2));
        let points = told.into_iter().chain(last).map(|(at, _, class)| (at, trend.away(at) + class));
        let points: Vec<(String, String)> =
            points.map(|(at, volts)| (hundredths(axis.x(at)), y(volts))).collect();
        let pair = |pair: &[(String, String)]| match pair {
            [from, to] => {
                let ((x, y), (to_x, to_y)) = (from.clone(), to.clone());
                Some(Ray { x, y, to_x, to_y })
            }
            _ => None,
        };
        points.windows(2).filter_map(pair).collect()
    }

    /// A row for each start.
    pub fn sheet(&self, name: String) -> Sheet {
        let cell = |volts: Option<f64>| volts.map(plain).unwrap_or_default();
        let row = |s: &Read| vec![s.at.to_z(), cell(s.rest), cell(s.cranking), cell(s.class)];
        let columns = &["at", "battery_rest_v", "battery_cranking_v", "class_cranking_v"];
        Sheet { name, columns, rows: self.starts.iter().map(row).collect() }
    }
}

/// Of starts in one fortnight the class's median is drawn once.
fn once_each(mut dots: Vec<Dot>) -> Vec<Dot> {
    dots.dedup_by(|later, earlier| later.volts == earlier.volts);
    dots
}

/// From the last start on, with the class as it was then: at the worst, as it goes, at the best.
fn rays(trend: Option<&Trend>, axis: &Axis, y: impl Fn(f64) -> String) -> Vec<Ray> {
    let ray = |t: &Trend, slope: f64| Ray {
        x: hundredths(axis.x(t.last)),
        y: y(t.volts(slope, t.last)),
        to_x: hundredths(axis.x(axis.to)),
        to_y: y(t.volts(slope, axis.to)),
    };
    trend.map_or_else(Vec::new, |t| {
        [t.slope.low, t.slope.slope, t.slope.high].map(|slope| ray(t, slope)).into()
    })
}

/// Room for the months, the first year beneath, and under it the topmost number of the scale.
const HEAD: f64 = 3.6;
const TALL: f64 = 11.0;
/// Heights of a letter between a number of the scale and the schedule's least.
const APART: f64 = 1.4;

/// Ready to print.
#[derive(Clone, Debug)]
pub struct Volts {
    pub id: &'static str,
    pub title: String,
    pub says: String,
    pub height: String,
    pub top: String,
    pub bottom: String,
    pub ticks: Vec<Tick>,
    pub grid: Vec<(String, String)>,
    pub cranking: Vec<Dot>,
    pub rest: Vec<Dot>,
    pub class: Vec<Dot>,
    pub minimum: Option<(String, String)>,
    pub line: Vec<Ray>,
    /// From the last start on: at the worst, as it goes, at the best.
    pub rays: Vec<Ray>,
    pub csv: String,
}

#[derive(Clone, Debug)]
pub struct Dot {
    pub x: String,
    pub y: String,
    pub at: String,
    pub volts: String,
}

#[derive(Clone, Debug)]
pub struct Ray {
    pub x: String,
    pub y: String,
    pub to_x: String,
    pub to_y: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Day;

    fn falling(starts: u32, per_day: f64) -> Sketch {
        let first = Instant::parse("2026-08-01T12:00:00Z").unwrap();
        let read = |n: u32| Read {
            at: first.plus(i64::from(n) * 4 * DAY),
            rest: Some(64.0),
            cranking: Some(56.0 + per_day * f64::from(4 * n)),
            class: Some(57.0),
        };
        Sketch { starts: (0..starts).map(read).collect(), minimum: Some(48.0), repaired: None, at_least: 8.0 }
    }

    fn told(sketch: &Sketch) -> String {
        sketch.answer(sketch.trend().as_ref(), &Zone::utc())
    }

    fn picture(sketch: &Sketch, axis: &Axis, zone: &Zone) -> Volts {
        let trend = sketch.trend();
        sketch.draw(("v", "V", String::new()), (trend.as_ref(), &told(sketch)), axis, zone)
    }

    /// 0.05 V a day from 56 V: after 76 days 52.2 V, and 4.2 V more take 84 days.
    #[test]
    fn a_steady_fall_meets_the_minimum_on_the_day_it_must() {
        let sketch = falling(20, -0.05);
        let trend = sketch.trend().unwrap();
        assert!((trend.slope.slope + 0.05).abs() < 1e-9, "{trend:?}");
        assert!((trend.volts(trend.slope.slope, trend.last) - 52.2).abs() < 1e-9);
        assert!((trend.reaches(trend.slope.slope, 48.0).unwrap() - 84.0).abs() < 1e-6);
        let says = told(&sketch);
        assert!(
            says.contains("change by -1.5 V in 30 days") && says.contains("48 V of the schedule 84 days"),
            "{says}"
        );
    }

    #[test]
    fn what_cannot_be_reckoned_is_said() {
        assert!(told(&falling(7, -0.05)).starts_with("No trend is reckoned: it takes 8 first attempts"));
        let repaired = Sketch { repaired: Some(falling(20, 0.0).starts[15].at), ..falling(20, -0.05) };
        assert_eq!(repaired.trend(), None, "what was before a repair says nothing of what is after it");
        assert!(
            told(&falling(20, 0.02)).contains("does not lead to the 48 V"),
            "{}",
            told(&falling(20, 0.02))
        );
        let blank = Sketch { minimum: None, ..falling(20, -0.05) };
        assert!(told(&blank).ends_with("names no least volts to hold it against."));
        let under = Sketch { minimum: Some(53.0), ..falling(20, -0.05) };
        assert!(told(&under).ends_with("That is under the 53 V of the schedule."));
    }

    #[test]
    fn no_number_of_the_scale_lies_in_the_least_of_the_schedule() {
        let zone = Zone::utc();
        let axis = Axis::year_up_to(Day::parse("2026-11-26").unwrap(), AHEAD, &zone);
        for minimum in [40.0, 42.0, 45.0, 47.5, 50.0] {
            let sketch = Sketch { minimum: Some(minimum), ..falling(20, -0.05) };
            let drawn = picture(&sketch, &axis, &zone);
            let em = |y: &str| y.trim_end_matches("em").parse::<f64>().unwrap();
            let least = em(&drawn.minimum.unwrap().0);
            assert!(drawn.grid.len() > 1, "{:?}", drawn.grid);
            // And the topmost stands under the years.
            assert!(
                drawn.grid.iter().all(|(y, _)| (em(y) - least).abs() > 1.3 && em(y) > 3.5),
                "{:?}",
                drawn.grid
            );
        }
    }

    #[test]
    fn every_start_is_a_dot_and_a_row() {
        let zone = Zone::utc();
        let axis = Axis::year_up_to(Day::parse("2026-11-26").unwrap(), AHEAD, &zone);
        let sketch = falling(20, -0.05);
        let drawn = picture(&sketch, &axis, &zone);
        assert_eq!((drawn.cranking.len(), drawn.rest.len(), drawn.rays.len()), (20, 20, 3));
        // Falling against a class that stands still: one piece, from 56 V to 52.2 V.
        assert_eq!(drawn.line.len(), 1);
        assert!((sketch.trend().unwrap().away(sketch.starts[19].at) + 57.0 - 52.2).abs() < 1e-9);
        assert_eq!(drawn.class.len(), 1, "the class's median did not change");
        assert_eq!(sketch.sheet("x".into()).rows.len(), 20);
        let nothing = picture(&Sketch::default(), &axis, &zone);
        assert!(nothing.cranking.is_empty() && nothing.rays.is_empty() && nothing.minimum.is_none());
    }
}
