//! What is judged while a cutout is open, and just after: still_open, second_ground, position_doubtful.
use super::{
    bypass::Stretch,
    case::Case,
    fact::{BypassFact, Fact, RunFact, Told},
    finding::{Finding, Rule},
    ground::about,
    register::{Bypass, Limit},
};
use crate::{
    base::{
        Instant,
        instant::{DAY, HOUR},
        text::span,
    },
    reports::vocabulary::{Protection, Purpose, RunPosition, Signs, YesNo},
};

/// When the book starts asking about an opening, and why then. A reminder, never a permission.
#[derive(Clone, Copy, Debug)]
pub struct Asks {
    pub limit: Limit,
    pub since: Instant,
    why: &'static str,
    at_once: bool,
}

impl Asks {
    pub fn of(case: &Case<'_>, stretch: &Stretch<'_>, facts: &[&Fact]) -> Self {
        let limit = limit(stretch);
        let waits = stretch.begin.plus(limit.micros());
        let at_once = at_once(case, stretch, facts);
        let (since, why) = match (at_once, limit) {
            (Some((at, why)), _) if at < waits || limit == Limit::AtOnce && at == waits => (at, why),
            (_, Limit::AtOnce) => (waits, "to keep moving"),
            (_, Limit::Hour) => (waits, "for more than an hour"),
            (_, Limit::EightHours) => (waits, "held with a lock or tag and the engine shut down"),
        };
        Self { limit, since, why, at_once: at_once.is_some() || limit == Limit::AtOnce }
    }
}

/// By purpose: none to keep moving, since it is meant to move with it open; eight hours for a test, a search or a repair
/// under lock or tag with the engine shut down; an hour for everything else, and where nobody said what for.
fn limit(stretch: &Stretch<'_>) -> Limit {
    let any = |of: &dyn Fn(&BypassFact) -> bool| stretch.tellings().any(of);
    let shop_work = |t: &BypassFact| {
        matches!(t.purpose, Some(Purpose::InsulationTest | Purpose::LocatingGround | Purpose::Repair))
    };
    let secured = |t: &BypassFact| {
        t.engine_running == YesNo::No && matches!(t.protection, Some(Protection::Lock | Protection::Tag))
    };
    if any(&|t| t.purpose == Some(Purpose::ToKeepMoving)) {
        Limit::AtOnce
    } else if any(&shop_work) && any(&secured) {
        Limit::EightHours
    } else {
        Limit::Hour
    }
}

/// Open at T exactly while the finding is open at T: it begins at the first reason to ask, and ends at closing.
pub fn still_open(
    case: &Case<'_>,
    stretch: &Stretch<'_>,
    line: &Bypass,
    asks: &Asks,
    out: &mut Vec<Finding>,
) {
    if stretch.closed_at.is_some_and(|closed| closed <= asks.since) {
        return;
    }
    let device = case.named(&line.device, stretch.begin);
    let mut says = format!("{device} open since {}, {}", case.when(stretch.begin), asks.why);
    match stretch.closed_at {
        Some(closed) => {
            let lasted = span(closed.since(stretch.begin));
            says.push_str(&format!(". Closed {}, after {lasted}.", case.when(closed)));
        }
        None => says.push_str("; the book does not know it closed. Treat as open until looked at."),
    }
    let weight = if asks.at_once { 9.0 } else { 5.0 };
    let finding =
        about(case, Rule::StillOpen, line, asks.since).until(stretch.closed_at).weighs(weight).says(says);
    let hours = Limit::EightHours.micros() / HOUR;
    let reminds = asks.limit == Limit::EightHours;
    out.push(if reminds { finding.figure("remind_every_hours", hours) } else { finding });
}

/// The earliest moment that allows no waiting at all.
fn at_once(case: &Case<'_>, stretch: &Stretch<'_>, facts: &[&Fact]) -> Option<(Instant, &'static str)> {
    let told = stretch.facts.iter().filter_map(|f| match &f.told {
        Told::Bypass(t) if t.power_taken == YesNo::Yes => Some((f.at, "with power taken")),
        Told::Bypass(t) if t.engine_running == YesNo::Yes => Some((f.at, "with the engine running")),
        _ => None,
    });
    let meanwhile = facts.iter().filter(|f| stretch.holds(f.at)).filter_map(|f| match &f.told {
        Told::Released => Some((f.at, "and the unit was released into service")),
        _ if f.engine == YesNo::Yes => Some((f.at, "with the engine running")),
        _ => None,
    });
    let runs = case.runs.iter().filter(|run| run.unit == *case.unit()).filter_map(|run| ran(run, stretch));
    told.chain(meanwhile).chain(runs).min_by_key(|(at, why)| (*at, *why))
}

fn ran(run: &RunFact, stretch: &Stretch<'_>) -> Option<(Instant, &'static str)> {
    let towed = run.position == Some(RunPosition::Dead);
    if stretch.holds(run.started) && (run.moved || towed) {
        return Some((run.started, "and a run began with it open"));
    }
    let under_way =
        run.moved && run.started < stretch.begin && run.ended.is_some_and(|end| stretch.begin < end);
    under_way.then_some((stretch.begin, "with the unit on a run"))
}

/// Highest of all: a second ground has no relay left to find it.
pub fn second_ground(
    case: &Case<'_>,
    stretch: &Stretch<'_>,
    line: &Bypass,
    facts: &[&Fact],
    out: &mut Vec<Finding>,
) {
    let power = stretch.facts.iter().filter_map(|f| match &f.told {
        Told::Bypass(t) if t.power_taken == YesNo::Yes => {
            Some((f.at, *f, "power was taken while it was open"))
        }
        _ => None,
    });
    let signs = facts.iter().filter(|f| stretch.holds(f.at)).filter_map(|f| match f.signs {
        Some(Signs::Arcing) => Some((f.at, *f, "arcing was seen while it was open")),
        Some(Signs::Smoke) => Some((f.at, *f, "smoke was seen while it was open")),
        _ => None,
    });
    let after = facts.iter().filter_map(|f| {
        let gap = f.at.since(stretch.closed_at?);
        let soon = matches!(f.told, Told::Ground { .. }) && (0..=DAY).contains(&gap);
        soon.then_some((f.at, *f, "the ground relay operated within 24 h after it was closed"))
    });
    let Some((since, fact, why)) = power.chain(signs).chain(after).min_by_key(|(at, f, _)| (*at, f.entry))
    else {
        return;
    };
    let says = format!(
        "{} opened {}: {why} ({}). Look for a second ground before anything else.",
        case.named(&line.device, stretch.begin),
        case.when(stretch.begin),
        case.when(since)
    );
    out.push(about(case, Rule::SecondGround, line, since).weighs(10.0).says(says).rests_on([fact.entry]));
}

/// An open cutout silences the relay: one that operates all the same means that something told is not so.
pub fn position_doubtful(
    case: &Case<'_>,
    stretch: &Stretch<'_>,
    line: &Bypass,
    facts: &[&Fact],
    out: &mut Vec<Finding>,
) {
    for fact in facts.iter().filter(|f| !f.found && stretch.holds(f.at)) {
        if !matches!(fact.told, Told::Ground { .. }) {
            continue;
        }
        let says = format!(
            "The ground relay operated {} while {} was open since {}: a time is wrong or somebody closed it \
             unrecorded; treat as open until looked at.",
            case.when(fact.at),
            case.named(&line.device, stretch.begin),
            case.when(stretch.begin)
        );
        let mark = format!("{}:{}", line.id, fact.entry);
        let looked = looked_at(line, facts, fact.at);
        out.push(
            case.finding(Rule::PositionDoubtful, Some(&line.device), &mark, fact.at)
                .until(looked)
                .weighs(10.0)
                .says(says)
                .rests_on([fact.entry].into_iter().chain(line.entries.iter().copied())),
        );
    }
}

/// The next time somebody wrote how that cutout really stood.
fn looked_at(line: &Bypass, facts: &[&Fact], after: Instant) -> Option<Instant> {
    let looked = facts.iter().filter(|f| match &f.told {
        Told::Position(p) => p.device == line.device && super::occurrence::seen_closed(p.seen).is_some(),
        Told::Bypass(b) => b.device == line.device && f.found,
        _ => false,
    });
    looked.map(|f| f.at).find(|at| *at > after)
}
