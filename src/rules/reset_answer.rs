//! May this tripped device be closed again? From the schedule and what all crews wrote. It never says that
//! closing is without danger, only what the book and the schedule have against it.
use super::{
    answer_words::{self as words, fill},
    fact::{Fact, Told},
    occurrence::{operations, seen_closed},
    reclosed::{by_crew, reclosings, window},
};
use crate::{
    base::{
        Instant, SignIn, Zone,
        instant::{HOUR, SECOND},
        text::count,
    },
    people::People,
    reports::vocabulary::{Left, ResetResult, Signs},
    roster::Device,
};

pub use super::answer_words::{ALWAYS, RESET_DEFERS as DEFERS};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Allowed,
    WaitUntil(Instant),
    DoNot,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ResetAnswer {
    pub verdict: Verdict,
    /// The answer with its reason, in a sentence or two.
    pub says: String,
    /// What the schedule says to do before and after closing, and if it is left off.
    pub before: Option<String>,
    pub after: Option<String>,
    pub if_left_off: Option<String>,
    /// The picture is older than the hours in which the schedule counts.
    pub others_not_known: bool,
    pub always: &'static str,
    pub defers: &'static str,
}

#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The schedule's row; `None`: not on the schedule, or the unit not on the roster.
    pub device: Option<&'a Device>,
    /// All that is known of this device on this unit, the tablet's own queue included.
    pub facts: &'a [Fact],
    /// Who asks: resets by anybody else are said to be others'.
    pub me: &'a SignIn,
    /// Whose closings count as a crew's own.
    pub people: &'a People,
    /// What they have just ticked on the form that is open: a sign of burning, heat, arcing or water decides.
    pub ticked: &'a [Signs],
    /// The trip they ask about, if it is not among the facts yet.
    pub tripped_at: Option<Instant>,
    /// When these facts were fetched.
    pub picture_from: Instant,
    pub now: Instant,
    pub zone: &'a Zone,
}

pub fn reset_answer(asked: &Asked<'_>) -> ResetAnswer {
    let (verdict, mut says) = decide(asked);
    let hours = window(asked.device.and_then(|d| d.crew_resets.hours));
    let others_not_known = asked.now.since(asked.picture_from) > hours;
    if others_not_known {
        says.push_str(words::OLD);
    }
    let line = |of: fn(&Device) -> Option<&String>| asked.device.and_then(of).cloned();
    ResetAnswer {
        verdict,
        says,
        before: line(|d| d.before_closing.as_ref()),
        after: line(|d| d.after_closing.as_ref()),
        if_left_off: line(|d| d.if_left_off.as_ref()),
        others_not_known,
        always: ALWAYS,
        defers: DEFERS,
    }
}

fn decide(asked: &Asked<'_>) -> (Verdict, String) {
    let repaired = asked.facts.iter().filter(|f| matches!(f.told, Told::RepairClosed { .. }));
    let repaired = repaired.map(|f| f.at).filter(|at| *at <= asked.now).max().unwrap_or(Instant(i64::MIN));
    let since_repair: Vec<&Fact> = asked
        .facts
        .iter()
        .filter(|f| f.withdrawn.is_none() && f.at >= repaired && f.at <= asked.now)
        .collect();
    let refused = |says: &str| (Verdict::DoNot, says.to_owned());
    if let Some(sign) = asked.ticked.iter().find(|sign| is_bad(**sign)) {
        return refused(&fill(words::TICKED, &[sign]));
    }
    let unmended = unmended(asked, &since_repair);
    if let Some(says) = signs(asked, &since_repair, unmended.map(|u| u.first)) {
        return refused(&says);
    }
    if let Some(unmended) = unmended {
        return (Verdict::DoNot, unmended.says(asked.zone));
    }
    let Some(device) = asked.device else {
        return refused(words::NOT_LISTED);
    };
    match device.crew_resets.times {
        None => refused(words::NOT_SAID),
        Some(0) => refused(words::SHOP_ONLY),
        Some(times) => by_count(asked, device, times, &since_repair),
    }
}

fn is_bad(sign: Signs) -> bool {
    matches!(sign, Signs::Smell | Signs::Smoke | Signs::Heat | Signs::Arcing | Signs::Water)
}

/// Burning, heat, arcing or water overrules any count: within the schedule's hours, on the last operation, or
/// from the trip on that nobody has written to be mended.
fn signs(asked: &Asked<'_>, facts: &[&Fact], unmended: Option<usize>) -> Option<String> {
    let hours = window(asked.device.and_then(|d| d.crew_resets.hours)).max(24 * HOUR);
    let last = facts.iter().rposition(|f| operations(f) > 0);
    let from = unmended.or(last);
    let counts = |i: usize, f: &Fact| {
        asked.now.since(f.at) <= hours || Some(i) == last || from.is_some_and(|from| from <= i)
    };
    let (sign, fact) = facts
        .iter()
        .enumerate()
        .rev()
        .find_map(|(i, f)| f.signs.filter(|s| is_bad(*s) && counts(i, f)).map(|s| (s, f)))?;
    Some(fill(words::SIGN, &[&sign, &asked.zone.in_words(fact.at)]))
}

/// A trip after which nobody wrote that the device was mended or stood on again.
#[derive(Clone, Copy, Debug)]
struct Unmended {
    how: How,
    at: Instant,
    /// The fact's place: signs from here on still count.
    first: usize,
}

#[derive(Clone, Copy, Debug)]
enum How {
    TrippedAgain,
    WouldNotLatch,
    Left(Left),
}

impl Unmended {
    fn says(self, zone: &Zone) -> String {
        let (did, more) = match self.how {
            How::TrippedAgain => (words::TRIPPED_AGAIN, ""),
            How::WouldNotLatch => (words::WOULD_NOT_LATCH, words::NEVER_HOLD),
            How::Left(Left::Off) => (words::LEFT_OFF, ""),
            How::Left(Left::CutOut) => (words::LEFT_CUT_OUT, ""),
            How::Left(_) => (words::LEFT_TRIPPED, ""),
        };
        fill(words::UNMENDED, &[&did, &zone.in_words(self.at), &more])
    }
}

/// How the last known trip ended, if badly, whatever the hours: a failed reset is not forgotten overnight. The
/// trip asked about, when it is among the facts, is judged by its resets alone: that it is off is the question.
fn unmended(asked: &Asked<'_>, facts: &[&Fact]) -> Option<Unmended> {
    let is_trip = |f: &&Fact| matches!(f.told, Told::Trip { .. });
    let asked_about = facts.iter().rposition(is_trip).filter(|_| asked.tripped_at.is_none());
    let mut open: Option<Unmended> = None;
    for (first, fact) in facts.iter().enumerate() {
        match &fact.told {
            Told::Trip { .. } => match (ended_badly(fact), open) {
                (Some((How::Left(_), _)), _) if Some(first) == asked_about => {}
                // Still as it was: what was tried before says more.
                (Some((How::Left(_), _)), Some(_)) => {}
                (Some((how, at)), _) => open = Some(Unmended { how, at, first }),
                (None, _) => open = None,
            },
            Told::Position(p) if seen_closed(p.seen) == Some(true) => open = None,
            Told::Position(p) if p.closed() && !by_crew(fact, p, asked.people) => open = None,
            _ => {}
        }
    }
    open
}

fn ended_badly(fact: &Fact) -> Option<(How, Instant)> {
    let Told::Trip { resets, left, .. } = &fact.told else { return None };
    let last = resets.last();
    let at = last.and_then(|r| r.at).unwrap_or(fact.at);
    match last.and_then(|r| r.result) {
        Some(ResetResult::TrippedAgain) => Some((How::TrippedAgain, at)),
        Some(ResetResult::WouldNotLatch) => Some((How::WouldNotLatch, at)),
        _ if matches!(left, Left::Off | Left::Tripped | Left::CutOut) => Some((How::Left(*left), fact.at)),
        _ => None,
    }
}

fn by_count(asked: &Asked<'_>, device: &Device, times: u32, facts: &[&Fact]) -> (Verdict, String) {
    let hours = window(device.crew_resets.hours);
    let within = |at: Instant| at <= asked.now && asked.now.since(at) <= hours;
    let closings = reclosings(facts.iter().copied(), asked.people);
    let made: Vec<_> = closings.iter().filter(|r| r.is_crews_own() && within(r.at)).collect();
    let n = u32::try_from(made.len()).unwrap_or(u32::MAX);
    if let Some(first) = made.first().filter(|_| n >= times) {
        let author = |entry| facts.iter().find(|f| f.entry == entry).map(|f| &f.author);
        let others = made.iter().filter(|r| author(r.entry) != Some(asked.me)).count() as u64;
        let times_of = |n| count(n, "time", "times");
        let by_others =
            if others == 0 { String::new() } else { fill(words::BY_OTHERS, &[&times_of(others)]) };
        let since = asked.zone.in_words(first.at);
        let says =
            fill(words::USED_UP, &[&times_of(u64::from(n)), &since, &by_others, &times, &(hours / HOUR)]);
        return (Verdict::DoNot, says);
    }
    let trips: u32 = facts.iter().filter(|f| within(f.at)).map(|f| operations(f)).sum();
    let trips = trips + u32::from(asked.tripped_at.is_some());
    let left = times - n;
    let allowed = count(u64::from(left), "reset", "resets");
    let (wait, after) =
        (wait_words(device.crew_resets.wait_s), if left > 1 { words::AFTER_THAT } else { "" });
    let says = fill(words::ALLOWED, &[&allowed, &nth(trips.max(1)), &(hours / HOUR), &wait, &after]);
    (waiting(asked, device, facts).map_or(Verdict::Allowed, Verdict::WaitUntil), says)
}

/// Until when the device has to cool, if that is still to come.
fn waiting(asked: &Asked<'_>, device: &Device, facts: &[&Fact]) -> Option<Instant> {
    let wait = i64::from(device.crew_resets.wait_s?) * SECOND;
    let resets = facts.iter().flat_map(|f| match &f.told {
        Told::Trip { resets, .. } => resets.as_slice(),
        _ => &[],
    });
    let again = resets.filter(|r| r.result == Some(ResetResult::TrippedAgain)).filter_map(|r| r.at);
    let operated = facts.iter().filter(|f| operations(f) > 0).map(|f| f.at);
    let last = operated.chain(again).chain(asked.tripped_at).filter(|at| *at <= asked.now).max()?;
    Some(last.plus(wait)).filter(|until| *until > asked.now)
}

fn wait_words(seconds: Option<u32>) -> String {
    let wait = match seconds.map(u64::from) {
        None | Some(0) => return String::new(),
        Some(seconds) if seconds % 60 == 0 => count(seconds / 60, "minute", "minutes"),
        Some(seconds) => count(seconds, "second", "seconds"),
    };
    fill(words::WAIT, &[&wait])
}

fn nth(n: u32) -> String {
    match n {
        1 => "first".to_owned(),
        2 => "second".to_owned(),
        3 => "third".to_owned(),
        n => format!("{n}th"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        reports::vocabulary::Left,
        roster::schedule::CrewResets,
        rules::{
            Dossier,
            sample::{at, device, position, repair, reset, trip, trip_with, word},
        },
    };

    const NOW: &str = "2026-03-02T12:00:00Z";

    fn ask(times: Option<u32>, wait_s: Option<u32>, facts: Vec<Fact>) -> ResetAnswer {
        ask_of(device("TC2", |d| d.crew_resets = CrewResets { times, hours: Some(24.0), wait_s }), facts, NOW)
    }

    fn ask_of(device: Device, facts: Vec<Fact>, picture_from: &str) -> ResetAnswer {
        let facts = Dossier::of(facts);
        let zone = Zone::utc();
        let answer = reset_answer(&Asked {
            device: Some(&device),
            facts: facts.facts(),
            me: &"n.okafor".into(),
            people: &People::default(),
            ticked: &[],
            tripped_at: None,
            picture_from: at(picture_from),
            now: at(NOW),
            zone: &zone,
        });
        let all = format!("{} {} {}", answer.says, answer.always, answer.defers);
        assert!(!all.to_lowercase().contains("safe") && !all.to_lowercase().contains("fit "), "{all}");
        answer
    }

    fn reset_at(trip_at: &str, when: &str, by: &str) -> Fact {
        Fact { author: by.into(), ..trip_with(trip_at, "TC2", vec![reset(when, "held")], Left::On) }
    }

    #[test]
    fn the_schedule_and_all_crews_entries_decide() {
        let now_trip = || trip("2026-03-02T11:59:00Z", "TC2", Left::Tripped);
        let once = || reset_at("2026-03-01T14:10:00Z", "2026-03-01T14:12:00Z", "c.rey");
        let old = || reset_at("2026-03-01T11:50:00Z", "2026-03-01T11:55:00Z", "c.rey");
        let mended = || repair("2026-03-01T20:00:00Z");
        let smoky = || Fact { signs: Some(word("smoke")), ..now_trip() };
        let stiff =
            || trip_with("2026-03-02T11:00:00Z", "TC2", vec![reset(NOW, "would_not_latch")], Left::Tripped);
        use Verdict::{Allowed, DoNot};
        for (times, facts, want, says) in [
            (
                Some(1),
                vec![now_trip()],
                Allowed,
                "1 reset allowed by the schedule: first trip of this device",
            ),
            (Some(2), vec![once(), now_trip()], Allowed, "1 reset allowed by the schedule: second trip"),
            (
                Some(1),
                vec![once(), now_trip()],
                DoNot,
                "reset 1 time since 1 Mar 2026 14:12 +00:00, 1 time by others",
            ),
            (Some(1), vec![old(), now_trip()], Allowed, "1 reset allowed"),
            (Some(1), vec![once(), mended(), now_trip()], Allowed, "1 reset allowed"),
            (Some(0), vec![now_trip()], DoNot, "leaves it to the shop"),
            (None, vec![now_trip()], DoNot, "does not say"),
            (Some(9), vec![smoky()], DoNot, "smoke was written 2 Mar 2026 11:59"),
            (Some(9), vec![smoky(), repair("2026-03-02T11:59:30Z")], Allowed, "9 resets allowed"),
            (Some(9), vec![stiff()], DoNot, "would not latch"),
        ] {
            let answer = ask(times, None, facts);
            assert_eq!(answer.verdict, want, "{}", answer.says);
            assert!(answer.says.contains(says), "{:?} has not {says:?}", answer.says);
        }
    }

    #[test]
    fn a_reset_that_failed_holds_until_somebody_writes_that_it_was_mended() {
        let old = "2026-02-27T09:00:00Z";
        let failed =
            |result: &str| trip_with(old, "TC2", vec![reset("2026-02-27T09:01:00Z", result)], Left::Tripped);
        let again = || failed("tripped_again");
        let seen_on = || position("2026-02-28T09:00:00Z", "TC2", "on", None);
        let moved_on = || position("2026-02-28T09:00:00Z", "TC2", "tripped", Some("on"));
        let found = || Fact { found: true, ..trip("2026-03-01T02:00:00Z", "TC2", Left::Tripped) };
        let smoky = || Fact { signs: Some(word("smoke")), ..trip(old, "TC2", Left::Tripped) };
        let answer =
            |facts: Vec<Fact>| ask(Some(9), None, [facts, vec![trip(NOW, "TC2", Left::Tripped)]].concat());
        use Verdict::{Allowed, DoNot};
        for (facts, want, says) in [
            (
                vec![again()],
                DoNot,
                "It was reset and tripped again on 27 Feb 2026 09:01 +00:00 and nothing written since says it was repaired: leave it off and call the shop.",
            ),
            (vec![failed("would_not_latch")], DoNot, "It would not latch on 27 Feb 2026 09:01 +00:00"),
            (vec![trip(old, "TC2", Left::Off)], DoNot, "It was left off on 27 Feb 2026 09:00 +00:00"),
            (vec![again(), found()], DoNot, "tripped again on 27 Feb"),
            (vec![smoky(), found()], DoNot, "smoke was written 27 Feb 2026 09:00"),
            (vec![failed("held")], DoNot, "It was left tripped on 27 Feb"),
            (vec![reset_at(old, old, "c.rey")], Allowed, "9 resets allowed"),
            (vec![again(), seen_on()], Allowed, "9 resets allowed"),
            (vec![again(), moved_on()], DoNot, "tripped again on 27 Feb"),
            (vec![again(), repair("2026-02-28T09:00:00Z")], Allowed, "9 resets allowed"),
        ] {
            let answer = answer(facts);
            assert_eq!(answer.verdict, want, "{} for {says}", answer.says);
            assert!(answer.says.contains(says), "{:?} has not {says:?}", answer.says);
        }
    }

    #[test]
    fn it_waits_for_the_device_to_cool() {
        let answer = ask(Some(1), Some(120), vec![trip("2026-03-02T11:59:00Z", "TC2", Left::Tripped)]);
        assert_eq!(answer.verdict, Verdict::WaitUntil(at("2026-03-02T12:01:00Z")));
        assert!(
            answer.says.contains("Wait 2 minutes first. If it trips again, leave it off."),
            "{}",
            answer.says
        );
        let answer = ask(Some(1), Some(120), vec![trip("2026-03-02T11:58:00Z", "TC2", Left::Tripped)]);
        assert_eq!(answer.verdict, Verdict::Allowed);
    }

    #[test]
    fn an_old_picture_does_not_know_others_resets() {
        let device = device("TC2", |d| {
            d.crew_resets = CrewResets { times: Some(1), hours: Some(8.0), wait_s: None };
            d.before_closing = Some("throttle to idle".into());
            d.if_left_off = Some("motor 2 is dead".into());
        });
        let answer = ask_of(device.clone(), vec![], "2026-03-02T03:59:00Z");
        assert!(answer.others_not_known && answer.says.ends_with("others' resets not known."));
        assert_eq!(answer.before.as_deref(), Some("throttle to idle"));
        assert_eq!(answer.if_left_off.as_deref(), Some("motor 2 is dead"));
        assert!(!ask_of(device, vec![], "2026-03-02T04:00:00Z").others_not_known);
    }

    #[test]
    fn a_device_the_schedule_does_not_have() {
        let zone = Zone::utc();
        let me = "n.okafor".into();
        let asked = Asked {
            device: None,
            facts: &[],
            me: &me,
            people: &People::default(),
            ticked: &[Signs::Arcing],
            tripped_at: Some(at(NOW)),
            picture_from: at(NOW),
            now: at(NOW),
            zone: &zone,
        };
        let answer = reset_answer(&asked);
        assert_eq!(answer.verdict, Verdict::DoNot);
        assert!(answer.says.contains("arcing is ticked on this entry"), "{}", answer.says);
        let answer = reset_answer(&Asked { ticked: &[Signs::None], ..asked });
        assert!(answer.says.contains("the schedule does not have it"), "{}", answer.says);
    }
}
