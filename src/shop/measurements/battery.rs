//! A lead-acid battery: gravities corrected to their base, cells beside each other, charge, volts. The record follows
//! the battery by its name, from unit to unit.
use serde::{Deserialize, Serialize};

use super::{Corrected, Judged, Part, Source, Temperature, Verdict, Wrong, figures, source};
use crate::base::{text, words::words};

words! { pub enum GravityRule { Per10F = "per_10f_base_80f", PerC = "per_c_base_20c", } }
words! {
    /// How far below the highest cell counts as low: three handbooks, three figures, so it is chosen.
    pub enum LowCell { Points40 = "40", Points25 = "25", Points20 = "20", }
}

impl GravityRule {
    pub fn base(self) -> &'static str {
        match self {
            Self::Per10F => "80 °F",
            Self::PerC => "20 °C",
        }
    }

    fn source(self) -> Source {
        match self {
            Self::Per10F => source::gravity_f(),
            Self::PerC => source::gravity_c(),
        }
    }

    /// Added above the base, subtracted below it.
    pub fn correction(self, at: Temperature) -> f64 {
        match self {
            Self::Per10F => 0.004 * (at.in_f() - 80.0) / 10.0,
            Self::PerC => 0.0007 * (at.in_c() - 20.0),
        }
    }

    pub fn correct(self, gravity: f64, at: Temperature) -> f64 {
        gravity + self.correction(at)
    }
}

impl LowCell {
    pub fn points(self) -> i32 {
        match self {
            Self::Points40 => 40,
            Self::Points25 => 25,
            Self::Points20 => 20,
        }
    }

    /// 25 and 20 are told as 'more than'; 40 as a distance reached.
    fn is_low(self, below: f64) -> bool {
        let below = tidy(below);
        match self {
            Self::Points40 => below >= 40.0,
            Self::Points25 => below > 25.0,
            Self::Points20 => below > 20.0,
        }
    }

    fn source(self) -> Source {
        match self {
            Self::Points40 => source::low_cell_40(),
            Self::Points25 => source::low_cell_25(),
            Self::Points20 => source::low_cell_20(),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Battery {
    /// As it is marked.
    pub name: String,
    pub cells: Option<u32>,
    /// Cell by cell, from cell 1; as read, before water was added.
    pub gravities: Vec<f64>,
    pub temperature: Option<Temperature>,
    pub rule: GravityRule,
    /// Of this type of battery, when full. Never guessed: types differ.
    pub full_gravity: Option<f64>,
    pub low_cell: LowCell,
    /// Over all cells, rested, nothing connected.
    pub rested_v: Option<f64>,
    /// Cell by cell, on charge.
    pub charging_v: Vec<f64>,
    pub level: Option<String>,
}

/// Full batteries for which the table of rested volts is printed.
const TABLE_FULL: f64 = 1.265;
/// By the cell: the table's volts over six.
const RESTED: [(f64, f64); 5] = [(11.89, 0.0), (12.06, 25.0), (12.24, 50.0), (12.45, 75.0), (12.65, 100.0)];
const CUT_OVER_V: f64 = 2.40;
const LOW_ON_CHARGE_V: f64 = 0.20;
const MOST_F: f64 = 110.0;

/// Volts at which quick charging ends.
pub fn cut_over(cells: u32) -> f64 {
    CUT_OVER_V * f64::from(cells)
}

/// Per cent of charge by rested volts over so many cells, between the table's rows in proportion. Outside of them: the
/// nearest row.
pub fn charge(rested_v: f64, cells: u32) -> f64 {
    let volts = rested_v / f64::from(cells) * 6.0;
    let after = RESTED.partition_point(|(v, _)| *v < volts);
    match (after.checked_sub(1).and_then(|i| RESTED.get(i)), RESTED.get(after)) {
        (None, Some((_, share))) | (Some((_, share)), None) => *share,
        (Some((v0, p0)), Some((v1, p1))) => p0 + (p1 - p0) * (volts - v0) / (v1 - v0),
        (None, None) => 0.0,
    }
}

/// Whole points and tenths, without the noise of the last digit.
fn tidy(points: f64) -> f64 {
    (points * 10_000.0).round() / 10_000.0
}

fn points(gravity: f64) -> f64 {
    tidy(gravity * 1_000.0)
}

impl Battery {
    pub fn judge(&self) -> Judged {
        let mut parts = Vec::new();
        parts.extend(self.charge_by_gravity());
        parts.extend(self.spread());
        parts.extend(self.on_charge());
        parts.extend(self.at_rest());
        if parts.is_empty() {
            parts.push(Part::does_not_apply("battery", "Nothing was measured."));
        }
        let corrected = self.corrected().map(|values| Corrected {
            values,
            unit: "specific gravity".into(),
            rule: self.rule.as_str().into(),
            base: self.rule.base().into(),
        });
        let judged = Judged { corrected, ..Judged::of(parts) };
        let hot = self.temperature.is_some_and(|at| at.in_f() > MOST_F) && !self.charging_v.is_empty();
        if hot {
            judged.warning(
                "The electrolyte is over 110 °F on charge: the handbook keeps it under that (TM 55-1279).",
            )
        } else {
            judged
        }
    }

    fn corrected(&self) -> Option<Vec<f64>> {
        let at = self.temperature.filter(|_| !self.gravities.is_empty())?;
        Some(self.gravities.iter().map(|g| tidy(self.rule.correct(*g, at))).collect())
    }

    fn charge_by_gravity(&self) -> Option<Part> {
        let about = "charge";
        let (cell, lowest) = extreme(&self.gravities, |a, b| a < b)?;
        let raw = format!("Lowest as read: cell {cell}, {lowest:.3}");
        let Some(at) = self.temperature else {
            let says = format!(
                "No temperature of the electrolyte: gravities are kept as read, not corrected to {}.",
                self.rule.base()
            );
            return Some(Part::does_not_apply(about, says).reckoned([raw]));
        };
        let value = self.rule.correct(lowest, at);
        let step = format!(
            "{raw}, {}: {lowest:.3} {} {:.4} = {value:.4} at {}",
            at.in_words(),
            if self.rule.correction(at) < 0.0 { "−" } else { "+" },
            self.rule.correction(at).abs(),
            self.rule.base()
        );
        let Some(full) = self.full_gravity else {
            let says =
                "The gravity of this type when full is not stated: how far below it is cannot be said.";
            return Some(Part::does_not_apply(about, says).reckoned([step]).by([self.rule.source()]));
        };
        let below = tidy(points(full) - points(value));
        let (verdict, says) = below_full(cell, below);
        let difference = format!("{full:.3} − {value:.4} = {below} points");
        Some(
            Part::judged(about, verdict, says)
                .reckoned([step, difference])
                .by([source::hundred_points(), self.rule.source()]),
        )
    }

    /// One temperature for all, so the raw readings do.
    fn spread(&self) -> Option<Part> {
        let about = "spread between cells";
        let (top, highest) = extreme(&self.gravities, |a, b| a > b)?;
        if self.gravities.len() < 2 {
            return Some(Part::does_not_apply(about, "Only one cell was read."));
        }
        let below = |g: f64| points(highest) - points(g);
        let low: Vec<String> = (1usize..)
            .zip(&self.gravities)
            .filter(|(_, g)| self.low_cell.is_low(below(**g)))
            .map(|(cell, g)| format!("cell {cell} ({g:.3}, {} points below)", tidy(below(*g))))
            .collect();
        let limit = self.low_cell.points();
        let (verdict, says) = if low.is_empty() {
            (Verdict::Pass, format!("No cell is low by {limit} points against cell {top} ({highest:.3})."))
        } else {
            (Verdict::Fail, format!("Low against cell {top} ({highest:.3}): {}.", low.join(", ")))
        };
        Some(Part::judged(about, verdict, says).by([self.low_cell.source()]))
    }

    fn on_charge(&self) -> Option<Part> {
        let n = u32::try_from(self.charging_v.len()).ok().filter(|n| *n > 0)?;
        let about = "volts on charge";
        if n < 2 {
            return Some(Part::does_not_apply(about, "Only one cell was read."));
        }
        let average = self.charging_v.iter().sum::<f64>() / f64::from(n);
        let is_low = |v: f64| tidy(average - v) >= LOW_ON_CHARGE_V;
        let low: Vec<String> = (1usize..)
            .zip(&self.charging_v)
            .filter(|(_, v)| is_low(**v))
            .map(|(cell, v)| format!("cell {cell} ({v} V)"))
            .collect();
        let (verdict, says) = if low.is_empty() {
            (Verdict::Pass, "No cell is 0.20 V below the average.".to_owned())
        } else {
            (
                Verdict::Fail,
                format!(
                    "Low, 0.20 V or more below the average of {} V: {}.",
                    figures(average),
                    low.join(", ")
                ),
            )
        };
        let step =
            format!("average of {}: {} V", text::count(u64::from(n), "cell", "cells"), figures(average));
        Some(Part::judged(about, verdict, says).reckoned([step]).by([source::low_volts()]))
    }

    /// Told, never judged: how full it is decides nothing by itself.
    fn at_rest(&self) -> Option<Part> {
        let (about, volts) = ("rested volts", self.rested_v?);
        let Some(cells) = self.cells else {
            return Some(Part::does_not_apply(about, "How many cells there are is not stated."));
        };
        let ends = format!("Quick charging ends at {} V ({cells} cells × 2.40 V).", figures(cut_over(cells)));
        let of_table = self.full_gravity.is_some_and(|full| points(full) == points(TABLE_FULL));
        if !of_table {
            let says = format!(
                "The table of rested volts is for batteries of which 1.265 is full; this one is not stated to be. {ends}"
            );
            return Some(Part::told(about, says).by([source::rested_volts(), source::cut_over()]));
        }
        let cell = volts / f64::from(cells);
        let step = format!(
            "{volts} V ÷ {cells} cells = {} V a cell, × 6 = {} V",
            figures(cell),
            figures(cell * 6.0)
        );
        let says = format!("About {:.0} % charged. {ends}", charge(volts, cells));
        Some(Part::told(about, says).reckoned([step]).by([source::rested_volts(), source::cut_over()]))
    }

    pub fn wrong(&self) -> Vec<Wrong> {
        let mut out: Vec<Wrong> = self.temperature.and_then(Temperature::wrong).into_iter().collect();
        let gravity = |g: &f64| !(1.0..=1.4).contains(g);
        if self.gravities.iter().any(gravity) {
            out.push(Wrong::at(
                "gravities",
                "A specific gravity lies between 1.000 and 1.400: write 1.250, not 1250.",
            ));
        }
        if self.full_gravity.as_ref().is_some_and(gravity) {
            out.push(Wrong::at(
                "full_gravity",
                "A specific gravity lies between 1.000 and 1.400: write 1.265, not 1265.",
            ));
        }
        if self.charging_v.iter().any(|v| !(0.0..=5.0).contains(v)) {
            out.push(Wrong::at("charging_v", "Volts of one cell lie between 0 and 5."));
        }
        if self.rested_v.is_some_and(|v| !(0.0..=500.0).contains(&v)) {
            out.push(Wrong::at("rested_v", "Volts over the whole battery lie between 0 and 500."));
        }
        if self.cells.is_some_and(|n| !(1..=200).contains(&n)) {
            out.push(Wrong::at("cells", "Write how many cells there are, 1 to 200."));
        }
        if self.gravities.is_empty() && self.charging_v.is_empty() && self.rested_v.is_none() {
            out.push(Wrong::at(
                "gravities",
                "Write at least one of gravities, volts on charge, or rested volts.",
            ));
        }
        out
    }

    pub fn doubts(&self) -> Vec<Wrong> {
        let read = self.gravities.len();
        match self.cells {
            Some(cells) if read > 0 && usize::try_from(cells).is_ok_and(|cells| read > cells) => {
                vec![Wrong::at(
                    "gravities",
                    format!("{read} gravities for {cells} cells: is one there twice? If not, sign again."),
                )]
            }
            _ => Vec::new(),
        }
    }
}

/// 100 points below full is a warning.
fn below_full(cell: usize, below: f64) -> (Verdict, String) {
    if below >= 100.0 {
        let says = format!(
            "Cell {cell} is {below} points below full. Charge it; a starting failure may result; find the cause."
        );
        (Verdict::Fail, says)
    } else {
        (Verdict::Pass, format!("The lowest cell is {} points below full, under 100.", below.max(0.0)))
    }
}

/// The first cell that none goes before, counted from 1, and its figure.
fn extreme(all: &[f64], before: impl Fn(f64, f64) -> bool) -> Option<(usize, f64)> {
    (1usize..).zip(all.iter().copied()).reduce(|best, next| if before(next.1, best.1) { next } else { best })
}
