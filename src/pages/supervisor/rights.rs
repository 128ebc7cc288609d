//! The rights that people hold to open cutouts, in words; what each was worth at a moment.
use crate::{
    base::{ClassName, Instant, SignIn, Zone, text::own_words},
    desk::World,
    oversight::Line,
    people::{Authorisation, authorisation::Scope},
    rules::fact::Hand,
};

/// Every right that the opener, and whoever gave the word, ever held, so that readers can check the judgement for themselves.
pub(super) fn of_hands(line: &Line, world: &World) -> Vec<String> {
    let bypass = &line.bypass;
    let hands = [Some(&bypass.opened_by), bypass.authorised_by.as_ref()];
    let mut people: Vec<&SignIn> = hands.into_iter().flatten().filter_map(Hand::person).collect();
    people.dedup();
    let theirs = people.iter().flat_map(|who| of_person(who, world));
    theirs.map(|grant| at_the_act(grant, bypass.class.as_ref(), bypass.begins(), world)).collect()
}

pub(super) fn of_person<'a>(
    who: &SignIn,
    world: &'a World,
) -> impl Iterator<Item = &'a Authorisation> + use<'a> {
    let who = who.clone();
    world.people.authorisations.iter().map(AsRef::as_ref).filter(move |grant| grant.person == who)
}

/// Whether it gave the right then, as the book reckons: later grants and revocations never change what was so.
fn at_the_act(grant: &Authorisation, class: Option<&ClassName>, act: Instant, world: &World) -> String {
    let held = grant.holds(class, act, &world.railway.zone);
    let then = if held { "It gave the right then" } else { "It did not give the right then" };
    format!("{}. {then}.", says(grant, world))
}

pub(super) fn scope(grant: &Authorisation) -> String {
    scope_says(&grant.scope)
}

pub(super) fn scope_says(scope: &Scope) -> String {
    match scope {
        Scope::All => "all classes".to_owned(),
        Scope::Classes(classes) => classes.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "),
    }
}

pub(super) fn says(grant: &Authorisation, world: &World) -> String {
    let zone = &world.railway.zone;
    let to = grant.to.map_or_else(|| "without an end".to_owned(), |to| format!("to {}", to.in_words()));
    let how = if grant.from_list { "from a list entered" } else { "granted" };
    let proposed =
        grant.proposed_by.as_ref().map(|who| format!(" on a proposal by {who}")).unwrap_or_default();
    let recorded = zone.in_words(grant.recorded_at);
    let basis = grant
        .basis
        .as_deref()
        .map_or_else(|| ", no basis stated".to_owned(), |basis| format!(", basis: {basis}"));
    let revoked = revoked(grant, zone).map(|says| format!("; {says}")).unwrap_or_default();
    format!(
        "{}: {}, from {} {to}, {how} {recorded}, by {}{proposed}{basis}{revoked} (page {})",
        grant.person,
        scope(grant),
        grant.from.in_words(),
        grant.granted_by,
        grant.seq
    )
}

/// `revoked 3 Mar 2026 09:00 -06:00 by sue: course lapsed`; `None` where it was not.
pub(super) fn revoked(grant: &Authorisation, zone: &Zone) -> Option<String> {
    let at = zone.in_words(grant.revoked_at?);
    let by =
        grant.revoked.as_ref().map(|revoked| format!(" by {}: {}", revoked.by, own_words(&revoked.reason)));
    Some(format!("revoked {at}{}", by.unwrap_or_default()))
}
