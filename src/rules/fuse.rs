//! *wrong_fuse*: one fuse may stand in for another only if four figures agree, each in its own way.
use super::{
    case::Case,
    fact::{Fact, FuseFact, Told},
    finding::{Finding, Rule},
};
use crate::{
    base::{Instant, Tag, text::own_words},
    reports::vocabulary::{FuseResult, FuseSpeed},
    roster::Device,
};

/// How a fuse compares with the one that belongs there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FuseMatch {
    Same,
    /// May open in normal use: lower or faster. Why.
    Caution(Vec<String>),
    /// Never: rating above, voltage below, slower, another body. Why.
    Wrong(Vec<String>),
    /// Never called a match: which figures are not known.
    CannotSay(Vec<&'static str>),
}

/// The practice of the Navy's electricity training text (standards.md 5.8).
pub fn compare(belongs: &Device, fitted: &FuseFact) -> FuseMatch {
    let figures = FuseFact {
        rating_a: belongs.rating_a,
        rating_v: belongs.rating_v,
        speed: belongs.speed,
        body: belongs.body.clone(),
    };
    compare_figures(&figures, fitted)
}

/// The same, where the figures that belong there are not a schedule's.
pub fn compare_figures(belongs: &FuseFact, fitted: &FuseFact) -> FuseMatch {
    let (mut wrong, mut caution, mut unknown) = (Vec::new(), Vec::new(), Vec::new());
    match (belongs.rating_a, fitted.rating_a) {
        (Some(b), Some(f)) if f > b => wrong.push(format!("{f} A where {b} A belongs")),
        (Some(b), Some(f)) if f < b => caution.push(format!("{f} A where {b} A belongs")),
        (Some(_), Some(_)) => {}
        _ => unknown.push("amperes"),
    }
    match (belongs.rating_v, fitted.rating_v) {
        (Some(b), Some(f)) if f < b => wrong.push(format!("{f} V where {b} V belongs")),
        (Some(_), Some(_)) => {}
        _ => unknown.push("volts"),
    }
    match (belongs.speed.and_then(slowness), fitted.speed.and_then(slowness)) {
        (Some(b), Some(f)) if f > b => wrong.push("slower than belongs there".to_owned()),
        (Some(b), Some(f)) if f < b => caution.push("faster than belongs there".to_owned()),
        (Some(_), Some(_)) => {}
        _ => unknown.push("speed"),
    }
    match (&belongs.body, &fitted.body) {
        (Some(b), Some(f)) if !b.trim().eq_ignore_ascii_case(f.trim()) => {
            wrong.push(format!("body {} where {b} belongs", own_words(f)));
        }
        (Some(_), Some(_)) => {}
        _ => unknown.push("body"),
    }
    match (wrong.is_empty(), unknown.is_empty(), caution.is_empty()) {
        (false, _, _) => FuseMatch::Wrong(wrong),
        (_, false, _) => FuseMatch::CannotSay(unknown),
        (_, _, false) => FuseMatch::Caution(caution),
        _ => FuseMatch::Same,
    }
}

fn slowness(speed: FuseSpeed) -> Option<u8> {
    match speed {
        FuseSpeed::Fast => Some(0),
        FuseSpeed::Normal => Some(1),
        FuseSpeed::Slow => Some(2),
        FuseSpeed::NotKnown => None,
    }
}

/// What is in the holder after something was told: wrong, doubtful, right or empty (`Some(None)`), or no news.
type News = Option<Option<(bool, Vec<String>)>>;

pub fn wrong_fuse(case: &Case<'_>, tag: &Tag, out: &mut Vec<Finding>) {
    let mut open: Option<Finding> = None;
    for fact in case.standing() {
        match &fact.told {
            Told::RepairClosed { .. } => out.extend(open.take().map(|f| f.until(Some(fact.at)))),
            Told::Fuse { result, fitted, replaced_by, .. } => {
                let device = case.device(tag, fact.at);
                let found = as_found(device, *result, fitted.as_ref());
                let left = as_left(device, *result, replaced_by.as_ref());
                for news in [found, left].into_iter().flatten() {
                    take_news(case, tag, fact, news, &mut open, out);
                }
            }
            _ => {}
        }
    }
    out.extend(open);
}

fn take_news(
    case: &Case<'_>,
    tag: &Tag,
    fact: &Fact,
    news: Option<(bool, Vec<String>)>,
    open: &mut Option<Finding>,
    out: &mut Vec<Finding>,
) {
    let weight = |wrong: bool| if wrong { 3.0 } else { 0.5 };
    if let (Some(standing), Some((wrong, _))) = (open.as_mut(), &news)
        && standing.severity == weight(*wrong)
    {
        standing.entries.push(fact.entry);
        standing.entries.dedup();
        return;
    }
    out.extend(open.take().map(|f| f.until(Some(fact.at))));
    *open = news.map(|(wrong, why)| told(case, tag, fact.at, fact, wrong, &why).weighs(weight(wrong)));
}

fn told(case: &Case<'_>, tag: &Tag, at: Instant, fact: &Fact, wrong: bool, why: &[String]) -> Finding {
    let (word, mark) = if wrong { ("Wrong fuse", "wrong") } else { ("Caution, unlike fuse", "caution") };
    let what = case.named(tag, at);
    case.finding(Rule::WrongFuse, Some(tag), &format!("{}:{mark}", fact.entry), at)
        .says(format!("{word} in {what}: {}. Written {}.", why.join(", "), case.when(at)))
        .rests_on([fact.entry])
}

fn judged(device: Option<&Device>, fuse: &FuseFact) -> News {
    match device.map(|d| compare(d, fuse))? {
        FuseMatch::Same => Some(None),
        FuseMatch::Caution(why) => Some(Some((false, why))),
        FuseMatch::Wrong(why) => Some(Some((true, why))),
        FuseMatch::CannotSay(_) => None,
    }
}

fn as_found(device: Option<&Device>, result: FuseResult, fitted: Option<&FuseFact>) -> News {
    let compared = fitted.and_then(|f| judged(device, f));
    match result {
        FuseResult::Bridged => Some(Some((true, vec!["bridged".to_owned()]))),
        FuseResult::WrongOne if !matches!(compared, Some(Some((true, _)))) => {
            Some(Some((true, vec!["found to be the wrong one".to_owned()])))
        }
        FuseResult::Missing => None,
        _ => compared,
    }
}

fn as_left(device: Option<&Device>, result: FuseResult, replaced_by: Option<&FuseFact>) -> News {
    match replaced_by {
        // Something else is in the holder now; whether it is right may not be known.
        Some(fuse) => Some(judged(device, fuse).flatten()),
        None if matches!(result, FuseResult::Blown | FuseResult::Missing) => Some(None),
        None => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{Railway, at, device, fact};

    fn fuse(a: f64, v: f64, speed: FuseSpeed, body: &str) -> FuseFact {
        FuseFact { rating_a: Some(a), rating_v: Some(v), speed: Some(speed), body: Some(body.into()) }
    }

    fn belongs() -> Device {
        device("SF", |d| {
            (d.rating_a, d.rating_v) = (Some(30.0), Some(250.0));
            (d.speed, d.body) = (Some(FuseSpeed::Normal), Some("B".into()));
        })
    }

    #[test]
    fn four_figures_decide() {
        // Vector V38 of the standards notes, with a normal fuse as the one that belongs there.
        use FuseSpeed::{Fast, Normal, Slow};
        let (same, wrong, caution, unknown) = ("same", "wrong", "caution", "cannot say");
        let blank = FuseFact { rating_a: None, ..fuse(30.0, 250.0, Normal, "B") };
        for (fitted, want) in [
            (fuse(30.0, 250.0, Normal, "b "), same),
            (fuse(35.0, 250.0, Normal, "B"), wrong),
            (fuse(30.0, 125.0, Normal, "B"), wrong),
            (fuse(30.0, 250.0, Slow, "B"), wrong),
            (fuse(30.0, 600.0, Normal, "B"), same),
            (fuse(25.0, 250.0, Normal, "B"), caution),
            (fuse(30.0, 250.0, Fast, "B"), caution),
            (fuse(30.0, 250.0, Normal, "C"), wrong),
            (blank.clone(), unknown),
            (FuseFact { body: Some("C".into()), ..blank }, wrong),
            (FuseFact { speed: Some(FuseSpeed::NotKnown), ..fuse(30.0, 250.0, Normal, "B") }, unknown),
        ] {
            let got = match compare(&belongs(), &fitted) {
                FuseMatch::Same => same,
                FuseMatch::Caution(_) => caution,
                FuseMatch::Wrong(_) => wrong,
                FuseMatch::CannotSay(_) => unknown,
            };
            assert_eq!(got, want, "{fitted:?}");
        }
    }

    #[test]
    fn it_stands_until_a_right_one_is_in_the_holder() {
        let railway = Railway::with(vec![belongs()]);
        let check = |when: &str, result, fitted, replaced_by| {
            fact(when, Told::Fuse { device: "SF".into(), result, fitted, replaced_by, basis: None })
        };
        let right = || Some(fuse(30.0, 250.0, FuseSpeed::Normal, "B"));
        let big = || Some(fuse(60.0, 250.0, FuseSpeed::Normal, "B"));
        let fitted = check("2026-03-01T10:00:00Z", FuseResult::Blown, right(), big());
        let good = check("2026-03-02T10:00:00Z", FuseResult::Good, None, None);
        let mended = check("2026-03-03T10:00:00Z", FuseResult::WrongOne, big(), right());
        let wrong = |facts| {
            let found = railway.judge_device("SF", facts);
            found.into_iter().filter(|f| f.rule == Rule::WrongFuse).collect::<Vec<_>>()
        };
        let found = wrong(vec![fitted.clone(), good.clone()]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].until, None, "'good' alone does not say that it is the right one");
        assert!(found[0].sentence.contains("60 A where 30 A belongs"), "{}", found[0].sentence);
        let found = wrong(vec![fitted, good, mended]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].until, Some(at("2026-03-03T10:00:00Z")));
        let bridged = wrong(vec![check("2026-03-01T10:00:00Z", FuseResult::Bridged, None, None)]);
        assert!(bridged[0].sentence.starts_with("Wrong fuse in SF (SF LEGEND): bridged."));
    }
}
