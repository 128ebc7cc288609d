//! What a page does to the projections: the same code for a page being filed and for one read back by `rebuild`.
use std::{collections::BTreeSet, sync::Arc};

use super::{
    body::{ActRefused, Body, Retirement, Review, Statement, ThresholdsChanged},
    draft::{Draft, Filed},
    tables::{self, json},
    world,
};
use crate::{
    base::{EntryId, Instant, SignIn, Tag, UnitName},
    book::Heading,
    roster::{Schedule, UnitCard},
    rules::{ClassFigures, DossierKey, Fact, Told, dossier::Subject, earlier::linked, routing, together},
};

impl Draft {
    pub(super) fn apply(&mut self, filed: Filed, heading: &Heading, body: &Body) {
        match body {
            Body::BookOpened(_) => self.world_mut(filed.seq).seq = filed.seq,
            Body::PersonAdded(card) | Body::PersonChanged(card) => self.put_person(filed, heading, card),
            Body::PasswordSet(_)
            | Body::TokenMade(_)
            | Body::TokenRevoked(_)
            | Body::CodesSet(_)
            | Body::CodesCleared(_) => {}
            Body::AuthorisationGranted(grant) => self.put_grant(filed, heading, grant),
            Body::AuthorisationRevoked(revoked) => self.revoke(filed, heading, revoked),
            Body::GrantProposed(proposed) => self.put_proposal(filed, heading, proposed),
            Body::ProposalWithdrawn(withdrawn) => self.withdraw(filed, heading, withdrawn),
            Body::ScheduleIssued(schedule) => self.put_schedule(filed.seq, schedule),
            Body::UnitAdded(card) | Body::UnitChanged(card) => self.put_unit(filed.seq, (**card).clone()),
            Body::UnitRetired(retired) => self.retire(filed.seq, retired),
            Body::UnitKept(kept) => self.put_unit(filed.seq, kept.unit.clone()),
            Body::ScheduleKept(kept) => self.put_schedule(filed.seq, &kept.schedule),
            Body::ReportFiled(report) => self.put_report(filed, heading, report),
            Body::EntryAmended(amendment) => self.amend(filed, amendment),
            Body::StatementAdded(said) => self.put_statement(filed, heading, said),
            Body::HandoverRead(read) => self.put_handover(filed, heading, &read.unit),
            Body::UnitHeld(hold) => self.hold(filed, heading, hold),
            Body::UnitReleased(release) => self.release(filed, heading, release),
            Body::RepairOpened(opened) => self.open_repair(filed, heading, opened),
            Body::RepairWorked(worked) => self.work_on_repair(filed, heading, worked),
            Body::RepairAmended(amended) => self.amend_repair(filed, heading, amended),
            Body::CauseListed(listed) => self.list_cause(filed, heading, listed),
            Body::RepairClosed(closed) => self.close_repair(filed, heading, closed),
            Body::FindingSetAside(aside) => self.put_aside(filed, heading, aside),
            Body::BypassReviewed(review) => self.put_review(filed, heading, review),
            Body::ActRefused(refused) => self.put_refused(filed, heading, refused),
            Body::ClassFiguresTaken(figures) => self.put_figures(filed.seq, figures),
            Body::ThresholdsChanged(changed) => self.put_thresholds(filed, heading, changed),
            Body::TabletKeyRegistered(key) => self.put_tablet_key(filed, key),
            Body::TabletKeyRevoked(revoked) => self.revoke_tablet_key(filed, heading, revoked),
            Body::TabletSigned(signed) => self.put_tablet_report(filed, heading, signed),
            Body::TabletAnswered(answered) => self.answer_tablet_report(filed, answered),
            Body::MeasurementTaken(taken) => self.put_measurement(filed, heading, taken),
            Body::InspectionDone(done) => self.put_inspection(filed, heading, done),
            Body::InspectionIntervalSet(set) => self.put_interval(filed, heading, set),
            Body::ShopTableKept(kept) => self.put_shop_table(filed, heading, kept),
        }
    }

    fn put_schedule(&mut self, seq: u64, schedule: &Schedule) {
        self.rows.schedules.add(&tables::ScheduleRow {
            class: schedule.class.clone(),
            seq,
            effective: schedule.effective,
            schedule: json(schedule),
        });
        world::put_schedule(&mut self.world_mut(seq).roster, schedule.clone());
        let of_class = |card: &&Arc<UnitCard>| card.class == schedule.class;
        let units: Vec<_> =
            self.world.roster.units.values().filter(of_class).map(|c| c.unit.clone()).collect();
        self.again.units.extend(units);
        // A schedule says how much a device's lines weigh.
        self.again.classes = true;
    }

    fn retire(&mut self, seq: u64, retired: &Retirement) {
        if let Some(card) = self.world.roster.unit(&retired.unit).cloned() {
            self.put_unit(seq, UnitCard { retired: Some(retired.day), ..card });
        }
    }

    fn put_statement(&mut self, filed: Filed, heading: &Heading, said: &Statement) {
        self.stated.insert(said.entry, filed.seq);
        self.rows.statements.add(&tables::StatementRow {
            seq: filed.seq,
            entry: said.entry,
            author: author(heading),
            at: filed.recorded_at,
            words: said.words.clone(),
        });
    }

    fn put_handover(&mut self, filed: Filed, heading: &Heading, unit: &UnitName) {
        self.rows.handovers.add(&tables::HandoverRow {
            seq: filed.seq,
            unit: unit.clone(),
            by: author(heading),
            at: filed.recorded_at,
        });
    }

    fn put_review(&mut self, filed: Filed, heading: &Heading, review: &Review) {
        self.reviewed.insert(review.bypass, filed.seq);
        self.rows.reviews.add(&tables::ReviewRow {
            seq: filed.seq,
            bypass: review.bypass,
            unit: review.unit.clone(),
            by: author(heading),
            at: filed.recorded_at,
            last_seq: review.last_seq,
            judgement: review.judgement,
            words: review.words.clone(),
        });
    }

    fn put_refused(&mut self, filed: Filed, heading: &Heading, refused: &ActRefused) {
        self.rows.refusals.add(&tables::RefusedRow {
            seq: filed.seq,
            act: refused.act,
            about: refused.about.clone(),
            by: author(heading),
            at: filed.recorded_at,
            says: refused.says.clone(),
        });
    }

    fn put_figures(&mut self, seq: u64, figures: &ClassFigures) {
        self.rows.figures.add(&tables::FiguresRow { one: 1, seq, figures: json(figures) });
        self.world_mut(seq).figures = Some(Arc::new(figures.clone()));
        (self.again.reckoned, self.again.classes) = (true, true);
    }

    /// A setting that a later program has dropped changes nothing any more.
    fn put_thresholds(&mut self, filed: Filed, heading: &Heading, changed: &ThresholdsChanged) {
        let world = self.world_mut(filed.seq);
        for change in &changed.changes {
            let _ = world.thresholds.set(&change.setting, change.new);
        }
        self.rows.thresholds.add(&tables::ThresholdsRow {
            seq: filed.seq,
            by: author(heading),
            at: filed.recorded_at,
            reason: changed.reason.clone(),
            changes: json(&changed.changes),
            settings: json(&self.world.thresholds),
        });
        (self.again.everything, self.again.classes) = (true, true);
    }

    fn put_unit(&mut self, seq: u64, card: UnitCard) {
        self.rows.units.add(&tables::UnitRow { unit: card.unit.clone(), card: json(&card) });
        self.unit_again(&card.unit);
        let class = self.world.roster.unit(&card.unit).map(|known| &known.class);
        if class != Some(&card.class) {
            // Whether a unit is on the roster, and of which class, matters to those that it was coupled to.
            let key = DossierKey { unit: card.unit.clone(), subject: Subject::Together };
            let facts = self.dossiers.get(&key).map_or(&[][..], |kept| kept.dossier.facts());
            self.again.units.extend(together::coupled(facts).cloned());
        }
        self.world_mut(seq).roster.units.insert(card.unit.clone(), Arc::new(card));
    }

    /// The unit is judged again, and those that its parts went to or came from.
    pub(super) fn unit_again(&mut self, unit: &UnitName) {
        let devices: BTreeSet<&Tag> = self.world.moved.iter().map(|m| &m.device).collect();
        let linked: Vec<_> = devices.into_iter().flat_map(|d| linked(&self.world.moved, unit, d)).collect();
        self.again.units.insert(unit.clone());
        self.again.units.extend(linked);
    }
}

/// The program and the console have no sign-in name of their own.
pub(super) fn author(heading: &Heading) -> SignIn {
    heading.author.clone().unwrap_or_else(|| SignIn::from("console"))
}

/// An act of the shop as the rules see it; its id is made from its page's number.
pub(super) fn shop_fact(filed: Filed, by: &SignIn, at: Instant, told: Told) -> Fact {
    let act = EntryId(uuid::Uuid::from_u64_pair(0, filed.seq));
    routing::shop_fact(act, at, by, (filed.seq, filed.recorded_at), told)
}
