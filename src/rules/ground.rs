//! Findings about ground protection, all evaluated as of the act. None of them ever ends by an amendment.
use super::{
    authority::authority,
    bypass::{Stretch, bypass, cutouts, stretches},
    case::Case,
    fact::{Fact, Told},
    finding::{Finding, Rule},
    ground_open::{position_doubtful, second_ground, still_open},
    register::{Authorised, Bypass},
    seal::seal,
};
use crate::{
    base::{EntryId, Instant, SignIn},
    people::People,
    reports::vocabulary::{Purpose, YesNo},
};

/// One version of what was told, judged.
#[derive(Default)]
struct Version {
    findings: Vec<Finding>,
    bypasses: Vec<Bypass>,
}

pub fn ground_protection(case: &Case<'_>) -> (Vec<Finding>, Vec<Bypass>) {
    let standing: Vec<&Fact> = case.standing().collect();
    let mut now = version(case, &standing);
    let mut replaced: Vec<&Fact> = case.facts.iter().filter(|f| f.withdrawn.is_some()).collect();
    replaced.sort_by_key(|f| f.seq);
    for old in replaced {
        let mut as_told: Vec<&Fact> = standing.iter().copied().filter(|f| f.entry != old.entry).collect();
        let place = as_told.partition_point(|f| (f.at, f.entry, f.seq) < (old.at, old.entry, old.seq));
        as_told.insert(place, old);
        keep_withdrawn(case, old, version(case, &as_told), &mut now);
    }
    now.bypasses.sort_by_key(|b| (b.begins(), b.id));
    (now.findings, now.bypasses)
}

fn version(case: &Case<'_>, facts: &[&Fact]) -> Version {
    let mut out = Version::default();
    for tag in cutouts(case, facts) {
        for stretch in stretches(facts, tag) {
            let line = bypass(case, &stretch);
            judge(case, &stretch, &line, facts, &mut out.findings);
            out.bypasses.push(line);
        }
        seal(case, tag, facts, &mut out.findings);
    }
    out
}

/// What an earlier version of an entry gave cause for stays on the register beside what it says now.
fn keep_withdrawn(case: &Case<'_>, old: &Fact, as_told: Version, now: &mut Version) {
    let Some(withdrawn) = &old.withdrawn else { return };
    for mut line in as_told.bypasses.into_iter().filter(|b| b.entries.contains(&old.entry)) {
        let told_still =
            |b: &Bypass| b.device == line.device && b.entries.iter().any(|e| line.entries.contains(e));
        if !now.bypasses.iter().any(told_still) {
            line.withdrawn = true;
            now.bypasses.push(line);
        }
    }
    for mut finding in as_told.findings.into_iter().filter(|f| f.entries.contains(&old.entry)) {
        let never_stood = withdrawn.at <= finding.since;
        let same = |f: &Finding| f.key == finding.key && f.sentence == finding.sentence;
        if never_stood || now.findings.iter().any(same) {
            continue;
        }
        if now.findings.iter().any(|f| f.key == finding.key) {
            finding.key = format!("{}:page-{}", finding.key, old.seq);
        }
        let when = case.ground.zone.day_in_words(withdrawn.at);
        finding.sentence.push_str(&format!(
            " Withdrawn by amendment of {}, {when}: {}.",
            withdrawn.by,
            withdrawn.reason.trim_end_matches('.')
        ));
        finding.until = None;
        finding.figures.insert("withdrawn".to_owned(), true.into());
        now.findings.push(finding);
    }
}

fn judge(case: &Case<'_>, stretch: &Stretch<'_>, line: &Bypass, facts: &[&Fact], out: &mut Vec<Finding>) {
    not_authorised(case, stretch, line, out);
    nobody_named(case, stretch, line, out);
    purpose(case, stretch, line, out);
    no_authority(case, stretch, line, out);
    wrong_order(case, stretch, line, out);
    still_open(case, stretch, line, facts, out);
    second_ground(case, stretch, line, facts, out);
    position_doubtful(case, stretch, line, facts, out);
}

/// The blank form for one bypass.
pub fn about(case: &Case<'_>, rule: Rule, line: &Bypass, since: Instant) -> Finding {
    case.finding(rule, Some(&line.device), &line.id.to_string(), since).rests_on(line.entries.iter().copied())
}

/// Everybody told to have opened it is judged, each once: two tellers may name two people.
fn not_authorised(case: &Case<'_>, stretch: &Stretch<'_>, line: &Bypass, out: &mut Vec<Finding>) {
    for (i, opener) in stretch.openers.iter().enumerate() {
        if stretch.openers[..i].iter().any(|o| o.hand == opener.hand) {
            continue;
        }
        let ordered_by = match &opener.fact.told {
            Told::Bypass(told) => told.authorised_by.as_ref().filter(|h| h.is_known()),
            _ => None,
        };
        let judged = authority(case, opener.hand, opener.at, ordered_by.or(stretch.authorised_by()));
        let (says, weight) = match judged.authorised {
            Authorised::OwnRight | Authorised::NotKnown => continue,
            Authorised::Ordered => ("held no right of their own, and was ordered by one who holds it", 4.0),
            Authorised::Neither => ("held no right, nor did anyone who ordered it", 7.0),
        };
        let who = opener.hand.in_words();
        let device = case.named(&line.device, opener.at);
        let when = case.when(opener.at);
        let mark = format!("{}:{who}", line.id);
        out.push(
            case.finding(Rule::NotAuthorised, Some(&line.device), &mark, opener.at)
                .weighs(weight)
                .says(format!("{who} opened {device} {when} and {says}: {}.", judged.why))
                .rests_on([opener.fact.entry].into_iter().chain(line.entries.iter().copied()))
                .figure("authorised", judged.authorised.as_str()),
        );
    }
}

fn nobody_named(case: &Case<'_>, stretch: &Stretch<'_>, line: &Bypass, out: &mut Vec<Finding>) {
    if line.opened_by.is_known() {
        return;
    }
    let device = case.named(&line.device, stretch.begin);
    let begin = case.when(stretch.begin);
    let mut says = match &line.found_by {
        Some(by) => format!("{device} found open {begin} by {by}; who opened it is not known."),
        None => format!("{device} opened {begin}; by whom is not known."),
    };
    match &stretch.last_closed {
        Some((at, fact)) => {
            says.push_str(&format!(" Last known closed {} by {}.", case.when(*at), fact.author))
        }
        None => says.push_str(" The book does not know when it was last closed."),
    }
    says.push_str(&had_the_unit(case, stretch.last_closed.map(|(at, _)| at), stretch.begin));
    let span = stretch.last_closed.map(|(at, _)| stretch.begin.hours_since(at));
    let mut finding = about(case, Rule::NobodyNamed, line, stretch.begin).weighs(7.0).says(says);
    if let Some(hours) = span {
        finding = finding.figure("hours_since_closed", (hours * 10.0).round() / 10.0);
    }
    out.push(finding);
}

/// Who had the unit between two moments; the last few where the first is not known.
fn had_the_unit(case: &Case<'_>, from: Option<Instant>, to: Instant) -> String {
    const SHOWN: usize = 5;
    let after = |end: Instant| from.is_none_or(|from| end > from);
    let within = case.runs.iter().filter(|r| r.started < to && after(r.ended.unwrap_or(r.started)));
    let mut runs: Vec<_> = within.collect();
    runs.sort_by_key(|r| (std::cmp::Reverse(r.started), r.report));
    runs.dedup_by_key(|r| (r.started, r.author.clone()));
    if runs.is_empty() {
        return " Nobody is on record as having had the unit in between.".to_owned();
    }
    let one = |r: &&super::fact::RunFact| {
        let run = r.symbol.as_deref().map(|s| format!("{s}, ")).unwrap_or_default();
        format!("{} ({run}{})", r.author, case.when(r.started))
    };
    let shown: Vec<String> = runs.iter().take(SHOWN).map(one).collect();
    let more = runs.len().saturating_sub(SHOWN);
    let more = if more > 0 { format!(", and {more} before") } else { String::new() };
    format!(" Had the unit in between: {}{more}.", shown.join(", "))
}

fn purpose(case: &Case<'_>, stretch: &Stretch<'_>, line: &Bypass, out: &mut Vec<Finding>) {
    let device = || case.named(&line.device, stretch.begin);
    if stretch.tellings().any(|t| t.purpose == Some(Purpose::ToKeepMoving)) {
        let says = format!(
            "{} opened to keep moving, {}. Opening it makes nothing dead and silences the warning; \
             a second ground does damage at once.",
            device(),
            case.when(stretch.begin)
        );
        let finding = about(case, Rule::NoPurpose, line, stretch.begin).weighs(8.0).says(says);
        out.push(finding.figure("purpose", Purpose::ToKeepMoving.as_str()));
    } else if line.purpose.is_none() {
        let says = format!("No purpose given for the opening of {} {}.", device(), case.when(stretch.begin));
        out.push(about(case, Rule::NoPurpose, line, stretch.begin).weighs(3.0).says(says));
    }
}

/// Whoever holds the right needs nobody's order; where nobody is named, that is the finding.
fn no_authority(case: &Case<'_>, stretch: &Stretch<'_>, line: &Bypass, out: &mut Vec<Finding>) {
    if line.authorised == Authorised::Neither && line.authorised_by.is_none() {
        let device = case.named(&line.device, stretch.begin);
        let says = format!("No authority given for the opening of {device} {}.", case.when(stretch.begin));
        out.push(about(case, Rule::NoAuthority, line, stretch.begin).weighs(3.0).says(says));
    }
}

fn wrong_order(case: &Case<'_>, stretch: &Stretch<'_>, line: &Bypass, out: &mut Vec<Finding>) {
    let running = |t: &super::fact::BypassFact| {
        t.purpose == Some(Purpose::InsulationTest) && t.engine_running == YesNo::Yes
    };
    if stretch.tellings().any(running) {
        let says = format!(
            "{} opened {} for an insulation test with the engine running: the test is made with the engine shut down.",
            case.named(&line.device, stretch.begin),
            case.when(stretch.begin)
        );
        out.push(about(case, Rule::WrongOrder, line, stretch.begin).weighs(6.0).says(says));
    }
}

/// A signed review, as *same_hand* needs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reviewed {
    pub bypass: EntryId,
    pub by: SignIn,
    pub at: Instant,
}

/// Reviews by somebody with a hand in the bypass. The desk refuses them; an import may bring them.
pub fn same_hand(case: &Case<'_>, lines: &[Bypass], reviews: &[Reviewed]) -> Vec<Finding> {
    let mut out = Vec::new();
    for line in lines {
        for review in reviews.iter().filter(|r| r.bypass == line.id && line.hands.contains(&r.by)) {
            let says = format!(
                "{} reviewed the opening of {} of {} and had a hand in it: opened, closed, authorised or granted.",
                review.by,
                case.named(&line.device, line.begins()),
                case.when(line.begins())
            );
            let mark = format!("{}:{}", line.id, review.by);
            let finding = case.finding(Rule::SameHand, Some(&line.device), &mark, review.at);
            out.push(finding.weighs(6.0).says(says).rests_on(line.entries.iter().copied()));
        }
    }
    out
}

/// Whether somebody may review a bypass: a supervisor's act, and not by a hand in it. The desk asks first.
pub fn may_review(line: &Bypass, person: &SignIn, people: &People) -> bool {
    let may = people.person(person).and_then(|p| p.permit(crate::people::Act::ReviewBypass)).is_some();
    may && !line.hands.contains(person)
}
