//! *reported* and *safety_device*: what somebody wrote and nothing since has answered. No statistics at all:
//! the board must never be empty while somebody wrote 'may not go on'.
use super::{
    case::Case,
    fact::{Fact, Told},
    finding::{Finding, Rule},
    occurrence::leaves_closed,
};
use crate::{
    base::{Instant, Tag, text::own_words},
    reports::vocabulary::{GroundReset, Left, MayGoOn, Outcome, RunPosition, Seen, ShutdownCause, YesNo},
    roster::{Device, RightPosition},
};

/// A stretch during which a device was told to be open, and nobody told why.
struct Open<'a> {
    rule: Rule,
    facts: Vec<&'a Fact>,
}

/// A device left off or cut out without a standing reason, a ground relay locked out; on a controlling unit a
/// safety device cut out, whatever the reason. Ends by a repair or by an entry that tells otherwise.
pub fn left_open(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) {
    let mut open: Option<Open<'_>> = None;
    for fact in case.standing() {
        match (leaves_closed(fact), &mut open) {
            (Some(true), _) => end(case, tag, &mut open, Some(fact.at), out),
            (Some(false), standing) => {
                let rule = rule_for(case, tag, fact);
                let tripped_anew = matches!(fact.told, Told::Trip { .. }) && !fact.found;
                match (rule, standing) {
                    // Once on the safety list it stays there until it is closed.
                    (_, Some(o)) if o.rule == Rule::SafetyDevice && !tripped_anew => o.facts.push(fact),
                    (Some(rule), Some(o)) if o.rule == rule && !tripped_anew => o.facts.push(fact),
                    (rule, _) => {
                        end(case, tag, &mut open, Some(fact.at), out);
                        open = rule.map(|rule| Open { rule, facts: vec![fact] });
                    }
                }
            }
            (None, _) => {}
        }
    }
    end(case, tag, &mut open, None, out);
}

/// `None`: it may be open, by the schedule or by somebody's reason; ground protection has findings of its own.
fn rule_for(case: &Case<'_>, tag: &Tag, fact: &Fact) -> Option<Rule> {
    let device = case.device(tag, fact.at);
    let trailing = [RunPosition::Trail, RunPosition::Dead, RunPosition::Distributed];
    if device.is_some_and(|d| d.ground_protection) {
        None
    } else if device.is_some_and(|d| d.safety_device) && !fact.position.is_some_and(|p| trailing.contains(&p))
    {
        Some(Rule::SafetyDevice)
    } else {
        let excused = match &fact.told {
            Told::Position(p) => p.has_reason() || device.is_some_and(|d| belongs_open(d, fact)),
            _ => false,
        };
        (!excused).then_some(Rule::Reported)
    }
}

/// Whether the schedule has it open, or leaves it free, in what the unit was doing.
fn belongs_open(device: &Device, fact: &Fact) -> bool {
    let right = match (fact.position, fact.engine) {
        (Some(RunPosition::Trail | RunPosition::Distributed), _) => device.normal_trail,
        (Some(RunPosition::Dead), _) => device.normal_dead,
        (_, YesNo::No) => device.normal_shut_down,
        _ => device.normal_lead,
    };
    matches!(right, Some(RightPosition::Off | RightPosition::Any))
}

fn end(case: &Case<'_>, tag: &Tag, open: &mut Option<Open<'_>>, at: Option<Instant>, out: &mut Vec<Finding>) {
    let Some(Open { rule, facts }) = open.take() else { return };
    let [first, ..] = facts.as_slice() else { return };
    let mut says = format!("{}: {}, {}.", case.named(tag, first.at), how(first), case.when(first.at));
    if rule == Rule::SafetyDevice {
        says = format!("Safety device on a controlling unit (49 CFR 218 subpart D): {says}");
    }
    if let Some(effect) = case.device(tag, first.at).and_then(|d| d.off_effect.as_deref()) {
        says.push_str(&format!(" The unit loses: {}.", effect.trim_end_matches('.')));
    }
    match at {
        None => says.push_str(" Nothing written since closes it."),
        Some(at) => says.push_str(&format!(" Answered {}.", case.when(at))),
    }
    let weight = if rule == Rule::SafetyDevice { 10.0 } else { super::pair::severity(case, tag, first.at) };
    out.push(
        case.finding(rule, Some(tag), &first.entry.to_string(), first.at)
            .until(at)
            .weighs(weight)
            .says(says)
            .rests_on(facts.iter().map(|f| f.entry)),
    );
}

fn how(fact: &Fact) -> &'static str {
    match &fact.told {
        Told::Trip { left: Left::CutOut, .. } => "tripped and was cut out",
        Told::Trip { left: Left::Off, .. } => "tripped and was left off",
        Told::Trip { .. } => "tripped and was not reset",
        Told::Ground { reset: Some(GroundReset::LockedOut), .. } => "locked out",
        Told::Ground { .. } => "not reset",
        Told::Fuse { .. } => "no good fuse left in it",
        Told::Position(p) if p.opened() => "opened by hand without a reason given",
        Told::Position(p) if p.seen == Seen::Tripped => "found tripped",
        _ => "found off without a reason given",
    }
}

/// Defects with 'restricted' or 'no', and shutdowns by the crankcase device or overspeed.
pub fn told_of_unit(case: &Case<'_>, out: &mut Vec<Finding>) {
    let repairs: Vec<&Fact> = case.standing().filter(|fact| fact.is_repair_of_unit()).collect();
    for fact in case.standing() {
        let Some((says, weight)) = unit_trouble(fact) else { continue };
        let answers = |later: &&&Fact| later.at >= fact.at && later.answers(fact.entry);
        let repair = repairs.iter().filter(answers).map(|later| later.at).min();
        let when = case.when(fact.at);
        out.push(
            case.finding(Rule::Reported, None, &fact.entry.to_string(), fact.at)
                .until(repair)
                .weighs(weight)
                .says(format!("{says} Written {when}."))
                .rests_on([fact.entry]),
        );
    }
}

/// Whether it is reported by itself, until a repair.
pub fn is_trouble(fact: &Fact) -> bool {
    unit_trouble(fact).is_some()
}

fn unit_trouble(fact: &Fact) -> Option<(String, f64)> {
    let stopped = |by: &str| {
        Some((
            format!(
                "The engine was shut down by the {by}. Stay away, open nothing, do not restart until qualified people have looked."
            ),
            8.0,
        ))
    };
    match &fact.told {
        Told::Shutdown { cause: Some(ShutdownCause::CrankcaseDevice), .. }
        | Told::Start { outcome: Outcome::CrankcaseDevice, .. } => stopped("crankcase device"),
        Told::Shutdown { cause: Some(ShutdownCause::Overspeed), .. }
        | Told::Start { outcome: Outcome::Overspeed, .. } => stopped("overspeed device"),
        Told::Defect {
            may_go_on: Some(go @ (MayGoOn::No | MayGoOn::Restricted)),
            text,
            system,
            restriction,
            ..
        } => {
            let may = if *go == MayGoOn::No { "May not go on" } else { "Restricted" };
            let limit = restriction.as_deref().map(|r| format!(" ({})", own_words(r))).unwrap_or_default();
            let what = text.as_deref().or(system.as_deref()).unwrap_or("no words given");
            let weight = if *go == MayGoOn::No { 7.0 } else { 4.0 };
            Some((format!("{may}{limit}: {}.", own_words(what.trim_end_matches('.'))), weight))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        sample::{Railway, at, device, fact, ground, position, repair, trip},
    };

    fn open_at(found: &[Finding], when: &str) -> Vec<Rule> {
        found.iter().filter(|f| f.open_at(at(when))).map(|f| f.rule).collect()
    }

    #[test]
    fn left_off_stays_reported_until_an_entry_or_a_repair_answers() {
        let railway = Railway::with(vec![device("TC2", |d| d.off_effect = Some("motor 2".into()))]);
        let off = trip("2026-03-01T10:00:00Z", "TC2", Left::Tripped);
        let seen = position("2026-03-02T10:00:00Z", "TC2", "tripped", None);
        let found = railway.judge_device("TC2", vec![off.clone(), seen.clone()]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].entries, [off.entry, seen.entry]);
        assert_eq!(
            found[0].sentence,
            "TC2 (TC2 LEGEND): tripped and was not reset, 1 Mar 2026 04:00 -06:00. The unit loses: motor 2. \
             Nothing written since closes it."
        );
        for answer in [
            position("2026-03-03T10:00:00Z", "TC2", "on", None),
            position("2026-03-03T10:00:00Z", "TC2", "tripped", Some("on")),
            repair("2026-03-03T10:00:00Z"),
        ] {
            let found = railway.judge_device("TC2", vec![off.clone(), seen.clone(), answer]);
            assert_eq!(open_at(&found, "2026-03-03T09:59:00Z"), [Rule::Reported]);
            assert_eq!(open_at(&found, "2026-03-03T10:00:00Z"), []);
        }
    }

    #[test]
    fn a_reason_or_the_schedule_excuses() {
        let railway = Railway::with(vec![
            device("TC2", |_| {}),
            device("HTR", |d| d.normal_lead = Some(RightPosition::Any)),
            device("GRC", |d| d.ground_protection = true),
        ]);
        let mut with_reason = position("2026-03-01T10:00:00Z", "TC2", "on", Some("off"));
        if let Told::Position(p) = &mut with_reason.told {
            p.why = Some("motor cut out by the shop".into());
        }
        assert_eq!(railway.judge_device("TC2", vec![with_reason]), []);
        assert_eq!(
            railway.judge_device("HTR", vec![position("2026-03-01T10:00:00Z", "HTR", "off", None)]),
            []
        );
        assert_eq!(
            railway.judge_device("GRC", vec![position("2026-03-01T10:00:00Z", "GRC", "open", None)]),
            []
        );
    }

    #[test]
    fn a_safety_device_is_its_own_matter_on_a_controlling_unit() {
        // Vector V20 of the standards notes: an alerter cut out is Part 218; a ground cutout never is.
        let railway = Railway::with(vec![device("ALERT", |d| d.safety_device = true)]);
        let cut = |position_of| {
            let mut cut = position("2026-03-01T10:00:00Z", "ALERT", "on", Some("off"));
            cut.position = Some(position_of);
            if let Told::Position(p) = &mut cut.told {
                p.why = Some("kept sounding".into());
            }
            railway.judge_device("ALERT", vec![cut]).iter().map(|f| f.rule).collect::<Vec<_>>()
        };
        assert_eq!(cut(RunPosition::Lead), [Rule::SafetyDevice]);
        assert_eq!(cut(RunPosition::Single), [Rule::SafetyDevice]);
        assert_eq!(cut(RunPosition::Trail), []);
    }

    #[test]
    fn a_repair_that_names_entries_answers_no_others() {
        let railway = Railway::with(vec![]);
        let defect = |when: &str, text: &str| {
            let told = Told::Defect {
                system: None,
                text: Some(text.into()),
                may_go_on: Some(MayGoOn::Restricted),
                restriction: None,
                warning_notice: None,
            };
            fact(when, told)
        };
        let light = defect("2026-03-01T10:00:00Z", "cab light dead");
        let stopped = Told::Shutdown { cause: Some(ShutdownCause::CrankcaseDevice), warning_notice: None };
        let stopped = fact("2026-03-01T11:00:00Z", stopped);
        let named = Told::RepairAnswered { entries: vec![light.entry] };
        let facts = vec![light, stopped, fact("2026-03-02T10:00:00Z", named), repair("2026-03-03T10:00:00Z")];
        let found = railway.judge(Subject::Unit, facts).findings;
        let until: Vec<_> = found.iter().map(|f| f.until.unwrap().to_z()).collect();
        assert_eq!(until, ["2026-03-02T10:00:00Z", "2026-03-03T10:00:00Z"], "{found:?}");
    }

    #[test]
    fn a_ground_relay_locked_out_and_troubles_of_the_unit() {
        let railway = Railway::with(vec![]);
        let mut locked = ground("2026-03-01T10:00:00Z", 3);
        if let Told::Ground { reset, .. } = &mut locked.told {
            *reset = Some(GroundReset::LockedOut);
        }
        let found = railway.judge_device(Tag::GROUND_RELAY, vec![locked]);
        assert!(found.iter().any(|f| f.rule == Rule::Reported), "{found:?}");
        let defect = Told::Defect {
            system: None,
            text: Some("cab signal dead".into()),
            may_go_on: Some(MayGoOn::Restricted),
            restriction: Some("trail only".into()),
            warning_notice: None,
        };
        let stopped = Told::Shutdown { cause: Some(ShutdownCause::CrankcaseDevice), warning_notice: None };
        let facts = vec![fact("2026-03-01T10:00:00Z", defect), fact("2026-03-01T11:00:00Z", stopped)];
        let found = railway.judge(Subject::Unit, facts.clone()).findings;
        assert_eq!(found.len(), 2);
        assert!(found[0].sentence.starts_with("Restricted (trail only): cab signal dead."));
        let mut turned = facts.clone();
        if let Told::Defect { text, .. } = &mut turned[0].told {
            *text = Some("cab \u{202e}dead".into());
        }
        let found = railway.judge(Subject::Unit, turned).findings;
        assert!(found[0].sentence.starts_with("Restricted (trail only): \u{2068}cab dead\u{2069}."));
        let mended = facts.into_iter().chain([repair("2026-03-02T10:00:00Z")]).collect();
        let found = railway.judge(Subject::Unit, mended).findings;
        assert!(found.iter().all(|f| f.until == Some(at("2026-03-02T10:00:00Z"))));
    }
}
