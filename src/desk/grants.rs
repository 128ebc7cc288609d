//! A right granted by two people, and taken back by one. One supervisor proposes, another confirms, and neither may be the one
//! it is for: so no single person, and no single stolen password, makes somebody authorised.
use std::sync::Arc;

use uuid::Uuid;

use super::{
    World,
    act::{Act, Decided},
    apply_people::scope,
    body::{Body, Grant, GrantProposed, ProposalWithdrawn, Revocation},
    draft::{Draft, Filed, Page},
    refused::{Refused, not_allowed},
    tablets::page,
};
use crate::{
    base::{Instant, SignIn, Zone},
    people::{Authorisation, Permit, Proposal, authorisation::Standing, permit, proposal::How},
};

/// Who signs may have lost the role since the page was asked for.
pub(super) fn still_may(draft: &Draft, by: Option<&SignIn>, act: permit::Act) -> Result<(), Refused> {
    let person = by.and_then(|by| draft.world.people.person(by));
    match person.and_then(|person| person.permit(act)) {
        Some(_) => Ok(()),
        None => Err(Refused::Stale(
            "Your role was changed while you were here: this is not yours to do any more.".into(),
        )),
    }
}

const GRANTING: permit::Act = permit::Act::GrantAuthorisation;

/// The first half of a grant.
#[derive(Debug)]
pub struct ProposeGrant(Page);

impl ProposeGrant {
    pub fn of(proposed: GrantProposed, permit: &Permit, now: Instant) -> Self {
        Self(page(permit.by(), now, Body::GrantProposed(Box::new(proposed))))
    }
}

impl Act for ProposeGrant {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let (Body::GrantProposed(wanted), Some(by)) = (&self.0.body, &self.0.author) else {
            return Ok(Decided::default());
        };
        still_may(draft, Some(by), GRANTING)?;
        if let Some(known) = draft.world.proposals.get(&wanted.id) {
            return if is_same(known, wanted, by) {
                Ok(Decided::default())
            } else {
                Err(Refused::Stale("This form was sent already, with other words. Open an empty one.".into()))
            };
        }
        if wanted.sign_in == *by {
            return Err(Refused::NotYours(OWN.into()));
        }
        possible(wanted, &draft.world, now)?;
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

const OWN: &str = "The right would be your own. Nobody proposes or confirms one for themselves: two other supervisors have to.";

fn is_same(known: &Proposal, wanted: &GrantProposed, by: &SignIn) -> bool {
    let asked = (&wanted.sign_in, scope(&wanted.classes), wanted.from, wanted.to, &wanted.basis, by);
    asked == (&known.person, known.scope.clone(), known.from, known.to, &known.basis, &known.by)
}

fn possible(wanted: &GrantProposed, world: &World, now: Instant) -> Result<(), Refused> {
    let today = world.railway.zone.day_of(now);
    let who = &wanted.sign_in;
    is_here(who, world)?;
    if let Some(class) = wanted.classes.iter().find(|class| !world.roster.classes.contains_key(*class)) {
        return Err(not_allowed("classes", format!("There is no class {class}. Choose from the list.")));
    }
    if wanted.from < today {
        let says = "A right cannot be given backwards: give today or a later day.";
        return Err(not_allowed("from", says.to_owned()));
    }
    if wanted.to.is_some_and(|to| to < wanted.from) {
        return Err(not_allowed("to", "It would end before it begins. Check both days.".to_owned()));
    }
    let same = |person: &SignIn, its: &_, from, to| {
        (person, its, from, to) == (who, &scope(&wanted.classes), wanted.from, wanted.to)
    };
    let waiting = |p: &&Arc<Proposal>| p.waits(now) && same(&p.person, &p.scope, p.from, p.to);
    if let Some(known) = world.proposals.values().find(waiting) {
        return Err(not_allowed(
            "",
            format!("{} proposed this very right already: it waits to be confirmed.", known.by),
        ));
    }
    let held = |a: &&Arc<Authorisation>| a.revoked_at.is_none() && same(&a.person, &a.scope, a.from, a.to);
    match world.people.authorisations.iter().find(held) {
        Some(known) => {
            Err(not_allowed("", format!("{who} has this very right already, by page {}.", known.seq)))
        }
        None => Ok(()),
    }
}

fn is_here(who: &SignIn, world: &World) -> Result<(), Refused> {
    match world.people.person(who) {
        None => Err(not_allowed("person", format!("Nobody in this book signs in as {who}."))),
        Some(person) if !person.active => Err(not_allowed(
            "person",
            format!("{who} has left: an administrator has to let them in again first."),
        )),
        Some(_) => Ok(()),
    }
}

/// The second half: a right from here on.
#[derive(Debug)]
pub struct ConfirmGrant {
    id: Uuid,
    page: Page,
}

impl ConfirmGrant {
    pub fn of(proposal: &Proposal, permit: &Permit, now: Instant) -> Self {
        use crate::people::authorisation::Scope;
        let grant = Grant {
            sign_in: proposal.person.clone(),
            classes: match &proposal.scope {
                Scope::All => Vec::new(),
                Scope::Classes(classes) => classes.clone(),
            },
            from: proposal.from,
            to: proposal.to,
            basis: Some(proposal.basis.clone()),
            granted_by: permit.by().clone(),
            from_list: false,
            proposed_by: Some(proposal.by.clone()),
            proposal: Some(proposal.id),
        };
        let body = Body::AuthorisationGranted(Box::new(grant));
        Self { id: proposal.id, page: page(permit.by(), now, body) }
    }
}

impl Act for ConfirmGrant {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let Some(by) = &self.page.author else { return Ok(Decided::default()) };
        still_may(draft, Some(by), GRANTING)?;
        let proposal = draft.world.proposals.get(&self.id).ok_or_else(no_proposal)?;
        match &proposal.end {
            // Sent twice.
            Some(end) if end.by == *by && matches!(end.how, How::Confirmed(_)) => {
                return Ok(Decided::default());
            }
            Some(_) => return Err(Refused::Stale(ended(proposal, &draft.world.railway.zone))),
            None => {}
        }
        confirms(proposal, by, &draft.world, now)?;
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

fn no_proposal() -> Refused {
    Refused::NotThere("There is no such proposal: look at the list again.".into())
}

/// Why somebody may not confirm it; also for the page, which then offers no button.
pub fn confirms(proposal: &Proposal, by: &SignIn, world: &World, now: Instant) -> Result<(), Refused> {
    let (who, proposer) = (&proposal.person, &proposal.by);
    if proposer == by {
        return Err(Refused::NotYours(
            "You proposed this right: another supervisor has to confirm it, and not the one it is for."
                .into(),
        ));
    }
    if who == by {
        return Err(Refused::NotYours(OWN.into()));
    }
    if !proposal.waits(now) {
        return Err(Refused::Stale(
            "It lapsed: nobody confirmed it within 14 days. It can be proposed anew.".into(),
        ));
    }
    if !world.people.person(who).is_some_and(|person| person.active) {
        return Err(Refused::Stale(format!("{who} has left since: the proposal can only be withdrawn.")));
    }
    if world.people.person(proposer).and_then(|person| person.permit(GRANTING)).is_none() {
        let says =
            "is no supervisor any more: the proposal can only be withdrawn, and made anew by one who is.";
        return Err(Refused::Stale(format!("{proposer} {says}")));
    }
    let today = world.railway.zone.day_of(now);
    match proposal.to.filter(|to| *to < today) {
        Some(_) => Err(Refused::Stale("Its last day is over: it would give no right any more.".into())),
        None => Ok(()),
    }
}

/// `sue confirmed it 3 Mar 2026 06:00 -06:00: it is a right since.`
pub fn ended(proposal: &Proposal, zone: &Zone) -> String {
    match &proposal.end {
        Some(end) => match &end.how {
            How::Confirmed(_) => {
                format!("{} confirmed it {}: it is a right since.", end.by, zone.in_words(end.at))
            }
            How::Withdrawn(reason) => format!("{} withdrew it: {reason}", end.by),
        },
        None => "Nothing became of it yet.".to_owned(),
    }
}

/// No more of it: by whoever proposed it, or another supervisor who says no.
#[derive(Debug)]
pub struct WithdrawProposal(Page);

impl WithdrawProposal {
    pub fn of(id: Uuid, reason: String, permit: &Permit, now: Instant) -> Self {
        let body = Body::ProposalWithdrawn(Box::new(ProposalWithdrawn { id, reason }));
        Self(page(permit.by(), now, body))
    }
}

impl Act for WithdrawProposal {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let (Body::ProposalWithdrawn(withdrawn), Some(by)) = (&self.0.body, &self.0.author) else {
            return Ok(Decided::default());
        };
        still_may(draft, Some(by), GRANTING)?;
        let proposal = draft.world.proposals.get(&withdrawn.id).ok_or_else(no_proposal)?;
        match &proposal.end {
            Some(end) if end.by == *by && end.how == How::Withdrawn(withdrawn.reason.clone()) => {
                Ok(Decided::default())
            }
            Some(_) => Err(Refused::Stale(ended(proposal, &draft.world.railway.zone))),
            None if !proposal.waits(now) => {
                Err(Refused::Stale("It lapsed already: nobody can confirm it.".into()))
            }
            None => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}

/// A right taken back, at once. What was done under it before stays authorised.
#[derive(Debug)]
pub struct RevokeGrant(Page);

impl RevokeGrant {
    pub fn of(grant: u64, reason: String, permit: &Permit, now: Instant) -> Self {
        let body = Body::AuthorisationRevoked(Box::new(Revocation { grant, reason }));
        Self(page(permit.by(), now, body))
    }
}

impl Act for RevokeGrant {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let (Body::AuthorisationRevoked(wanted), Some(by)) = (&self.0.body, &self.0.author) else {
            return Ok(Decided::default());
        };
        still_may(draft, Some(by), GRANTING)?;
        let all = &draft.world.people.authorisations;
        let Some(grant) = all.iter().find(|grant| grant.seq == wanted.grant) else {
            return Err(Refused::NotThere("There is no such authorisation: look at the list again.".into()));
        };
        match (&grant.revoked, grant.standing(now, &draft.world.railway.zone)) {
            (Some(known), _) if known.by == *by && known.reason == wanted.reason => Ok(Decided::default()),
            (Some(known), _) => {
                Err(Refused::Stale(format!("{} revoked it already: {}", known.by, known.reason)))
            }
            (None, Standing::Ended) => {
                Err(Refused::Stale("It came to its end already: there is nothing to revoke.".into()))
            }
            (None, _) => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}
