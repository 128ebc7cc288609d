//! What the shop's pages do to the projections: repairs, holds and releases, causes, lines set aside.
use super::{
    apply::{author, shop_fact},
    body::{
        CauseListed, Hold, Release, ReleaseHow, RepairAmended, RepairClosed, RepairOpened, RepairWorked,
        SetAside,
    },
    draft::{Draft, Filed},
    tables::{self, json},
};
use crate::{
    base::{EntryId, Instant, SignIn, Tag, UnitName},
    book::Heading,
    rules::{DossierKey, Fact, Told, dossier::Subject, earlier::Moved, service_days::Held},
    shop::{self, Before, Repair, Step},
};

impl Draft {
    pub(super) fn hold(&mut self, filed: Filed, heading: &Heading, hold: &Hold) {
        self.rows.holds.add(&tables::HoldRow {
            seq: filed.seq,
            unit: hold.unit.clone(),
            at: hold.at,
            reason: hold.reason,
            by: author(heading),
            words: hold.words.clone(),
        });
        self.tells_about(&hold.unit, filed.seq);
        self.unit_mut(&hold.unit).holds.push(Held {
            from: hold.at,
            until: None,
            off_clock: hold.reason.leaves_the_clock(),
        });
        self.unit_again(&hold.unit);
    }

    /// Dead for repair it stays held: nothing of it goes under power.
    pub(super) fn release(&mut self, filed: Filed, heading: &Heading, release: &Release) {
        let how = release.how.unwrap_or(ReleaseHow::IntoService);
        self.rows.releases.add(&tables::ReleaseRow {
            seq: filed.seq,
            unit: release.unit.clone(),
            at: release.at,
            how,
            by: author(heading),
            restrictions: release.restrictions.clone(),
            checked: release.checked.clone(),
            words: release.words.clone(),
        });
        self.tells_about(&release.unit, filed.seq);
        if how == ReleaseHow::DeadForRepair {
            return;
        }
        let holds = &mut self.unit_mut(&release.unit).holds;
        holds.iter_mut().filter(|held| held.until.is_none()).for_each(|held| held.until = Some(release.at));
        let fact = shop_fact(filed, &author(heading), release.at, Told::Released);
        for subject in [Subject::GroundProtection, Subject::Unit] {
            self.dossier_mut(DossierKey { unit: release.unit.clone(), subject }).add(fact.clone());
        }
        self.unit_again(&release.unit);
    }

    /// Something was told about a unit, for those who want to know whether that came after what they read.
    pub(super) fn tells_about(&mut self, unit: &UnitName, seq: u64) {
        if let Some(last) = self.told_about.get_mut(unit) {
            *last = seq.max(*last);
        }
    }

    pub(super) fn open_repair(&mut self, filed: Filed, heading: &Heading, opened: &RepairOpened) {
        self.tells_about(&opened.unit, filed.seq);
        self.put_repair(Repair {
            id: opened.id,
            unit: opened.unit.clone(),
            device: opened.device.clone(),
            opened_at: opened.at,
            opened_by: author(heading),
            findings: opened.findings.clone(),
            closed_at: None,
            closed_by: None,
            cause: None,
            words: None,
            new_life: false,
            from: None,
            also: opened.also.clone(),
            also_new: Vec::new(),
            entries: opened.entries.clone(),
            why: opened.words.clone(),
            parts: None,
            steps: Vec::new(),
            before: Vec::new(),
            closed_seq: None,
            last_seq: filed.seq,
        });
    }

    pub(super) fn work_on_repair(&mut self, filed: Filed, heading: &Heading, worked: &RepairWorked) {
        let Some(mut repair) = self.repairs.get(&worked.id).cloned() else { return };
        self.tells_about(&repair.unit, filed.seq);
        repair.last_seq = filed.seq;
        repair.steps.push(Step {
            id: worked.step,
            by: author(heading),
            at: worked.at,
            words: worked.words.clone(),
            parts: worked.parts.clone(),
        });
        self.put_repair(repair);
    }

    pub(super) fn close_repair(&mut self, filed: Filed, heading: &Heading, closed: &RepairClosed) {
        let Some(open) = self.repairs.get(&closed.id).cloned() else { return };
        self.tells_about(&open.unit, filed.seq);
        let from = closed.came_from(&open.unit).filter(|_| open.device.is_some()).cloned();
        let new_life = closed.new_life || from.is_some();
        let by = author(heading);
        let told =
            |new_life, from| Told::RepairClosed { new_life, no_fault_found: closed.no_fault_found(), from };
        let names = || Told::RepairAnswered { entries: open.entries.clone() };
        let only_named = |device: &Option<Tag>| device.is_none() && !open.entries.is_empty();
        for device in open.subjects() {
            let first = *device == open.device;
            let life =
                if first { new_life } else { device.as_ref().is_some_and(|d| closed.also_new.contains(d)) };
            let told = if only_named(device) { names() } else { told(life, from.clone().filter(|_| first)) };
            self.put_mended(filed, &by, closed.at, (&open.unit, device), told);
        }
        if let (Some(from), Some(device)) = (&from, &open.device) {
            let moved = Moved { device: device.clone(), to: open.unit.clone(), from: from.clone() };
            self.world_mut(filed.seq).moved.push(moved);
            if closed.swapped_with.is_some() {
                let other = (from, &open.device);
                self.put_mended(filed, &by, closed.at, other, told(true, Some(open.unit.clone())));
            }
        }
        self.put_repair(Repair {
            closed_at: Some(closed.at),
            closed_by: Some(by),
            cause: Some(closed.cause.clone()),
            words: closed.words.clone(),
            new_life,
            from,
            also_new: closed.also_new.clone(),
            parts: closed.parts.clone(),
            closed_seq: Some(filed.seq),
            last_seq: filed.seq,
            ..open
        });
    }

    fn put_mended(
        &mut self,
        filed: Filed,
        by: &SignIn,
        at: Instant,
        (unit, device): (&UnitName, &Option<Tag>),
        told: Told,
    ) {
        let subject = device.clone().map_or(Subject::Unit, Subject::Device);
        if subject == Subject::Device(Tag::ENGINE_START.into()) {
            let of_unit = DossierKey { unit: unit.clone(), subject: Subject::Unit };
            self.dossier_mut(of_unit).add(shop_fact(filed, by, at, Told::StartRepaired));
        }
        let of_some_entries = matches!(told, Told::RepairAnswered { .. });
        self.dossier_mut(DossierKey { unit: unit.clone(), subject }).add(shop_fact(filed, by, at, told));
        if !of_some_entries {
            let mended = shop_fact(filed, by, at, Told::Mended { device: device.clone() });
            self.dossier_mut(DossierKey { unit: unit.clone(), subject: Subject::Together }).add(mended);
        }
    }

    /// What was said before is kept beside it. The rules go by what is said now.
    pub(super) fn amend_repair(&mut self, filed: Filed, heading: &Heading, amended: &RepairAmended) {
        let Some(mut repair) = self.repairs.get(&amended.id).cloned() else { return };
        let Some(closed_seq) = repair.closed_seq else { return };
        self.tells_about(&repair.unit, filed.seq);
        repair.before.push(Before {
            amendment: amended.amendment,
            by: author(heading),
            at: filed.recorded_at,
            reason: amended.reason.clone(),
            cause: repair.cause.replace(amended.cause.clone()),
            words: std::mem::replace(&mut repair.words, amended.words.clone()),
            parts: std::mem::replace(&mut repair.parts, amended.parts.clone()),
            new_life: repair.new_life,
        });
        repair.new_life = amended.new_life || repair.from.is_some();
        repair.last_seq = filed.seq;
        let act = EntryId(uuid::Uuid::from_u64_pair(0, closed_seq));
        let nothing_found = shop::is_no_fault_found(&amended.cause);
        for device in repair.subjects() {
            let life = (*device == repair.device).then_some(repair.new_life);
            self.amend_mended((&repair.unit, device), act, nothing_found, life);
        }
        // Of a swap the other unit was told as much; of a part that only came from there nothing was.
        if let (Some(from), Some(_)) = (&repair.from, &repair.device) {
            self.amend_mended((from, &repair.device), act, nothing_found, None);
        }
        self.put_repair(repair);
    }

    /// What a closing told of a unit's device, as it is told now; a life that is not given stays.
    fn amend_mended(
        &mut self,
        (unit, device): (&UnitName, &Option<Tag>),
        act: EntryId,
        nothing_found: bool,
        life: Option<bool>,
    ) {
        let subject = device.clone().map_or(Subject::Unit, Subject::Device);
        let dossier = self.dossier_mut(DossierKey { unit: unit.clone(), subject });
        for fact in dossier.take(act) {
            let told = match fact.told {
                Told::RepairClosed { new_life, from, .. } => Told::RepairClosed {
                    new_life: life.unwrap_or(new_life),
                    no_fault_found: nothing_found,
                    from,
                },
                other => other,
            };
            dossier.add(Fact { told, ..fact });
        }
    }

    fn put_repair(&mut self, repair: Repair) {
        self.rows.repairs.add(&tables::RepairRow {
            id: repair.id,
            unit: repair.unit.clone(),
            device: repair.device.clone(),
            opened_at: repair.opened_at,
            opened_by: repair.opened_by.clone(),
            closed_at: repair.closed_at,
            closed_by: repair.closed_by.clone(),
            data: json(&repair),
        });
        self.repairs.insert(repair.id, repair);
    }

    pub(super) fn put_aside(&mut self, filed: Filed, heading: &Heading, aside: &SetAside) {
        self.rows.set_asides.add(&tables::SetAsideRow {
            seq: filed.seq,
            rule: aside.rule,
            unit: aside.unit.clone(),
            device: aside.device.clone(),
            by: author(heading),
            at: filed.recorded_at,
            until: aside.until,
            reason: aside.reason.clone(),
        });
    }

    pub(super) fn list_cause(&mut self, filed: Filed, heading: &Heading, listed: &CauseListed) {
        self.rows.causes.add(&tables::CauseRow {
            key: shop::cause_key(&listed.cause),
            cause: listed.cause.clone(),
            listed: listed.listed,
            by: author(heading),
            at: filed.recorded_at,
        });
    }
}
