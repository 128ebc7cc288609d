//! Repairs, holds and open cutouts as bars with their words, and where a unit is.
use std::collections::BTreeMap;

use super::pictures_store::{Opening, Whereabouts};
use crate::{
    base::{Tag, Zone, text::count},
    pages::drawn::{
        picture::timeline::{Kind, Lasted},
        told,
    },
    roster::Schedule,
    rules::service_days::Held,
    shop::Repair,
};

/// All of them by device; what is of the unit itself under none.
pub fn bars(
    holds: &[Held],
    repairs: &[Repair],
    openings: &[Opening],
    zone: &Zone,
) -> BTreeMap<Option<Tag>, Vec<Lasted>> {
    let mut bars: BTreeMap<Option<Tag>, Vec<Lasted>> = BTreeMap::new();
    bars.entry(None).or_default().extend(holds.iter().map(|of| hold(*of, zone)));
    for of in repairs {
        bars.entry(of.device.clone()).or_default().push(repair(of, zone));
    }
    for of in openings {
        bars.entry(Some(of.device.clone())).or_default().push(opening(of, zone));
    }
    bars
}

fn hold(held: Held, zone: &Zone) -> Lasted {
    let (from, to) = (held.from, held.until);
    let until = to.map_or_else(|| "still".to_owned(), |to| format!("until {}", zone.day_in_words(to)));
    let says = format!("Kept from service from {} {until}.", zone.day_in_words(from));
    Lasted { kind: Kind::Hold, from, to, says }
}

fn repair(repair: &Repair, zone: &Zone) -> Lasted {
    let of = repair.device.as_ref().map_or_else(|| "Repair".to_owned(), |tag| format!("Repair of {tag}"));
    let says = match (repair.closed_at, &repair.cause) {
        (Some(closed), Some(cause)) => format!("{of}, closed {}: {cause}.", zone.day_in_words(closed)),
        (Some(closed), None) => format!("{of}, closed {}.", zone.day_in_words(closed)),
        (None, _) => format!("{of}, open since {}.", zone.day_in_words(repair.opened_at)),
    };
    Lasted { kind: Kind::Repair, from: repair.opened_at, to: repair.closed_at, says }
}

fn opening(opening: &Opening, zone: &Zone) -> Lasted {
    let until =
        opening.to.map_or_else(|| "still open".to_owned(), |to| format!("closed {}", zone.in_words(to)));
    let says = format!("{} open from {}, {until}.", opening.device, zone.in_words(opening.from));
    Lasted { kind: Kind::Open, from: opening.from, to: opening.to, says }
}

/// Of the unit or of what starts it: volts of before say nothing of after.
pub fn mends_starting(repair: &Repair) -> bool {
    repair.device.as_ref().is_none_or(|tag| tag.as_str() == Tag::ENGINE_START)
}

/// What a row is called in a picture, short enough for a phone: `TC2 · 14 · Traction inverter 2`.
pub fn label(tag: &Tag, n: usize, schedule: Option<&Schedule>) -> String {
    const MOST: usize = 36;
    let named = told::named(tag, schedule);
    let legend = named.strip_prefix(tag.as_str()).map_or(named.as_str(), str::trim);
    let says = if legend.is_empty() {
        format!("{tag} · {n}")
    } else if named.starts_with(tag.as_str()) {
        format!("{tag} · {n} · {legend}")
    } else {
        format!("{legend} · {n}")
    };
    match says.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}…", says.get(..end).unwrap_or_default().trim_end()),
        None => says,
    }
}

pub fn quiet_devices(n: usize) -> String {
    match n {
        0 => String::new(),
        n => format!("{} without any mark in this time.", count(n as u64, "device", "devices")),
    }
}

pub fn rates_from(taken: Option<String>) -> String {
    taken.map_or_else(
        || "No class figures have been taken yet, so there is nothing to hold this unit against.".to_owned(),
        |day| format!("From the class figures of {day}: the 365 days up to then."),
    )
}

pub fn last_place(there: &Whereabouts, zone: &Zone) -> String {
    there
        .last
        .as_ref()
        .map_or_else(|| "not written".to_owned(), |(place, at)| format!("{place}, {}", zone.in_words(*at)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rows_name_fits_a_phone() {
        assert_eq!(label(&"TC2".into(), 14, None), "TC2 · 14");
        assert_eq!(label(&Tag::GROUND_RELAY.into(), 2, None), "Ground relay · 2");
        let long = "X".repeat(60);
        assert_eq!(label(&long.as_str().into(), 1, None).chars().count(), 37);
    }
}
