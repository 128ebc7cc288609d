//! The polarization index: the ten-minute reading over the one-minute reading, never the other way round.
use super::{
    Part, Verdict, figures,
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
    let none =
        |says: &str, source| Some(Part::does_not_apply(about, says).reckoned([step.clone()]).by([source]));
    if !of.object.is_winding() {
        return none("The index is judged for windings only.", source::polarization());
    }
    if of.ir1_mohm > SILENT_OVER {
        return none("Over 5,000 MΩ at one minute the index says nothing.", source::polarization_silent());
    }
    if of.object == Object::RandomWound {
        return none(
            "For small random-wound machines the index says nothing.",
            source::polarization_silent(),
        );
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
