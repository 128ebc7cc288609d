//! The one function that looks at a dossier. Incremental judging, batch judging and rebuilding all call it.
use super::{
    Dossier, DossierKey, Ground,
    burst::burst,
    case::Case,
    dossier::Subject,
    earlier::Earlier,
    fact::RunFact,
    finding::Finding,
    fuse::wrong_fuse,
    ground::ground_protection,
    occurrence::{Occurrence, occurrences},
    often::often,
    outline::{Outline, outlines},
    pair::Pair,
    proving::proving,
    quiet::never_together,
    reclosed::{kept_tripping, reclosed_again},
    register::Bypass,
    reported::{left_open, told_of_unit},
    rests::Rests,
    returned::did_not_hold,
    running::must_stay_on,
    service_days::ServiceDays,
    shared_cause::shared_cause,
    starting::{starting_weakens, starts_as_ever},
    weather::WeatherDays,
    wet::wet,
    worsening::worsening,
};
use crate::base::Tag;

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judgement {
    /// Sorted by key.
    pub findings: Vec<Finding>,
    /// Only for ground protection; sorted by when they began.
    pub bypasses: Vec<Bypass>,
    pub rests: Rests,
    /// No class figures can make it say anything else: it told of nothing that the rules which rest on them look at.
    pub idle: bool,
}

/// What is known of the unit beside the dossier.
#[derive(Clone, Copy, Debug)]
pub struct Beside<'a> {
    pub days: &'a ServiceDays,
    pub weather: &'a WeatherDays,
    /// Only for ground protection: the runs that overlap an opening.
    pub runs: &'a [RunFact],
    /// Only for a device: the lives on other units of parts that were put in.
    pub earlier: &'a [Earlier],
}

/// Judges one dossier. As of a moment: judge `dossier.up_to(then)` beside what the reports up to then tell.
pub fn judge(key: &DossierKey, dossier: &Dossier, beside: Beside<'_>, ground: &Ground<'_>) -> Judgement {
    let Beside { days, weather, runs, earlier } = beside;
    let outlines = match &key.subject {
        Subject::Device(_) => outlines(dossier.facts()),
        _ => Vec::new(),
    };
    let facts = dossier.facts();
    let case = Case { key, facts, outlines: &outlines, days, weather, runs, earlier, ground };
    let mut judged = Judgement::default();
    match &key.subject {
        Subject::Device(tag) => device(&case, tag, &mut judged),
        Subject::GroundProtection => {
            (judged.findings, judged.bypasses) = ground_protection(&case);
            judged.idle = true;
        }
        Subject::Unit => {
            told_of_unit(&case, &mut judged.findings);
            must_stay_on(&case, &mut judged.findings);
            judged.rests = starting_weakens(&case, &mut judged.findings);
            judged.idle = starts_as_ever(&case, &judged.findings);
        }
        Subject::Together => {
            judged.rests = shared_cause(&case, &mut judged.findings);
            judged.idle = never_together(&key.unit, facts, ground.thresholds);
        }
    }
    in_order(&mut judged.findings);
    judged
}

/// What [`judge`] says of a device by the rules that are reckoned (their lines and notes), and what that rests on, without
/// reading its facts.
pub fn judge_reckoned(
    key: &DossierKey,
    outlines: &[Outline],
    beside: Beside<'_>,
    ground: &Ground<'_>,
) -> (Vec<Finding>, Rests) {
    let Subject::Device(tag) = &key.subject else { return <_>::default() };
    let Beside { days, weather, runs, earlier } = beside;
    let case = Case { key, facts: &[], outlines, days, weather, runs, earlier, ground };
    let mut found = Vec::new();
    let rests = reckoned(&case, tag, &mut found);
    in_order(&mut found);
    (found, rests)
}

fn in_order(findings: &mut [Finding]) {
    findings.sort_by(|a, b| (&a.key, a.since).cmp(&(&b.key, b.since)));
    tell_apart(findings);
}

/// Two bursts may cross on one day, with a repair between them: the later one's key gets a number.
fn tell_apart(sorted: &mut [Finding]) {
    let mut nth = 1;
    for i in 1..sorted.len() {
        let (before, rest) = sorted.split_at_mut(i);
        let same = before.get(i - nth).is_some_and(|first| first.key == rest[0].key);
        nth = if same { nth + 1 } else { 1 };
        if same {
            rest[0].key = format!("{}:{nth}", rest[0].key);
        }
    }
}

fn device(case: &Case<'_>, tag: &Tag, judged: &mut Judgement) {
    judged.rests = reckoned(case, tag, &mut judged.findings);
    certain(case, tag, &mut judged.findings);
}

/// What a device's entries say without any reckoning.
pub(super) fn certain(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) {
    left_open(case, tag, out);
    wrong_fuse(case, tag, out);
    reclosed_again(case, tag, out);
    kept_tripping(case, tag, out);
}

fn reckoned(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) -> Rests {
    let occurrences = occurrences(case.outlines);
    let rests = statistics(case, tag, &occurrences, out);
    if tag.as_str() != Tag::GROUND_RELAY {
        return rests;
    }
    rests.and(wet(case, tag, &occurrences, out))
}

/// Rules that hold a pair against its class.
fn statistics(case: &Case<'_>, tag: &Tag, occurrences: &[Occurrence], out: &mut Vec<Finding>) -> Rests {
    if occurrences.is_empty() {
        return Rests::default();
    }
    let mut pair = Pair::of(case, tag, occurrences);
    pair.days.last().copied().into_iter().for_each(|day| pair.rest_on_days_to(day));
    let Some(normal) = pair.normal() else { return Rests::default() };
    burst(&mut pair, &normal, out);
    often(&mut pair, &normal, out);
    worsening(&mut pair, &normal, out);
    did_not_hold(&mut pair, &normal, out);
    proving(&mut pair, &normal, out);
    pair.rests
}

#[cfg(test)]
mod tests {
    use crate::rules::{
        Rule,
        dossier::Subject,
        sample::{Railway, device, position, trip},
    };

    #[test]
    fn keys_that_would_be_the_same_are_told_apart() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        let left = trip("2026-03-01T10:00:00Z", "TC2", crate::reports::vocabulary::Left::Off);
        let mut found = railway.judge(Subject::Device("TC2".into()), vec![left]).findings;
        found = [found.clone(), found.clone(), found].concat();
        super::tell_apart(&mut found);
        let ends: Vec<_> = found.iter().map(|f| f.key[f.key.len() - 2..].to_owned()).collect();
        assert_eq!(&ends[1..], [":2", ":3"]);
        assert_eq!(found[0].rule, Rule::Reported);
    }

    #[test]
    fn an_empty_or_quiet_dossier_finds_nothing() {
        let railway = Railway::with(vec![device("TC2", |_| {})]);
        for subject in
            [Subject::Device("TC2".into()), Subject::GroundProtection, Subject::Unit, Subject::Together]
        {
            let seen = position("2026-03-01T10:00:00Z", "TC2", "on", None);
            for facts in [vec![], vec![seen]] {
                let idle = !matches!(subject, Subject::Device(_));
                let nothing = super::Judgement { idle, ..Default::default() };
                assert_eq!(railway.judge(subject.clone(), facts), nothing);
            }
        }
    }
}
