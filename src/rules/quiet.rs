//! Facts that say nothing new. Nearly every report has a 'cutout seen closed', and what operates on a unit seldom operates
//! together: the histories that such facts go to are the longest there are, so they are put away without judging anything,
//! given the last part of the dossier only. A property holds this against judging.
use std::collections::BTreeMap;

use super::{
    Ground,
    case::Case,
    coincident::{Operation, operations, stretch_begins, stretches},
    dossier::{DossierKey, Subject},
    fact::{Fact, PositionFact, Told},
    finding::{Finding, Rule},
    judge::certain,
    occurrence::leaves_closed,
    reclosed::{Reclosing, closings_of, window},
    reported::is_trouble,
    rests::Rests,
    service_days::ServiceDays,
    starting::may_weaken,
    thresholds::Thresholds,
    weather::WeatherDays,
};
use crate::{
    base::{Instant, Tag, UnitName, instant::DAY},
    reports::{
        Entry, What,
        vocabulary::{SealWord, Seen, Signs},
    },
};

/// Whether an entry may turn out to say nothing new of its device, seen by itself.
pub fn is_look(entry: &Entry) -> bool {
    let calm = matches!(entry.signs, None | Some(Signs::None));
    match &entry.what {
        What::Position(p) => calm && seen_closed(p.seen) && p.moved_to.is_none(),
        _ => false,
    }
}

fn seen_closed(seen: Seen) -> bool {
    matches!(seen, Seen::Closed | Seen::On)
}

fn look(fact: &Fact) -> Option<&PositionFact> {
    let calm = matches!(fact.signs, None | Some(Signs::None));
    match &fact.told {
        Told::Position(p) if calm && seen_closed(p.seen) && p.moved_to.is_none() => Some(p),
        _ => None,
    }
}

/// What is known of a device's dossier before new facts.
#[derive(Clone, Copy, Debug, Default)]
pub struct Before {
    /// Of its certain lines.
    pub ends: Ends,
    /// See [`super::chunk::Chunk`].
    pub last_closing: Option<Instant>,
    pub last_run: Option<Instant>,
}

/// When the last of a device's certain lines end, those apart that new facts can bear upon; [`Instant::MAX`] while one is
/// open. To a line of *kept_tripping* only a repair or another fact of its run makes a difference.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ends {
    /// What was left open, and a wrong fuse: by what is told of its position, or of its fuse.
    pub left: Option<Instant>,
    /// Closing again: by another closing.
    pub again: Option<Instant>,
}

impl Ends {
    pub fn of<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> Self {
        findings.into_iter().fold(Self::default(), |ends, finding| {
            let until = Some(finding.until.unwrap_or(Instant::MAX));
            match finding.rule {
                Rule::Reported | Rule::SafetyDevice | Rule::WrongFuse => {
                    Self { left: ends.left.max(until), ..ends }
                }
                Rule::ReclosedAgain => Self { again: ends.again.max(until), ..ends },
                _ => ends,
            }
        })
    }

    pub fn and(self, other: Self) -> Self {
        Self { left: self.left.max(other.left), again: self.again.max(other.again) }
    }
}

/// What the certain rules say of new facts, the last ones of a device's dossier, where that is all that these change: they
/// bear upon no line of before, no closing of before is near enough to be counted with theirs, and nothing was told of
/// their runs. `None`: it takes the earlier facts to tell.
pub fn certain_of_new(
    key: &DossierKey,
    new: &[Fact],
    before: Before,
    ground: &Ground<'_>,
) -> Option<Vec<Finding>> {
    let Subject::Device(tag) = &key.subject else { return None };
    let closings: Vec<Reclosing> = new.iter().flat_map(closings_of).collect();
    let Some(first) = new.iter().map(|fact| fact.at).chain(closings.iter().map(|c| c.at)).min() else {
        return Some(Vec::new());
    };
    let is_plain = |fact: &Fact| fact.withdrawn.is_none() && !matches!(fact.told, Told::RepairClosed { .. });
    let counted = |at: Instant| {
        let hours = ground.roster.device_at(&key.unit, tag, at).and_then(|device| device.crew_resets.hours);
        window(hours).max(DAY)
    };
    let far = |last: Instant| closings.iter().all(|c| last < first && c.at.since(last) > counted(c.at));
    let another_run = |last: Instant| new.iter().filter_map(|fact| fact.run).all(|run| run > last);
    if !new.iter().all(is_plain)
        || !before.last_closing.is_none_or(far)
        || !before.last_run.is_none_or(another_run)
    {
        return None;
    }
    let over = |until: Option<Instant>| until.is_none_or(|until| until < first);
    let answers = |fact: &Fact| leaves_closed(fact).is_some() || matches!(fact.told, Told::Fuse { .. });
    if !over(before.ends.left) && new.iter().any(answers) {
        return None;
    }
    let found = certain_alone(key, tag, new, ground);
    let again = Ends::of(&found).again.is_some() || closings.iter().any(Reclosing::was_examined_first);
    (over(before.ends.again) || !again).then_some(found)
}

fn certain_alone(key: &DossierKey, tag: &Tag, new: &[Fact], ground: &Ground<'_>) -> Vec<Finding> {
    let (days, weather) = (ServiceDays::Calendar, WeatherDays::default());
    let case = Case {
        key,
        facts: new,
        outlines: &[],
        days: &days,
        weather: &weather,
        runs: &[],
        earlier: &[],
        ground,
    };
    let mut found = Vec::new();
    certain(&case, tag, &mut found);
    found
}

/// What was judged of a dossier so far.
#[derive(Clone, Copy, Debug, Default)]
pub struct Judged {
    pub rests: Rests,
    /// See [`super::windows::watched_until`].
    pub watched_until: Option<Instant>,
    /// Facts of before those in hand are in the file only.
    pub more_before: bool,
}

/// Whether the facts from place `new` on, the last ones of a dossier, change nothing that is judged. Facts before `facts`
/// need not be known.
pub fn say_nothing_new(
    key: &DossierKey,
    facts: &[Fact],
    new: usize,
    judged: Judged,
    ground: &Ground<'_>,
) -> bool {
    if facts[new..].iter().any(|fact| fact.withdrawn.is_some()) {
        return false;
    }
    match &key.subject {
        Subject::Unit => facts[new..].iter().all(|fact| says_nothing_of_the_unit(&key.unit, fact, ground)),
        Subject::Together => nothing_together(&key.unit, facts, new, judged, ground),
        Subject::Device(_) => (new..facts.len()).all(|n| looks_again(&facts[..n], &facts[n], judged, true)),
        Subject::GroundProtection => (new..facts.len())
            .all(|n| long_closed(&facts[n], judged) || looks_again(&facts[..n], &facts[n], judged, false)),
    }
}

/// A look that found a device closed, after another that found the same and the same seal, with nothing of that device in
/// between; all openings have to be over.
fn looks_again(before: &[Fact], new: &Fact, judged: Judged, own_dossier: bool) -> bool {
    let Some(seen) = look(new) else { return false };
    let Some(last) = before.iter().rev().find(|fact| is_about(fact, seen, own_dossier)) else {
        return false;
    };
    let stood = last.withdrawn.is_none();
    let same = look(last).is_some_and(|then| stood && then.device == seen.device && then.seal == seen.seal);
    let numbered = seen.seal.as_deref().is_none_or(|seal| SealWord::parse(seal.trim()).is_none());
    same && numbered && judged.watched_until.is_none_or(|over| over < last.at)
}

/// Whether a fact may say anything of the device that was looked at.
fn is_about(fact: &Fact, seen: &PositionFact, own_dossier: bool) -> bool {
    match &fact.told {
        Told::Position(p) => p.device == seen.device,
        Told::Bypass(b) => b.device == seen.device,
        // In a device's own dossier the ground relay's operations say how it was left.
        Told::Ground { .. } => own_dossier,
        Told::Start { .. }
        | Told::Shutdown { .. }
        | Told::Defect { .. }
        | Told::Released
        | Told::StartRepaired
        | Told::Operated { .. }
        | Told::Mended { .. }
        | Told::RepairAnswered { .. } => false,
        Told::Trip { device, .. } | Told::Fuse { device, .. } => *device == seen.device,
        Told::RepairClosed { .. } => true,
    }
}

/// The ground relay operated a day and more after the last opening was over.
fn long_closed(fact: &Fact, judged: Judged) -> bool {
    matches!(fact.told, Told::Ground { .. })
        && judged.watched_until.is_none_or(|over| over < fact.at.minus(DAY))
}

/// No trouble of its own, and no start that rules about starting look at twice. How the engine stands by it matters only
/// to what is told later.
fn says_nothing_of_the_unit(unit: &UnitName, fact: &Fact, ground: &Ground<'_>) -> bool {
    match &fact.told {
        Told::Start { .. } => !is_trouble(fact) && !may_weaken(unit, fact, ground),
        Told::Shutdown { .. } | Told::Defect { .. } => !is_trouble(fact),
        _ => false,
    }
}

/// Operations with too few others at about their time to be a group, after every line so far is over.
fn nothing_together(
    unit: &UnitName,
    facts: &[Fact],
    new: usize,
    judged: Judged,
    ground: &Ground<'_>,
) -> bool {
    let over = |fact: &Fact| judged.rests.over_by(fact.at);
    if !facts[new..].iter().all(|fact| matches!(fact.told, Told::Operated { .. }) && over(fact)) {
        return false;
    }
    let settings = ground.thresholds;
    let minutes = settings.shared_minutes.max(settings.consist_minutes);
    let begins = stretch_begins(facts, new, minutes);
    if begins.is_none() && judged.more_before {
        return false;
    }
    never_together(unit, &facts[begins.unwrap_or(0)..], settings)
}

/// Whether nothing that operated had enough others at about its time to be a group, whatever luck would have brought.
pub fn never_together(unit: &UnitName, facts: &[Fact], settings: &Thresholds) -> bool {
    let all = operations(unit, facts);
    let minutes = settings.shared_minutes.max(settings.consist_minutes);
    stretches(&all, minutes).all(|stretch| too_few(stretch, unit, settings.shared_devices))
}

fn too_few(stretch: &[Operation<'_>], unit: &UnitName, at_least: f64) -> bool {
    let mut units_of: BTreeMap<_, Vec<&UnitName>> = BTreeMap::new();
    for one in stretch {
        let units = units_of.entry(one.device).or_default();
        if !units.contains(&one.unit) {
            units.push(one.unit);
        }
    }
    let own = units_of.values().filter(|units| units.contains(&unit)).count();
    (own as f64) < at_least && units_of.values().all(|units| units.len() < 2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        reports::vocabulary::GroundReset,
        rules::sample::{Railway, device, fact, ground, position},
    };

    fn quiet(subject: Subject, facts: &[Fact], judged: Judged) -> bool {
        let railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        let key = DossierKey { unit: "QHB 412".into(), subject };
        say_nothing_new(&key, facts, facts.len() - 1, judged, &railway.ground())
    }

    #[test]
    fn a_look_after_a_ground_relay_that_was_not_reset_says_something() {
        let look = |when| position(when, "GR", "closed", None);
        let not_reset = Told::Ground {
            operations: 1,
            last_at: None,
            mode: None,
            reset: Some(GroundReset::NotReset),
            after: None,
        };
        let then = fact("2026-01-27T01:10:00Z", not_reset);
        let device = Subject::Device("GR".into());
        let again = |between: Vec<Fact>| {
            let all = [vec![look("2026-01-01T00:00:00Z")], between, vec![look("2026-01-28T00:00:00Z")]];
            quiet(device.clone(), &all.concat(), Judged::default())
        };
        assert!(!again(vec![then.clone()]), "it closes what was left open");
        assert!(again(vec![]), "nothing came between");
        assert!(again(vec![then, look("2026-01-27T02:00:00Z")]), "it was looked at since");
    }

    #[test]
    fn a_ground_relay_matters_until_a_day_after_the_last_opening() {
        let facts = [ground("2026-03-02T10:00:00Z", 1)];
        for (over, want) in [
            (None, true),
            (Some("2026-03-01T09:59:59Z"), true),
            (Some("2026-03-01T10:00:00Z"), false),
            (Some("2026-03-05T10:00:00Z"), false),
        ] {
            let watched_until = over.map(crate::rules::sample::at);
            let judged = Judged { watched_until, ..Judged::default() };
            assert_eq!(quiet(Subject::GroundProtection, &facts, judged), want, "{over:?}");
        }
    }
}
