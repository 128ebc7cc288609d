//! One opening of a cutout on a line of time: how the cutout stood, who had the unit, when it was kept from service, when the
//! ground relay operated. What is not known is drawn as not known.
use super::{
    axis::{em, hundredths},
    data::Sheet,
    timeline::Mark,
};
use crate::base::{
    Day, Instant, Zone,
    instant::{DAY, HOUR, MINUTE},
    text::count,
    words::words,
};

words! {
    pub enum Kind {
        /// Told open.
        Open = "open",
        /// Neither told open nor closed.
        NotKnown = "not_known",
        /// Somebody told that it stood closed, or closed it.
        Closed = "closed",
        Run = "run",
        Read = "handover_read",
        Hold = "hold",
        Operated = "ground_relay",
    }
}

/// What is to be drawn, in lanes.
#[derive(Clone, Debug)]
pub struct Sketch {
    pub from: Instant,
    pub to: Instant,
    pub lanes: Vec<Row>,
}

#[derive(Clone, Debug, Default)]
pub struct Row {
    pub name: &'static str,
    pub label: String,
    pub marks: Vec<Told>,
}

/// A moment, or something that lasted; still, where there is no end.
#[derive(Clone, Debug)]
pub struct Told {
    pub kind: Kind,
    pub from: Instant,
    pub to: Option<Instant>,
    /// By whom, as far as anybody said.
    pub who: String,
    pub says: String,
    /// How many it stands for.
    pub n: u64,
    pub href: Option<String>,
}

impl Told {
    pub fn moment(kind: Kind, at: Instant, who: String, says: String) -> Self {
        Self { kind, from: at, to: Some(at), who, says, n: 1, href: None }
    }

    fn is_moment(&self) -> bool {
        self.to == Some(self.from)
    }
}

/// Ready to print by `templates/parts/picture.html`.
#[derive(Clone, Debug)]
pub struct Opening {
    pub id: &'static str,
    pub title: String,
    pub says: String,
    pub height: String,
    pub top: String,
    pub bottom: String,
    pub ticks: Vec<Tick>,
    pub lanes: Vec<Lane>,
    pub csv: String,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    pub x: String,
    pub label: String,
    /// The day, or the year, where it begins or is not the one before.
    pub under: String,
}

#[derive(Clone, Debug)]
pub struct Lane {
    pub name: &'static str,
    pub label: String,
    pub label_y: String,
    pub base_y: String,
    pub bars: Vec<Mark>,
    pub dots: Vec<Mark>,
}

const HEAD: f64 = 2.6;
const LANE: f64 = 3.2;
/// Of a lane: its line, and the middle of what stands on it.
const BASE: f64 = 2.9;
const BAR: f64 = 1.1;
/// Of the width in a hundred: what lasted ten minutes is seen, too.
const NARROW: f64 = 0.6;
/// So many ticks find room with their words.
const TICKS: i64 = 6;

impl Sketch {
    pub fn draw(&self, (id, title, csv): (&'static str, String, String), zone: &Zone) -> Opening {
        let lanes: Vec<Lane> = self.lanes.iter().zip(0_u32..).map(|(row, nth)| self.lane(row, nth)).collect();
        let depth = LANE * lanes.len() as f64;
        Opening {
            id,
            title,
            says: self.says(zone),
            height: em(HEAD + depth + 0.3),
            top: em(HEAD - 0.2),
            bottom: em(HEAD + depth),
            ticks: self.ticks(zone),
            lanes,
            csv,
        }
    }

    fn says(&self, zone: &Zone) -> String {
        let marks: usize = self.lanes.iter().map(|lane| lane.marks.len()).sum();
        format!(
            "From {} to {}: {}, each told below.",
            zone.in_words(self.from),
            zone.in_words(self.to),
            count(marks as u64, "mark", "marks")
        )
    }

    fn x(&self, at: Instant) -> f64 {
        let all = self.to.since(self.from).max(1) as f64;
        (at.since(self.from) as f64 / all * 100.0).clamp(0.0, 100.0)
    }

    fn lane(&self, row: &Row, nth: u32) -> Lane {
        let top = HEAD + LANE * f64::from(nth);
        let (dots, bars): (Vec<&Told>, Vec<&Told>) = row.marks.iter().partition(|told| told.is_moment());
        Lane {
            name: row.name,
            label: row.label.clone(),
            label_y: em(top + 1.05),
            base_y: em(top + BASE),
            bars: bars.into_iter().map(|told| self.mark(told, top)).collect(),
            dots: dots.into_iter().map(|told| self.mark(told, top)).collect(),
        }
    }

    fn mark(&self, told: &Told, top: f64) -> Mark {
        let (left, right) = (self.x(told.from), told.to.map_or(100.0, |to| self.x(to)));
        let moment = told.is_moment();
        let width = if moment { 0.0 } else { (right - left).max(NARROW) };
        let y = if moment { top + BASE - BAR / 2.0 - 0.1 } else { top + BASE - BAR - 0.1 };
        Mark {
            kind: told.kind.as_str(),
            x: hundredths(left.min(100.0 - width)),
            width: hundredths(width),
            y: em(y),
            height: em(BAR),
            from: told.from.to_z(),
            to: told.to.map(Instant::to_z).unwrap_or_default(),
            n: told.n.to_string(),
            says: told.says.clone(),
        }
    }

    /// The same marks as rows.
    pub fn sheet(&self, name: String) -> Sheet {
        let columns = &["row", "mark", "from", "to", "number", "who", "says"];
        let marks = self.lanes.iter().flat_map(|lane| lane.marks.iter().map(move |told| (lane.name, told)));
        let row = |(lane, told): (&str, &Told)| {
            vec![
                lane.to_owned(),
                told.kind.to_string(),
                told.from.to_z(),
                told.to.map(Instant::to_z).unwrap_or_default(),
                told.n.to_string(),
                told.who.clone(),
                told.says.clone(),
            ]
        };
        Sheet { name, columns, rows: marks.map(row).collect() }
    }

    fn ticks(&self, zone: &Zone) -> Vec<Tick> {
        const STEPS: [i64; 15] = [
            10 * MINUTE,
            30 * MINUTE,
            HOUR,
            2 * HOUR,
            4 * HOUR,
            6 * HOUR,
            12 * HOUR,
            DAY,
            2 * DAY,
            4 * DAY,
            7 * DAY,
            14 * DAY,
            30 * DAY,
            60 * DAY,
            120 * DAY,
        ];
        let span = self.to.since(self.from);
        let step = STEPS.into_iter().find(|step| span / step <= TICKS).unwrap_or(span / TICKS / DAY * DAY);
        let at = if step < DAY { self.in_hours(step, zone) } else { self.in_days(step / DAY, zone) };
        let mut ticks: Vec<Tick> = at.iter().map(|at| self.tick(*at, step < DAY, zone)).collect();
        self.under(&mut ticks, &at, step < DAY, zone);
        ticks
    }

    fn tick(&self, at: Instant, in_hours: bool, zone: &Zone) -> Tick {
        let x = self.x(at);
        let label = if in_hours { zone.time_in_words(at) } else { short(zone.day_of(at), false) };
        // Its words would reach over the edge.
        let label = if x < 92.0 { label } else { String::new() };
        Tick { x: hundredths(x), label, under: String::new() }
    }

    /// The day, or the year, under the first tick and where another begins; the first gives way to the next where they are close.
    fn under(&self, ticks: &mut [Tick], at: &[Instant], in_hours: bool, zone: &Zone) {
        const ROOM: f64 = 22.0;
        let begins = |day: Day| if in_hours { day.0 } else { i32::from(day.month().0) };
        let days: Vec<Day> = at.iter().map(|at| zone.day_of(*at)).collect();
        let first = |nth: usize| nth == 0 || begins(days[nth]) != begins(days[nth - 1]);
        let mut places: Vec<usize> =
            (0..days.len()).filter(|nth| first(*nth) && !ticks[*nth].label.is_empty()).collect();
        if let [one, two, ..] = places[..]
            && self.x(at[two]) - self.x(at[one]) < ROOM
        {
            places.remove(0);
        }
        let mut last_year = None;
        for nth in places {
            let year = days[nth].month().0;
            ticks[nth].under =
                if in_hours { short(days[nth], last_year != Some(year)) } else { year.to_string() };
            last_year = Some(year);
        }
    }

    /// Whole steps of the clock, from each midnight on.
    fn in_hours(&self, step: i64, zone: &Zone) -> Vec<Instant> {
        let days =
            (0..).map(|n| zone.day_of(self.from).plus(n)).take_while(|day| zone.start_of(*day) < self.to);
        let of_day = |day: Day| {
            let (from, to) = (zone.start_of(day), zone.start_of(day.plus(1)));
            (0..DAY / step + 1).map(move |n| from.plus(n * step)).take_while(move |at| *at < to)
        };
        days.flat_map(of_day).filter(|at| (self.from..self.to).contains(at)).collect()
    }

    fn in_days(&self, step: i64, zone: &Zone) -> Vec<Instant> {
        let step = usize::try_from(step.max(1)).unwrap_or(1);
        let days = (1..).map(|n| zone.start_of(zone.day_of(self.from).plus(n)));
        days.take_while(|at| *at < self.to).step_by(step).collect()
    }
}

/// `3 Mar`, or `3 Mar 2026`.
fn short(day: Day, year: bool) -> String {
    const MONTHS: [&str; 12] =
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    let (of_year, month) = day.month();
    let name = usize::try_from(month - 1).ok().and_then(|month| MONTHS.get(month)).unwrap_or(&"");
    let date = day.to_string();
    let number = date.rsplit('-').next().unwrap_or_default().trim_start_matches('0').to_owned();
    if year { format!("{number} {name} {of_year}") } else { format!("{number} {name}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        Instant::parse(text).unwrap()
    }

    fn sketch(from: &str, to: &str, marks: Vec<Told>) -> Sketch {
        let row = Row { name: "cutout", label: "GRC".into(), marks };
        Sketch { from: at(from), to: at(to), lanes: vec![row] }
    }

    #[test]
    fn every_mark_lies_where_its_time_is_and_is_a_row_of_the_sheet() {
        let open = Told {
            kind: Kind::Open,
            from: at("2026-03-01T12:00:00Z"),
            to: None,
            who: "=ann".into(),
            says: "Open.".into(),
            n: 1,
            href: None,
        };
        let seen = Told::moment(Kind::Closed, at("2026-03-01T06:00:00Z"), "ben".into(), "Closed.".into());
        let sketch = sketch("2026-03-01T00:00:00Z", "2026-03-02T00:00:00Z", vec![seen, open]);
        let drawn = sketch.draw(("o", "T".into(), String::new()), &Zone::utc());
        let (bar, dot) = (&drawn.lanes[0].bars[0], &drawn.lanes[0].dots[0]);
        assert_eq!((bar.x.as_str(), bar.width.as_str(), bar.to.as_str()), ("50.00", "50.00", ""));
        assert_eq!((dot.x.as_str(), dot.kind), ("25.00", "closed"));
        assert_eq!(
            sketch.sheet("x".into()).csv().unwrap(),
            "row,mark,from,to,number,who,says\n\
             cutout,closed,2026-03-01T06:00:00Z,2026-03-01T06:00:00Z,1,ben,Closed.\n\
             cutout,open,2026-03-01T12:00:00Z,,1,'=ann,Open.\n"
        );
    }

    #[test]
    fn words_under_the_ticks_do_not_lie_over_each_other() {
        let zone = Zone::named("America/Chicago").unwrap();
        let ticks = sketch("2026-11-24T13:55:00Z", "2026-11-27T01:03:00Z", vec![]).ticks(&zone);
        let told: Vec<_> = ticks.iter().map(|t| (t.label.as_str(), t.under.as_str())).collect();
        assert_eq!(
            told,
            [("12:00", ""), ("00:00", "25 Nov 2026"), ("12:00", ""), ("00:00", "26 Nov"), ("12:00", "")]
        );
    }

    #[test]
    fn ticks_are_whole_hours_or_days_and_never_more_than_find_room() {
        let zone = Zone::named("America/Chicago").unwrap();
        let day = sketch("2026-03-01T05:00:00Z", "2026-03-02T05:00:00Z", vec![]).ticks(&zone);
        let told: Vec<_> = day.iter().map(|t| (t.label.as_str(), t.under.as_str())).collect();
        assert_eq!(
            told,
            [
                ("00:00", "1 Mar 2026"),
                ("04:00", ""),
                ("08:00", ""),
                ("12:00", ""),
                ("16:00", ""),
                ("20:00", "")
            ]
        );
        for days in [1, 3, 9, 40, 100, 400, 4_000] {
            let from = at("2024-12-20T05:00:00Z");
            let sketch = Sketch { from, to: from.plus(days * DAY), lanes: vec![] };
            let ticks = sketch.ticks(&zone);
            assert!((2..=8).contains(&ticks.len()), "{days}: {ticks:?}");
            assert!(ticks.iter().any(|tick| tick.under.contains("202")), "{days}: the year stands once");
        }
    }
}
