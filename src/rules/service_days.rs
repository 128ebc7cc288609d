//! Which days a unit was really in service: the clock that all rates run on.
use serde::{Deserialize, Serialize};

use crate::{
    base::{Day, Instant, Zone},
    roster::UnitCard,
};

/// A report speaks for the days within 14 of it: day numbers that differ by at most 13.
const SPEAKS_FOR: i32 = 13;

/// A set of days, one bit each. Inserting the same days in any order gives the same set and the same bytes.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct DaySet {
    /// Number of the first word; word w holds the days 64 w to 64 w + 63.
    first: i32,
    words: Vec<u64>,
}

fn place(day: Day) -> (i32, u32) {
    (day.0.div_euclid(64), day.0.rem_euclid(64).unsigned_abs())
}

impl DaySet {
    pub fn is_empty(&self) -> bool {
        self.words.is_empty()
    }

    /// Whether the day was new.
    pub fn insert(&mut self, day: Day) -> bool {
        let (word, bit) = place(day);
        if self.words.is_empty() {
            self.first = word;
        }
        if word < self.first {
            let before = usize::try_from(self.first - word).unwrap_or(0);
            self.words.splice(0..0, std::iter::repeat_n(0, before));
            self.first = word;
        }
        let at = usize::try_from(word - self.first).unwrap_or(0);
        if at >= self.words.len() {
            self.words.resize(at + 1, 0);
        }
        let was = self.words[at];
        self.words[at] |= 1 << bit;
        was != self.words[at]
    }

    pub fn contains(&self, day: Day) -> bool {
        self.word(day) >> place(day).1 & 1 == 1
    }

    fn word(&self, day: Day) -> u64 {
        let at = place(day).0.checked_sub(self.first).and_then(|at| usize::try_from(at).ok());
        at.and_then(|at| self.words.get(at)).copied().unwrap_or(0)
    }

    /// The first day that a report on `day` would turn into a service day; `None` if it turns none.
    pub fn first_change(&self, day: Day) -> Option<Day> {
        if self.contains(day) {
            return None;
        }
        let reach = 2 * SPEAKS_FOR + 1;
        let before = (1..=reach).map(|n| day.plus(-n)).find(|d| self.contains(*d));
        let after = (1..=reach).map(|n| day.plus(n)).find(|d| self.contains(*d));
        let from =
            before.map_or(day.plus(-SPEAKS_FOR), |b| b.plus(SPEAKS_FOR + 1).max(day.plus(-SPEAKS_FOR)));
        let to = after.map_or(day.plus(SPEAKS_FOR), |a| a.plus(-SPEAKS_FOR - 1).min(day.plus(SPEAKS_FOR)));
        (from <= to).then_some(from)
    }

    pub fn iter(&self) -> impl Iterator<Item = Day> + '_ {
        self.words.iter().zip(self.first..).flat_map(|(word, number)| {
            (0..64).filter(move |bit| word >> bit & 1 == 1).map(move |bit| Day(number * 64 + bit))
        })
    }

    /// Only the days up to and with this one: for judging as of a moment.
    pub fn up_to(&self, last: Day) -> Self {
        self.iter().take_while(|day| *day <= last).collect()
    }

    /// Four bytes for where it begins, then eight for each 64 days.
    pub fn to_bytes(&self) -> Vec<u8> {
        let words = self.words.iter().flat_map(|w| w.to_le_bytes());
        self.first.to_le_bytes().into_iter().chain(words).collect()
    }

    /// `None` if these are not such bytes.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (first, rest) = bytes.split_first_chunk::<4>()?;
        let (words, odd) = rest.as_chunks::<8>();
        let words = words.iter().map(|w| u64::from_le_bytes(*w)).collect();
        odd.is_empty().then(|| Self { first: i32::from_le_bytes(*first), words })
    }

    /// Every day within `SPEAKS_FOR` of one of these.
    fn widened(&self) -> Self {
        let mut words = Vec::with_capacity(self.words.len() + 2);
        words.push(0);
        words.extend_from_slice(&self.words);
        words.push(0);
        // Steps of 1, 2, 4 and 6 smear each day over the 13 beside it.
        for step in [1, 2, 4, SPEAKS_FOR - 7] {
            for i in (0..words.len()).rev() {
                let carry = if i == 0 { 0 } else { words[i - 1] >> (64 - step) };
                words[i] |= words[i] << step | carry;
            }
        }
        for step in [1, 2, 4, SPEAKS_FOR - 7] {
            for i in 0..words.len() {
                let carry = words.get(i + 1).map_or(0, |next| next << (64 - step));
                words[i] |= words[i] >> step | carry;
            }
        }
        Self { first: self.first - 1, words }
    }

    fn remove(&mut self, from: Day, before: Day) {
        let begin = from.0.max(self.first.saturating_mul(64));
        let len = i32::try_from(self.words.len()).unwrap_or(i32::MAX);
        let end = before.0.min(self.first.saturating_add(len).saturating_mul(64));
        for day in begin..end {
            let (word, bit) = place(Day(day));
            if let Some(word) = usize::try_from(word - self.first).ok().and_then(|at| self.words.get_mut(at))
            {
                *word &= !(1 << bit);
            }
        }
    }
}

impl FromIterator<Day> for DaySet {
    fn from_iter<I: IntoIterator<Item = Day>>(days: I) -> Self {
        let mut set = Self::default();
        days.into_iter().for_each(|day| {
            set.insert(day);
        });
        set
    }
}

/// The time a unit was kept from service.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Held {
    pub from: Instant,
    /// `None`: still.
    pub until: Option<Instant>,
    /// Its days leave the clock: it was stored, or away.
    pub off_clock: bool,
}

/// A unit's service days, ready to be counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ServiceDays {
    /// The unit is not on the roster: every day counts, and pages say so.
    Calendar,
    Known(Counted),
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Counted {
    days: DaySet,
    /// Service days before each word.
    before: Vec<i64>,
    total: i64,
}

impl ServiceDays {
    /// A calendar day in the railway's zone counts when `in_service <= day < retired`, it was not stored or away for
    /// the whole of it, and some report about the unit is within 14 days: a silent unit is not a healthy one.
    pub fn of(card: Option<&UnitCard>, reports: &DaySet, holds: &[Held], zone: &Zone) -> Self {
        let Some(card) = card else { return Self::Calendar };
        let mut days = reports.widened();
        days.remove(Day(i32::MIN), card.in_service);
        if let Some(retired) = card.retired {
            days.remove(retired, Day(i32::MAX));
        }
        for Held { from, until, .. } in holds.iter().copied().filter(|held| held.off_clock) {
            let first = zone.day_of(from);
            let whole = if zone.start_of(first) == from { first } else { first.plus(1) };
            days.remove(whole, until.map_or(Day(i32::MAX), |until| zone.day_of(until)));
        }
        let mut total = 0;
        let before = days.words.iter().map(|w| {
            let so_far = total;
            total += i64::from(w.count_ones());
            so_far
        });
        let before = before.collect();
        Self::Known(Counted { days, before, total })
    }
    pub fn counts(&self, day: Day) -> bool {
        match self {
            Self::Calendar => true,
            Self::Known(known) => known.days.contains(day),
        }
    }

    /// Service days after `after`, up to and with `upto`.
    pub fn between(&self, after: Day, upto: Day) -> i64 {
        match self {
            Self::Calendar => (i64::from(upto.0) - i64::from(after.0)).max(0),
            Self::Known(known) => (known.up_to(upto) - known.up_to(after)).max(0),
        }
    }

    /// Service days up to and with this one; 0 where every day counts.
    pub fn up_to(&self, day: Day) -> i64 {
        match self {
            Self::Calendar => 0,
            Self::Known(known) => known.up_to(day),
        }
    }

    /// The n-th service day after a day, n from 1; `None` if so many are not known.
    pub fn nth_after(&self, day: Day, n: i64) -> Option<Day> {
        match self {
            Self::Calendar => Some(day.plus(i32::try_from(n).ok()?)),
            Self::Known(known) => known.nth(known.up_to(day) + n.max(1)),
        }
    }
}

impl Counted {
    /// Service days up to and with this one.
    fn up_to(&self, day: Day) -> i64 {
        let (word, bit) = place(day);
        let Ok(at) = usize::try_from(i64::from(word) - i64::from(self.days.first)) else { return 0 };
        match (self.before.get(at), self.days.words.get(at)) {
            (Some(before), Some(word)) => before + i64::from((word & (u64::MAX >> (63 - bit))).count_ones()),
            _ => self.total,
        }
    }

    fn nth(&self, n: i64) -> Option<Day> {
        if n < 1 || n > self.total {
            return None;
        }
        let at = self.before.partition_point(|before| *before < n) - 1;
        let mut word = self.days.words[at];
        for _ in 1..n - self.before[at] {
            word &= word - 1;
        }
        let number = self.days.first + i32::try_from(at).ok()?;
        Some(Day(number * 64 + i32::try_from(word.trailing_zeros()).ok()?))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn card(from: &str, retired: Option<&str>) -> UnitCard {
        UnitCard {
            unit: "QHB 412".into(),
            class: "C1".into(),
            in_service: Day::parse(from).unwrap(),
            retired: retired.and_then(Day::parse),
            home_shop: None,
        }
    }

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    #[test]
    fn a_report_speaks_for_thirteen_days_on_either_side() {
        let reports: DaySet = [day("2026-03-03")].into_iter().collect();
        let days = ServiceDays::of(Some(&card("2020-01-01", None)), &reports, &[], &Zone::utc());
        assert_eq!(days.between(day("2026-01-01"), day("2026-12-31")), 27);
        assert!(days.counts(day("2026-02-18")) && days.counts(day("2026-03-16")));
        assert!(!days.counts(day("2026-02-17")) && !days.counts(day("2026-03-17")));
        assert_eq!(days.nth_after(day("2026-03-03"), 13), Some(day("2026-03-16")));
        assert_eq!(days.nth_after(day("2026-03-03"), 14), None, "a silent unit's days are not known");
    }

    #[test]
    fn not_before_service_not_after_retiring_not_wholly_stored() {
        let zone = Zone::named("America/Chicago").unwrap();
        let reports: DaySet = [day("2026-03-03")].into_iter().collect();
        let card = card("2026-03-01", Some("2026-03-11"));
        let at = |text| Instant::parse(text).unwrap();
        let held = |from, until, off_clock| Held { from: at(from), until, off_clock };
        let mut holds = [
            held("2026-03-03T12:00:00-06:00", Some(at("2026-03-05T00:00:00-06:00")), true),
            held("2026-03-08T00:00:00-06:00", None, true),
        ];
        let days = ServiceDays::of(Some(&card), &reports, &holds[..1], &zone);
        assert_eq!(days.between(day("2026-02-01"), day("2026-04-01")), 9, "1 to 10 March less the 4th");
        assert!(days.counts(day("2026-03-03")) && !days.counts(day("2026-03-04")));
        let days = ServiceDays::of(Some(&card), &reports, &holds, &zone);
        assert_eq!(days.between(day("2026-02-01"), day("2026-04-01")), 6, "and less 8 to 10 March");
        assert_eq!(ServiceDays::of(None, &reports, &holds, &zone), ServiceDays::Calendar);
        holds[1].off_clock = false;
        let days = ServiceDays::of(Some(&card), &reports, &holds, &zone);
        assert_eq!(
            days.between(day("2026-02-01"), day("2026-04-01")),
            9,
            "in the shop it stays on the clock"
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn sets_do_not_know_in_what_order_they_were_filled(
            mut days in proptest::collection::vec(-9_000..30_000_i32, 0..60), seed in any::<u64>(),
        ) {
            let set: DaySet = days.iter().map(|d| Day(*d)).collect();
            days.sort_by_key(|d| u64::from(d.unsigned_abs()).wrapping_mul(seed | 1));
            let other: DaySet = days.iter().map(|d| Day(*d)).collect();
            prop_assert_eq!(&set, &other);
            prop_assert_eq!(DaySet::from_bytes(&set.to_bytes()), Some(set.clone()));
            days.sort_unstable();
            days.dedup();
            prop_assert_eq!(set.iter().map(|d| d.0).collect::<Vec<_>>(), days);
        }

        #[test]
        fn counting_is_what_going_through_the_days_gives(
            days in proptest::collection::vec(-300..300_i32, 0..30), a in -350..350_i32, b in -350..350_i32, n in 1..80_i64,
        ) {
            let reports: DaySet = days.iter().map(|d| Day(*d)).collect();
            let card = UnitCard { in_service: Day(-200), retired: Some(Day(250)), ..card("2020-01-01", None) };
            let known = ServiceDays::of(Some(&card), &reports, &[], &Zone::utc());
            let is = |d: i32| (-200..250).contains(&d) && days.iter().any(|r| (r - d).abs() <= 13);
            prop_assert_eq!(known.between(Day(a), Day(b)), (a + 1..=b).filter(|d| is(*d)).count() as i64);
            let nth = (a + 1..400).filter(|d| is(*d)).nth(usize::try_from(n - 1).unwrap());
            prop_assert_eq!(known.nth_after(Day(a), n), nth.map(Day));
        }
    }
}
