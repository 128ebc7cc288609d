//! What a filed report, and an amendment of one of its entries, do to the projections.
use std::{collections::BTreeSet, sync::Arc};

use super::{
    apply::author,
    cabinet::Kept,
    draft::{Draft, Filed, KnownAmendment, KnownEntry, KnownReport},
    runs::NewRun,
    tables::{self, json},
};
use crate::{
    base::{ClassName, Day, Zone},
    book::Heading,
    reports::{Entry, Report, amendment::Amendment, content},
    rules::{
        DossierKey, Fact,
        dossier::Subject,
        fact::Withdrawn,
        routing::{self, Source},
        together,
        weather::is_wet,
    },
};

impl Draft {
    pub(super) fn put_report(&mut self, filed: Filed, heading: &Heading, report: &Report) {
        let class = self.world.roster.unit(&report.unit).map(|card| card.class.clone());
        let sha256 = hex::encode(content::content_sha256(report));
        self.rows.reports.add(&report_row(filed, heading, report, class, &sha256));
        self.tells_about(&report.unit, filed.seq);
        self.new_runs.push(NewRun::of(report));
        let day = self.world.railway.zone.day_of(report.signed_at.at);
        if self.units.get(&report.unit).is_none_or(|known| !known.days.contains(day)) {
            self.unit_mut(&report.unit).days.insert(day);
        }
        for (day, wet) in weather_days(report, &self.world.railway.zone) {
            if self.units.get(&report.unit).is_none_or(|known| known.weather.would_change(day, wet)) {
                self.unit_mut(&report.unit).weather.insert(day, wet);
            }
        }
        self.dossier_mut(DossierKey { unit: report.unit.clone(), subject: Subject::GroundProtection });
        for (place_in, entry) in report.entries.iter().enumerate() {
            self.put_new_entry(filed, heading, report, place_in, entry);
        }
        let known = KnownReport { filed, author: report.author.clone(), unit: report.unit.clone(), sha256 };
        self.reports.insert(report.id, known);
    }

    fn put_new_entry(
        &mut self,
        filed: Filed,
        heading: &Heading,
        report: &Report,
        place_in: usize,
        entry: &Entry,
    ) {
        let known = KnownEntry {
            report: report.id,
            seq: filed.seq,
            place_in,
            unit: report.unit.clone(),
            author: report.author.clone(),
            channel: heading.channel,
            recorded_at: filed.recorded_at,
            entry: entry.clone(),
            run: report.run_began(),
            position: report.position,
            consist: report.consist.clone(),
        };
        self.put_entry(&known, None, false);
        self.add_facts(&known, filed.seq, entry);
        self.entries.insert(entry.id, known);
    }

    fn put_entry(&mut self, known: &KnownEntry, amended: Option<String>, withdrawn: bool) {
        let entry = &known.entry;
        let rows = if amended.is_some() { &mut self.rows.entries_again } else { &mut self.rows.entries };
        rows.add(&tables::EntryRow {
            id: entry.id,
            seq: known.seq,
            report: known.report,
            place_in: known.place_in,
            unit: known.unit.clone(),
            class: self.world.roster.unit(&known.unit).map(|card| card.class.clone()),
            kind: entry.what.kind(),
            at: entry.when.at(),
            found: entry.when.is_found(),
            device: entry.what.device().map(|d| d.in_words().to_owned()),
            place: entry.place.clone(),
            throttle: entry.throttle,
            author: known.author.clone(),
            channel: known.channel,
            recorded_at: known.recorded_at,
            amended,
            withdrawn,
            detail: json(entry),
        });
    }

    fn add_facts(&mut self, known: &KnownEntry, seq: u64, entry: &Entry) {
        let world = Arc::clone(&self.world);
        let schedule = world.roster.schedule_at(&known.unit, entry.when.at());
        let source = source(known, seq);
        for (subject, fact) in routing::route(&source, entry, schedule) {
            self.dossier_mut(DossierKey { unit: known.unit.clone(), subject }).add(fact);
        }
        for (unit, fact) in together::route(&source, &known.unit, &known.consist, entry) {
            self.dossier_mut(DossierKey { unit, subject: Subject::Together }).add(fact);
        }
    }

    /// Replaces one whole entry. In the unit's ground protection both versions stay.
    pub(super) fn amend(&mut self, filed: Filed, amendment: &Amendment) {
        let Some(known) = self.entries.get(&amendment.entry).cloned() else { return };
        self.tells_about(&known.unit, filed.seq);
        self.amendments.insert(amendment.id, KnownAmendment::of(amendment));
        self.rows.amendments.add(&tables::AmendmentRow {
            seq: filed.seq,
            id: amendment.id.0,
            entry: amendment.entry,
            report: amendment.report,
            author: amendment.author.clone(),
            at: filed.recorded_at,
            reason: amendment.reason.clone(),
            before: json(&known.entry),
            replacement: amendment.replacement.as_ref().map(json),
        });
        self.withdraw_facts(&known, filed, amendment);
        let mut now = known;
        if let Some(replacement) = &amendment.replacement {
            now.entry = replacement.clone();
            self.add_facts(&now, filed.seq, replacement);
        }
        self.put_entry(&now, Some(amendment.id.to_string()), amendment.replacement.is_none());
        self.entries.insert(amendment.entry, now);
    }

    fn withdraw_facts(&mut self, known: &KnownEntry, filed: Filed, amendment: &Amendment) {
        // Wherever it was put by the schedule of its day, which may be another now.
        let own =
            routing::any_subjects(&known.entry).into_iter().map(|subject| (known.unit.clone(), subject));
        let together = together::units(&known.unit, &known.consist, &known.entry);
        for (unit, subject) in own.chain(together.into_iter().map(|unit| (unit, Subject::Together))) {
            let stays = subject == Subject::GroundProtection;
            let key = DossierKey { unit, subject };
            let told = |kept: &Kept| kept.dossier.facts().iter().any(|fact| fact.entry == amendment.entry);
            if !self.dossiers.get(&key).is_some_and(told) {
                continue;
            }
            let dossier = self.dossier_mut(key);
            for old in dossier.take(amendment.entry) {
                if stays {
                    let by = Withdrawn {
                        seq: filed.seq,
                        by: amendment.author.clone(),
                        at: filed.recorded_at,
                        reason: amendment.reason.clone(),
                    };
                    dossier.add(Fact { withdrawn: old.withdrawn.clone().or(Some(by)), ..old });
                }
            }
        }
    }
}

/// The days of which a report tells the weather, and whether it was wet: the day its run began and the day it ended.
pub(super) fn weather_days(report: &Report, zone: &Zone) -> BTreeSet<(Day, bool)> {
    let Some(wet) = report.weather.and_then(is_wet) else { return BTreeSet::new() };
    let ended = report.run.as_ref().and_then(|run| run.ended).map_or(report.signed_at.at, |s| s.at);
    let began = report.run_began().unwrap_or(ended);
    [began, ended].into_iter().map(|at| (zone.day_of(at), wet)).collect()
}

fn report_row(
    filed: Filed,
    heading: &Heading,
    report: &Report,
    class: Option<ClassName>,
    sha256: &str,
) -> tables::ReportRow {
    let run = report.run.as_ref();
    tables::ReportRow {
        seq: filed.seq,
        id: report.id,
        unit: report.unit.clone(),
        class,
        author: report.author.clone(),
        channel: heading.channel,
        entered_by: heading.on_behalf_of.is_some().then(|| author(heading)),
        occasion: report.occasion,
        is_final: report.is_final,
        symbol: run.and_then(|r| r.symbol.clone()),
        run_from: run.and_then(|r| r.from.clone()),
        run_to: run.and_then(|r| r.to.clone()),
        started: report.run_began().unwrap_or(report.signed_at.at),
        ended: run.and_then(|r| r.ended).map(|s| s.at),
        position: report.position,
        weather: report.weather,
        consist: (!report.consist.is_empty()).then(|| json(&report.consist)),
        remarks: report.remarks.clone(),
        entries: report.entries.len(),
        signed_at: report.signed_at.at,
        recorded_at: filed.recorded_at,
        sha256: sha256.to_owned(),
        root: filed.root.to_string(),
    }
}

fn source(known: &KnownEntry, seq: u64) -> Source {
    Source {
        report: known.report,
        seq,
        author: known.author.clone(),
        recorded_at: known.recorded_at,
        run: known.run,
        position: known.position,
    }
}
