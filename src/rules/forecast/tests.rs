//! The forecast beside fleets thrown by dice: one simulation plays the rules as they are told in words, in whole days, and one
//! goes through the very function that judges.
#![expect(clippy::cast_possible_truncation, reason = "days of some thousand years")]

use super::*;
use crate::{
    base::{Day, instant::DAY},
    reports::vocabulary::Left,
    rules::{
        sample::{Railway, trip, with_gap},
        statistics::{bad_spell::Score, posterior::Posterior},
    },
};

/// xorshift64*, so that a failure can be seen again.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        ((self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// The days of a healthy device's occurrences in so many years.
    fn days(&mut self, rate: f64, years: f64) -> Vec<f64> {
        let (mut now, mut days) = (0.0, Vec::new());
        loop {
            now -= self.roll().ln() / rate;
            if now > years * YEAR {
                return days;
            }
            days.push(now.floor());
        }
    }
}

fn kind(gap: f64, others: u32) -> Kind {
    let days = (f64::from(others) * gap) as i64;
    Kind {
        normal: Normal { others, days, fleet: false, all: others, all_days: days },
        weight: 2.0,
        pairs: 1.0,
        years: 1.0,
        occurrences: 1.0,
    }
}

/// Lines by the words of the burst rule.
fn bursts(days: &[f64], kind: &Kind, set: &Thresholds) -> usize {
    let score = Score::of(set.burst_ratio, kind.normal.cautious());
    let quiet = (set.quiet_gaps * kind.normal.gap()).min(set.quiet_days).ceil();
    let (mut now, mut n, mut line, mut lines) = (0.0_f64, 0.0, false, 0);
    for (i, day) in days.iter().enumerate() {
        let gap = if i > 0 { day - days[i - 1] } else { 1e9 };
        now = score.passed(now, gap);
        n = if now <= 2.0 / score.fall { 1.0 } else { n + 1.0 };
        now *= set.burst_ratio;
        line &= gap <= quiet;
        if !line && n >= set.burst_at_least && now >= 69.0 / set.burst_chance {
            (line, lines) = (true, lines + 1);
        }
    }
    lines
}

#[test]
fn the_chance_lines_of_burst_are_those_of_a_simulation() {
    let set = Thresholds::default();
    let strict = Thresholds { burst_at_least: 6.0, ..set.clone() };
    let loose = Thresholds { burst_ratio: 3.0, burst_chance: 0.1, quiet_gaps: 0.5, ..set.clone() };
    for (gap, others, set) in [
        (15.0, 1_000, &set),
        (90.0, 60, &set),
        (90.0, 5_000, &set),
        (365.0, 1_000, &set),
        (1_500.0, 1_000, &set),
        (90.0, 1_000, &strict),
        (90.0, 1_000, &loose),
        (400.0, 1_000, &loose),
    ] {
        let kind = kind(gap, others);
        let rate = kind.normal.average();
        let want = burst::lines_a_year(&kind, rate, set, Year::Settled);
        let years = 2_000.0 / want;
        let got = bursts(&Dice(7).days(rate, years), &kind, set) as f64 / years;
        println!("one in {gap}, {others} others: forecast {want:.3e}, simulated {got:.3e}");
        assert!((got / want - 1.0).abs() < 0.22, "one in {gap}, {others} others: {got} for {want}");
    }
}

/// What the setting promises is a mean over rates; one score for all of them finds most.
#[test]
fn the_score_brings_the_chance_lines_that_the_setting_promises() {
    let set = Thresholds::default();
    let lines = |year| {
        let at = |n: u32| kind(90.0 * (1_500_f64 / 90.0).powf((f64::from(n) + 0.5) / 12.0), 5_000);
        let of = |kind: Kind| burst::lines_a_year(&kind, kind.normal.average(), &set, year);
        (0..12).map(|n| of(at(n))).sum::<f64>() / 12.0
    };
    let (settled, first) = (lines(Year::Settled), lines(Year::First));
    println!("settled {settled:.2e}, in a book's first year {first:.2e}");
    assert!((settled / set.burst_chance - 1.0).abs() < 0.2, "{settled}");
    assert!((0.25..0.5).contains(&(first / settled)), "scores come up from nothing: {first}");
}

/// Lines by the words of *often*.
fn oftens(days: &[f64], kind: &Kind, set: &Thresholds) -> usize {
    let prior = Posterior::prior(kind.normal.pooled(), kind.weight).unwrap();
    let above = set.often_ratio * kind.normal.pooled();
    let quiet = (set.quiet_gaps * kind.normal.gap()).min(set.quiet_days).ceil();
    let (mut first, mut line, mut lines) = (0, false, 0);
    for (i, day) in days.iter().enumerate() {
        while day - days[first] >= YEAR {
            first += 1;
        }
        line &= i > 0 && day - days[i - 1] <= quiet;
        let n = u32::try_from(i + 1 - first).unwrap();
        let sure = f64::from(n) >= set.often_at_least
            && prior.after(n, YEAR).chance_above(above).unwrap() >= set.often_certainty;
        if sure && !line {
            (line, lines) = (true, lines + 1);
        }
    }
    lines
}

#[test]
fn the_chance_lines_of_often_are_those_of_a_simulation() {
    let shipped = Thresholds::default();
    let loose = Thresholds { often_certainty: 0.7, often_ratio: 1.3, ..shipped.clone() };
    for (gap, weight, set) in [
        (15.0, 0.5, &loose),
        (30.0, 2.0, &loose),
        (90.0, 2.0, &loose),
        (365.0, 2.0, &loose),
        (1_500.0, 0.5, &loose),
        (90.0, 0.5, &shipped),
        (365.0, 0.5, &shipped),
    ] {
        let kind = Kind { weight, ..kind(gap, 1_000) };
        let rate = kind.normal.average();
        let want = often::lines_a_year(&kind, rate, set);
        let years = 800.0 / want;
        let got = oftens(&Dice(11).days(rate, years), &kind, set) as f64 / years;
        println!("one in {gap}, weight {weight}: forecast {want:.3e}, simulated {got:.3e}, {years:.0} years");
        assert!((got / want - 1.0).abs() < 0.25, "one in {gap}, weight {weight}: {got} for {want}");
    }
}

#[test]
fn the_chance_lines_of_did_not_hold_are_those_of_a_simulation() {
    let set = Thresholds::default();
    for (first, mean) in [(0.05, 4.0), (0.01, 0.3), (0.3, 20.0), (1e-6, 4.0)] {
        let want = returned::chance(first, mean, &set);
        let mut dice = Dice(5);
        let runs = 40_000;
        let mut lines = 0;
        for _ in 0..runs {
            let mut now = 0.0;
            for n in 1_u64.. {
                now -= dice.roll().ln();
                let tail = crate::rules::statistics::poisson_at_least(n, now).unwrap();
                if now > mean || n > 60 {
                    break;
                }
                if tail <= if n == 1 { first } else { set.returned_tail } {
                    lines += 1;
                    break;
                }
            }
        }
        let got = f64::from(lines) / f64::from(runs);
        println!("first {first}, {mean} to expect: forecast {want:.4}, simulated {got:.4}");
        assert!((got - want).abs() < 0.006, "first {first}, {mean}: {got} for {want}");
    }
}

/// Four years and two months of a healthy unit, thrown 2,500 times, judged by the function that judges the book.
#[test]
fn the_judge_itself_says_what_the_forecast_expects() {
    let mut railway = with_gap(90);
    railway.thresholds.burst_chance = 0.05;
    let figures = railway.figures.as_ref().unwrap();
    let kind = &kinds(figures)[0];
    let want = burst::lines_a_year(kind, 1.0 / 90.0, &railway.thresholds, Year::Settled);
    let (mut dice, mut lines, runs, years) = (Dice(3), 0, 2_500, 1_520.0 / YEAR);
    for _ in 0..runs {
        let days = dice.days(1.0 / 90.0, years);
        let noon = |day: &f64| railway.zone.start_of(Day(19_015 + *day as i32)).plus(DAY / 2).to_z();
        let facts = days.iter().map(|day| trip(&noon(day), "TC2", Left::On)).collect();
        lines += railway.judge_device("TC2", facts).iter().filter(|f| f.rule == Rule::Burst).count();
    }
    let got = lines as f64 / f64::from(runs) / years;
    println!("forecast {want:.4} a year, judged {got:.4}");
    assert!((got / want - 1.0).abs() < 0.15, "{got} for {want}");
}

fn fleet(set: impl FnOnce(&mut ClassFigures)) -> ClassFigures {
    let mut railway: Railway = with_gap(90);
    railway.even();
    let mut figures = railway.figures.unwrap();
    figures
        .class_days
        .values_mut()
        .for_each(|class| *class = crate::rules::figures::ClassDays { days: 3_600, units: 40, squares: 0 });
    set(&mut figures);
    figures
}

#[test]
fn a_fleet_is_forecast_from_its_figures() {
    let set = Thresholds::default();
    let ours = forecast(&set, &fleet(|_| {}));
    assert!((ours.pairs - 40.0).abs() < 1e-9 && !ours.assumed);
    // 40 pairs watched 90 days of the 90 that the book knows: forty years a year; at one in 90 days a little more than the
    // 2.3e-3 that is an average over rates.
    let burst = ours.of(Rule::Burst).unwrap();
    assert!(!burst.at_most && (0.104..0.3).contains(&burst.lines), "{burst:?}");
    assert!(ours.of(Rule::DidNotHold).unwrap().lines.abs() < 1e-12, "nothing was repaired");
    assert!(ours.of(Rule::Held).is_none() && ours.of(Rule::Worsening).unwrap().at_most);
    assert!((ours.watch.unwrap() / 0.130_060_060_111 - 1.0).abs() < 1e-9, "check-values.csv a11");
    let whole_year = fleet(|figures| {
        figures.unit_days.values_mut().for_each(|days| *days = 365);
        figures.class_days.values_mut().for_each(|class| class.days *= 4);
        figures.devices.iter_mut().for_each(|d| d.total *= 4);
        figures.repairs = 3;
    });
    let repaired = forecast(&set, &whole_year).of(Rule::DidNotHold).unwrap().lines;
    let each = repaired / 3.0;
    assert!((0.01..0.1).contains(&each), "three repairs, each looked at once: {repaired}");
}

#[test]
fn nothing_known_gives_nothing_and_never_a_number_that_is_none() {
    let none = forecast(&Thresholds::default(), &fleet(|figures| figures.devices.clear()));
    assert_eq!((none.pairs, none.by_chance(), none.watch), (0.0, 0.0, None));
    assert!(!none.is_too_much());
    for wild in [
        fleet(|figures| figures.unit_days.clear()),
        fleet(|figures| figures.class_days.clear()),
        fleet(|figures| figures.class_days.values_mut().for_each(|class| class.days = 0)),
        fleet(|figures| figures.class_days.values_mut().for_each(|class| class.days = 1)),
    ] {
        let told = forecast(&Thresholds::default(), &wild);
        let all = told.lines.iter().map(|l| l.lines).chain(told.watch).chain([told.pairs]);
        all.for_each(|x| assert!(x.is_finite() && x >= 0.0, "{told:?}"));
    }
}

/// Its average is so well known that one reckoning is enough.
fn well_known(repairs: u32) -> ClassFigures {
    fleet(|figures| {
        figures.repairs = repairs;
        for device in &mut figures.devices {
            device.occurrences.values_mut().for_each(|n| *n *= 10);
            device.total *= 10;
        }
        figures.class_days.values_mut().for_each(|class| class.days *= 10);
    })
}

#[test]
fn every_corner_of_the_bounds_has_a_forecast() {
    for setting in crate::rules::thresholds::SETTINGS {
        for value in [setting.least, setting.most] {
            let mut set = Thresholds::default();
            set.set(setting.name, value).unwrap();
            let told = forecast(&set, &well_known(5));
            let all = told.lines.iter().map(|l| l.lines).chain(told.watch);
            all.for_each(|x| assert!(x.is_finite() && x >= 0.0, "{} {value}: {told:?}", setting.name));
        }
    }
}

#[test]
fn settings_that_would_flag_everything_are_too_much() {
    let figures = fleet(|_| {});
    for (setting, value, loudest) in
        [("burst_chance", 1.0, Rule::Burst), ("often_certainty", 0.5, Rule::Often)]
    {
        let mut set = Thresholds::default();
        assert!(!forecast(&set, &figures).is_too_much() && !forecast_unknown(&set).is_too_much());
        set.set(setting, value).unwrap();
        set.set("often_ratio", if setting == "often_certainty" { 1.1 } else { 2.0 }).unwrap();
        let told = forecast(&set, &figures);
        assert!(told.is_too_much() && told.loudest() == Some(loudest), "{setting}: {told:?}");
        let told = forecast_unknown(&set);
        assert!(told.assumed && told.is_too_much(), "{setting}: {told:?}");
    }
}
