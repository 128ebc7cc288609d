//! *expiring*: an authorisation to open a ground-relay cutout that ends soon.
use std::collections::BTreeMap;

use super::{
    Ground,
    finding::{Finding, Rule},
};
use crate::{
    base::{Day, Instant, SignIn},
    people::{Authorisation, authorisation::Scope},
};

/// So many days before the end of its last day an authorisation is told of.
pub const SOON_DAYS: i32 = 60;

/// Every authorisation that ends, as known at `then`: from 60 days before until it ended, was revoked or renewed.
pub fn expiring(ground: &Ground<'_>, then: Instant, out: &mut Vec<Finding>) {
    let mut grants: BTreeMap<&SignIn, Vec<&Authorisation>> = BTreeMap::new();
    for one in &ground.people.authorisations {
        grants.entry(&one.person).or_default().push(one);
    }
    for theirs in grants.values() {
        of_person(ground, theirs, then, out);
    }
}

fn of_person(ground: &Ground<'_>, theirs: &[&Authorisation], then: Instant, out: &mut Vec<Finding>) {
    for one in theirs {
        let Some(last) = one.to else { continue };
        // Who has left needs no new one.
        if ground.people.person(&one.person).is_some_and(|person| !person.active) {
            continue;
        }
        let ends = ground.zone.start_of(last.plus(1));
        let known = if one.from_list { ground.zone.start_of(one.from) } else { one.recorded_at };
        let since = ground.zone.start_of(last.plus(1 - SOON_DAYS)).max(known);
        let others = theirs.iter().copied().filter(|other| other.seq != one.seq);
        let others: Vec<&Authorisation> = others.filter(|other| goes_on(other, last, then)).collect();
        let until = [one.revoked_at, renewed(one, &others)].into_iter().flatten().fold(ends, Instant::min);
        if since < until {
            out.push(told(ground, one, last, since, until));
        }
    }
}

/// In force on the day after that one, with no day between.
fn goes_on(other: &Authorisation, last: Day, then: Instant) -> bool {
    let next = last.plus(1);
    other.from <= next && other.to.is_none_or(|to| to >= next) && other.revoked_at.is_none_or(|at| at > then)
}

/// When the last class of its scope had another grant to go on with. One that had already been there when this was
/// granted renewed it from the start.
fn renewed(one: &Authorisation, others: &[&Authorisation]) -> Option<Instant> {
    let first = |covers: &dyn Fn(&Scope) -> bool| {
        others.iter().filter(|other| covers(&other.scope)).map(|other| other.recorded_at).min()
    };
    let at = match &one.scope {
        Scope::All => first(&|scope| *scope == Scope::All),
        Scope::Classes(classes) => classes
            .iter()
            .map(|class| first(&|scope| scope.covers(Some(class))))
            .try_fold(Instant(i64::MIN), |latest, at| Some(latest.max(at?))),
    }?;
    // Two rows of one list were never apart.
    Some(if at <= one.recorded_at { Instant(i64::MIN) } else { at })
}

fn told(ground: &Ground<'_>, one: &Authorisation, last: Day, since: Instant, until: Instant) -> Finding {
    let classes = match &one.scope {
        Scope::All => "all classes".to_owned(),
        Scope::Classes(classes) => {
            let names: Vec<&str> = classes.iter().map(AsRef::as_ref).collect();
            format!("{} {}", if names.len() == 1 { "class" } else { "classes" }, names.join(", "))
        }
    };
    let says = format!(
        "{}'s authorisation for {classes} ends {}: grant it anew or tell them.",
        one.person,
        last.in_words()
    );
    let known = ground.people.person(&one.person).is_some();
    let says = if known { says } else { format!("{says} The office list does not have them.") };
    Finding {
        rule: Rule::Expiring,
        key: format!("{}:-:-:{}:{}", Rule::Expiring, one.person, one.seq),
        unit: None,
        device: None,
        units: Vec::new(),
        devices: Vec::new(),
        class: None,
        since,
        until: Some(until),
        severity: 1.0,
        rank: None,
        sentence: says,
        entries: Vec::new(),
        figures: serde_json::Map::new(),
    }
    .figure("person", one.person.as_str())
    .figure("last_day", last.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        people::{Person, Role},
        rules::sample::{Railway, at},
    };

    fn classes(names: &[&str]) -> Scope {
        Scope::Classes(names.iter().map(|name| (*name).into()).collect())
    }

    /// A grant of `a.lind` to 31 March 2026, and others as the table says: (scope, from, to, recorded, revoked).
    type Other<'a> = (Scope, &'a str, Option<&'a str>, &'a str, Option<&'a str>);

    fn found(scope: Scope, others: &[Other<'_>], then: &str) -> Vec<(String, String)> {
        let mut railway = Railway::with(vec![]);
        railway.employ("a.lind", Role::Shop);
        railway.authorise("a.lind", "2025-04-01", Some("2026-03-31")).scope = scope;
        for (n, (scope, from, to, recorded, revoked)) in others.iter().enumerate() {
            let grant = railway.authorise("a.lind", from, *to);
            (grant.seq, grant.scope) = (100 + n as u64, scope.clone());
            (grant.recorded_at, grant.revoked_at) = (at(recorded), revoked.map(at));
        }
        let mut out = Vec::new();
        expiring(&railway.ground(), at(then), &mut out);
        let short = |at: Instant| at.to_z()[..10].to_owned();
        out.retain(|f| f.key.ends_with(":7"));
        out.iter().map(|f| (short(f.since), f.until.map(short).unwrap_or_default())).collect()
    }

    #[test]
    fn it_is_told_sixty_days_ahead_until_it_ends_or_is_renewed() {
        let (march, all) = ("2026-03-20T00:00:00Z", || Scope::All);
        let spans = |since: &str, until: &str| vec![(since.to_owned(), until.to_owned())];
        let (since, ends) = ("2026-01-31", "2026-04-01");
        let renewal = |scope, from| vec![(scope, from, None, "2026-03-10T12:00:00Z", None)];
        for (scope, others, want) in [
            (all(), vec![], spans(since, ends)),
            (all(), renewal(all(), "2026-04-01"), spans(since, "2026-03-10")),
            // A day between, other classes, or no longer than this one: not renewed.
            (all(), renewal(all(), "2026-04-02"), spans(since, ends)),
            (all(), renewal(classes(&["C1"]), "2026-04-01"), spans(since, ends)),
            (
                all(),
                vec![(all(), "2025-05-01", Some("2026-03-31"), "2026-03-10T12:00:00Z", None)],
                spans(since, ends),
            ),
            (classes(&["C1", "C2"]), renewal(classes(&["C1"]), "2026-04-01"), spans(since, ends)),
            (
                classes(&["C1", "C2"]),
                renewal(classes(&["C2", "C1", "C3"]), "2026-04-01"),
                spans(since, "2026-03-10"),
            ),
            (classes(&["C1"]), renewal(all(), "2026-01-01"), spans(since, "2026-03-10")),
            // Each class by a grant of its own: renewed with the later.
            (
                classes(&["C1", "C2"]),
                vec![
                    (classes(&["C1"]), "2026-04-01", None, "2026-03-10T12:00:00Z", None),
                    (classes(&["C2"]), "2026-04-01", None, "2026-03-12T12:00:00Z", None),
                ],
                spans(since, "2026-03-12"),
            ),
            // The renewal was revoked again.
            (
                all(),
                vec![(all(), "2026-04-01", None, "2026-03-10T12:00:00Z", Some("2026-03-15T12:00:00Z"))],
                spans(since, ends),
            ),
            // In the book as early as this one.
            (all(), vec![(all(), "2026-04-01", None, "2020-01-01T00:00:00Z", None)], vec![]),
        ] {
            assert_eq!(found(scope.clone(), &others, march), want, "{scope:?} {others:?}");
        }
    }

    #[test]
    fn a_revoked_late_or_endless_one_and_one_of_somebody_who_left() {
        let mut railway = Railway::with(vec![]);
        railway.employ("a.lind", Role::Shop);
        railway.authorise("a.lind", "2026-01-01", None);
        railway.authorise("a.lind", "2025-04-01", Some("2026-03-31")).revoked_at =
            Some(at("2026-01-05T00:00:00Z"));
        railway.authorise("b.sato", "2026-03-01", Some("2026-03-31")).recorded_at =
            at("2026-03-02T08:00:00Z");
        let leaver = Person {
            sign_in: "gone".into(),
            role: Role::Shop,
            added_at: Instant(0),
            active: false,
            last: Default::default(),
        };
        railway.people.persons.insert("gone".into(), std::sync::Arc::new(leaver));
        railway.authorise("gone", "2025-04-01", Some("2026-03-31"));
        let mut out = Vec::new();
        expiring(&railway.ground(), at("2026-03-20T00:00:00Z"), &mut out);
        assert_eq!(out.len(), 1, "{out:?}");
        assert_eq!(out[0].since, at("2026-03-02T08:00:00Z"));
        assert_eq!(
            out[0].sentence,
            "b.sato's authorisation for all classes ends 31 March 2026: grant it anew or tell them. \
             The office list does not have them."
        );
        assert_eq!(out[0].key, "expiring:-:-:b.sato:7");
    }
}
