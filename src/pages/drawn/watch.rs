//! What the watch list is worth, in words.
use crate::{
    desk::{World, thresholds::about},
    rules::forecast::watch_share,
};

/// `13 of 100 healthy devices`; of few, one of how many.
fn of_healthy(share: f64) -> String {
    if share < 1e-6 {
        return "fewer than 1 of a million healthy devices".to_owned();
    }
    if share < 0.01 {
        return format!("1 of {} healthy devices", about(1.0 / share));
    }
    format!("{:.0} of 100 healthy devices", 100.0 * share)
}

/// `3 within 30 service days: 13 of 100 healthy devices would be on this list within a year.`
pub fn says(world: &World) -> String {
    let set = &world.thresholds;
    let rule = format!("{} within {} service days", set.watch_count, set.watch_days);
    match world.figures.as_deref().and_then(|figures| watch_share(set, figures)) {
        Some(share) => format!("{rule}: {} would be on this list within a year.", of_healthy(share)),
        None => format!(
            "{rule}. How many healthy devices it takes along is not known: no class has a usable rate yet."
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_said_so_that_it_can_be_pictured() {
        for (share, want) in [
            (0.130_06, "13 of 100 healthy devices"),
            (0.0062, "1 of 160 healthy devices"),
            (1e-9, "fewer than 1 of a million healthy devices"),
            (1.0, "100 of 100 healthy devices"),
        ] {
            assert_eq!(of_healthy(share), want);
        }
    }
}
