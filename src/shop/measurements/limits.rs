//! The least insulation resistance, by object and edition.
use super::{
    Source,
    insulation::{Edition, Insulation, Object, Wound},
    source,
};

/// A minimum, and the base its figure stands at.
#[derive(Clone, Debug, PartialEq)]
pub struct Minimum {
    pub mohm: f64,
    /// How it comes about, where it is reckoned.
    pub reckoned: Option<String>,
    pub source: Source,
}

/// kV + 1 megohm of the rated volts between terminals.
pub fn kv_plus_one(rated_v: f64) -> Minimum {
    let mohm = rated_v / 1000.0 + 1.0;
    let told = super::figures(mohm);
    Minimum {
        mohm,
        reckoned: Some(format!("{rated_v} V ÷ 1000 + 1 = {told} MΩ")),
        source: source::kv_plus_one(),
    }
}

/// Every minimum that may be the one, or why there is none. More than one: what would decide between them is not
/// known, so a value has to reach all of them to pass, and none to fail.
pub fn minima(of: &Insulation) -> Result<Vec<Minimum>, String> {
    if let Some(mohm) = of.limit_mohm {
        let what = of.limit_from.as_deref().unwrap_or("a limit typed in");
        return Ok(vec![Minimum { mohm, reckoned: None, source: Source::typed_in(what) }]);
    }
    match of.object {
        Object::PowerCircuit => Ok(vec![flat(1.0, source::army_power())]),
        Object::ControlCircuit => control(of),
        Object::Cable => {
            Err("No minimum for a cable alone is confirmed. Type one in, with where it is from.".into())
        }
        Object::Armature
        | Object::FieldWinding
        | Object::FormWound
        | Object::FormWoundLow
        | Object::RandomWound => winding(of),
    }
}

fn flat(mohm: f64, source: Source) -> Minimum {
    Minimum { mohm, reckoned: None, source }
}

fn control(of: &Insulation) -> Result<Vec<Minimum>, String> {
    let (new, used) = (flat(1.0, source::army_control()), flat(0.5, source::army_control()));
    Ok(match of.is_new {
        Some(true) => vec![new],
        Some(false) => vec![used],
        None => vec![new, used],
    })
}

fn winding(of: &Insulation) -> Result<Vec<Minimum>, String> {
    let old = of.rated_v.map(kv_plus_one);
    let later = by_edition(of.object, of.edition);
    match of.wound {
        Some(Wound::Before1970) => old.map(|min| vec![min]).ok_or_else(|| {
            "For a winding made before about 1970 the minimum is kV + 1: its rated volts are not stated."
                .into()
        }),
        Some(Wound::Later) if of.object == Object::FieldWinding => Err(LATER_FIELD.into()),
        Some(Wound::Later) => Ok(later),
        None => match (old, of.object) {
            (None, _) => {
                Err("It is not stated when it was wound, nor its rated volts: the minimum depends on both."
                    .into())
            }
            (Some(_), Object::FieldWinding) => Err(LATER_FIELD.into()),
            (Some(old), _) => Ok(std::iter::once(old).chain(later).collect()),
        },
    }
}

const LATER_FIELD: &str = "That kV + 1 also holds for field windings made after about 1970 is not confirmed. Type a limit in, with where it is from.";

fn by_edition(object: Object, edition: Option<Edition>) -> Vec<Minimum> {
    let of = |edition| {
        let mohm = match (object, edition) {
            (Object::FormWound, _) | (Object::Armature, Edition::Y2000) => 100.0,
            _ => 5.0,
        };
        let source = match edition {
            Edition::Y2000 => source::ieee_minima_2000(),
            Edition::Y2013 => source::ieee_minima_2013(),
        };
        flat(mohm, source)
    };
    match edition {
        Some(edition) => vec![of(edition)],
        None => Edition::ALL.iter().map(|edition| of(*edition)).collect(),
    }
}
