//! The one function that looks at a dossier. Incremental judging, batch judging and rebuilding all call it.
use super::{
    Dossier, DossierKey, Ground, burst::burst, case::Case, dossier::Subject, fact::RunFact, finding::Finding,
    occurrence::occurrences, register::Bypass, service_days::ServiceDays,
};
use crate::base::{Instant, Tag};

#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judgement {
    /// Sorted by key.
    pub findings: Vec<Finding>,
    /// Only for ground protection; sorted by when they began.
    pub bypasses: Vec<Bypass>,
    /// A change to service days that all begin at or after this moment cannot change the judgement.
    /// `None`: no service day can. [`Instant::MAX`]: any can.
    pub settled_after: Option<Instant>,
}

/// Judges one dossier. As of a moment: judge `dossier.up_to(then)` against service days from the reports, and
/// runs, up to then.
pub fn judge(
    key: &DossierKey,
    dossier: &Dossier,
    days: &ServiceDays,
    runs: &[RunFact],
    ground: &Ground<'_>,
) -> Judgement {
    let case = Case { key, facts: dossier.facts(), days, runs, ground };
    let mut judged = Judgement::default();
    match &key.subject {
        Subject::Device(tag) => device(&case, tag, &mut judged),
        Subject::GroundProtection => {}
        Subject::Unit => {}
    }
    judged.findings.sort_by(|a, b| a.key.cmp(&b.key));
    judged
}

fn device(case: &Case<'_>, tag: &Tag, judged: &mut Judgement) {
    let occurrences = occurrences(case.facts);
    judged.settled_after = burst(case, tag, &occurrences, &mut judged.findings);
}
