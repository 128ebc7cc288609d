//! *reclosed_again* and *kept_tripping*: lines about a device, naming nobody. Practice of 29 CFR 1910.334(b)(2):
//! no closing again, by hand or through a new fuse, until somebody has determined that it is safe.
use std::collections::BTreeMap;

use super::{
    case::Case,
    fact::{Fact, Hand, PositionFact, Told},
    finding::{Finding, Rule},
    occurrence::operations,
};
use crate::{
    base::{
        EntryId, Instant, Tag,
        instant::{DAY, HOUR},
        text::count,
    },
    people::People,
    reports::vocabulary::{Basis, ResetResult, Seen},
};

/// Operations in one run that nobody should have gone on to.
const KEPT: u32 = 3;

/// A line that nobody answered and that nothing was added to for so long ends: an old one on top of the board
/// hides the new ones.
const STALE: i64 = 90 * DAY;

/// One closing of the circuit after it had opened by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reclosing {
    pub at: Instant,
    /// `None`: a position entry, which has no such field.
    pub basis: Option<Basis>,
    pub entry: EntryId,
    /// A position entry tells who moved it; a reset and a new fuse are whoever's entry it is.
    crew: bool,
}

impl Reclosing {
    /// Nobody said on what ground.
    fn is_undetermined(self) -> bool {
        matches!(self.basis, Some(Basis::NotDetermined | Basis::NotKnown))
    }

    /// A qualified person found out first.
    pub(super) fn was_examined_first(&self) -> bool {
        self.basis == Some(Basis::Examined)
    }

    /// One of those the schedule counts: not the shop's, and no qualified person nor the shop decided it.
    pub fn is_crews_own(self) -> bool {
        self.crew && !matches!(self.basis, Some(Basis::Examined | Basis::ToldByShop))
    }
}

/// Every closing again that these facts tell of, oldest first. One that would not latch closed nothing.
pub fn reclosings<'a>(facts: impl Iterator<Item = &'a Fact>, people: &People) -> Vec<Reclosing> {
    let mut out = Vec::new();
    for fact in facts {
        let crew = match &fact.told {
            Told::Position(p) => by_crew(fact, p, people),
            _ => true,
        };
        out.extend(closings_of(fact).map(|closing| Reclosing { crew, ..closing }));
    }
    out.sort_by_key(|r| (r.at, r.entry));
    out
}

/// The closings again that one fact tells of, as if each was a crew's.
pub(super) fn closings_of(fact: &Fact) -> impl Iterator<Item = Reclosing> + '_ {
    let entry = fact.entry;
    let one = move |at, basis| Reclosing { at, basis, entry, crew: true };
    let resets = match &fact.told {
        Told::Trip { resets, .. } => resets.as_slice(),
        _ => &[],
    };
    let other = match &fact.told {
        Told::Fuse { replaced_by: Some(_), basis, .. } => Some(Some(basis.unwrap_or(Basis::NotDetermined))),
        Told::Position(p) if p.seen == Seen::Tripped && p.closed() => Some(None),
        _ => None,
    };
    let latched = resets.iter().filter(|r| r.result != Some(ResetResult::WouldNotLatch));
    let latched = latched.map(move |r| one(r.at.unwrap_or(fact.at), Some(r.basis)));
    latched.chain(other.map(|basis| one(fact.at, basis)))
}

/// Who moved it, as told, else the author, is one of a crew. A name the office list lacks is taken for a crew's.
pub fn by_crew(fact: &Fact, told: &PositionFact, people: &People) -> bool {
    let who = match &told.by {
        Hand::Person(person) => person,
        Hand::NotKnown => &fact.author,
        Hand::Named(_) => return false,
    };
    people.is_crew(who)
}

/// Ends by a repair, by a later closing that a qualified person examined first, or 90 days after the last one.
pub fn reclosed_again(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) {
    let closings = reclosings(case.standing(), case.ground.people);
    if closings.is_empty() {
        return;
    }
    let repairs = case.repairs();
    let mut open: Option<Finding> = None;
    let (mut since_repair, mut stale_at) = (0, Instant::MAX);
    for (i, closing) in closings.iter().enumerate() {
        if closing.at >= stale_at {
            out.extend(open.take().map(|f| f.until(Some(stale_at))));
        }
        let previous = if i == 0 { Instant(i64::MIN) } else { closings[i - 1].at };
        if let Some(repair) = repair_between(&repairs, previous, closing.at) {
            out.extend(open.take().map(|f| f.until(Some(repair.min(stale_at)))));
            since_repair = i;
        }
        if closing.was_examined_first() {
            out.extend(open.take().map(|f| f.until(Some(closing.at))));
        }
        let before = &closings[since_repair..i];
        let Some(why) = why_again(case, tag, before, *closing) else { continue };
        stale_at = closing.at.plus(STALE);
        match &mut open {
            Some(finding) => finding.entries.push(closing.entry),
            None => open = Some(told(case, tag, before, *closing, &why)),
        }
    }
    let last = closings.last().map_or(Instant::MAX, |c| c.at);
    let repair = repair_between(&repairs, last, Instant::MAX);
    out.extend(open.map(|mut f| {
        f.entries.dedup();
        f.until(Some(repair.map_or(stale_at, |repair| repair.min(stale_at))))
    }));
}

/// The first repair closed after one closing and no later than the next.
fn repair_between(repairs: &[Instant], after: Instant, upto: Instant) -> Option<Instant> {
    let first = repairs.get(repairs.partition_point(|at| *at <= after)).copied();
    first.filter(|at| *at <= upto)
}

fn why_again(case: &Case<'_>, tag: &Tag, before: &[Reclosing], closing: Reclosing) -> Option<String> {
    let last = before.last().filter(|b| closing.at.since(b.at) <= DAY);
    if let (true, Some(last)) = (closing.is_undetermined(), last) {
        let gap = crate::base::text::span(closing.at.since(last.at));
        return Some(format!("closed again {gap} after the last time, with nothing determined"));
    }
    let allowed = case.device(tag, closing.at)?.crew_resets;
    let times = allowed.times.filter(|_| closing.is_crews_own())?;
    let hours = allowed.hours.unwrap_or(24.0);
    let within = before.iter().rev().take_while(|b| closing.at.hours_since(b.at) <= hours);
    let n = within.filter(|b| b.is_crews_own()).count() + 1;
    let n = u32::try_from(n).unwrap_or(u32::MAX);
    (n > times).then(|| {
        let made = count(u64::from(n), "crew reset", "crew resets");
        let may = if times == 0 { "none".to_owned() } else { times.to_string() };
        format!("{made} within {hours} h; the schedule allows {may}")
    })
}

fn told(case: &Case<'_>, tag: &Tag, before: &[Reclosing], closing: Reclosing, why: &str) -> Finding {
    let earlier = before.iter().filter(|b| closing.at.since(b.at) <= DAY).map(|b| b.entry);
    case.finding(Rule::ReclosedAgain, Some(tag), &closing.entry.to_string(), closing.at)
        .says(format!("{}: {why}. {}.", case.named(tag, closing.at), case.when(closing.at)))
        .rests_on(earlier.chain([closing.entry]))
}

/// Three operations or more in one run: certain until a repair answers it.
pub fn kept_tripping(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) {
    // By run: operations so far, facts.
    let mut runs: BTreeMap<Instant, (u32, Vec<&Fact>)> = BTreeMap::new();
    for fact in case.standing() {
        let (Some(run), more @ 1..) = (fact.run, if fact.found { 0 } else { operations(fact) }) else {
            continue;
        };
        let of_run = runs.entry(run).or_default();
        of_run.0 = of_run.0.saturating_add(more);
        of_run.1.push(fact);
    }
    let repairs = case.repairs();
    for (run, (operations, facts)) in runs.into_iter().filter(|(_, (operations, _))| *operations >= KEPT) {
        let since = third(&facts);
        let repair = repairs.get(repairs.partition_point(|at| *at < since)).copied();
        let says = format!(
            "{} {} {operations} times in the run that began {}.",
            case.named(tag, since),
            if tag.as_str() == Tag::ENGINE_START { "failed" } else { "operated" },
            case.when(run)
        );
        out.push(
            case.finding(Rule::KeptTripping, Some(tag), &run.to_z(), since)
                .until(repair)
                .weighs(super::pair::severity(case, tag, since))
                .says(says)
                .rests_on(facts.iter().map(|f| f.entry))
                .figure("operations", operations),
        );
    }
}

/// The entry by which there were three. Its own time: the resets inside it may be told without one.
fn third(facts: &[&Fact]) -> Instant {
    let mut so_far = 0_u32;
    let mut counted = facts.iter().map(|f| {
        so_far = so_far.saturating_add(operations(f));
        (so_far, f)
    });
    counted.find(|(n, _)| *n >= KEPT).map_or(Instant::MAX, |(_, f)| (f.at).max(last_reset(f)))
}

fn last_reset(fact: &Fact) -> Instant {
    let again = |r: &&super::fact::ResetFact| r.result == Some(ResetResult::TrippedAgain);
    match &fact.told {
        Told::Trip { resets, .. } => {
            resets.iter().filter(again).filter_map(|r| r.at).max().unwrap_or(fact.at)
        }
        Told::Ground { last_at: Some(last), .. } => *last,
        _ => fact.at,
    }
}

/// Hours in which a schedule counts resets; a day where it does not say.
pub fn window(hours: Option<f64>) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "a schedule's hours, bounded at reading")]
    let micros = (hours.unwrap_or(24.0) * HOUR as f64) as i64;
    micros
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        people::Role,
        reports::vocabulary::{FuseResult, Left},
        roster::schedule::CrewResets,
        rules::{
            fact::{FuseFact, Hand, ResetFact},
            sample::{Railway, at, device, fact, ground, position, repair, trip, trip_with},
        },
    };

    fn closed(when: &str, basis: Basis) -> Fact {
        let resets = vec![ResetFact { at: Some(at(when)), basis, result: Some(ResetResult::Held) }];
        trip_with(when, "TC2", resets, Left::On)
    }

    fn new_fuse(when: &str) -> Fact {
        let fuse = FuseFact { rating_a: None, rating_v: None, speed: None, body: None };
        fact(
            when,
            Told::Fuse {
                device: "TC2".into(),
                result: FuseResult::Blown,
                fitted: None,
                replaced_by: Some(fuse),
                basis: None,
            },
        )
    }

    fn again(railway: &Railway, facts: Vec<Fact>) -> Vec<Finding> {
        let found = railway.judge_device("TC2", facts);
        found.into_iter().filter(|f| f.rule == Rule::ReclosedAgain).collect()
    }

    #[test]
    fn closing_again_with_nothing_determined() {
        // Vectors V35, V36, V37 of the standards notes (29 CFR 1910.334(b)(2)).
        use Basis::{Examined, NotDetermined, OverloadKnown};
        let railway = Railway::with(vec![device("TC2", |d| d.overload_by_design = true)]);
        let (ten, noon) = ("2026-03-01T10:00:00Z", "2026-03-01T12:00:00Z");
        for (facts, want) in [
            (vec![closed(ten, Examined)], 0),
            (vec![closed(ten, NotDetermined)], 0),
            (vec![closed(ten, NotDetermined), closed(noon, NotDetermined)], 1),
            (vec![closed(ten, NotDetermined), closed(noon, Examined)], 0),
            (vec![closed(ten, OverloadKnown), closed(noon, OverloadKnown)], 0),
            (vec![new_fuse(ten), new_fuse(noon)], 1),
            (vec![closed(ten, NotDetermined), closed("2026-03-02T10:00:01Z", NotDetermined)], 0),
            (vec![closed(ten, NotDetermined), closed("2026-03-02T10:00:00Z", NotDetermined)], 1),
            (
                vec![closed(ten, NotDetermined), repair("2026-03-01T11:00:00Z"), closed(noon, NotDetermined)],
                0,
            ),
        ] {
            assert_eq!(again(&railway, facts.clone()).len(), want, "{facts:?}");
        }
    }

    #[test]
    fn more_resets_than_the_schedule_allows() {
        let resets = |times, hours| CrewResets { times: Some(times), hours: Some(hours), wait_s: None };
        let (ten, noon) = ("2026-03-01T10:00:00Z", "2026-03-01T12:00:00Z");
        let count = |allowed, facts| {
            again(&Railway::with(vec![device("TC2", |d| d.crew_resets = allowed)]), facts).len()
        };
        let looked = |when| closed(when, Basis::LookedNoSign);
        assert_eq!(count(resets(1, 24.0), vec![looked(ten)]), 0);
        assert_eq!(count(resets(1, 24.0), vec![looked(ten), looked(noon)]), 1);
        assert_eq!(count(resets(1, 1.0), vec![looked(ten), looked(noon)]), 0);
        assert_eq!(count(resets(0, 24.0), vec![looked(ten)]), 1, "shop only");
        assert_eq!(count(resets(0, 24.0), vec![closed(ten, Basis::ToldByShop)]), 0);
    }

    #[test]
    fn only_a_crews_closing_counts_as_a_crews_reset() {
        let allowed = CrewResets { times: Some(0), hours: Some(24.0), wait_s: None };
        let mut railway = Railway::with(vec![device("TLP", |d| d.crew_resets = allowed)]);
        railway.employ("t.brask", Role::Shop);
        railway.employ("n.okafor", Role::Crew);
        let person = |name: &str| Hand::Person(name.into());
        for (by, author, want) in [
            (person("n.okafor"), "t.brask", 1),
            (person("t.brask"), "n.okafor", 0),
            (Hand::NotKnown, "n.okafor", 1),
            (Hand::NotKnown, "t.brask", 0),
            (Hand::Named("the electrician".into()), "n.okafor", 0),
        ] {
            let mut fact = position("2026-03-01T10:00:00Z", "TLP", "tripped", Some("on"));
            fact.author = author.into();
            let Told::Position(told) = &mut fact.told else { continue };
            told.by = by.clone();
            let found = railway.judge_device("TLP", vec![fact]);
            let n = found.iter().filter(|f| f.rule == Rule::ReclosedAgain).count();
            assert_eq!(n, want, "{by:?} by {author}");
        }
    }

    #[test]
    fn it_names_nobody_and_ends_when_somebody_examined() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let facts = vec![
            closed("2026-03-01T10:00:00Z", Basis::NotDetermined),
            closed("2026-03-01T12:00:00Z", Basis::NotDetermined),
            closed("2026-03-02T09:00:00Z", Basis::Examined),
        ];
        let found = again(&railway, facts);
        assert_eq!(found[0].until, Some(at("2026-03-02T09:00:00Z")));
        assert_eq!(
            found[0].sentence,
            "TC2 (TC2 LEGEND): closed again 2 h after the last time, with nothing determined. \
             1 Mar 2026 06:00 -06:00."
        );
        assert!(!found[0].sentence.contains("okafor"));
    }

    #[test]
    fn an_old_line_does_not_stay_on_top_for_ever() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let two = [
            closed("2026-03-01T10:00:00Z", Basis::NotDetermined),
            closed("2026-03-01T12:00:00Z", Basis::NotDetermined),
        ];
        let found = again(&railway, two.to_vec());
        assert_eq!(found[0].until, Some(at("2026-05-30T12:00:00Z")), "90 days later");
        let later = [
            closed("2026-07-01T10:00:00Z", Basis::NotDetermined),
            closed("2026-07-01T12:00:00Z", Basis::NotDetermined),
        ];
        let found = again(&railway, [two, later].concat());
        assert_eq!(found.len(), 2);
        assert_eq!(found[0].until, Some(at("2026-05-30T12:00:00Z")));
    }

    #[test]
    fn three_operations_in_one_run() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let in_run = |fact: Fact| Fact { run: Some(at("2026-03-01T06:00:00Z")), ..fact };
        let one = in_run(trip("2026-03-01T10:00:00Z", "TC2", Left::On));
        let two = in_run(trip("2026-03-01T11:00:00Z", "TC2", Left::On));
        let three = in_run(trip("2026-03-01T15:00:00Z", "TC2", Left::On));
        let kept = |facts| {
            railway.judge_device("TC2", facts).iter().filter(|f| f.rule == Rule::KeptTripping).count()
        };
        assert_eq!(kept(vec![one.clone(), two.clone()]), 0);
        assert_eq!(kept(vec![one.clone(), two.clone(), three.clone()]), 1);
        let other_run = Fact { run: Some(at("2026-03-01T14:00:00Z")), ..three.clone() };
        assert_eq!(kept(vec![one, two, other_run]), 0);
        let found = railway.judge_device(Tag::GROUND_RELAY, vec![in_run(ground("2026-03-01T10:00:00Z", 3))]);
        assert_eq!(found.iter().filter(|f| f.rule == Rule::KeptTripping).count(), 1);
    }
}
