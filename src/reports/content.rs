//! One hash for all spellings of the same report.
use sha2::{Digest, Sha256};

use super::{
    Entry, Report, What, When,
    kinds::{BreakerTrip, Bypass, EngineStart, FuseCheck, GroundRelay},
};
use crate::base::Stamp;

/// SHA-256 of the report's compact JSON in the contract's field order, nothing for what was not stated, times in
/// UTC. Equal reports (see [`Report`]) have equal hashes.
pub fn content_sha256(report: &Report) -> [u8; 32] {
    let mut report = report.clone();
    // Which offset a time was given with does not count.
    let mut to_utc = |stamp: &mut Stamp| stamp.offset_min = 0;
    to_utc(&mut report.signed_at);
    if let Some(run) = &mut report.run {
        run.started.iter_mut().for_each(to_utc);
        run.ended.as_mut().map(&mut to_utc);
    }
    for entry in &mut report.entries {
        each_stamp(entry, &mut to_utc);
        // A zero may carry a minus and still be equal to one without.
        each_figure(entry, &mut |figure| *figure += 0.0);
    }
    // Nothing of ours can fail to be written into memory; two reports that did would still differ in their ids.
    let canonical = serde_json::to_vec(&report).unwrap_or_else(|_| report.id.0.as_bytes().to_vec());
    Sha256::digest(canonical).into()
}

fn each_stamp(entry: &mut Entry, change: &mut impl FnMut(&mut Stamp)) {
    match &mut entry.when {
        When::At(stamp) | When::Found(stamp) => change(stamp),
    }
    match &mut entry.what {
        What::BreakerTrip(BreakerTrip { resets, .. }) => {
            resets.iter_mut().filter_map(|reset| reset.at.as_mut()).for_each(change);
        }
        What::GroundRelay(GroundRelay { last_at, .. }) => last_at.iter_mut().for_each(change),
        What::Bypass(Bypass { authorised_at, closed_at, .. }) => {
            authorised_at.iter_mut().chain(closed_at).for_each(change);
        }
        What::FuseCheck(_)
        | What::EngineStart(_)
        | What::Shutdown(_)
        | What::Defect(_)
        | What::Position(_) => {}
    }
}

fn each_figure(entry: &mut Entry, change: &mut impl FnMut(&mut f64)) {
    let common = [&mut entry.speed_mph, &mut entry.load_a, &mut entry.load_klbf];
    common.into_iter().flatten().for_each(&mut *change);
    match &mut entry.what {
        What::FuseCheck(FuseCheck { fitted, replaced_by, .. }) => {
            let fuses = fitted.iter_mut().chain(replaced_by);
            fuses.flat_map(|fuse| fuse.rating_a.iter_mut().chain(&mut fuse.rating_v)).for_each(change);
        }
        What::EngineStart(EngineStart { battery_rest_v, battery_cranking_v, main_reservoir_psi, .. }) => {
            [battery_rest_v, battery_cranking_v, main_reservoir_psi].into_iter().flatten().for_each(change);
        }
        _ => {}
    }
}
