//! A breaker on the bench: at 300 % against a limit typed in or the railway's own table, or its instantaneous trip. The
//! published table of most times at 300 % is not confirmed, so it is not here.
use serde::{Deserialize, Serialize};

use super::{Judged, Part, Source, Verdict, Wrong, figures, source};
use crate::base::{Tag, words::words};

words! { pub enum Test { InverseTime = "inverse_time", Instantaneous = "instantaneous", } }

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Breaker {
    pub device: Option<Tag>,
    pub test: Test,
    pub rated_a: Option<f64>,
    /// Of the rating.
    pub percent: Option<f64>,
    /// `None`: it did not trip.
    pub seconds: Option<f64>,
    pub did_not_trip: bool,
    pub most_s: Option<f64>,
    pub least_s: Option<f64>,
    /// Where the limit is from: the maker's curve, or the railway's own table.
    pub limit_from: Option<String>,
    /// Instantaneous: what it is set to, and at what it tripped.
    pub set_a: Option<f64>,
    pub tripped_at_a: Option<f64>,
}

/// A row of the railway's own table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    pub up_to_a: f64,
    pub up_to_v: Option<f64>,
    pub most_s: f64,
}

/// The first row that the breaker comes under, by amperes then volts. None for a breaker beyond all of them.
pub fn row_for(rows: &[Row], rated_a: f64, rated_v: Option<f64>) -> Option<&Row> {
    let fits = |row: &&Row| match (row.up_to_v, rated_v) {
        (Some(up_to), Some(v)) => v <= up_to,
        // A row for some volts says nothing of a breaker whose volts are not known.
        (Some(_), None) => false,
        (None, _) => true,
    };
    let mut all: Vec<&Row> = rows.iter().filter(|row| rated_a <= row.up_to_a).filter(fits).collect();
    all.sort_by(|a, b| {
        let volts = |row: &Row| row.up_to_v.unwrap_or(f64::INFINITY);
        a.up_to_a.total_cmp(&b.up_to_a).then(volts(a).total_cmp(&volts(b)))
    });
    all.first().copied()
}

/// Reads rows as they are typed, one a line: `100, 250, 140`, the volts may be left out as `100, , 140`.
pub fn read_rows(typed: &str) -> Result<Vec<Row>, String> {
    let mut rows = Vec::new();
    for (n, line) in (1..).zip(typed.lines()).filter(|(_, line)| !line.trim().is_empty()) {
        let cells: Vec<&str> = line.split([',', ';', '\t']).map(str::trim).collect();
        let number =
            |i: usize| cells.get(i).and_then(|c| c.parse::<f64>().ok()).filter(|x| *x > 0.0 && x.is_finite());
        let volts_blank = cells.get(1).is_none_or(|c| c.is_empty());
        match (number(0), number(1), number(2), cells.len()) {
            (Some(up_to_a), up_to_v, Some(most_s), 3) if up_to_v.is_some() || volts_blank => {
                rows.push(Row { up_to_a, up_to_v, most_s });
            }
            _ => {
                return Err(format!(
                    "Line {n} is not three figures: up to so many amperes, up to so many volts (or blank), most seconds."
                ));
            }
        }
    }
    if rows.is_empty() { Err("Write at least one line.".to_owned()) } else { Ok(rows) }
}

impl Breaker {
    pub fn judge(&self) -> Judged {
        let part = match self.test {
            Test::InverseTime => self.inverse_time(),
            Test::Instantaneous => self.instantaneous(),
        };
        Judged::of(vec![part]).warning(
            "Test currents for such breakers are published for alternating current; control breakers of a locomotive work on direct current. The maker's document decides.",
        )
    }

    fn inverse_time(&self) -> Part {
        let about = "time to trip";
        let percent = self.percent.unwrap_or(300.0);
        let current =
            self.rated_a.map(|a| format!("{a} A × {percent} ÷ 100 = {} A", figures(a * percent / 100.0)));
        let from = self.limit_from.as_deref().unwrap_or("a limit typed in");
        let Some(most) = self.most_s else {
            let says = "No limit was typed in, and the railway's own table has none for it. The published table is not confirmed, so it judges nothing here.";
            return Part::does_not_apply(about, says).reckoned(current).by([source::three_hundred()]);
        };
        let sources = [Source::typed_in(from), source::three_hundred()];
        let (verdict, says) = match self.seconds {
            None if self.did_not_trip => (Verdict::Fail, "It did not trip.".to_owned()),
            None => (Verdict::DoesNotApply, "No time was written.".to_owned()),
            Some(s) if s > most => (Verdict::Fail, format!("{s} s is over {most} s.")),
            Some(s) if self.least_s.is_some_and(|least| s < least) => {
                (Verdict::Fail, format!("{s} s is under {} s.", self.least_s.unwrap_or(0.0)))
            }
            Some(s) => (Verdict::Pass, format!("{s} s, and {most} s are allowed.")),
        };
        Part::judged(about, verdict, says).reckoned(current).by(sources)
    }

    fn instantaneous(&self) -> Part {
        let about = "instantaneous trip";
        let (Some(set), Some(at)) = (self.set_a, self.tripped_at_a) else {
            return Part::does_not_apply(about, "What it is set to, or at what it tripped, is not stated.");
        };
        let (least, most) = (set * 0.7, set * 1.4);
        let steps =
            [format!("{set} A × 0.7 = {} A", figures(least)), format!("{set} A × 1.4 = {} A", figures(most))];
        let within = super::reaches(at, least) && super::reaches(most, at);
        let (verdict, word) = if within { (Verdict::Pass, "within") } else { (Verdict::Fail, "not within") };
        let says = format!("{at} A is {word} {} to {} A.", figures(least), figures(most));
        Part::judged(about, verdict, says).reckoned(steps).by([source::band_instantaneous()])
    }

    pub fn wrong(&self) -> Vec<Wrong> {
        let mut out = Vec::new();
        let off = |n: Option<f64>| n.is_some_and(|n| !(0.0..=1_000_000.0).contains(&n));
        for (field, n) in [
            ("rated_a", self.rated_a),
            ("percent", self.percent),
            ("seconds", self.seconds),
            ("most_s", self.most_s),
            ("least_s", self.least_s),
            ("set_a", self.set_a),
            ("tripped_at_a", self.tripped_at_a),
        ] {
            if off(n) {
                out.push(Wrong::at(field, "Write a number from 0 to 1,000,000."));
            }
        }
        if self.most_s.is_some() && self.limit_from.is_none() {
            out.push(Wrong::at(
                "limit_from",
                "Say where this limit is from: the maker's curve, by number, or your own table.",
            ));
        }
        if self.did_not_trip && self.seconds.is_some() {
            out.push(Wrong::at(
                "seconds",
                "It tripped after so many seconds, or it did not trip: one of the two.",
            ));
        }
        out
    }
}
