//! *shared_cause*: devices of one panel or of one feed that operate together, or one device on several units of a
//! consist, oftener than luck would have it. The matter is then what they share, not the devices.
use std::collections::BTreeSet;

use super::{
    case::Case,
    coincident::{Operation, arrivals, operations, stretches, windows, without_rounded},
    fact::Told,
    finding::{Finding, Rule},
    rests::Rests,
    shared_chance::Chance,
    shared_words::{by_chance_in_words, sentence},
    statistics::coincidence::{by_chance, on_consist},
};
use crate::{
    base::{Instant, Tag, UnitName, instant::MINUTE},
    roster::{Device, Place, Schedule},
};

const YEAR: f64 = 365.0;

/// What operated together has in common. In the order in which equally good explanations are preferred.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    Feed(Tag),
    Panel(String),
    /// The jumpers of a consist, for this device.
    Consist(Tag),
}

impl Source {
    /// Whether a device hangs on it.
    fn supplies(&self, schedule: &Schedule, device: &Device) -> bool {
        match self {
            Self::Feed(feed) => schedule.feeds_of(device).any(|up| up.tag == *feed),
            Self::Panel(name) => matches!(&device.place, Place::OnPanel { panel, .. } if panel == name),
            Self::Consist(tag) => device.tag == *tag,
        }
    }

    fn of_device(schedule: &Schedule, device: &Device) -> Vec<Self> {
        let feeds = schedule.feeds_of(device).map(|up| Self::Feed(up.tag.clone()));
        let panel = match &device.place {
            Place::OnPanel { panel, .. } => Some(Self::Panel(panel.clone())),
            Place::Outside { .. } => None,
        };
        feeds.chain(panel).collect()
    }

    /// What tells it from others in a finding's key.
    fn mark(&self) -> String {
        match self {
            Self::Feed(tag) => format!("feed {tag}"),
            Self::Panel(name) => format!("panel {name}"),
            Self::Consist(_) => "consist".to_owned(),
        }
    }
}

/// Operations that fall together too closely for luck.
#[derive(Clone, Debug)]
pub struct Group<'a> {
    pub source: Source,
    /// Oldest first.
    pub operations: Vec<Operation<'a>>,
    /// When so many had come together that it was too many.
    complete: Instant,
    /// How many of one kind (devices, or units of a consist) there are, and among how many.
    pub together: usize,
    among: usize,
    /// Such groups to be expected by chance, per fleet and year.
    pub expected: f64,
}

impl<'a> Group<'a> {
    fn first(&self) -> Option<&Operation<'a>> {
        self.operations.first()
    }

    fn last_at(&self) -> Instant {
        self.operations.last().map_or(self.complete, |o| o.at)
    }

    /// Minutes from the first operation to the last, a begun one counting.
    pub fn minutes(&self) -> u64 {
        let first = self.first().map_or(self.complete, |o| o.at);
        self.last_at().since(first).unsigned_abs().div_ceil(MINUTE.unsigned_abs()).max(1)
    }
}

/// Groups of one source while none of its lines had ended.
struct Line<'a> {
    groups: Vec<Group<'a>>,
    until: Option<Instant>,
    rests: Rests,
}

/// What the rule finds, and what that rests on.
pub fn shared_cause(case: &Case<'_>, out: &mut Vec<Finding>) -> Rests {
    let (Some(chance), Some(_)) = (Chance::of(case), case.class()) else { return Rests::default() };
    let all = operations(case.unit(), case.facts);
    let mut groups = on_this_unit(&chance, &all);
    groups.extend(on_the_consist(&chance, &all));
    let lines = joined(case, groups);
    out.extend(lines.iter().filter_map(|line| told(&chance, line, &all)));
    lines.iter().map(|line| line.rests).fold(Rests::default(), Rests::and)
}

/// Groups of one panel or feed. Of groups that share an operation the largest stays, then the one that luck makes
/// seldomest, which is the one that has least else hanging on it.
fn on_this_unit<'a>(chance: &Chance<'_>, all: &[Operation<'a>]) -> Vec<Group<'a>> {
    let case = chance.case;
    let own: Vec<Operation<'a>> = all.iter().filter(|o| o.unit == case.unit()).copied().collect();
    let minutes = case.ground.thresholds.shared_minutes;
    let mut found = Vec::new();
    for stretch in stretches(&own, minutes) {
        let devices: BTreeSet<&Tag> = stretch.iter().map(|o| o.device).collect();
        if devices.len() < chance.at_least() {
            continue;
        }
        let Some(schedule) = case.ground.roster.schedule_at(case.unit(), stretch[0].at) else { continue };
        let known = devices.iter().filter_map(|tag| schedule.device(tag));
        let sources: BTreeSet<Source> =
            known.flat_map(|device| Source::of_device(schedule, device)).collect();
        found.extend(sources.iter().flat_map(|source| of_source(chance, schedule, source, stretch)));
    }
    found.sort_by(|a, b| {
        let by_chance = a.expected.total_cmp(&b.expected);
        b.together
            .cmp(&a.together)
            .then(by_chance)
            .then_with(|| (&a.source, a.complete).cmp(&(&b.source, b.complete)))
    });
    let mut taken = BTreeSet::new();
    found.retain(|group| {
        let free = group.operations.iter().all(|o| !taken.contains(&o.entry));
        if free {
            taken.extend(group.operations.iter().map(|o| o.entry));
        }
        free
    });
    found
}

fn of_source<'a>(
    chance: &Chance<'_>,
    schedule: &Schedule,
    source: &Source,
    stretch: &[Operation<'a>],
) -> Vec<Group<'a>> {
    let hang_on = |tag: &Tag| schedule.device(tag).is_some_and(|device| source.supplies(schedule, device));
    let of_source: Vec<Operation<'a>> = stretch.iter().filter(|o| hang_on(o.device)).copied().collect();
    let all = without_rounded(&of_source, |o| o.device);
    if all.len() < chance.at_least() {
        return Vec::new();
    }
    let on_it = schedule.devices.iter().filter(|device| source.supplies(schedule, device));
    let Some(rates) = on_it.map(|device| chance.own_rate(&device.tag)).collect::<Option<Vec<f64>>>() else {
        return Vec::new();
    };
    let minutes = chance.case.ground.thresholds.shared_minutes;
    let expected = |k: usize| by_chance(&rates, minutes, k) * f64::from(chance.fleet) * YEAR;
    windows(&all, minutes, |window| {
        let arrivals = arrivals(window, |o| o.device);
        let (from, expected) = chance.too_many(chance.at_least(), arrivals.len(), expected)?;
        Some(Group {
            source: source.clone(),
            operations: window.to_vec(),
            complete: *arrivals.get(from.checked_sub(1)?)?,
            together: arrivals.len(),
            among: rates.len(),
            expected,
        })
    })
}

/// Groups of one device on several units. Every unit's dossier has them: the least of the units tells of it, among
/// those of the roster whose reports and ours name each other.
fn on_the_consist<'a>(chance: &Chance<'_>, all: &[Operation<'a>]) -> Vec<Group<'a>> {
    let own = chance.case.unit();
    let mut found = Vec::new();
    if all.iter().all(|o| o.unit == own) {
        return found;
    }
    let minutes = chance.case.ground.thresholds.consist_minutes;
    let devices: BTreeSet<&Tag> = all.iter().filter(|o| o.unit != own).map(|o| o.device).collect();
    for device in devices {
        let of_device: Vec<Operation<'a>> = all.iter().filter(|o| o.device == device).copied().collect();
        for stretch in stretches(&of_device, minutes) {
            let with: BTreeSet<&UnitName> = stretch.iter().flat_map(|o| o.with).collect();
            if stretch.iter().any(|o| o.unit == own) {
                let counted = without_rounded(stretch, |o| o.unit);
                // All units' dossiers find the same groups, whoever tells of them.
                let groups =
                    windows(&counted, minutes, |window| coupled(chance, device, window, with.len() + 1));
                found.extend(groups.into_iter().filter(|group| tells_of(chance.case, group, &with)));
            }
        }
    }
    found
}

fn tells_of(case: &Case<'_>, group: &Group<'_>, with: &BTreeSet<&UnitName>) -> bool {
    let own = case.unit();
    let anothers = |o: &Operation<'_>| {
        o.unit < own && with.contains(o.unit) && case.ground.roster.unit(o.unit).is_some()
    };
    group.operations.iter().any(|o| o.unit == own) && !group.operations.iter().any(anothers)
}

fn coupled<'a>(
    chance: &Chance<'_>,
    device: &Tag,
    window: &[Operation<'a>],
    consist: usize,
) -> Option<Group<'a>> {
    let ground = chance.case.ground;
    let arrivals = arrivals(window, |o| o.unit);
    // The rest of the consist counts at the rate of the worst class known to take part.
    let rate = |o: &Operation<'_>| chance.rate(o.unit, &ground.roster.unit(o.unit)?.class, device);
    let rate = window.iter().filter_map(rate).max_by(f64::total_cmp)?;
    let units = consist.max(arrivals.len());
    let size = u32::try_from(units).unwrap_or(u32::MAX);
    let consists = (f64::from(chance.fleet) / f64::from(size)).max(1.0);
    let expected = |k: usize| on_consist(size, rate, ground.thresholds.consist_minutes, k) * consists * YEAR;
    let (from, expected) = chance.too_many(2, arrivals.len(), expected)?;
    Some(Group {
        source: Source::Consist(device.clone()),
        operations: window.to_vec(),
        complete: *arrivals.get(from.checked_sub(1)?)?,
        together: arrivals.len(),
        among: units,
        expected,
    })
}

/// Groups of one source are one line until it ends.
fn joined<'a>(case: &Case<'_>, mut groups: Vec<Group<'a>>) -> Vec<Line<'a>> {
    groups.sort_by(|a, b| (&a.source, a.complete).cmp(&(&b.source, b.complete)));
    let mut lines: Vec<Line<'a>> = Vec::new();
    for group in groups {
        match lines.last_mut() {
            Some(line)
                if line.groups[0].source == group.source
                    && line.until.is_none_or(|end| group.complete < end) =>
            {
                line.groups.push(group);
                (line.until, line.rests) = end(case, &line.groups);
            }
            _ => {
                let groups = vec![group];
                let (until, rests) = end(case, &groups);
                lines.push(Line { groups, until, rests });
            }
        }
    }
    lines
}

/// When the line of these groups ends if nothing more happens: by a repair that answers it, or after enough quiet days.
fn end(case: &Case<'_>, groups: &[Group<'_>]) -> (Option<Instant>, Rests) {
    let Some(last) = groups.last() else { return <_>::default() };
    let zone = case.ground.zone;
    let answers = |fact: &&super::Fact| {
        let Told::Mended { device } = &fact.told else { return false };
        let of_group = |tag: &Tag| groups.iter().flat_map(|g| &g.operations).any(|o| o.device == tag);
        fact.at >= last.complete
            && device
                .as_ref()
                .is_none_or(|tag| of_group(tag) || of_the_source(case, &last.source, tag, fact.at))
    };
    let repair = case.standing().find(answers).map(|fact| fact.at);
    #[expect(clippy::cast_possible_truncation, reason = "at most two years of days")]
    let days = case.ground.thresholds.quiet_days as i64;
    let (quiet, rests) = case.after_days(zone.day_of(last.last_at()), days);
    ([repair, quiet].into_iter().flatten().min(), rests)
}

/// The feed itself, and whatever hangs on feed or panel.
fn of_the_source(case: &Case<'_>, source: &Source, tag: &Tag, at: Instant) -> bool {
    let supplied = |schedule: &Schedule| schedule.device(tag).is_some_and(|d| source.supplies(schedule, d));
    matches!(source, Source::Feed(feed) if feed == tag)
        || case.ground.roster.schedule_at(case.unit(), at).is_some_and(supplied)
}

fn told(chance: &Chance<'_>, line: &Line<'_>, all: &[Operation<'_>]) -> Option<Finding> {
    let case = chance.case;
    let (first, last) = (line.groups.first()?, line.groups.last()?);
    let operations = || line.groups.iter().flat_map(|group| &group.operations);
    let devices: BTreeSet<&Tag> = operations().map(|o| o.device).collect();
    let units: BTreeSet<&UnitName> = operations().map(|o| o.unit).collect();
    let device = match &first.source {
        Source::Consist(tag) => Some(tag),
        Source::Feed(_) | Source::Panel(_) => None,
    };
    let weight =
        devices.iter().map(|tag| super::pair::severity(case, tag, first.complete)).fold(0.0, f64::max);
    let day = case.ground.zone.day_of(last.last_at());
    let pairs: BTreeSet<(&UnitName, &Tag)> = operations().map(|o| (o.unit, o.device)).collect();
    let extra: f64 = pairs.iter().map(|(unit, tag)| chance.ahead(unit, tag, all, day)).sum();
    let mark = format!("{}:{}", first.source.mark(), first.first()?.entry);
    let words = sentence(case, &line.groups, last);
    let mut finding = case
        .finding(Rule::SharedCause, device, &mark, first.complete)
        .until(line.until)
        .weighs(weight)
        .says(format!("{} {}", words.what, by_chance_in_words(last.expected)) + " " + words.advice.as_str())
        .rests_on(operations().map(|o| o.entry))
        .figure("groups", line.groups.len())
        .figure("devices", devices.len())
        .figure("units", units.len())
        .figure("minutes", last.minutes())
        .figure("among", last.among)
        .figure("fleet_units", chance.fleet)
        .figure("expected_per_fleet_year", last.expected)
        .figure("extra_in_30_days", (extra * 1e3).round() / 1e3);
    finding.units = units.into_iter().cloned().collect();
    finding.devices = devices.into_iter().cloned().collect();
    finding.rank = Some(extra * weight);
    Some(finding)
}

#[cfg(test)]
mod tests;
