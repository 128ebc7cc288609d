//! What pages are about, found out in two steps: ids first, then the histories they lead to.
use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{
    apply_reports,
    body::{Body, RepairClosed, RepairOpened},
    draft::{Draft, Page},
};
use crate::{
    base::{AmendmentId, EntryId, Instant, ReportId, Tag, UnitName, zone::Day},
    reports::{Amendment, Entry},
    roster::UnitCard,
    rules::{
        DossierKey,
        dossier::Subject,
        earlier::{Moved, linked},
        quiet, routing, together,
    },
};

/// How much of a dossier a page looks at.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Need {
    /// Its last part: what comes in may well say nothing new.
    End,
    /// Its last part and all outlines: a device did something, and statistics count it.
    Outline,
    /// All of it, since it will be judged again.
    ToJudge,
    /// All of it, since something may be taken out.
    ToAmend,
}

/// Everything that filing some pages will look at.
#[derive(Debug, Default)]
pub struct Wanted {
    pub reports: BTreeSet<ReportId>,
    pub entries: BTreeSet<EntryId>,
    pub amendments: BTreeSet<AmendmentId>,
    pub bypasses: BTreeSet<EntryId>,
    pub repairs: BTreeSet<uuid::Uuid>,
    /// Measurements and inspections.
    pub taken: BTreeSet<uuid::Uuid>,
    /// Units of which it matters what is in repair.
    pub in_repair: BTreeSet<UnitName>,
    /// Units of which it matters which page told of them last.
    pub told_about: BTreeSet<UnitName>,
    pub tablet_keys: BTreeSet<uuid::Uuid>,
    pub tablet_reports: BTreeSet<ReportId>,
    /// With the days on which a page reports about it.
    pub units: BTreeMap<UnitName, BTreeSet<Day>>,
    /// What the pages tell of the weather: a day, and whether it was wet.
    pub weather: BTreeMap<UnitName, BTreeSet<(Day, bool)>>,
    pub dossiers: BTreeMap<DossierKey, Need>,
    /// The earliest entry that comes to a device's dossier: others may have told of the device at about that time.
    pub told: BTreeMap<DossierKey, Instant>,
}

/// An entry, the unit it is about, and the units coupled to that.
type Told<'a> = (&'a UnitName, &'a [UnitName], &'a Entry);

/// What the pages bring themselves: a later one may be about an earlier one that is not in the file yet.
struct Together<'a> {
    entries: HashMap<EntryId, Told<'a>>,
    repairs: HashMap<uuid::Uuid, &'a RepairOpened>,
    closings: HashMap<uuid::Uuid, &'a RepairClosed>,
    /// A schedule or a unit comes with them: what follows it is held against another schedule than the draft's.
    roster_changes: bool,
}

impl<'a> Together<'a> {
    fn of(pages: &[&'a Page]) -> Self {
        let (entries, repairs, closings) = Default::default();
        let mut all = Self { entries, repairs, closings, roster_changes: false };
        for page in pages {
            match &page.body {
                Body::ReportFiled(report) => {
                    let told = |entry: &'a Entry| (&report.unit, report.consist.as_slice(), entry);
                    all.entries.extend(report.entries.iter().map(|entry| (entry.id, told(entry))));
                }
                Body::RepairOpened(opened) => {
                    all.repairs.insert(opened.id, opened);
                }
                Body::RepairClosed(closed) => {
                    all.closings.insert(closed.id, closed);
                }
                Body::ScheduleIssued(_)
                | Body::ScheduleKept(_)
                | Body::UnitKept(_)
                | Body::UnitAdded(_)
                | Body::UnitChanged(_)
                | Body::UnitRetired(_) => {
                    all.roster_changes = true;
                }
                _ => {}
            }
        }
        all
    }

    /// What a repair is of, the unit's device first that its part may come from another unit.
    fn repaired<'d>(&self, id: &uuid::Uuid, draft: &'d Draft) -> Option<(&'d UnitName, Vec<&'d Option<Tag>>)>
    where
        'a: 'd,
    {
        let in_file = draft.repairs.get(id).map(|repair| (&repair.unit, repair.subjects().collect()));
        let of = |opened: &'d RepairOpened| std::iter::once(&opened.device).chain(&opened.also).collect();
        in_file.or_else(|| self.repairs.get(id).map(|opened| (&opened.unit, of(opened))))
    }

    /// The other unit of a repair whose part came from one.
    fn came_from(&self, id: &uuid::Uuid, draft: &Draft) -> Option<(UnitName, Tag)> {
        let (unit, of) = self.repaired(id, draft)?;
        let device = of.first().copied().cloned().flatten()?;
        let in_file = draft.repairs.get(id).and_then(|repair| repair.from.as_ref());
        let from = in_file.or_else(|| self.closings.get(id)?.came_from(unit))?;
        Some((from.clone(), device))
    }
}

impl Wanted {
    /// The ids that the pages name.
    pub fn ids_of(pages: &[&Page]) -> Self {
        let mut wanted = Self::default();
        for page in pages {
            match &page.body {
                Body::ReportFiled(report) => {
                    wanted.reports.insert(report.id);
                    wanted.entries.extend(report.entries.iter().map(|e| e.id));
                }
                Body::EntryAmended(amendment) => {
                    wanted.amendments.insert(amendment.id);
                    wanted.reports.insert(amendment.report);
                    wanted.entries.insert(amendment.entry);
                }
                Body::StatementAdded(said) => {
                    wanted.entries.insert(said.entry);
                }
                Body::BypassReviewed(review) => {
                    wanted.bypasses.insert(review.bypass);
                }
                Body::RepairOpened(opened) => {
                    wanted.repairs.insert(opened.id);
                    wanted.in_repair.insert(opened.unit.clone());
                }
                Body::RepairWorked(worked) => {
                    wanted.repairs.insert(worked.id);
                }
                Body::RepairClosed(closed) => {
                    wanted.repairs.insert(closed.id);
                }
                Body::RepairAmended(amended) => {
                    wanted.repairs.insert(amended.id);
                }
                Body::UnitReleased(release) => {
                    wanted.told_about.insert(release.unit.clone());
                }
                Body::TabletKeyRegistered(key) => {
                    wanted.tablet_keys.insert(key.key);
                }
                Body::TabletKeyRevoked(revoked) => {
                    wanted.tablet_keys.insert(revoked.key);
                }
                Body::TabletSigned(signed) => {
                    wanted.tablet_keys.insert(signed.key);
                }
                Body::TabletAnswered(answered) => {
                    wanted.tablet_reports.insert(answered.report);
                }
                body => wanted.shop_ids(body),
            }
        }
        wanted
    }

    /// The units and dossiers that they lead to, once what the ids name has been loaded into the draft.
    pub fn add_subjects(&mut self, pages: &[&Page], draft: &Draft) {
        let together = Together::of(pages);
        pages.iter().for_each(|page| self.subjects_of(&page.body, &together, draft));
        self.linked_subjects(pages, &together, draft);
    }

    /// Where a part came from another unit, its dossiers there and here are judged by each other.
    fn linked_subjects(&mut self, pages: &[&Page], together: &Together<'_>, draft: &Draft) {
        let here = pages.iter().filter_map(|page| match &page.body {
            Body::RepairClosed(closed) => {
                let (unit, of) = together.repaired(&closed.id, draft)?;
                let device = of.first().copied().cloned().flatten()?;
                let from = closed.came_from(unit)?.clone();
                Some(Moved { device, to: unit.clone(), from })
            }
            _ => None,
        });
        let moved: Vec<Moved> = draft.world.moved.iter().cloned().chain(here).collect();
        for one in &moved {
            let linked = linked(&moved, &one.to, &one.device);
            // What is reported of a unit counts its service days, too, by which all of these go.
            if linked.iter().any(|unit| self.units.contains_key(unit)) {
                for unit in linked {
                    self.want(&unit, Subject::Device(one.device.clone()), Need::ToJudge);
                    self.units.entry(unit).or_default();
                }
            }
        }
    }

    fn subjects_of(&mut self, body: &Body, together: &Together<'_>, draft: &Draft) {
        match body {
            Body::ReportFiled(report) => {
                let day = draft.world.railway.zone.day_of(report.signed_at.at);
                self.units.entry(report.unit.clone()).or_default().insert(day);
                let told = apply_reports::weather_days(report, &draft.world.railway.zone);
                self.weather.entry(report.unit.clone()).or_default().extend(told);
                self.want(&report.unit, Subject::GroundProtection, Need::End);
                for entry in &report.entries {
                    self.entry_subjects((&report.unit, &report.consist, entry), Need::End, draft);
                    if together.roster_changes {
                        self.any_subjects(&report.unit, entry, Need::End);
                    }
                }
            }
            Body::EntryAmended(amendment) => self.amendment_subjects(amendment, together, draft),
            Body::UnitHeld(hold) => {
                self.units.entry(hold.unit.clone()).or_default();
            }
            Body::UnitReleased(release) => {
                self.units.entry(release.unit.clone()).or_default();
                self.want(&release.unit, Subject::GroundProtection, Need::ToJudge);
                self.want(&release.unit, Subject::Unit, Need::ToJudge);
            }
            Body::RepairClosed(closed) => self.repair_subjects(closed, together, draft),
            Body::RepairAmended(amended) => {
                let Some((unit, of)) = together.repaired(&amended.id, draft) else { return };
                self.units.entry(unit.clone()).or_default();
                for device in of {
                    let subject = device.clone().map_or(Subject::Unit, Subject::Device);
                    self.want(unit, subject, Need::ToAmend);
                }
                if let Some((from, device)) = together.came_from(&amended.id, draft) {
                    self.units.entry(from.clone()).or_default();
                    self.want(&from, Subject::Device(device), Need::ToAmend);
                }
            }
            Body::UnitAdded(card) | Body::UnitChanged(card) => self.card_subjects(card),
            Body::UnitKept(kept) => self.card_subjects(&kept.unit),
            _ => {}
        }
    }

    fn card_subjects(&mut self, card: &UnitCard) {
        self.units.entry(card.unit.clone()).or_default();
        self.want(&card.unit, Subject::Together, Need::ToJudge);
    }

    fn amendment_subjects(&mut self, amendment: &Amendment, together: &Together<'_>, draft: &Draft) {
        let known = draft.entries.get(&amendment.entry);
        let in_file = known.map(|known| (&known.unit, known.consist.as_slice(), &known.entry));
        let told = in_file.or_else(|| together.entries.get(&amendment.entry).copied());
        let Some((unit, consist, entry)) = told else { return };
        self.units.entry(unit.clone()).or_default();
        for entry in std::iter::once(entry).chain(&amendment.replacement) {
            self.entry_subjects((unit, consist, entry), Need::ToAmend, draft);
            self.any_subjects(unit, entry, Need::ToAmend);
        }
    }

    fn repair_subjects(&mut self, closed: &RepairClosed, together: &Together<'_>, draft: &Draft) {
        let Some((unit, of)) = together.repaired(&closed.id, draft) else { return };
        for unit in [Some(unit), closed.came_from(unit)].into_iter().flatten() {
            self.units.entry(unit.clone()).or_default();
            for device in &of {
                if device.as_ref().is_none_or(|tag| tag.as_str() == Tag::ENGINE_START) {
                    self.want(unit, Subject::Unit, Need::ToJudge);
                }
                device.iter().for_each(|tag| self.want(unit, Subject::Device(tag.clone()), Need::ToJudge));
            }
            self.want(unit, Subject::Together, Need::ToJudge);
        }
    }

    fn want(&mut self, unit: &UnitName, subject: Subject, need: Need) {
        let known = self.dossiers.entry(DossierKey { unit: unit.clone(), subject }).or_insert(need);
        *known = need.max(*known);
    }

    fn entry_subjects(&mut self, (unit, consist, entry): Told<'_>, need: Need, draft: &Draft) {
        for unit in together::units(unit, consist, entry) {
            self.want(&unit, Subject::Together, need);
            self.units.entry(unit).or_default();
        }
        let schedule = draft.world.roster.schedule_at(unit, entry.when.at());
        for subject in routing::subjects(entry, schedule) {
            let of_device = matches!(subject, Subject::Device(_));
            let need = if of_device && !quiet::is_look(entry) { need.max(Need::Outline) } else { need };
            if of_device && need <= Need::Outline {
                let key = DossierKey { unit: unit.clone(), subject: subject.clone() };
                let first = self.told.entry(key).or_insert(entry.when.at());
                *first = entry.when.at().min(*first);
            }
            self.want(unit, subject, need);
        }
    }

    /// Whatever an entry can come under by some schedule: the one it will be held against, or was, may be another
    /// than the one in force now.
    fn any_subjects(&mut self, unit: &UnitName, entry: &Entry, need: Need) {
        for subject in routing::any_subjects(entry) {
            self.want(unit, subject, need);
        }
    }
}
