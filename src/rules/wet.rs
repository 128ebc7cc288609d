//! *wet*: a ground relay that operates on wet days, beyond what the wet days of those months explain. A note on its
//! line: it tells where to look for the leak, and ranks nothing.
use super::{
    case::Case,
    finding::{Finding, Rule},
    occurrence::Occurrence,
    pair,
    rests::Rests,
    statistics::wet::wet_at_least,
    weather::WeatherDays,
};
use crate::base::{Day, Instant, Tag, text::count};

/// Operations of so many service days are looked at together.
const YEAR: i64 = 365;

/// Notes for a relay's occurrences, oldest first, and what they rest on.
pub fn wet(case: &Case<'_>, tag: &Tag, occurrences: &[Occurrence], out: &mut Vec<Finding>) -> Rests {
    if (occurrences.len() as f64) < case.ground.thresholds.wet_at_least {
        return Rests::default();
    }
    let months = Months::of(case.weather);
    let told = occurrences.iter().enumerate().map(|(place, o)| {
        let day = case.ground.zone.day_of(o.at);
        Operation { place, at: o.at, day, wet: case.weather.wet(day), share: months.share(day) }
    });
    let operations: Vec<Operation> = told.collect();
    let quiet = quiet_days(case, tag);
    let last = operations.last().map_or(Day(i32::MIN), |last| last.day);
    let rests = Rests { on_weather: true, ..Rests::on(case.ground.zone.start_of(last.plus(1))) };
    let walk = Walk { case, operations: &operations, quiet, rests, first: 0, open: None, done: Vec::new() };
    let (notes, rests) = walk.through();
    out.extend(notes.iter().map(|note| note.told(case, tag, occurrences, &operations)));
    rests
}

/// One occurrence with its day's weather (`None`: nobody told) and the share of wet days in its month of the year.
#[derive(Clone, Copy, Debug)]
struct Operation {
    place: usize,
    at: Instant,
    day: Day,
    wet: Option<bool>,
    share: f64,
}

/// Days told and wet ones among them by month of the year, of this unit and from the same reports as its operations.
#[derive(Default)]
struct Months([(u32, u32); 12]);

impl Months {
    fn of(weather: &WeatherDays) -> Self {
        let mut months = Self::default();
        for (day, wet) in weather.iter() {
            if let Some((told, of_them)) = months.0.get_mut(place(day)) {
                *told += 1;
                *of_them += u32::from(wet);
            }
        }
        months
    }

    fn share(&self, day: Day) -> f64 {
        let (told, wet) = self.0.get(place(day)).copied().unwrap_or_default();
        if told == 0 { 0.0 } else { f64::from(wet) / f64::from(told) }
    }
}

/// Its month's place in the year, from 0.
fn place(day: Day) -> usize {
    usize::from(day.month().1.unsigned_abs()).saturating_sub(1)
}

/// The operations of one window whose weather is told.
#[derive(Clone, Debug)]
struct Seen {
    /// Places of the first and the last, told or not.
    first: usize,
    last: usize,
    /// Those whose day somebody told the weather of, wet ones among them, and those to expect.
    told: usize,
    wet: usize,
    expected: f64,
    untold: usize,
}

impl Seen {
    fn of(operations: &[Operation]) -> Self {
        let place = |operation: Option<&Operation>| operation.map_or(0, |o| o.place);
        let (first, last) = (place(operations.first()), place(operations.last()));
        let mut seen = Self { first, last, told: 0, wet: 0, expected: 0.0, untold: 0 };
        for operation in operations {
            match operation.wet {
                Some(wet) => {
                    seen.told += 1;
                    seen.wet += usize::from(wet);
                    seen.expected += operation.share;
                }
                None => seen.untold += 1,
            }
        }
        seen
    }

    fn dry(&self) -> usize {
        self.told - self.wet
    }

    /// The rate on wet days over that on dry days is at least so much: multiplied out, as neither may be zero.
    fn has_ratio(&self, least: f64) -> bool {
        let expected_dry = self.told as f64 - self.expected;
        self.wet as f64 * expected_dry >= least * self.dry() as f64 * self.expected
    }

    /// Chance of so many wet ones, when each falls on a wet day as often as its month's days are wet.
    fn chance(&self, operations: &[Operation]) -> f64 {
        let all = operations.get(self.first..=self.last).unwrap_or_default();
        let shares: Vec<f64> = all.iter().filter(|o| o.wet.is_some()).map(|o| o.share).collect();
        wet_at_least(&shares, self.wet).unwrap_or(1.0)
    }

    fn holds(&self, case: &Case<'_>, operations: &[Operation]) -> bool {
        let settings = case.ground.thresholds;
        self.told as f64 >= settings.wet_at_least
            && self.has_ratio(settings.wet_ratio)
            && self.chance(operations) <= settings.wet_chance
    }
}

/// A stretch of time in which the note stands.
struct Note {
    since: Instant,
    /// As it stood at the last operation before it ended.
    seen: Seen,
    until: Option<Instant>,
}

struct Walk<'a> {
    case: &'a Case<'a>,
    operations: &'a [Operation],
    /// Service days without an operation that end it.
    quiet: i64,
    rests: Rests,
    /// The first operation since a repair.
    first: usize,
    open: Option<Note>,
    done: Vec<Note>,
}

impl Walk<'_> {
    fn through(mut self) -> (Vec<Note>, Rests) {
        let mut repairs = self.case.mended().map(|(at, _)| at).peekable();
        for (place, operation) in self.operations.iter().enumerate() {
            while let Some(at) = repairs.next_if(|at| *at <= operation.at) {
                self.close(Some(at));
                self.first = place;
            }
            self.occurred(operation);
        }
        self.close(repairs.next());
        (self.done, self.rests)
    }

    /// It opens on chance and ratio, and stays while the ratio does: else it would come and go with every operation.
    fn occurred(&mut self, now: &Operation) {
        let over = |note: &Note| self.quiet_after(note.seen.last).is_some_and(|end| end < now.day);
        if self.open.as_ref().is_some_and(over) {
            self.close(None);
        }
        let days = self.case.days;
        let since_repair = self.operations.get(self.first..=now.place).unwrap_or_default();
        let from = since_repair.partition_point(|o| days.between(o.day, now.day) >= YEAR);
        let seen = Seen::of(&since_repair[from..]);
        match &mut self.open {
            Some(note) if seen.has_ratio(self.case.ground.thresholds.wet_ratio) => note.seen = seen,
            Some(_) => self.close(Some(now.at)),
            None if seen.holds(self.case, self.operations) => {
                self.open = Some(Note { since: now.at, seen, until: None })
            }
            None => {}
        }
    }

    /// At this moment, or before it if it had been quiet for long enough.
    fn close(&mut self, at: Option<Instant>) {
        if let Some(mut note) = self.open.take() {
            let last = self.operations.get(note.seen.last).map_or(Day(i32::MIN), |last| last.day);
            let (quiet, rests) = self.case.after_days(last, self.quiet);
            self.rests = self.rests.and(rests);
            note.until = [quiet, at].into_iter().flatten().min();
            self.done.push(note);
        }
    }

    fn quiet_after(&self, place: usize) -> Option<Day> {
        self.case.days.nth_after(self.operations.get(place)?.day, self.quiet)
    }
}

/// So many average gaps of the sister units, at most so many service days; those where no average is known.
fn quiet_days(case: &Case<'_>, tag: &Tag) -> i64 {
    let settings = case.ground.thresholds;
    let normal = case.class().and_then(|class| case.ground.figures?.normal(case.unit(), class, tag));
    let gaps = normal.map_or(f64::INFINITY, |normal| settings.quiet_gaps * normal.gap());
    #[expect(clippy::cast_possible_truncation, reason = "at most the setting, some hundred days")]
    let days = gaps.min(settings.quiet_days).ceil() as i64;
    days.max(1)
}

impl Note {
    fn told(
        &self,
        case: &Case<'_>,
        tag: &Tag,
        occurrences: &[Occurrence],
        operations: &[Operation],
    ) -> Finding {
        let (seen, zone) = (&self.seen, case.ground.zone);
        let told = &operations[seen.first..=seen.last];
        let since = told.first().map_or(Day(0), |o| o.day);
        let one_in = 1.0 / seen.chance(operations).max(f64::MIN_POSITIVE);
        let luck = pair::one_in("healthy unit", one_in);
        let mut says = format!(
            "{} of {} since {} fell on wet days, {:.1} to expect from the wet days of those months; \
             by chance {}{}.",
            seen.wet,
            count(seen.told as u64, "operation", "operations"),
            since.in_words(),
            seen.expected,
            luck[..1].to_lowercase(),
            &luck[1..]
        );
        if seen.untold > 0 {
            says.push_str(&format!(" Of {} more nobody told the weather.", seen.untold));
        }
        let entries = occurrences[seen.first..=seen.last].iter().flat_map(|o| o.entries(case.outlines));
        let mark = zone.day_of(self.since).to_string();
        let mut finding = case.finding(Rule::Wet, Some(tag), &mark, self.since).until(self.until);
        finding.rank = Some(0.0);
        finding
            .says(says)
            .rests_on(entries)
            .figure("told_operations", seen.told)
            .figure("wet_operations", seen.wet)
            .figure("wet_to_expect", (seen.expected * 1_000.0).round() / 1_000.0)
            .figure("untold_operations", seen.untold)
            .figure("chance_one_in", one_in.round())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        fact::Fact,
        sample::{Railway, ground, repair},
        service_days::ServiceDays,
    };

    /// A railway on which every day of 2025 and of the first half of 2026 is told, every `nth` of each month wet.
    fn railway(nth: i32) -> Railway {
        let mut railway = Railway::with(vec![]);
        for day in Day::parse("2025-01-01").unwrap().0..Day::parse("2026-07-01").unwrap().0 {
            railway.weather.insert(Day(day), (day - 1).rem_euclid(nth) == 0);
        }
        railway
    }

    /// Noon of the n-th wet (or the day after it: dry) day from 1 May 2026 on.
    fn on(wet: &[bool], nth: i32) -> Vec<Fact> {
        let first = Day::parse("2026-05-01").unwrap().0;
        let wet_days: Vec<i32> =
            (first..).filter(|day| (day - 1).rem_euclid(nth) == 0).take(wet.len()).collect();
        let day = |(n, wet): (usize, &bool)| Day(wet_days[n] + i32::from(!wet));
        wet.iter().enumerate().map(day).map(|day| ground(&format!("{day}T18:00:00Z"), 1)).collect()
    }

    fn notes(railway: &Railway, facts: Vec<Fact>) -> Vec<Finding> {
        let mut found = railway.judge(Subject::Device(Tag::GROUND_RELAY.into()), facts).findings;
        found.retain(|f| f.rule == Rule::Wet);
        found
    }

    #[test]
    fn operations_that_keep_to_wet_days_are_noted_and_the_words_can_be_reckoned_again() {
        let (yes, no) = (true, false);
        let railway = railway(4);
        let facts = on(&[yes, yes, no, yes, yes, yes, yes], 4);
        let since = facts[5].at;
        let found = notes(&railway, facts);
        assert_eq!(found.len(), 1, "{found:?}");
        let note = &found[0];
        assert_eq!((note.rank, note.since), (Some(0.0), since), "at the first that made it one in a hundred");
        let n = |name: &str| note.figures[name].as_f64().unwrap();
        // May and June of two years: 15 or 16 of 61 or 62 days were wet.
        let share = |month: &str| {
            let days = railway.weather.iter().filter(|(day, _)| &day.to_string()[5..7] == month);
            let (all, wet) =
                days.fold((0.0, 0.0), |(all, wet), (_, w)| (all + 1.0, wet + f64::from(u8::from(w))));
            wet / all
        };
        assert!((n("wet_to_expect") - 7.0 * share("05")).abs() < 0.001, "{note:?}");
        let s = share("05");
        let chance = 7.0 * s.powi(6) * (1.0 - s) + s.powi(7);
        assert!((n("chance_one_in") - 1.0 / chance).abs() <= 0.5);
        let rounded = (1.0 / chance / 10.0).round() * 10.0;
        assert_eq!(
            note.sentence,
            format!(
                "6 of 7 operations since 4 May 2026 fell on wet days, {:.1} to expect from the wet days of those months; \
                 by chance about 1 healthy unit in {rounded}.",
                7.0 * s
            )
        );
        assert_eq!(note.entries.len(), 7);
    }

    #[test]
    fn what_luck_hardly_ever_does_is_said_so() {
        let found = notes(&railway(7), on(&[true; 8], 7));
        let says = &found[0].sentence;
        assert!(says.ends_with("; by chance fewer than 1 healthy unit in a million."), "{says}");
    }

    #[test]
    fn what_is_no_note() {
        let (yes, no) = (true, false);
        // (every n-th day is wet, wet or dry operations, how many notes)
        for (nth, wet, want) in [
            (4, &[yes, yes, yes, yes][..], 0),
            (4, &[yes, yes, yes, yes, yes], 1),
            (4, &[yes, no, no, yes, no, no, yes, no], 0),
            (4, &[], 0),
            // Wet every other day: five of five is one healthy unit in 32.
            (2, &[yes, yes, yes, yes, yes], 0),
            // Always wet: nothing to compare with.
            (1, &[yes, yes, yes, yes, yes, yes, yes], 0),
        ] {
            assert_eq!(notes(&railway(nth), on(wet, nth)).len(), want, "{nth} {wet:?}");
        }
        let untold = Railway { weather: WeatherDays::default(), ..railway(4) };
        assert_eq!(notes(&untold, on(&[yes; 8], 4)).len(), 0, "nobody told the weather");
    }

    #[test]
    fn a_wet_month_explains_its_wet_operations() {
        let mut railway = Railway::with(vec![]);
        // Half of May's days are wet, none of the rest of the year: over the year it would look like a leak.
        for day in Day::parse("2025-06-01").unwrap().0..Day::parse("2026-06-01").unwrap().0 {
            railway.weather.insert(Day(day), Day(day).month().1 == 5 && day % 2 == 0);
        }
        let may = Day::parse("2026-05-01").unwrap().0;
        let even = (may..).filter(|day| day % 2 == 0).take(6);
        let facts: Vec<Fact> = even.map(|day| ground(&format!("{}T18:00:00Z", Day(day)), 1)).collect();
        assert_eq!(notes(&railway, facts.clone()), [], "6 of 6 at one half: one in 64");
        let (yearly, told) = (16.0 / 365.0_f64, railway.weather.iter().count());
        assert!(told == 365 && yearly.powi(6) < 1e-8, "by the year's share it would be one in millions");
    }

    #[test]
    fn it_ends_by_a_repair_by_dry_operations_or_by_quiet() {
        let (yes, no) = (true, false);
        let mut railway = railway(4);
        let five = on(&[yes; 5], 4);
        assert_eq!(notes(&railway, five.clone())[0].until, None, "nobody knows the service days to come");
        railway.days = ServiceDays::Calendar;
        let one = |facts: Vec<Fact>| {
            let found = notes(&railway, facts);
            assert_eq!(found.len(), 1, "{found:?}");
            found[0].until
        };
        let last = five[4].at;
        let quiet = railway.zone.start_of(railway.zone.day_of(last).plus(91));
        assert_eq!(one(five.clone()), Some(quiet), "ninety days on, as no average gap is known");
        let mut repaired = five;
        let closed = last.plus(crate::base::instant::DAY);
        repaired.push(repair(&closed.to_z()));
        assert_eq!(one(repaired.clone()), Some(closed));
        // Five before a repair and two after it are not seven.
        repaired.push(ground(&closed.plus(4 * crate::base::instant::DAY).to_z(), 1));
        assert_eq!(one(repaired), Some(closed));
        // With every fourth day wet, 5 of 12 is 2.14 times as often as on dry days, 5 of 13 is 1.88 times.
        let dry = on(&[yes, yes, yes, yes, yes, no, no, no, no, no, no, no, no], 4);
        let (eighth, seven) = (dry[12].at, dry[..12].to_vec());
        assert_eq!(one(dry), Some(eighth));
        assert_eq!(notes(&railway, seven)[0].figures["told_operations"], 12);
    }

    #[test]
    fn weather_told_of_any_day_brings_it_back() {
        let railway = railway(4);
        let key = Subject::Device(Tag::GROUND_RELAY.into());
        let judged = railway.judge(key.clone(), on(&[true; 5], 4));
        assert!(judged.rests.on_weather);
        assert!(!railway.judge(key, on(&[true; 4], 4)).rests.on_weather);
    }
}
