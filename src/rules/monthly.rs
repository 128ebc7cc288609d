//! What only looking at all pairs together can find: lists made at the first class figures of a calendar month, with the
//! time they look back from fixed then. Judging at the moment of an operation would find a trend in healthy pairs.
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{
    DossierKey, Ground,
    case::Case,
    class_wide::{self, ClassWide},
    dossier::Subject,
    earlier::earlier,
    figures::{ClassFigures, Pairs},
    occurrence::occurrences,
    pair::Pair,
    service_days::ServiceDays,
    statistics::discovery::adjusted,
    weather::WeatherDays,
    worsening,
};
use crate::base::{Instant, Tag, UnitName, instant::as_text};

/// The lists of one month; later figures of the same month carry them on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Monthly {
    #[serde(with = "as_text")]
    pub as_of: Instant,
    /// Pairs that get worse, sorted by unit and device.
    pub worsening: Vec<Worsening>,
    /// Devices of a class that operate more than the rest's, sorted by class and device.
    pub class_wide: Vec<ClassWide>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Worsening {
    pub unit: UnitName,
    pub device: Tag,
    /// The first of the months in a row that have it.
    #[serde(with = "as_text")]
    pub since: Instant,
}

impl Monthly {
    pub fn worsening(&self, unit: &UnitName, device: &Tag) -> Option<&Worsening> {
        let place = self.worsening.binary_search_by(|w| (&w.unit, &w.device).cmp(&(unit, device)));
        place.ok().map(|place| &self.worsening[place])
    }
}

/// The lists that go with new figures: those of this month if there are any, else made now. `ground` has the figures
/// and thresholds in force before.
pub fn monthly(
    ground: &Ground<'_>,
    new: &ClassFigures,
    clocks: &BTreeMap<UnitName, ServiceDays>,
    pairs: &Pairs,
) -> Monthly {
    let before = ground.figures.and_then(|figures| figures.monthly.as_deref());
    let month = |at: Instant| ground.zone.day_of(at).month();
    if let Some(before) = before.filter(|before| month(before.as_of) == month(new.as_of)) {
        return before.clone();
    }
    Monthly {
        as_of: new.as_of,
        worsening: worsening_list(ground, new, before, clocks, pairs),
        class_wide: class_wide::list(ground.thresholds, new, before.map_or(&[], |b| &b.class_wide)),
    }
}

/// Benjamini and Hochberg over every pair with enough occurrences in its present life.
fn worsening_list(
    ground: &Ground<'_>,
    new: &ClassFigures,
    before: Option<&Monthly>,
    clocks: &BTreeMap<UnitName, ServiceDays>,
    pairs: &Pairs,
) -> Vec<Worsening> {
    let weather = WeatherDays::default();
    let mut looked_at = Vec::new();
    for (key, outlines) in pairs {
        let (Subject::Device(tag), Some(days)) = (&key.subject, clocks.get(&key.unit)) else { continue };
        let slot = |unit: &UnitName| {
            let there = DossierKey { unit: unit.clone(), subject: key.subject.clone() };
            Some((pairs.get(&there)?.as_slice(), clocks.get(unit)?))
        };
        let earlier = earlier(&key.unit, ground.zone, &slot);
        if earlier.is_empty() && (outlines.len() as f64) < ground.thresholds.worsening_at_least {
            continue;
        }
        let case =
            Case { key, facts: &[], outlines, days, weather: &weather, runs: &[], earlier: &earlier, ground };
        let occurrences = occurrences(outlines);
        let pair = Pair::of(&case, tag, &occurrences);
        let Some(life) = worsening::life(&pair, new.as_of) else { continue };
        let repaired = |since: &Instant| pair.repair_after(*since).is_some_and(|r| r.at <= new.as_of);
        let since =
            before.and_then(|b| b.worsening(&key.unit, tag)).map(|w| w.since).filter(|s| !repaired(s));
        looked_at.push((life.trend.p, life.stands_out(&pair), key, tag, since));
    }
    let chances: Vec<f64> = looked_at.iter().map(|(p, ..)| *p).collect();
    let together = adjusted(&chances);
    let listed = looked_at.into_iter().zip(together);
    let mut list: Vec<Worsening> = listed
        .filter(|((_, stands_out, ..), q)| *stands_out && *q <= ground.thresholds.worsening_discovery)
        .map(|((_, _, key, tag, since), _)| Worsening {
            unit: key.unit.clone(),
            device: tag.clone(),
            since: since.unwrap_or(new.as_of),
        })
        .collect();
    list.sort_by(|a, b| (&a.unit, &a.device).cmp(&(&b.unit, &b.device)));
    list
}
