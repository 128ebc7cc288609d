//! The polarization index: the ten-minute reading over the one-minute reading, never the other way round.
use super::{
    Part, Source, Verdict, figures,
    insulation::{Insulation, InsulationClass, Object},
    reaches, source,
};

/// Over so many megohms at one minute the index says nothing.
const SILENT_OVER: f64 = 5_000.0;
const BRITTLE_OVER: f64 = 8.0;

pub fn index(ir1: f64, ir10: f64) -> f64 {
    ir10 / ir1
}

/// `None`: no ten-minute reading was taken.
pub fn judge(of: &Insulation) -> Option<Part> {
    let about = "polarization index";
    let ir10 = of.ir10_mohm?;
    let pi = index(of.ir1_mohm, ir10);
    let step = format!("{} MΩ ÷ {} MΩ = {}", figures(ir10), figures(of.ir1_mohm), figures(pi));
    if let Some((why, source)) = silent(of) {
        return Some(Part::does_not_apply(about, why).reckoned([step]).by([source]));
    }
    let least: &[f64] = match of.class {
        Some(InsulationClass::A) => &[1.5],
        Some(InsulationClass::B | InsulationClass::F | InsulationClass::H) => &[2.0],
        None => &[1.5, 2.0],
    };
    let told = figures(pi);
    let part = match super::against_all(pi, least) {
        Verdict::Pass => {
            Part::judged(about, Verdict::Pass, format!("{told} reaches {}.", figures(most(least))))
        }
        Verdict::Fail => Part::judged(about, Verdict::Fail, fails(pi, least)),
        Verdict::DoesNotApply => Part::does_not_apply(
            about,
            format!("{told} would do for class A (1.5), not for B, F or H (2.0): the class is not stated."),
        ),
    };
    let part = part.reckoned([step]).by([source::polarization()]);
    Some(if pi > BRITTLE_OVER {
        let says = format!("{} An index over 8 suggests dried, brittle insulation.", part.says);
        Part { says, ..part }.by([source::brittle()])
    } else {
        part
    })
}

/// Why the index says nothing of what was measured, and who says so.
fn silent(of: &Insulation) -> Option<(&'static str, Source)> {
    if !of.object.is_winding() {
        Some(("The index is judged for windings only.", source::polarization()))
    } else if of.ir1_mohm > SILENT_OVER {
        Some(("Over 5,000 MΩ at one minute the index says nothing.", source::polarization_silent()))
    } else if of.object == Object::RandomWound {
        Some(("For small random-wound machines the index says nothing.", source::polarization_silent()))
    } else {
        None
    }
}

fn most(least: &[f64]) -> f64 {
    least.iter().copied().fold(0.0, f64::max)
}

fn fails(pi: f64, least: &[f64]) -> String {
    let least = least.iter().copied().fold(f64::MAX, f64::min);
    if reaches(pi, 1.0) {
        format!("{} is under {}.", figures(pi), figures(least))
    } else {
        format!(
            "{} is under 1: the reading fell while the voltage stood. Moisture, dirt or a leak.",
            figures(pi)
        )
    }
}
