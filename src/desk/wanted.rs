//! What pages are about, found out in two steps: ids first, then the histories they lead to.
use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{
    apply_reports,
    body::{Body, RepairClosed, RepairOpened},
    draft::{Draft, Page},
};
use crate::{
    base::{AmendmentId, EntryId, ReportId, Tag, UnitName, zone::Day},
    reports::{Amendment, Entry},
    rules::{DossierKey, dossier::Subject, routing, together},
};

/// Everything that filing some pages will look at.
#[derive(Debug, Default)]
pub struct Wanted {
    pub reports: BTreeSet<ReportId>,
    pub entries: BTreeSet<EntryId>,
    pub amendments: BTreeSet<AmendmentId>,
    pub bypasses: BTreeSet<EntryId>,
    pub repairs: BTreeSet<uuid::Uuid>,
    /// With the days on which a page reports about it.
    pub units: BTreeMap<UnitName, BTreeSet<Day>>,
    /// What the pages tell of the weather: a day, and whether it was wet.
    pub weather: BTreeMap<UnitName, BTreeSet<(Day, bool)>>,
    pub dossiers: BTreeSet<DossierKey>,
}

/// An entry, the unit it is about, and the units coupled to that.
type Told<'a> = (&'a UnitName, &'a [UnitName], &'a Entry);

/// What the pages bring themselves: a later one may be about an earlier one that is not in the file yet.
struct Together<'a> {
    entries: HashMap<EntryId, Told<'a>>,
    repairs: HashMap<uuid::Uuid, &'a RepairOpened>,
    /// A schedule or a unit comes with them: what follows it is held against another schedule than the draft's.
    roster_changes: bool,
}

impl<'a> Together<'a> {
    fn of(pages: &[&'a Page]) -> Self {
        let mut all = Self { entries: HashMap::new(), repairs: HashMap::new(), roster_changes: false };
        for page in pages {
            match &page.body {
                Body::ReportFiled(report) => {
                    let told = |entry: &'a Entry| (&report.unit, report.consist.as_slice(), entry);
                    all.entries.extend(report.entries.iter().map(|entry| (entry.id, told(entry))));
                }
                Body::RepairOpened(opened) => {
                    all.repairs.insert(opened.id, opened);
                }
                Body::ScheduleIssued(_)
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
                }
                Body::RepairClosed(closed) => {
                    wanted.repairs.insert(closed.id);
                }
                _ => {}
            }
        }
        wanted
    }

    /// The units and dossiers that they lead to, once what the ids name has been loaded into the draft.
    pub fn add_subjects(&mut self, pages: &[&Page], draft: &Draft) {
        let together = Together::of(pages);
        pages.iter().for_each(|page| self.subjects_of(&page.body, &together, draft));
    }

    fn subjects_of(&mut self, body: &Body, together: &Together<'_>, draft: &Draft) {
        match body {
            Body::ReportFiled(report) => {
                let day = draft.world.railway.zone.day_of(report.signed_at.at);
                self.units.entry(report.unit.clone()).or_default().insert(day);
                let told = apply_reports::weather_days(report, &draft.world.railway.zone);
                self.weather.entry(report.unit.clone()).or_default().extend(told);
                self.want(&report.unit, Subject::GroundProtection);
                for entry in &report.entries {
                    self.entry_subjects((&report.unit, &report.consist, entry), draft);
                    if together.roster_changes {
                        self.any_subjects(&report.unit, entry);
                    }
                }
            }
            Body::EntryAmended(amendment) => self.amendment_subjects(amendment, together, draft),
            Body::UnitHeld(hold) => {
                self.units.entry(hold.unit.clone()).or_default();
            }
            Body::UnitReleased(release) => {
                self.units.entry(release.unit.clone()).or_default();
                self.want(&release.unit, Subject::GroundProtection);
                self.want(&release.unit, Subject::Unit);
            }
            Body::RepairClosed(closed) => self.repair_subjects(closed, together, draft),
            Body::UnitAdded(card) | Body::UnitChanged(card) => {
                self.units.entry(card.unit.clone()).or_default();
                self.want(&card.unit, Subject::Together);
            }
            _ => {}
        }
    }

    fn amendment_subjects(&mut self, amendment: &Amendment, together: &Together<'_>, draft: &Draft) {
        let known = draft.entries.get(&amendment.entry);
        let in_file = known.map(|known| (&known.unit, known.consist.as_slice(), &known.entry));
        let told = in_file.or_else(|| together.entries.get(&amendment.entry).copied());
        let Some((unit, consist, entry)) = told else { return };
        self.units.entry(unit.clone()).or_default();
        for entry in std::iter::once(entry).chain(&amendment.replacement) {
            self.entry_subjects((unit, consist, entry), draft);
            self.any_subjects(unit, entry);
        }
    }

    fn repair_subjects(&mut self, closed: &RepairClosed, together: &Together<'_>, draft: &Draft) {
        let in_file = draft.repairs.get(&closed.id).map(|repair| (&repair.unit, &repair.device));
        let here = together.repairs.get(&closed.id).map(|opened| (&opened.unit, &opened.device));
        let Some((unit, device)) = in_file.or(here) else { return };
        self.units.entry(unit.clone()).or_default();
        if device.as_ref().is_none_or(|tag| tag.as_str() == Tag::ENGINE_START) {
            self.want(unit, Subject::Unit);
        }
        device.iter().for_each(|tag| self.want(unit, Subject::Device(tag.clone())));
        self.want(unit, Subject::Together);
    }

    fn want(&mut self, unit: &UnitName, subject: Subject) {
        self.dossiers.insert(DossierKey { unit: unit.clone(), subject });
    }

    fn entry_subjects(&mut self, (unit, consist, entry): Told<'_>, draft: &Draft) {
        for unit in together::units(unit, consist, entry) {
            self.want(&unit, Subject::Together);
            self.units.entry(unit).or_default();
        }
        let schedule = draft.world.roster.schedule_at(unit, entry.when.at());
        for subject in routing::subjects(entry, schedule) {
            self.want(unit, subject);
        }
    }

    /// Whatever an entry can come under by some schedule: the one it will be held against, or was, may be another
    /// than the one in force now.
    fn any_subjects(&mut self, unit: &UnitName, entry: &Entry) {
        for subject in routing::any_subjects(entry) {
            self.want(unit, subject);
        }
    }
}
