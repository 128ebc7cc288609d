//! What pages about people and their rights do to the projections.
use std::sync::Arc;

use super::{
    apply::author,
    body::{Grant, GrantProposed, PersonCard, ProposalWithdrawn, Revocation},
    draft::{Draft, Filed},
    tables::{self, json},
};
use crate::{
    base::ClassName,
    book::Heading,
    people::{
        Authorisation, Person, Proposal, Role,
        authorisation::{Revoked, Scope},
        person::LastChange,
        proposal::{End, How},
    },
};

/// No class is every class.
pub(super) fn scope(classes: &[ClassName]) -> Scope {
    if classes.is_empty() { Scope::All } else { Scope::Classes(classes.to_vec()) }
}

impl Draft {
    pub(super) fn put_person(&mut self, filed: Filed, heading: &Heading, card: &PersonCard) {
        let added_at =
            self.world.people.person(&card.sign_in).map_or(filed.recorded_at, |known| known.added_at);
        // Whose closing counts as a crew's may have changed.
        self.again.everything |= self.world.people.is_crew(&card.sign_in) != (card.role == Role::Crew);
        let last = LastChange {
            seq: filed.seq,
            at: filed.recorded_at,
            by: heading.author.clone(),
            reason: card.reason.clone(),
        };
        let person =
            Person { sign_in: card.sign_in.clone(), role: card.role, added_at, active: card.active, last };
        self.rows.persons.add(&tables::PersonRow { sign_in: person.sign_in.clone(), card: json(&person) });
        self.world_mut(filed.seq).people.persons.insert(person.sign_in.clone(), Arc::new(person));
    }

    pub(super) fn put_grant(&mut self, filed: Filed, heading: &Heading, grant: &Grant) {
        let authorisation = Authorisation {
            seq: filed.seq,
            person: grant.sign_in.clone(),
            scope: scope(&grant.classes),
            from: grant.from,
            to: grant.to,
            basis: grant.basis.clone(),
            granted_by: grant.granted_by.clone(),
            proposed_by: grant.proposed_by.clone(),
            recorded_at: filed.recorded_at,
            from_list: grant.from_list,
            revoked_at: None,
            revoked: None,
        };
        // A list entry counts for acts before it: what was judged without it is judged again.
        self.again.everything |= grant.from_list;
        if let Some(id) = grant.proposal {
            self.end_proposal(filed, heading, id, How::Confirmed(filed.seq));
        }
        self.put_authorisation(filed.seq, authorisation);
    }

    fn put_authorisation(&mut self, seq: u64, authorisation: Authorisation) {
        self.rows
            .authorisations
            .add(&tables::AuthorisationRow { seq: authorisation.seq, card: json(&authorisation) });
        let list = &mut self.world_mut(seq).people.authorisations;
        list.retain(|known| known.seq != authorisation.seq);
        list.push(Arc::new(authorisation));
        list.sort_by_key(|known| known.seq);
    }

    pub(super) fn revoke(&mut self, filed: Filed, heading: &Heading, revoked: &Revocation) {
        let known = self.world.people.authorisations.iter().find(|a| a.seq == revoked.grant);
        // The first revocation stands.
        let Some(known) = known.filter(|known| known.revoked_at.is_none()).map(|a| (**a).clone()) else {
            return;
        };
        let by = Revoked { by: author(heading), reason: revoked.reason.clone() };
        let revoked_at = Some(filed.recorded_at);
        self.put_authorisation(filed.seq, Authorisation { revoked_at, revoked: Some(by), ..known });
    }

    pub(super) fn put_proposal(&mut self, filed: Filed, heading: &Heading, proposed: &GrantProposed) {
        let proposal = Proposal {
            id: proposed.id,
            seq: filed.seq,
            person: proposed.sign_in.clone(),
            scope: scope(&proposed.classes),
            from: proposed.from,
            to: proposed.to,
            basis: proposed.basis.clone(),
            by: author(heading),
            at: filed.recorded_at,
            end: None,
        };
        self.keep_proposal(filed.seq, proposal);
    }

    pub(super) fn withdraw(&mut self, filed: Filed, heading: &Heading, withdrawn: &ProposalWithdrawn) {
        self.end_proposal(filed, heading, withdrawn.id, How::Withdrawn(withdrawn.reason.clone()));
    }

    fn end_proposal(&mut self, filed: Filed, heading: &Heading, id: uuid::Uuid, how: How) {
        let known = self.world.proposals.get(&id).filter(|known| known.end.is_none());
        let Some(known) = known.map(|known| (**known).clone()) else { return };
        let end = Some(End { by: author(heading), at: filed.recorded_at, how });
        self.keep_proposal(filed.seq, Proposal { end, ..known });
    }

    fn keep_proposal(&mut self, seq: u64, proposal: Proposal) {
        self.rows.proposals.add(&tables::ProposalRow { id: proposal.id, card: json(&proposal) });
        self.world_mut(seq).proposals.insert(proposal.id, Arc::new(proposal));
    }
}
