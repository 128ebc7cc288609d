//! How often each device of a unit operates, beside its sister units: a point and its exact interval over a band.
use super::{
    axis::{em, hundredths},
    data::{Sheet, plain},
};
use crate::{
    base::Tag,
    rules::{
        pair::{gap_in_words, one_in},
        statistics::rates::{Ended, MeanGap, Sides, TwoRates, mean_gap},
    },
};

/// Of ten such intervals, nine hold the true rate.
const CONFIDENCE: f64 = 0.9;
const YEAR: f64 = 365.0;

/// One device: its own count, and the others'.
#[derive(Clone, Debug, PartialEq)]
pub struct Rate {
    pub tag: Tag,
    pub label: String,
    pub n: u32,
    pub days: i64,
    /// Of all other units: occurrences and service days; `None` where too few are known.
    pub others: Option<(u32, i64)>,
}

/// Occurrences in 365 service days: as counted, and between what bounds the true rate may lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    pub point: f64,
    pub low: f64,
    pub high: f64,
}

impl Between {
    /// Exact for a steady rate (`rules::statistics::rates`); `None` without service days.
    pub fn of(n: u32, days: i64) -> Option<Self> {
        let gap = mean_gap(days as f64, u64::from(n), CONFIDENCE, Ended::AtTime, Sides::Two)?;
        let MeanGap { point, low, high } = gap;
        let rate = |gap: f64| YEAR / gap;
        Some(Self { point: point.map_or(0.0, rate), low: high.map_or(0.0, rate), high: rate(low) })
    }
}

/// A device and its intervals: an exact one takes as long as a row of a table, so each is reckoned once.
struct Reckoned<'a> {
    rate: &'a Rate,
    own: Option<Between>,
    others: Option<Between>,
}

impl<'a> Reckoned<'a> {
    fn of(rate: &'a Rate) -> Self {
        let others = rate.others.and_then(|(n, days)| Between::of(n, days));
        Self { rate, own: Between::of(rate.n, rate.days), others }
    }
}

impl Rate {
    /// More than the others would have had in the same service days.
    pub fn beyond(&self) -> f64 {
        let expected =
            self.others.map_or(0.0, |(n, days)| f64::from(n) / days.max(1) as f64 * self.days as f64);
        f64::from(self.n) - expected
    }

    /// `About 1 sister unit in 760 has that many`.
    fn luck(&self) -> String {
        let Some((n, days)) = self.others.filter(|_| self.n > 0 && self.days > 0) else {
            return String::new();
        };
        let two =
            TwoRates { first: (u64::from(self.n), self.days as f64), second: (u64::from(n), days as f64) };
        two.first_at_least()
            .map(|p| format!("{} has that many or more.", one_in("sister unit", 1.0 / p)))
            .unwrap_or_default()
    }
}

/// Ready to print.
#[derive(Clone, Debug)]
pub struct Rates {
    pub id: &'static str,
    pub title: String,
    pub says: String,
    pub height: String,
    pub bottom: String,
    pub top: String,
    pub scale: Vec<(String, String)>,
    pub lines: Vec<RateLine>,
    /// Devices that are only in the CSV.
    pub more: String,
    /// The same in words.
    pub table: Vec<RateRow>,
    pub csv: String,
}

#[derive(Clone, Debug)]
pub struct RateLine {
    pub tag: String,
    pub label: String,
    pub label_y: String,
    pub y: String,
    pub band_y: String,
    pub own: Option<Drawn>,
    pub others: Option<Drawn>,
}

/// Places, and the numbers they stand for.
#[derive(Clone, Debug)]
pub struct Drawn {
    pub x: String,
    pub low_x: String,
    pub high_x: String,
    pub width: String,
    pub point: String,
    pub low: String,
    pub high: String,
}

#[derive(Clone, Debug)]
pub struct RateRow {
    pub device: String,
    pub own: String,
    pub others: String,
    pub luck: String,
}

/// So many are drawn, those furthest beyond their class first.
pub const DRAWN: usize = 12;
const HEAD: f64 = 0.4;
const LINE: f64 = 2.9;

/// The furthest beyond its class first; last what cannot be held against one.
pub fn in_order(mut rates: Vec<Rate>) -> Vec<Rate> {
    let unknown = |rate: &Rate| rate.others.is_none();
    rates.sort_by(|a, b| {
        let by_far = unknown(a).cmp(&unknown(b)).then(b.beyond().total_cmp(&a.beyond()));
        by_far.then_with(|| a.tag.cmp(&b.tag))
    });
    rates
}

pub fn draw(rates: &[Rate], (id, title, csv): (&'static str, &str, String)) -> Rates {
    let shown: Vec<_> = rates.iter().take(DRAWN).map(Reckoned::of).collect();
    let highest =
        shown.iter().flat_map(|one| [one.own, one.others]).flatten().map(|b| b.high).fold(0.0, f64::max);
    let step = round_step(highest);
    let most = (highest / step).ceil().max(1.0) * step;
    let depth = LINE * shown.len() as f64;
    let hidden = rates.len() - shown.len();
    Rates {
        id,
        title: title.to_owned(),
        says: says(&shown, rates.len()),
        height: em(HEAD + depth + 2.4),
        top: em(HEAD),
        bottom: em(HEAD + depth),
        scale: scale(step, most),
        lines: shown.iter().zip(0_u32..).map(|(one, nth)| line(one, nth, most)).collect(),
        more: if hidden > 0 { format!("{hidden} more are in the CSV.") } else { String::new() },
        table: shown.iter().map(row).collect(),
        csv,
    }
}

fn says(shown: &[Reckoned<'_>], all: usize) -> String {
    let first = shown.first().map(|one| format!(" Furthest beyond its sister units: {}.", one.rate.label));
    format!(
        "Occurrences in 365 service days of {} of {all} devices, each with the interval that holds the true rate nine times \
         of ten, over the sister units' rate with its own.{}",
        shown.len(),
        first.unwrap_or_default()
    )
}

/// Ones, twos and fives: at most five of them.
fn round_step(most: f64) -> f64 {
    let tens = 10_f64.powf((most.max(0.01) / 5.0).log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|n| n * tens).find(|step| most / step <= 5.0).unwrap_or(1.0)
}

fn scale(step: f64, most: f64) -> Vec<(String, String)> {
    let marks = (0..6).map(|n| f64::from(n) * step).take_while(|at| *at <= most * 1.001);
    marks.map(|at| (hundredths(at / most * 100.0), plain(at))).collect()
}

fn line(one: &Reckoned<'_>, nth: u32, most: f64) -> RateLine {
    let top = HEAD + LINE * f64::from(nth);
    let place = |b: Between| {
        let x = |rate: f64| rate / most * 100.0;
        Drawn {
            x: hundredths(x(b.point)),
            low_x: hundredths(x(b.low)),
            high_x: hundredths(x(b.high)),
            width: hundredths(x(b.high - b.low)),
            point: plain(b.point),
            low: plain(b.low),
            high: plain(b.high),
        }
    };
    RateLine {
        tag: one.rate.tag.to_string(),
        label: one.rate.label.clone(),
        label_y: em(top + 1.0),
        y: em(top + 1.95),
        band_y: em(top + 1.4),
        own: one.own.map(place),
        others: one.others.map(place),
    }
}

fn row(Reckoned { rate, own, others }: &Reckoned<'_>) -> RateRow {
    let told = |(n, days): (u32, i64), between: &Option<Between>| {
        let Some(b) = between else { return "no service days known".to_owned() };
        let one = if n > 0 {
            format!(", one in {}", gap_in_words(days as f64 / f64::from(n)))
        } else {
            String::new()
        };
        format!(
            "{n} in {days} service days{one}: {} a year ({} to {})",
            plain(b.point),
            plain(b.low),
            plain(b.high)
        )
    };
    RateRow {
        device: rate.label.clone(),
        own: told((rate.n, rate.days), own),
        others: rate.others.map_or_else(|| "too few are known".to_owned(), |known| told(known, others)),
        luck: rate.luck(),
    }
}

/// Every device, whether it is drawn or not.
pub fn sheet(rates: &[Rate], name: String) -> Sheet {
    let row = |rate: &Rate| {
        let Reckoned { own, others: of_others, .. } = Reckoned::of(rate);
        let three = |b: Option<Between>| match b {
            Some(b) => [plain(b.point), plain(b.low), plain(b.high)],
            None => <[String; 3]>::default(),
        };
        let (n, days) = (rate.n.to_string(), rate.days.to_string());
        let (others, others_days) =
            rate.others.map_or_else(Default::default, |(n, days)| (n.to_string(), days.to_string()));
        let mut cells = vec![rate.tag.to_string(), n, days];
        cells.extend(three(own));
        cells.extend([others, others_days]);
        cells.extend(three(of_others));
        cells
    };
    let columns = &[
        "device",
        "occurrences",
        "service_days",
        "a_year",
        "a_year_low",
        "a_year_high",
        "others_occurrences",
        "others_service_days",
        "others_a_year",
        "others_a_year_low",
        "others_a_year_high",
    ];
    Sheet { name, columns, rows: rates.iter().map(row).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(tag: &str, n: u32, days: i64, others: Option<(u32, i64)>) -> Rate {
        Rate { tag: tag.into(), label: tag.into(), n, days, others }
    }

    /// Garwood's bounds of a count of 3 at 90 %: 0.818 and 7.754 (chi-squared 0.05 with 6 and 0.95 with 8, halved); of 0: 0
    /// and 2.996.
    #[test]
    fn the_interval_is_the_exact_one() {
        let three = Between::of(3, 365).unwrap();
        assert!((three.point - 3.0).abs() < 1e-9, "{three:?}");
        assert!((three.low - 0.8177).abs() < 1e-3 && (three.high - 7.7537).abs() < 1e-3, "{three:?}");
        let none = Between::of(0, 365).unwrap();
        assert!(none.point.abs() < 1e-12 && none.low.abs() < 1e-12 && (none.high - 2.9957).abs() < 1e-3);
        assert_eq!(Between::of(3, 0), None);
    }

    #[test]
    fn the_furthest_beyond_its_class_stands_first_and_everything_is_in_the_csv() {
        let mut rates: Vec<Rate> =
            (0..20).map(|n| rate(&format!("B{n:02}"), 1, 300, Some((100, 30_000)))).collect();
        rates.push(rate("TC2", 6, 300, Some((100, 30_000))));
        rates.push(rate("NEW", 2, 0, None));
        let rates = in_order(rates);
        assert_eq!(rates[0].tag.as_str(), "TC2");
        let drawn = draw(&rates, ("r", "R", String::new()));
        assert_eq!((drawn.lines.len(), drawn.table.len()), (12, 12));
        assert_eq!(drawn.more, "10 more are in the CSV.");
        // One in 300, six in 300 service days: P(X >= 6) at 1 is 0.000594; the exact one given the total is a little more.
        assert!(drawn.table[0].luck.starts_with("About 1 sister unit in 1"), "{}", drawn.table[0].luck);
        assert_eq!(sheet(&rates, "x".into()).rows.len(), 22);
        assert_eq!(rates[21].tag.as_str(), "NEW");
        assert!(
            draw(&rates[21..], ("r", "R", String::new())).lines[0].own.is_none(),
            "no service days, no rate"
        );
    }

    #[test]
    fn the_scale_is_round_and_holds_everything() {
        for (most, step) in [(7.75, 2.0), (2.996, 1.0), (0.4, 0.1), (48.0, 10.0)] {
            assert!((round_step(most) - step).abs() < 1e-9, "{most}: {}", round_step(most));
        }
        assert_eq!(scale(2.0, 8.0).len(), 5);
    }
}
