//! *starting_weakens*: cranking volts that fall against the class and will soon be under the schedule's minimum, or start
//! faults of one kind close together.
use super::{
    Ground,
    case::Case,
    cranking::cranking_volts,
    fact::{Fact, Told},
    finding::{Finding, Rule},
    occurrence::did_not_run,
    rests::Rests,
    statistics::{
        median,
        slope::{Slope, theil_sen},
    },
};
use crate::{
    base::{
        Day, Instant, Tag, UnitName,
        instant::{DAY, MINUTE},
        text::count,
    },
    reports::vocabulary::Outcome,
};

/// Starts of so many days are looked at together.
const YEAR: i64 = 365 * DAY;
/// The interval that has to lie below zero.
const CONFIDENCE: f64 = 0.95;
/// Falling volts stay a line for so many service days after the last start that showed them.
const QUIET_DAYS: i64 = 30;
/// Faults of a kind belong together within so many days, and stay a line for as long after the last.
const FAULT_DAYS: i32 = 14;
/// Attempts within this of the first are one fault.
const TOGETHER: i64 = 60 * MINUTE;
/// Failing to start weighs three times an ordinary trip.
const SEVERITY: f64 = 3.0;

/// Lines about one unit's starting, and what they rest on.
pub fn starting_weakens(case: &Case<'_>, out: &mut Vec<Finding>) -> Rests {
    let tag = Tag::from(Tag::ENGINE_START);
    falling(case, &tag, out).and(faults(case, &tag, out))
}

/// One repair of the unit or of what starts it.
fn is_repair(fact: &Fact) -> bool {
    matches!(fact.told, Told::RepairClosed { .. } | Told::StartRepaired)
}

/// One start with its volts beside the class's median of that fortnight.
#[derive(Clone, Copy, Debug)]
struct Start<'a> {
    fact: &'a Fact,
    class: f64,
    difference: f64,
}

/// What a run of starts shows.
#[derive(Clone, Copy, Debug)]
struct Fall {
    slope: Slope,
    /// Volts that the line gives for the last start.
    volts: f64,
    class: f64,
    minimum: f64,
    /// Days from the last start until the line meets the minimum; 0: it is under it.
    days: f64,
}

/// A stretch of time in which the line stands.
struct Weak<'a> {
    since: Instant,
    starts: Vec<Start<'a>>,
    fall: Fall,
    last: Instant,
    until: Option<Instant>,
}

fn falling(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) -> Rests {
    let mut rests = Rests::default();
    let (Some(figures), Some(class)) = (case.ground.figures, case.class()) else { return rests };
    let mut starts: Vec<Start<'_>> = Vec::new();
    let mut open: Option<Weak<'_>> = None;
    let mut done = |weak: Option<Weak<'_>>, repair: Option<Instant>| {
        let Some(mut weak) = weak else { return };
        let (quiet, on) = case.after_days(case.ground.zone.day_of(weak.last), QUIET_DAYS);
        weak.until = [quiet, repair].into_iter().flatten().min();
        rests = rests.and(on);
        out.push(weak.told(case, tag));
    };
    for fact in case.standing() {
        if is_repair(fact) {
            starts.clear();
            done(open.take(), Some(fact.at));
            continue;
        }
        let Some(volts) = cranking_volts(fact) else { continue };
        let Some(normal) = figures.cranking_of(class, fact.at) else { continue };
        starts.push(Start { fact, class: normal, difference: volts - normal });
        let from = starts.partition_point(|s| fact.at.since(s.fact.at) > YEAR);
        starts.drain(..from.max(starts.len().saturating_sub(LATEST)));
        let over = |weak: &Weak<'_>| {
            quiet_after(case, weak.last).is_some_and(|day| day < case.ground.zone.day_of(fact.at))
        };
        if open.as_ref().is_some_and(over) {
            done(open.take(), None);
        }
        if let Some(fall) = fall(case, &starts) {
            let since = open.as_ref().map_or(fact.at, |weak| weak.since);
            open = Some(Weak { since, starts: starts.clone(), fall, last: fact.at, until: None });
        }
    }
    done(open, None);
    rests
}

fn quiet_after(case: &Case<'_>, last: Instant) -> Option<Day> {
    case.days.nth_after(case.ground.zone.day_of(last), QUIET_DAYS)
}

/// So many starts are looked at, the latest: an older battery's slope says nothing of this winter, and every pair of them
/// has a slope.
const LATEST: usize = 60;
/// A start at so many times the schedule's least volts is far from it: what falls faster fails to start first.
const NEAR: f64 = 1.15;

/// Whether the volts fall, and reach the schedule's minimum in time to speak of it.
fn fall(case: &Case<'_>, starts: &[Start<'_>]) -> Option<Fall> {
    let settings = case.ground.thresholds;
    let (first, last) = (starts.first()?, starts.last()?);
    if (starts.len() as f64) < settings.starts_at_least {
        return None;
    }
    let schedule = case.ground.roster.schedule_at(case.unit(), last.fact.at)?;
    let minimum = schedule.start.cranking_min_v.filter(|volts| volts.is_finite())?;
    if last.class + last.difference > NEAR * minimum {
        return None;
    }
    let day = |at: Instant| at.since(first.fact.at) as f64 / DAY as f64;
    let points: Vec<(f64, f64)> = starts.iter().map(|s| (day(s.fact.at), s.difference)).collect();
    let now = day(last.fact.at);
    // Most units' lines meet the minimum in years: two looks at the ends of the line tell, without every pair's slope.
    if !may_reach(&points, now + settings.starts_days, minimum - last.class) {
        return None;
    }
    let slope = theil_sen(&points, CONFIDENCE)?;
    let volts = last.class + slope.intercept + slope.slope * now;
    let days = ((volts - minimum) / -slope.slope).max(0.0);
    let falls = slope.high < 0.0 && days <= settings.starts_days;
    falls.then_some(Fall { slope, volts, class: last.class, minimum, days })
}

/// Whether a start may begin a line about starting, or change one: all others only count among those before a later one.
pub fn may_weaken(unit: &UnitName, fact: &Fact, ground: &Ground<'_>) -> bool {
    let Told::Start { outcome, .. } = &fact.told else { return is_repair(fact) };
    let minimum = || ground.roster.schedule_at(unit, fact.at)?.start.cranking_min_v.filter(|v| v.is_finite());
    // A little wider than the rule, which adds what it first took away.
    let near = |volts: f64| minimum().is_some_and(|minimum| volts <= (NEAR + 1e-9) * minimum);
    is_fault(*outcome) || cranking_volts(fact).is_some_and(near)
}

/// Nothing is said about starting, and no start came near the schedule's minimum: whatever the class's volts, none falls.
pub fn starts_as_ever(case: &Case<'_>, found: &[Finding]) -> bool {
    let near = |fact: &Fact| {
        matches!(fact.told, Told::Start { outcome, .. } if !is_fault(outcome))
            && may_weaken(case.unit(), fact, case.ground)
    };
    !found.iter().any(|finding| finding.rule == Rule::StartingWeakens) && !case.standing().any(near)
}

/// A crew that stops an engine itself has no fault.
fn is_fault(outcome: Outcome) -> bool {
    did_not_run(outcome) && outcome != Outcome::StoppedByCrew
}

/// Whether the line of the medians can be at or under `level` at x: half of all pairs have to slope so steeply. Counting
/// them costs far less than sorting them.
fn may_reach(points: &[(f64, f64)], x: f64, level: f64) -> bool {
    let middle = |mut values: Vec<f64>| {
        values.sort_by(f64::total_cmp);
        median(&values).unwrap_or(0.0)
    };
    let (mid_x, mid_y) =
        (middle(points.iter().map(|p| p.0).collect()), middle(points.iter().map(|p| p.1).collect()));
    let steep = (level - mid_y) / (x - mid_x);
    let (mut all, mut steep_enough) = (0_usize, 0_usize);
    for (i, (x, y)) in points.iter().enumerate() {
        for (other_x, other_y) in points[..i].iter().filter(|(other, _)| other < x) {
            all += 1;
            steep_enough += usize::from(y - other_y <= steep * (x - other_x));
        }
    }
    2 * steep_enough >= all
}

impl Weak<'_> {
    fn told(&self, case: &Case<'_>, tag: &Tag) -> Finding {
        let (fall, zone) = (&self.fall, case.ground.zone);
        let first = self.starts.first().map_or(self.since, |s| s.fact.at);
        let month = -30.0 * fall.slope.slope;
        let meets = match fall.days > 0.0 {
            true => format!(
                "at this rate {} V (the least of the schedule) in {}",
                fall.minimum,
                count(whole(fall.days), "day", "days")
            ),
            false => format!("that is under the {} V that the schedule asks for", fall.minimum),
        };
        let says = format!(
            "Cranking volts fall {month:.2} V in 30 days against the class, and are {:.1} V by that line; {meets}. \
             From {} electric starts since {}.",
            fall.volts,
            self.starts.len(),
            zone.day_in_words(first)
        );
        let span = (self.last.since(first) as f64 / DAY as f64).max(1.0);
        let a_month = 30.0 * (self.starts.len() as f64 - 1.0) / span;
        let under = a_month * (30.0 - fall.days).clamp(0.0, 30.0) / 30.0;
        let mark = format!("volts:{}", zone.day_of(self.since));
        let mut finding = case.finding(Rule::StartingWeakens, Some(tag), &mark, self.since);
        finding.rank = Some(SEVERITY * under);
        finding
            .until(self.until)
            .weighs(SEVERITY)
            .says(says)
            .rests_on(self.starts.iter().map(|s| s.fact.entry))
            .figure("starts", self.starts.len())
            .figure("fall_in_30_days_v", round(month))
            .figure("fall_at_least_v", round(-30.0 * fall.slope.high))
            .figure("fall_at_most_v", round(-30.0 * fall.slope.low))
            .figure("line_now_v", round(fall.volts))
            .figure("class_now_v", round(fall.class))
            .figure("minimum_v", round(fall.minimum))
            .figure("days_to_minimum", round(fall.days))
            .figure("starts_under_minimum_in_30_days", round(under))
    }
}

/// Whole days, rounded up: on that day the line is at the minimum.
fn whole(days: f64) -> u64 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and a setting's some hundred"
    )]
    let whole = days.max(0.0).ceil() as u64;
    whole
}

fn round(x: f64) -> f64 {
    (x * 1_000.0).round() / 1_000.0
}

/// A fault: attempts within the hour, all of one kind.
#[derive(Clone, Debug)]
struct Fault<'a> {
    at: Instant,
    entries: Vec<&'a Fact>,
}

/// A kind's faults of one life.
fn faults(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) -> Rests {
    let mut rests = Rests::default();
    for kind in Outcome::ALL.iter().copied().filter(|outcome| is_fault(*outcome)) {
        let mut life: Vec<Fault<'_>> = Vec::new();
        for fact in case.standing() {
            if is_repair(fact) {
                rests = rests.and(of_life(case, (tag, kind), &life, Some(fact.at), out));
                life.clear();
            }
            if !matches!(&fact.told, Told::Start { outcome, .. } if *outcome == kind) {
                continue;
            }
            match life.last_mut() {
                Some(fault) if fact.at.since(fault.at) <= TOGETHER => fault.entries.push(fact),
                _ => life.push(Fault { at: fact.at, entries: vec![fact] }),
            }
        }
        rests = rests.and(of_life(case, (tag, kind), &life, None, out));
    }
    rests
}

/// Each run of faults with no more than the fortnight from one to the next, in which so many once fell into a fortnight.
fn of_life(
    case: &Case<'_>,
    of: (&Tag, Outcome),
    life: &[Fault<'_>],
    repair: Option<Instant>,
    out: &mut Vec<Finding>,
) -> Rests {
    let zone = case.ground.zone;
    let day = |fault: &Fault<'_>| zone.day_of(fault.at).0;
    let mut rests = Rests::default();
    for run in life.chunk_by(|a, b| day(b) - day(a) < FAULT_DAYS) {
        let in_fortnight = |last: usize| {
            run[..=last].iter().rev().take_while(|fault| day(&run[last]) - day(fault) < FAULT_DAYS).count()
        };
        let enough = |last: &usize| in_fortnight(*last) as f64 >= case.ground.thresholds.start_faults;
        let (Some(crossed), Some(last)) = ((0..run.len()).find(enough), run.last()) else { continue };
        let quiet = zone.start_of(zone.day_of(last.at).plus(FAULT_DAYS));
        let until = repair.map_or(quiet, |repair| repair.min(quiet));
        let ahead = ahead(case, of.0, life, last.at);
        out.push(told_of_faults(case, of, run, (run[crossed].at, until), ahead));
        rests = rests.and(Rests::on(zone.start_of(zone.day_of(last.at).plus(1))));
    }
    rests
}

/// What the next 30 service days are reckoned from, as for a burst: the class counts as half a fault to two faults of
/// evidence (of any kind), the unit's own last 365 service days as what they are.
#[derive(Clone, Copy, Debug)]
struct Ahead {
    own: usize,
    own_days: i64,
    /// More than an average sister unit.
    extra: f64,
}

fn ahead(case: &Case<'_>, tag: &Tag, life: &[Fault<'_>], last: Instant) -> Ahead {
    let to = case.ground.zone.day_of(last);
    let of_year = |f: &&Fault<'_>| f.at <= last && case.days.between(case.ground.zone.day_of(f.at), to) < 365;
    let own = life.iter().filter(of_year).count();
    let own_days = case.days.between(Day(i32::MIN), to).clamp(1, 365);
    let known = case.class().zip(case.ground.figures);
    let known =
        known.and_then(|(class, f)| Some((f.normal(case.unit(), class, tag)?, f.prior_weight(class, tag))));
    let extra = match known {
        Some((normal, weight)) => {
            let mean = normal.average();
            30.0 * ((weight + own as f64) / (weight / mean + own_days as f64) - mean)
        }
        // Nothing is known of the others: a whole year's worth of days keeps a young unit from standing on top.
        None => 30.0 * own as f64 / 365.0,
    };
    Ahead { own, own_days, extra: extra.max(0.0) }
}

fn told_of_faults(
    case: &Case<'_>,
    (tag, kind): (&Tag, Outcome),
    run: &[Fault<'_>],
    (since, until): (Instant, Instant),
    ahead: Ahead,
) -> Finding {
    let zone = case.ground.zone;
    let days: Vec<Day> = run.iter().map(|fault| zone.day_of(fault.at)).collect();
    let first = days.first().copied().unwrap_or(Day(0));
    let span = days.last().map_or(1, |last| i64::from(last.0 - first.0) + 1);
    let words = kind.as_str().replace('_', " ");
    let says = format!(
        "Starting failed {} in {} since {}, each time: {words}.",
        count(run.len() as u64, "time", "times"),
        count(span.unsigned_abs(), "day", "days"),
        first.in_words()
    );
    let mark = format!("{kind}:{}", zone.day_of(since));
    let mut finding = case.finding(Rule::StartingWeakens, Some(tag), &mark, since);
    finding.rank = Some(SEVERITY * ahead.extra);
    finding
        .until(Some(until))
        .weighs(SEVERITY)
        .says(says)
        .rests_on(run.iter().flat_map(|fault| &fault.entries).map(|fact| fact.entry))
        .figure("start_faults", run.len())
        .figure("kind", kind.as_str())
        .figure("calendar_days", span)
        .figure("year_occurrences", ahead.own)
        .figure("year_service_days", ahead.own_days)
        .figure("extra_in_30_days", round(ahead.extra))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::rules::{
        Judgement,
        cranking::fortnight,
        dossier::Subject,
        figures::{ClassFigures, Cranking},
        sample::{Railway, at, fact, repair, start},
        service_days::ServiceDays,
    };

    const BEGIN: &str = "2026-03-01T15:00:00Z";

    /// Class C1 asks for 48 V; its median is 53 V in every fortnight, told by so many units.
    fn railway(units: u32, minimum: Option<f64>) -> Railway {
        let mut railway = Railway::with(vec![]);
        let class = Arc::get_mut(railway.roster.classes.get_mut("C1").unwrap()).unwrap();
        Arc::get_mut(&mut class.schedules[0]).unwrap().start.cranking_min_v = minimum;
        let begin = fortnight(at(BEGIN));
        let row = |n: i64| Cranking { class: "C1".into(), fortnight: begin + n, volts: 53.0, units };
        railway.figures = Some(ClassFigures {
            as_of: at("2026-08-01T00:00:00Z"),
            up_to_seq: 0,
            devices: vec![],
            unit_days: Default::default(),
            class_days: Default::default(),
            repairs: 0,
            cranking: (-1..12).map(row).collect(),
            monthly: None,
            derived: Default::default(),
        });
        railway
    }

    fn on(day: i64, volts: f64) -> Fact {
        start(&at(BEGIN).plus(day * DAY).to_z(), "running", Some(volts))
    }

    /// A start every six days, from 52 V, losing so much from one to the next with a reading error of half a volt.
    fn weakening(starts: i64, step: f64) -> Vec<Fact> {
        (0..starts)
            .map(|n| on(6 * n, 52.0 - step * n as f64 + if n % 2 == 0 { 0.25 } else { -0.25 }))
            .collect()
    }

    fn judged(railway: &Railway, facts: Vec<Fact>) -> Judgement {
        let mut judged = railway.judge(Subject::Unit, facts);
        judged.findings.retain(|f| f.rule == Rule::StartingWeakens);
        judged
    }

    fn lines(railway: &Railway, facts: Vec<Fact>) -> Vec<Finding> {
        judged(railway, facts).findings
    }

    #[test]
    fn volts_that_fall_against_the_class_are_told_in_words_that_can_be_reckoned_again() {
        let railway = railway(6, Some(48.0));
        let facts = weakening(9, 0.3);
        let found = lines(&railway, facts.clone());
        assert_eq!(found.len(), 1, "{found:?}");
        let line = &found[0];
        let n = |name: &str| line.figures[name].as_f64().unwrap();
        assert!((n("fall_in_30_days_v") - 1.5).abs() < 0.1, "{line:?}");
        assert!(n("fall_at_least_v") > 0.0 && n("fall_at_least_v") < n("fall_at_most_v"));
        let left = (n("line_now_v") - n("minimum_v")) / n("fall_in_30_days_v") * 30.0;
        assert!((left - n("days_to_minimum")).abs() < 0.2, "{left}");
        let says = format!(
            "Cranking volts fall {:.2} V in 30 days against the class, and are {:.1} V by that line; at this rate 48 V \
             (the least of the schedule) in {} days. From 9 electric starts since 1 March 2026.",
            n("fall_in_30_days_v"),
            n("line_now_v"),
            n("days_to_minimum").ceil()
        );
        assert_eq!((line.sentence.as_str(), line.entries.len()), (says.as_str(), 9));
        assert!(facts.iter().any(|f| f.at == line.since));
        assert_eq!(line.rank, Some(3.0 * n("starts_under_minimum_in_30_days")));
    }

    #[test]
    fn what_is_no_weakening() {
        let ok = railway(6, Some(48.0));
        let nine = || weakening(9, 0.3);
        let cold: Vec<Fact> = nine();
        let autumn = {
            // The whole class falls with it.
            let mut railway = railway(6, Some(48.0));
            let rows = &mut railway.figures.as_mut().unwrap().cranking;
            rows.iter_mut().for_each(|row| row.volts -= 0.7 * (row.fortnight - fortnight(at(BEGIN))) as f64);
            railway
        };
        let mut no_class = railway(6, Some(48.0));
        no_class.roster.units.remove("QHB 412");
        let odd = |volts: f64| nine().into_iter().chain([on(60, volts)]).collect::<Vec<_>>();
        for (what, railway, facts, want) in [
            ("falls", &ok, nine(), 1),
            ("too few starts", &ok, weakening(7, 0.3), 0),
            ("steady", &ok, weakening(9, 0.0), 0),
            ("rises", &ok, weakening(9, -0.3), 0),
            ("years from the minimum", &ok, weakening(9, 0.08), 0),
            ("five units with this one", &railway(5, Some(48.0)), nine(), 0),
            ("one unit in the class", &railway(1, Some(48.0)), nine(), 0),
            ("no minimum on the schedule", &railway(6, None), nine(), 0),
            ("a minimum that is no number", &railway(6, Some(f64::NAN)), nine(), 0),
            ("no figures yet", &Railway { figures: None, ..railway(6, Some(48.0)) }, nine(), 0),
            ("no class", &no_class, nine(), 0),
            ("autumn", &autumn, cold, 0),
            ("readings that are none", &ok, odd(f64::NAN), 1),
            ("a reading of nothing", &ok, odd(0.0), 1),
        ] {
            assert_eq!(lines(railway, facts).len(), want, "{what}");
        }
        let at_once: Vec<Fact> = (0..9).map(|_| on(3, 40.0)).collect();
        assert_eq!(lines(&ok, at_once), [], "all at one moment have no slope");
    }

    #[test]
    fn it_ends_by_a_repair_of_the_unit_or_of_its_start_or_after_thirty_service_days() {
        let mut railway = railway(6, Some(48.0));
        let now = judged(&railway, weakening(9, 0.3));
        assert_eq!(now.findings[0].until, None, "nobody knows the service days to come");
        assert!(now.rests.waits_for.is_some());
        railway.days = ServiceDays::Calendar;
        let last = at(BEGIN).plus(48 * DAY);
        let quiet = railway.zone.start_of(railway.zone.day_of(last).plus(31));
        let now = judged(&railway, weakening(9, 0.3));
        assert_eq!((now.findings[0].until, now.rests), (Some(quiet), Rests::on(quiet)));
        let closed = last.plus(2 * DAY);
        for closing in [repair(&closed.to_z()), fact(&closed.to_z(), Told::StartRepaired)] {
            let mut facts = weakening(9, 0.3);
            facts.push(closing);
            // Two starts of the new life are not eleven of the old.
            facts.extend([on(54, 49.0), on(60, 48.5)]);
            let found = lines(&railway, facts);
            assert_eq!(found.iter().map(|f| f.until).collect::<Vec<_>>(), [Some(closed)]);
        }
    }

    #[test]
    fn faults_of_a_kind_within_a_fortnight() {
        let railway = Railway { figures: None, ..railway(6, None) };
        let fails = |day: i64, minute: i64, outcome: &str| {
            start(&at(BEGIN).plus(day * DAY + minute * MINUTE).to_z(), outcome, None)
        };
        let ends =
            |day: i64| Some(railway.zone.start_of(railway.zone.day_of(at(BEGIN).plus((day + 14) * DAY))));
        // (faults, since which day and until when)
        for (facts, want) in [
            (vec![(0, 0, "slow_crank"), (13, 0, "slow_crank")], vec![(13, ends(13))]),
            (vec![(0, 0, "slow_crank"), (14, 0, "slow_crank")], vec![]),
            (vec![(0, 0, "slow_crank"), (3, 0, "no_fire")], vec![]),
            // Two attempts on one morning are one fault.
            (vec![(0, 0, "slow_crank"), (0, 4, "slow_crank")], vec![]),
            (
                vec![(0, 0, "no_fire"), (0, 4, "no_fire"), (5, 0, "no_fire"), (18, 0, "no_fire")],
                vec![(5, ends(18))],
            ),
            (vec![(0, 0, "running"), (1, 0, "running"), (2, 0, "running")], vec![]),
            (vec![(0, 0, "stopped_by_crew"), (1, 0, "stopped_by_crew")], vec![]),
            (vec![(0, 0, "not_known"), (1, 0, "not_known")], vec![]),
        ] {
            let told = facts.iter().map(|(day, minute, outcome)| fails(*day, *minute, outcome)).collect();
            let found = lines(&railway, told);
            let got: Vec<_> = found.iter().map(|f| (f.since.since(at(BEGIN)) / DAY, f.until)).collect();
            assert_eq!(got, want, "{facts:?}");
        }
        let three = vec![fails(0, 0, "slow_crank"), fails(4, 0, "slow_crank"), fails(9, 0, "slow_crank")];
        let line = lines(&railway, three.clone()).remove(0);
        assert_eq!(
            line.sentence,
            "Starting failed 3 times in 10 days since 1 March 2026, each time: slow crank."
        );
        assert_eq!((line.entries.len(), line.figures["start_faults"].as_u64()), (3, Some(3)));
        assert!((line.rank.unwrap() - 3.0 * 30.0 * 3.0 / 365.0).abs() < 1e-9, "{line:?}");
        let closed = at(BEGIN).plus(6 * DAY);
        let repaired = three.into_iter().chain([repair(&closed.to_z())]).collect();
        let found = lines(&railway, repaired);
        assert_eq!(
            found.iter().map(|f| f.until).collect::<Vec<_>>(),
            [Some(closed)],
            "one fault is left after it"
        );
    }
}
