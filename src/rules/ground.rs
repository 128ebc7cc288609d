//! Findings about ground protection, all evaluated as of the act. None of them ever ends by an amendment.
use super::{
    authority::authority,
    bypass::{Stretch, bypass, cutouts, stretches},
    case::Case,
    fact::{Fact, Told},
    finding::{Finding, Rule},
    ground_open::{Asks, position_doubtful, second_ground, still_open},
    register::{Authorised, Bypass},
    seal::seal,
};
use crate::{
    base::{Instant, text::own_words},
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
    // By entry, never by page: whose report came in first must leave no trace.
    replaced.sort_by_key(|f| (f.entry, f.seq));
    for (n, old) in replaced.iter().enumerate() {
        let version_of = replaced[..n].iter().filter(|f| f.entry == old.entry).count();
        let mut as_told: Vec<&Fact> = standing.iter().copied().filter(|f| f.entry != old.entry).collect();
        let place = as_told.partition_point(|f| (f.at, f.entry, f.seq) < (old.at, old.entry, old.seq));
        as_told.insert(place, *old);
        keep_withdrawn(case, (old, version_of), version(case, &as_told), &mut now);
    }
    now.bypasses.sort_by_key(|b| (b.begins(), b.id));
    (now.findings, now.bypasses)
}

fn version(case: &Case<'_>, facts: &[&Fact]) -> Version {
    let mut out = Version::default();
    for tag in cutouts(case, facts) {
        for stretch in stretches(facts, tag) {
            let asks = Asks::of(case, &stretch, facts);
            let line = bypass(case, &stretch, &asks);
            judge(case, &stretch, &line, facts, &mut out.findings);
            still_open(case, &stretch, &line, &asks, &mut out.findings);
            out.bypasses.push(line);
        }
        seal(case, tag, facts, &mut out.findings);
    }
    out
}

/// What an earlier version of an entry (its first is 0) gave cause for stays on the register beside what it says now.
fn keep_withdrawn(case: &Case<'_>, (old, version_of): (&Fact, usize), as_told: Version, now: &mut Version) {
    let Some(withdrawn) = &old.withdrawn else { return };
    for mut line in as_told.bypasses.into_iter().filter(|b| b.entries.contains(&old.entry)) {
        let told_still =
            |b: &Bypass| b.device == line.device && b.entries.iter().any(|e| line.entries.contains(e));
        // A review from before the amendment looked at another story.
        if let Some(told) = now.bypasses.iter_mut().find(|b| told_still(b)) {
            told.last_seq = told.last_seq.max(withdrawn.seq);
        } else {
            line.withdrawn = true;
            line.last_seq = line.last_seq.max(withdrawn.seq);
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
            finding.key = format!("{}:was-{}-{version_of}", finding.key, old.entry);
        }
        let when = case.ground.zone.day_in_words(withdrawn.at);
        finding.sentence.push_str(&format!(
            " Withdrawn by amendment of {}, {when}: {}.",
            withdrawn.by,
            own_words(withdrawn.reason.trim_end_matches('.'))
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
        // When it was found is not when it was opened.
        let name = own_words(who);
        let did = match opener.fact.found {
            true => format!("{name} is named as having opened {device}, found open {when},"),
            false => format!("{name} opened {device} {when}"),
        };
        // In quotes, a free name cannot be taken for a sign-in name spelt the same.
        let mark = match opener.hand.person() {
            Some(person) => format!("{}:{person}", line.id),
            None => format!("{}:{who:?}", line.id),
        };
        out.push(
            case.finding(Rule::NotAuthorised, Some(&line.device), &mark, opener.at)
                .weighs(weight)
                .says(format!("{did} and {says}: {}.", judged.why))
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
    let within = case
        .runs
        .iter()
        .filter(|r| r.unit == *case.unit() && r.started < to && after(r.ended.unwrap_or(r.started)));
    let mut runs: Vec<_> = within.collect();
    runs.sort_by_key(|r| (std::cmp::Reverse(r.started), r.report));
    runs.dedup_by_key(|r| (r.started, r.author.clone()));
    if runs.is_empty() {
        return " Nobody is on record as having had the unit in between.".to_owned();
    }
    let one = |r: &&super::fact::RunFact| {
        let run = r.symbol.as_deref().map(|s| format!("{}, ", own_words(s))).unwrap_or_default();
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        fact::{BypassFact, Hand, RunFact, Withdrawn},
        sample::{Railway, at, bypass, device, fact, ground, position, word},
    };

    const TEN: &str = "2026-03-01T10:00:00Z";

    fn railway() -> Railway {
        let mut railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        railway.authorise("a.lind", "2026-02-01", Some("2026-07-31"));
        railway
    }

    fn rules(railway: &Railway, facts: Vec<Fact>) -> Vec<Rule> {
        let mut rules: Vec<_> = findings(railway, facts).iter().map(|f| f.rule).collect();
        rules.dedup();
        rules
    }

    fn findings(railway: &Railway, facts: Vec<Fact>) -> Vec<Finding> {
        railway.judge(Subject::GroundProtection, facts).findings
    }

    /// Opened and closed within the hour, sealed.
    fn opened(change: impl FnOnce(&mut BypassFact)) -> Fact {
        bypass(TEN, "GRC", |b| {
            b.closed_at = Some(at("2026-03-01T10:50:00Z"));
            b.closed_by = Some(Hand::Person("a.lind".into()));
            b.seal_applied = Some("20433".into());
            change(b);
        })
    }

    fn by(person: &str) -> Hand {
        Hand::Person(person.into())
    }

    fn run(author: &str, from: &str, to: &str) -> RunFact {
        RunFact {
            report: crate::base::ReportId(uuid::Uuid::from_u64_pair(9, from.len() as u64)),
            unit: "QHB 412".into(),
            author: author.into(),
            started: at(from),
            ended: Some(at(to)),
            symbol: Some("K17".into()),
            moved: true,
            position: None,
        }
    }

    #[test]
    fn an_opening_in_order_finds_nothing() {
        assert_eq!(rules(&railway(), vec![opened(|_| {})]), []);
    }

    #[test]
    fn own_right_ordered_or_neither() {
        // Vector V21, corrected: it concerns the person who opened; a named authoriser without a right is a note.
        let mut railway = railway();
        railway.authorise("old.hand", "2025-02-01", Some("2026-01-31"));
        railway.authorise("late", "2026-01-01", None).recorded_at = at("2026-03-01T10:00:00Z");
        railway.authorise("listed", "2026-01-01", None).recorded_at = at("2026-06-01T10:00:00Z");
        let listed = railway.people.authorisations.len() - 1;
        std::sync::Arc::get_mut(&mut railway.people.authorisations[listed]).unwrap().from_list = true;
        let scope = crate::people::authorisation::Scope::Classes(vec!["C9".into()]);
        railway.authorise("elsewhere", "2026-01-01", None).scope = scope;
        for (opener, orderer, want, why) in [
            (by("a.lind"), None, "own_right", "authorised 1 February 2026 to 31 July 2026 by m.ruiz"),
            (
                by("a.lind"),
                Some(by("x")),
                "own_right",
                "; note: x, named as authorising it: no authorisation",
            ),
            (by("listed"), None, "own_right", "(from a list entered on 1 June 2026 by m.ruiz)"),
            (by("b.sato"), Some(by("a.lind")), "ordered", "no authorisation in the book; ordered by a.lind"),
            (by("b.sato"), None, "neither", "no authorisation in the book"),
            (by("b.sato"), Some(by("x")), "neither", "x, named as ordering it: no authorisation in the book"),
            (by("old.hand"), None, "neither", "authorisation ended 31 January 2026"),
            (by("late"), None, "neither", "after the act"),
            (by("elsewhere"), None, "neither", "authorised for other classes, not for class C1"),
            (Hand::Named("a contractor".into()), None, "neither", "no sign-in name"),
        ] {
            let named = opener.in_words().to_owned();
            let facts = vec![opened(|b| (b.by, b.authorised_by) = (opener, orderer))];
            let judged = railway.judge(Subject::GroundProtection, facts);
            let line = &judged.bypasses[0];
            assert_eq!(line.authorised.as_str(), want, "{named}");
            assert!(line.authorised_why.contains(why), "{}", line.authorised_why);
            let found = judged.findings.iter().filter(|f| f.rule == Rule::NotAuthorised).count();
            assert_eq!(found, usize::from(want != "own_right"), "{named}");
        }
    }

    #[test]
    fn later_revocation_changes_nothing_and_closing_is_open_to_anyone() {
        let mut railway = railway();
        railway.authorise("gone", "2026-01-01", None).revoked_at = Some(at("2026-03-02T00:00:00Z"));
        assert_eq!(rules(&railway, vec![opened(|b| b.by = by("gone"))]), []);
        assert_eq!(rules(&railway, vec![opened(|b| b.closed_by = Some(by("b.sato")))]), []);
    }

    #[test]
    fn two_tellers_who_name_two_people_have_both_judged() {
        let other = opened(|b| b.by = by("b.sato"));
        let found = findings(&railway(), vec![opened(|_| {}), other]);
        let named: Vec<_> = found.iter().filter(|f| f.rule == Rule::NotAuthorised).collect();
        assert_eq!(named.len(), 1);
        assert!(named[0].sentence.starts_with("b.sato opened GRC (GRC LEGEND) 1 Mar 2026 04:00 -06:00"));
    }

    #[test]
    fn found_open_says_who_had_the_unit_since_it_was_seen_closed() {
        let mut seen = position("2026-02-27T08:00:00Z", "GRC", "closed", None);
        seen.author = "z.ode".into();
        let found = bypass(TEN, "GRC", |b| (b.by, b.purpose) = (Hand::NotKnown, Some(word("none_given"))));
        let facts = vec![seen, Fact { found: true, ..found }];
        let runs = [
            run("early", "2026-02-26T08:00:00Z", "2026-02-26T20:00:00Z"),
            run("c.rey", "2026-02-28T08:00:00Z", "2026-02-28T20:00:00Z"),
        ];
        let judged = railway().judge_with(Subject::GroundProtection, facts, &runs);
        let nobody = judged.findings.iter().find(|f| f.rule == Rule::NobodyNamed).unwrap();
        assert_eq!(
            nobody.sentence,
            "GRC (GRC LEGEND) found open 1 Mar 2026 04:00 -06:00 by n.okafor; who opened it is not known. \
             Last known closed 27 Feb 2026 02:00 -06:00 by z.ode. Had the unit in between: \
             c.rey (K17, 28 Feb 2026 02:00 -06:00)."
        );
    }

    fn asks(facts: Vec<Fact>, runs: &[RunFact]) -> Option<(String, Option<String>)> {
        let judged = railway().judge_with(Subject::GroundProtection, facts, runs);
        let found = judged.findings.into_iter().find(|f| f.rule == Rule::StillOpen)?;
        let short = |at: Instant| at.to_z()[8..16].to_owned();
        Some((short(found.since), found.until.map(short)))
    }

    #[test]
    fn when_the_book_starts_asking() {
        let ask = |since: &str, until: Option<&str>| Some((since.to_owned(), until.map(str::to_owned)));
        let open = |change: &dyn Fn(&mut BypassFact)| bypass(TEN, "GRC", |b| change(b));
        let none = |b: &mut BypassFact| b.protection = Some(word("none"));
        assert_eq!(asks(vec![open(&|_| {})], &[]), ask("01T18:00", None), "locked, engine shut down: 8 h");
        assert_eq!(asks(vec![open(&none)], &[]), ask("01T11:00", None), "otherwise an hour");
        assert_eq!(asks(vec![open(&|b| b.engine_running = YesNo::NotKnown)], &[]), ask("01T11:00", None));
        assert_eq!(asks(vec![open(&|b| b.engine_running = YesNo::Yes)], &[]), ask("01T10:00", None));
        assert_eq!(asks(vec![open(&|b| b.power_taken = YesNo::Yes)], &[]), ask("01T10:00", None));
        for (purpose, want) in [
            (Some("insulation_test"), "01T18:00"),
            (Some("locating_ground"), "01T18:00"),
            (Some("repair"), "01T18:00"),
            (Some("to_keep_moving"), "01T10:00"),
            (Some("other"), "01T11:00"),
            (Some("none_given"), "01T11:00"),
            (Some("not_known"), "01T11:00"),
            (None, "01T11:00"),
        ] {
            let locked = open(&|b| b.purpose = purpose.map(word));
            assert_eq!(asks(vec![locked], &[]), ask(want, None), "under lock, for {purpose:?}");
        }
        let closed = |when: &'static str| {
            move |b: &mut BypassFact| {
                b.protection = None;
                b.closed_at = Some(at(when));
            }
        };
        assert_eq!(asks(vec![open(&closed("2026-03-01T11:00:00Z"))], &[]), None);
        assert_eq!(asks(vec![open(&closed("2026-03-01T12:00:00Z"))], &[]), ask("01T11:00", Some("01T12:00")));
        let judged = railway().judge(Subject::GroundProtection, vec![open(&closed("2026-03-01T11:45:00Z"))]);
        let found = judged.findings.iter().find(|f| f.rule == Rule::StillOpen).unwrap();
        assert_eq!(
            found.sentence,
            "GRC (GRC LEGEND) open since 1 Mar 2026 04:00 -06:00, for more than an hour. \
             Closed 1 Mar 2026 05:45 -06:00, after 1 h 45 min."
        );
    }

    #[test]
    fn release_and_a_run_ask_at_once_and_an_inspection_finds_it() {
        // Vector V24: open at a daily inspection (here: two hours later), and released to service.
        let ask = |since: &str| Some((since.to_owned(), None));
        let open = || bypass(TEN, "GRC", |_| {});
        let released = fact("2026-03-01T12:00:00Z", Told::Released);
        assert_eq!(asks(vec![open(), released], &[]), ask("01T12:00"));
        let run = run("c.rey", "2026-03-01T13:00:00Z", "2026-03-01T20:00:00Z");
        assert_eq!(asks(vec![open()], &[run]), ask("01T13:00"));
        let mut seen = position("2026-03-01T12:00:00Z", "GRC", "open", None);
        seen.engine = YesNo::Yes;
        assert_eq!(asks(vec![open(), seen], &[]), ask("01T12:00"), "seen open with the engine running");
    }

    #[test]
    fn a_second_ground_is_the_highest_of_all() {
        // Vector V22: cutout open and a new ground indication on the same unit.
        let during = ground("2026-03-01T10:20:00Z", 1);
        let found = findings(&railway(), vec![opened(|_| {}), during]);
        assert_eq!(found.iter().map(|f| f.rule).collect::<Vec<_>>(), [Rule::PositionDoubtful]);
        assert!(found[0].severity >= 10.0);
        for (after, want) in [("2026-03-02T10:50:00Z", true), ("2026-03-02T10:50:01Z", false)] {
            let found = rules(&railway(), vec![opened(|_| {}), ground(after, 1)]);
            assert_eq!(found.contains(&Rule::SecondGround), want, "{after}");
        }
        let mut smoke = fact("2026-03-01T10:30:00Z", Told::Shutdown { cause: None, warning_notice: None });
        smoke.signs = Some(word("smoke"));
        assert_eq!(rules(&railway(), vec![opened(|_| {}), smoke]), [Rule::SecondGround]);
        let power = opened(|b| b.power_taken = YesNo::Yes);
        assert_eq!(rules(&railway(), vec![power]), [Rule::SecondGround, Rule::StillOpen]);
    }

    #[test]
    fn doubt_ends_when_somebody_looked() {
        let open = bypass(TEN, "GRC", |_| {});
        let looked = position("2026-03-01T12:00:00Z", "GRC", "open", None);
        let found = findings(&railway(), vec![open, ground("2026-03-01T11:00:00Z", 1), looked]);
        let doubt = found.iter().find(|f| f.rule == Rule::PositionDoubtful).unwrap();
        assert_eq!(
            (doubt.since, doubt.until),
            (at("2026-03-01T11:00:00Z"), Some(at("2026-03-01T12:00:00Z")))
        );
    }

    #[test]
    fn purpose_authority_and_order() {
        // Vector V23, corrected: kept and flagged as wrong_order, never refused.
        let running = opened(|b| b.engine_running = YesNo::Yes);
        assert_eq!(rules(&railway(), vec![running]), [Rule::StillOpen, Rule::WrongOrder]);
        let moving = opened(|b| b.purpose = Some(Purpose::ToKeepMoving));
        let found = findings(&railway(), vec![moving]);
        assert_eq!((found[0].rule, found[0].severity), (Rule::NoPurpose, 8.0));
        assert_eq!(rules(&railway(), vec![opened(|b| b.purpose = None)]), [Rule::NoPurpose]);
        let nobody = opened(|b| b.by = by("b.sato"));
        assert_eq!(rules(&railway(), vec![nobody]), [Rule::NoAuthority, Rule::NotAuthorised]);
    }

    #[test]
    fn seals_must_follow_on_one_another() {
        let sealed = |when: &str, seal: &str| {
            let mut seen = position(when, "GRC", "closed", None);
            if let Told::Position(p) = &mut seen.told {
                p.seal = Some(seal.into());
            }
            seen
        };
        let before = || sealed("2026-02-01T10:00:00Z", "20417");
        let seals = |facts| {
            let found = findings(&railway(), facts);
            found.into_iter().filter(|f| f.rule == Rule::Seal).map(|f| f.sentence).collect::<Vec<_>>()
        };
        let found = |seal: &str| opened(|b| b.seal_found = Some(seal.into()));
        assert_eq!(seals(vec![found("20417")]), Vec::<String>::new(), "the first number is the baseline");
        assert_eq!(seals(vec![before(), found("20417")]), Vec::<String>::new());
        assert!(
            seals(vec![before(), found("20418")])[0].contains("found 20418, the one last on record is 20417")
        );
        let broken = sealed("2026-02-05T10:00:00Z", "broken");
        assert!(seals(vec![before(), broken.clone()])[0].contains("found broken with no opening on record"));
        assert_eq!(seals(vec![broken]), Vec::<String>::new(), "nobody knows that there was one");
        assert!(seals(vec![opened(|b| b.seal_applied = None)])[0].contains("no seal written down"));
        assert!(seals(vec![opened(|b| b.seal_applied = Some("none".into()))])[0].contains("no seal applied"));
        let after = sealed("2026-03-05T10:00:00Z", "99");
        assert!(seals(vec![found("20417"), after])[0].contains("found 99, the one last on record is 20433"));
    }

    #[test]
    fn what_was_withdrawn_stays_on_the_register() {
        let first = opened(|b| b.by = by("b.sato"));
        let withdrawn = |fact: &Fact| Fact {
            withdrawn: Some(Withdrawn {
                seq: 1_000_000_000,
                by: "b.sato".into(),
                at: at("2026-03-03T10:00:00Z"),
                reason: "wrong unit".into(),
            }),
            ..fact.clone()
        };
        let judged = railway().judge(Subject::GroundProtection, vec![withdrawn(&first)]);
        assert!(judged.bypasses.len() == 1 && judged.bypasses[0].withdrawn);
        assert_eq!(
            judged.bypasses[0].last_seq, 1_000_000_000,
            "a review before the amendment no longer counts"
        );
        let not_authorised = judged.findings.iter().find(|f| f.rule == Rule::NotAuthorised).unwrap();
        assert!(
            not_authorised.sentence.ends_with("Withdrawn by amendment of b.sato, 3 March 2026: wrong unit.")
        );
        assert_eq!(not_authorised.until, None);

        // Amended to name somebody who held the right: the line is one, the finding stays.
        let mut second = Fact { seq: 900, ..opened(|_| {}) };
        second.entry = first.entry;
        let judged = railway().judge(Subject::GroundProtection, vec![withdrawn(&first), second]);
        assert_eq!(judged.bypasses.len(), 1);
        assert!(!judged.bypasses[0].withdrawn && judged.bypasses[0].authorised == Authorised::OwnRight);
        assert_eq!(judged.findings.iter().filter(|f| f.rule == Rule::NotAuthorised).count(), 1);
    }
}
