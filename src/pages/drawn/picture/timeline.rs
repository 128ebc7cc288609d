//! Rows over one axis of time: a column for each week with its number of occurrences, bars for repairs, holds and open
//! cutouts, wet days shaded behind. However much happened, a row has a column for each week at most.
use std::sync::Arc;

use super::{
    axis::{Axis, Tick, em, hundredths},
    data::Sheet,
};
use crate::base::{Day, Instant, Zone, text::count, words::words};

words! {
    pub enum Kind { Repair = "repair", Hold = "hold", Open = "open", }
}

/// What is to be drawn.
#[derive(Clone, Debug, Default)]
pub struct Sketch {
    pub rows: Vec<Row>,
    /// Runs of wet days, first and last.
    pub wet: Vec<(Day, Day)>,
}

#[derive(Clone, Debug, Default)]
pub struct Row {
    /// As the CSV names it: a tag, or a word.
    pub name: String,
    pub label: String,
    pub href: Option<String>,
    pub occurrences: Vec<Instant>,
    pub bars: Vec<Lasted>,
}

/// Something that lasted; still, where there is no end.
#[derive(Clone, Debug)]
pub struct Lasted {
    pub kind: Kind,
    pub from: Instant,
    pub to: Option<Instant>,
    pub says: String,
}

/// Ready to print by `templates/parts/picture.html`.
#[derive(Clone, Debug)]
pub struct Timeline {
    /// Names its title and description on the page.
    pub id: &'static str,
    pub title: String,
    pub says: String,
    pub height: String,
    /// Where the lanes begin and end.
    pub top: String,
    pub bottom: String,
    pub depth: String,
    pub ticks: Vec<Tick>,
    pub wet: Vec<Mark>,
    pub lanes: Vec<Lane>,
    /// Address of the same numbers.
    pub csv: String,
}

#[derive(Clone, Debug)]
pub struct Lane {
    pub name: String,
    pub label: String,
    pub href: Option<String>,
    pub label_y: String,
    pub base_y: String,
    pub columns: Vec<Column>,
    pub bars: Vec<Mark>,
    /// The row in words, for the table beneath.
    pub total: usize,
    pub last: String,
    pub most: String,
    pub lasted: String,
}

/// One mark, with the numbers that it stands for.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    pub kind: &'static str,
    pub x: String,
    pub width: String,
    pub y: String,
    pub height: String,
    pub from: String,
    pub to: String,
    pub n: String,
    pub says: String,
}

/// A week on the axis, the same for every row.
#[derive(Debug, PartialEq)]
pub struct Week {
    pub x: String,
    pub width: String,
    pub from: String,
    pub words: String,
}

/// Occurrences of one week.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    pub week: Arc<Week>,
    pub y: String,
    pub height: String,
    pub n: u32,
}

const HEAD: f64 = 2.6;
const LANE: f64 = 3.7;
/// Of a lane: where its columns end, and how high the tallest is.
const BASE: f64 = 3.3;
const TALL: f64 = 1.9;
/// So that a single one is seen beside forty.
const LEAST: f64 = 0.35;
/// Of the width in a hundred: what lasted two hours is seen, too.
const NARROW: f64 = 0.7;

impl Sketch {
    pub fn draw(&self, (id, title, csv): (&'static str, &str, String), axis: &Axis, zone: &Zone) -> Timeline {
        let begins = axis.week_begins(zone);
        let counts: Vec<_> = self.rows.iter().map(|row| in_weeks(row, axis, &begins)).collect();
        let most = counts.iter().flatten().map(|(_, n)| *n).max().unwrap_or(0);
        let weeks = weeks(axis, &begins);
        let rows = self.rows.iter().zip(&counts).zip(0_u32..);
        let lanes: Vec<Lane> =
            rows.map(|((row, counts), nth)| lane((row, counts), nth, (&weeks, most), axis, zone)).collect();
        let depth = LANE * lanes.len() as f64;
        Timeline {
            id,
            title: title.to_owned(),
            says: self.says(axis, most),
            height: em(HEAD + depth + 0.3),
            top: em(HEAD - 0.2),
            bottom: em(HEAD + depth),
            depth: em(depth + 0.2),
            ticks: axis.ticks(zone),
            wet: self.wet.iter().map(|days| shade(*days, axis, zone)).collect(),
            lanes,
            csv,
        }
    }

    fn says(&self, axis: &Axis, most: u32) -> String {
        let all: usize = self.rows.iter().map(|row| row.occurrences.len()).sum();
        let bars = self.rows.iter().map(|row| row.bars.len()).sum::<usize>();
        format!(
            "From {} to {}, a column for each week: {} in {}, {} in the fullest week; {} drawn as bars; {} wet.",
            axis.first.in_words(),
            axis.last.in_words(),
            count(all as u64, "occurrence", "occurrences"),
            count(self.rows.len() as u64, "row", "rows"),
            most,
            count(bars as u64, "repair, hold or open cutout", "repairs, holds and open cutouts"),
            count(self.wet_days(), "day", "days"),
        )
    }

    fn wet_days(&self) -> u64 {
        self.wet.iter().map(|(first, last)| u64::from((last.0 - first.0 + 1).unsigned_abs())).sum()
    }

    /// The same numbers, a row for each mark.
    pub fn sheet(&self, name: String, axis: &Axis, zone: &Zone) -> Sheet {
        let (mut rows, begins) = (Vec::new(), axis.week_begins(zone));
        for row in &self.rows {
            for (week, n) in in_weeks(row, axis, &begins) {
                let (from, to) = axis.week(week);
                rows.push([
                    row.name.clone(),
                    "occurrences".into(),
                    from.to_string(),
                    to.to_string(),
                    n.to_string(),
                ]);
            }
            for bar in &row.bars {
                let (from, to) = (bar.from.to_z(), bar.to.map(Instant::to_z).unwrap_or_default());
                rows.push([row.name.clone(), bar.kind.to_string(), from, to, String::new()]);
            }
        }
        for (first, last) in &self.wet {
            let days = (last.0 - first.0 + 1).to_string();
            rows.push([String::new(), "wet".into(), first.to_string(), last.to_string(), days]);
        }
        let columns = &["row", "mark", "from", "to", "number"];
        Sheet { name, columns, rows: rows.into_iter().map(Vec::from).collect() }
    }
}

/// Runs of the days that were wet, within an axis.
pub fn wet_runs(days: impl Iterator<Item = (Day, bool)>, axis: &Axis) -> Vec<(Day, Day)> {
    let mut runs: Vec<(Day, Day)> = Vec::new();
    for (day, _) in days.filter(|(day, wet)| *wet && axis.first <= *day && *day <= axis.last) {
        match runs.last_mut() {
            Some((_, last)) if last.plus(1) == day => *last = day,
            _ => runs.push((day, day)),
        }
    }
    runs
}

/// Occurrences of each week that has any.
fn in_weeks(row: &Row, axis: &Axis, begins: &[Instant]) -> Vec<(usize, u32)> {
    let mut weeks = vec![0_u32; axis.weeks()];
    for at in row.occurrences.iter().filter(|at| axis.from <= **at && **at < axis.to) {
        let week = begins.partition_point(|begin| begin <= at).checked_sub(1);
        if let Some(n) = week.and_then(|week| weeks.get_mut(week)) {
            *n += 1;
        }
    }
    weeks.into_iter().enumerate().filter(|(_, n)| *n > 0).collect()
}

/// Every week that is drawn, ready to print.
fn weeks(axis: &Axis, begins: &[Instant]) -> Vec<Arc<Week>> {
    let pairs = begins.windows(2).map(|pair| (axis.x(pair[0]), axis.x(pair[1])));
    let week = |(nth, (left, right)): (usize, (f64, f64))| {
        let from = axis.week(nth).0;
        let (x, width) = (hundredths(left + 0.1 * (right - left)), hundredths(0.8 * (right - left)));
        Arc::new(Week { x, width, from: from.to_string(), words: from.in_words() })
    };
    pairs.enumerate().map(week).collect()
}

fn lane(
    (row, counts): (&Row, &[(usize, u32)]),
    nth: u32,
    (weeks, most): (&[Arc<Week>], u32),
    axis: &Axis,
    zone: &Zone,
) -> Lane {
    let top = HEAD + LANE * f64::from(nth);
    let fullest = counts.iter().max_by_key(|(week, n)| (*n, *week));
    let told = counts.iter().filter_map(|(week, n)| Some((weeks.get(*week)?, *n)));
    Lane {
        name: row.name.clone(),
        label: row.label.clone(),
        href: row.href.clone(),
        label_y: em(top + 0.95),
        base_y: em(top + BASE),
        columns: told.map(|(week, n)| column(week, n, most, top + BASE)).collect(),
        bars: row.bars.iter().map(|bar| lasted(bar, top, axis)).collect(),
        total: row.occurrences.len(),
        last: row.occurrences.last().map(|at| zone.day_in_words(*at)).unwrap_or_default(),
        most: fullest
            .map(|(week, n)| format!("{n}, from {}", axis.week(*week).0.in_words()))
            .unwrap_or_default(),
        lasted: row.bars.iter().map(|bar| bar.says.as_str()).collect::<Vec<_>>().join(" "),
    }
}

fn column(week: &Arc<Week>, n: u32, most: u32, base: f64) -> Column {
    let height = (TALL * f64::from(n) / f64::from(most.max(3))).max(LEAST);
    Column { week: Arc::clone(week), y: em(base - height), height: em(height), n }
}

fn lasted(bar: &Lasted, top: f64, axis: &Axis) -> Mark {
    let (left, right) = (axis.x(bar.from), bar.to.map_or(100.0, |to| axis.x(to)));
    let width = (right - left).max(NARROW);
    let height = match bar.kind {
        Kind::Repair => BASE - 1.3,
        Kind::Hold | Kind::Open => 0.7,
    };
    Mark {
        kind: bar.kind.as_str(),
        x: hundredths(left.min(100.0 - width)),
        width: hundredths(width),
        y: em(top + BASE - height),
        height: em(height),
        from: bar.from.to_z(),
        to: bar.to.map(Instant::to_z).unwrap_or_default(),
        n: String::new(),
        says: bar.says.clone(),
    }
}

fn shade((first, last): (Day, Day), axis: &Axis, zone: &Zone) -> Mark {
    let (left, right) = (axis.x(zone.start_of(first)), axis.x(zone.start_of(last.plus(1))));
    let days = last.0 - first.0 + 1;
    Mark {
        kind: "wet",
        x: hundredths(left),
        width: hundredths(right - left),
        y: String::new(),
        height: String::new(),
        from: first.to_string(),
        to: last.to_string(),
        n: days.to_string(),
        says: format!(
            "{} wet from {}",
            count(u64::from(days.unsigned_abs()), "day", "days"),
            first.in_words()
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        Instant::parse(text).unwrap()
    }

    fn axis() -> (Axis, Zone) {
        let zone = Zone::utc();
        (Axis::year_up_to(Day::parse("2026-11-26").unwrap(), 0, &zone), zone)
    }

    fn sketch(occurrences: Vec<Instant>) -> Sketch {
        let repair = Lasted {
            kind: Kind::Repair,
            from: at("2026-11-01T08:00:00Z"),
            to: Some(at("2026-11-01T10:00:00Z")),
            says: "Repair.".into(),
        };
        let row =
            Row { name: "TC2".into(), label: "TC2".into(), occurrences, bars: vec![repair], href: None };
        Sketch {
            rows: vec![row, Row::default()],
            wet: vec![(Day::parse("2026-11-02").unwrap(), Day::parse("2026-11-04").unwrap())],
        }
    }

    #[test]
    fn two_thousand_occurrences_are_a_column_for_each_week() {
        let (axis, zone) = axis();
        let hour = crate::base::instant::HOUR;
        let many: Vec<Instant> = (0..2_000).map(|n| axis.from.plus(n * 4 * hour)).collect();
        let drawn = sketch(many).draw(("t", "T", String::new()), &axis, &zone);
        let columns = &drawn.lanes[0].columns;
        assert_eq!((columns.len(), drawn.lanes[0].total), (48, 2_000));
        let told: u32 = columns.iter().map(|column| column.n).sum();
        assert_eq!(told, 2_000);
        // The fullest week is as high as can be.
        assert_eq!((columns[3].n, columns[3].height.as_str()), (42, "1.90em"));
    }

    #[test]
    fn one_occurrence_is_seen_where_it_was_and_none_is_an_empty_lane() {
        let (axis, zone) = axis();
        let drawn = sketch(vec![at("2026-11-26T12:00:00Z")]).draw(("t", "T", String::new()), &axis, &zone);
        let column = &drawn.lanes[0].columns[0];
        let week = &column.week;
        assert_eq!(
            (week.from.as_str(), week.words.as_str(), column.n),
            ("2026-11-20", "20 November 2026", 1)
        );
        // The last of 52 weeks: from 51/52 of the width, and a tenth of the week free on either side.
        assert_eq!(
            (week.x.as_str(), week.width.as_str(), column.height.as_str()),
            ("98.27", "1.54", "0.63em")
        );
        assert!(drawn.lanes[1].columns.is_empty() && drawn.lanes[1].total == 0);
        assert_eq!(drawn.wet[0].n, "3");
        let bar = &drawn.lanes[0].bars[0];
        assert_eq!(
            (bar.kind, bar.width.as_str(), bar.to.as_str()),
            ("repair", "0.70", "2026-11-01T10:00:00Z")
        );
    }

    #[test]
    fn the_sheet_has_a_row_for_each_mark() {
        let (axis, zone) = axis();
        let sheet = sketch(vec![at("2026-11-26T12:00:00Z"); 3]).sheet("x".into(), &axis, &zone);
        assert_eq!(
            sheet.csv().unwrap(),
            "row,mark,from,to,number\nTC2,occurrences,2026-11-20,2026-11-26,3\n\
             TC2,repair,2026-11-01T08:00:00Z,2026-11-01T10:00:00Z,\n,wet,2026-11-02,2026-11-04,3\n"
        );
    }

    #[test]
    fn wet_days_in_a_row_are_one_run() {
        let (axis, _) = axis();
        let day = |n: i32| axis.last.plus(-n);
        let told = [(day(9), true), (day(8), true), (day(7), false), (day(6), true), (day(-1), true)];
        assert_eq!(wet_runs(told.into_iter(), &axis), [(day(9), day(8)), (day(6), day(6))]);
    }
}
