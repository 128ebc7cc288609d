//! Ground protection as the shop needs it: what is unsafe about the equipment now. Who had which right, and who was
//! there, stays with the supervisor.
use crate::{
    base::Instant,
    rules::{
        Finding, Rule,
        store::{Decisions, State},
    },
};

/// The rules about the equipment, the most pressing first.
pub const RULES: [Rule; 5] =
    [Rule::SecondGround, Rule::StillOpen, Rule::PositionDoubtful, Rule::NobodyNamed, Rule::Seal];

pub fn is_shown(rule: Rule) -> bool {
    RULES.contains(&rule)
}

/// A finding's sentence for readers who may not read the register: nobody is named.
pub fn without_names(rule: Rule, sentence: &str) -> String {
    if rule == Rule::NobodyNamed {
        "Found open, or its opener is not known. By whom: the supervisor's register.".to_owned()
    } else {
        sentence.to_owned()
    }
}

/// What the board shows of them, the most pressing first. A review ends the asking, but closes no cutout: what is
/// still open stays.
pub fn pressing<'a>(
    found: impl Iterator<Item = &'a Finding>,
    decisions: &Decisions,
    now: Instant,
) -> Vec<(State, &'a Finding)> {
    let place = |rule: Rule| RULES.iter().position(|r| *r == rule);
    let with_state = found.map(|f| (decisions.state(f, now), f));
    let mut shown: Vec<_> = with_state
        .filter(|(state, f)| is_shown(f.rule) && (*state == State::Open || f.rule == Rule::StillOpen))
        .collect();
    // A stable sort: within each rule the latest stays first.
    shown.sort_by_key(|(_, finding)| place(finding.rule));
    shown
}
