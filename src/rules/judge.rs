//! The one function that looks at a dossier. Incremental judging, batch judging and rebuilding all call it.
use super::{
    Dossier, DossierKey, Ground,
    burst::burst,
    case::Case,
    dossier::Subject,
    fact::RunFact,
    finding::Finding,
    fuse::wrong_fuse,
    ground::ground_protection,
    occurrence::occurrences,
    reclosed::{kept_tripping, reclosed_again},
    register::Bypass,
    reported::{left_open, told_of_unit},
    running::must_stay_on,
    service_days::ServiceDays,
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
        Subject::GroundProtection => (judged.findings, judged.bypasses) = ground_protection(&case),
        Subject::Unit => {
            told_of_unit(&case, &mut judged.findings);
            must_stay_on(&case, &mut judged.findings);
        }
    }
    judged.findings.sort_by(|a, b| a.key.cmp(&b.key));
    judged
}

fn device(case: &Case<'_>, tag: &Tag, judged: &mut Judgement) {
    let occurrences = occurrences(case.facts);
    judged.settled_after = burst(case, tag, &occurrences, &mut judged.findings);
    left_open(case, tag, &mut judged.findings);
    wrong_fuse(case, tag, &mut judged.findings);
    reclosed_again(case, tag, &mut judged.findings);
    kept_tripping(case, tag, &mut judged.findings);
}
