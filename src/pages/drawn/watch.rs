//! What the watch list is worth, in words.
use crate::{
    desk::{World, thresholds::about},
    rules::forecast::watch_share,
};

/// `3 within 30 service days: 13 of 100 healthy devices would be on this list within a year.`
pub fn says(world: &World) -> String {
    let set = &world.thresholds;
    let rule = format!("{} within {} service days", set.watch_count, set.watch_days);
    match world.figures.as_deref().and_then(|figures| watch_share(set, figures)) {
        Some(share) => {
            format!("{rule}: {} of 100 healthy devices would be on this list within a year.", about(100.0 * share))
        }
        None => format!("{rule}. How many healthy devices it takes along is not known: no class has a usable rate yet."),
    }
}
