//! The rows of what was judged of a dossier, and of what the file does not have of it.
use super::{
    cabinet::{ChangedParts, Kept, Prints},
    tables::{BypassRow, DossierRow, FindingRow, Judged, json},
};
use crate::rules::{Bypass, DossierKey, Fact, Finding, Judgement, dossier::Subject};

/// A dossier's end, its earlier parts, and earlier chunks of outlines if it is a device's.
#[derive(Default)]
pub(super) struct Changed {
    end: Option<Option<End>>,
    parts: Numbered,
    outlines: Numbered,
}

/// By number, packed; and from which number on the file has too many.
type Numbered = (Vec<(usize, Vec<u8>)>, Option<usize>);

/// The last part and the last chunk.
struct End {
    part: (usize, Vec<u8>),
    chunk: Option<(usize, Vec<u8>)>,
}

impl Changed {
    /// Takes up what is new among the outlines, too.
    pub fn of(key: &DossierKey, kept: &mut Kept) -> Self {
        if matches!(key.subject, Subject::Device(_)) {
            kept.outline();
        }
        let (chunk, outlines) = (kept.outlined.last(), kept.outlined.take_changed());
        let Some(ChangedParts { earlier, surplus, last }) = kept.changed_parts() else {
            return Self::default();
        };
        let packed = |(n, facts): (usize, &[Fact])| (n, postcard::to_stdvec(facts).unwrap_or_default());
        Self {
            end: Some(last.map(|last| End { part: packed(last), chunk })),
            parts: (earlier.into_iter().map(packed).collect(), surplus),
            outlines,
        }
    }

    pub fn put(self, judged: &mut Judged, key: &DossierKey) {
        let subject = key.subject.to_string();
        let Judged { no_ends, ends, parts, surplus_parts, outlines, surplus_outlines, .. } = judged;
        match self.end {
            None => return,
            Some(None) => no_ends.add(&(&key.unit, &subject)),
            Some(Some(End { part: (part, facts), chunk })) => {
                let (chunk, packed) = chunk.unzip();
                let (at, length) = ends.put_beside(0, packed.as_deref().unwrap_or_default());
                let (facts_at, facts_length) = ends.put_beside(1, &facts);
                ends.add(&(&key.unit, &subject, part, chunk, at, length, facts_at, facts_length));
            }
        }
        for ((changed, from), rows, surplus) in
            [(self.parts, parts, surplus_parts), (self.outlines, outlines, surplus_outlines)]
        {
            for (n, packed) in changed {
                let (place, length) = rows.put_beside(0, &packed);
                rows.add(&(&key.unit, &subject, n, place, length));
            }
            from.iter().for_each(|from| surplus.add(&(&key.unit, &subject, from)));
        }
    }
}

/// Makes the file's rows of a dossier's judgement those of this one, leaving alone what is so already.
pub(super) fn put_changes(
    judged: &mut Judged,
    key: &DossierKey,
    stored: &mut Option<Prints>,
    now: &Judgement,
    (prints, each): (Prints, &[i64]),
) {
    if stored.as_ref() == Some(&prints) {
        return;
    }
    judged.dossiers.add(&dossier_row(key, &prints));
    let subject = key.subject.to_string();
    let then = stored.take().unwrap_or_default();
    let gone = then.findings.iter().filter(|print| prints.findings.binary_search(print).is_err());
    gone.for_each(|print| judged.gone.add(&(&key.unit, &subject, print)));
    for (finding, print) in now.findings.iter().zip(each) {
        if then.findings.binary_search(print).is_err() {
            judged.findings.add(&finding_row(key, &subject, finding, *print));
        }
    }
    if then.bypasses != prints.bypasses {
        put_bypasses(judged, key, &now.bypasses);
    }
    *stored = Some(prints);
}

pub(super) fn dossier_row(key: &DossierKey, prints: &Prints) -> DossierRow {
    let hex = |prints: &[i64]| {
        hex::encode(prints.iter().flat_map(|print| print.to_be_bytes()).collect::<Vec<u8>>())
    };
    DossierRow {
        unit: key.unit.clone(),
        subject: key.subject.to_string(),
        rests_before: prints.rests.before,
        waits_for: prints.rests.waits_for,
        on_weather: prints.rests.on_weather,
        findings: hex(&prints.findings),
        reckoned: hex(&prints.reckoned),
        bypasses: prints.bypasses,
        idle: prints.idle,
        watched_until: prints.watched_until,
        left_until: prints.ends.left,
        again_until: prints.ends.again,
    }
}

pub(super) fn finding_row(key: &DossierKey, subject: &str, finding: &Finding, print: i64) -> FindingRow {
    FindingRow {
        key: finding.key.clone(),
        unit: key.unit.clone(),
        subject: subject.to_owned(),
        rule: finding.rule,
        device: finding.device.clone(),
        class: finding.class.clone(),
        since: finding.since,
        until: finding.until,
        severity: finding.severity,
        rank: finding.rank,
        print,
        data: json(finding),
    }
}

fn put_bypasses(judged: &mut Judged, key: &DossierKey, now: &[Bypass]) {
    judged.cleared_bypasses.add(&key.unit);
    for bypass in now {
        judged.bypasses.add(&BypassRow {
            id: bypass.id,
            unit: bypass.unit.clone(),
            device: bypass.device.clone(),
            begins: bypass.begins(),
            closed_at: bypass.closed_at,
            data: json(bypass),
        });
    }
}
