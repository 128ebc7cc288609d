//! Where the train was and what the throttle stood at when this person last wrote something down: filled in again,
//! and said to be so, because most entries of a run are written at one stop.
use super::{draft::Kept, store, typed::Typed, unit_of::UnitHere};
use crate::{
    base::SignIn,
    reports::{
        self,
        kinds::Kind,
        store::{EntryRow, Wanted},
    },
    web::{App, Me, Oops},
};

/// No field of the form: what stands beside the folded circumstances.
pub const REMEMBERED: &str = "remembered";

pub async fn circumstances(app: &App, me: &Me, here: &UnitHere, kind: Kind) -> Result<Typed, Oops> {
    let mut db = app.desk().read().await?;
    let drafts = store::drafts_of(&mut db, me.sign_in()).await?;
    let since = Some(here.now.minus(super::run::LONGEST));
    let wanted =
        Wanted { unit: Some(&here.unit), recorded_since: since, limit: Some(20), ..Wanted::default() };
    let filed = reports::store::entries(&mut db, &wanted).await?;
    let last = of_drafts(&drafts, here).or_else(|| of_filed(&filed, me.sign_in()));
    Ok(last.map(|last| filled(kind, &last)).unwrap_or_default())
}

struct Last {
    place: String,
    throttle: String,
}

/// Ids are in the order in which entries were begun.
fn of_drafts(drafts: &[Kept], here: &UnitHere) -> Option<Last> {
    let recent = drafts.iter().filter(|kept| here.now.since(kept.saved_at) <= super::run::LONGEST);
    let entries = recent.flat_map(|kept| &kept.draft.entries);
    let told = entries.filter(|e| ["place", "throttle"].iter().any(|name| e.typed.stated(name).is_some()));
    told.max_by_key(|e| e.id.0).map(|e| Last {
        place: e.typed.stated("place").unwrap_or_default(),
        throttle: e.typed.stated("throttle").unwrap_or_default(),
    })
}

fn of_filed(filed: &[EntryRow], me: &SignIn) -> Option<Last> {
    let own = filed.iter().filter(|row| row.author == me.as_str() && !row.withdrawn);
    own.filter(|row| row.place.is_some() || row.throttle.is_some()).max_by_key(|row| row.recorded_at).map(
        |row| Last {
            place: row.place.clone().unwrap_or_default(),
            throttle: row.throttle.clone().unwrap_or_default(),
        },
    )
}

/// The throttle only where it says something about what happened.
fn filled(kind: Kind, last: &Last) -> Typed {
    let mut typed = Typed::default();
    let mut says = Vec::new();
    if !last.place.is_empty() {
        typed.set("place", last.place.clone());
        says.push(last.place.clone());
    }
    if matches!(kind, Kind::BreakerTrip | Kind::GroundRelay | Kind::Defect) && !last.throttle.is_empty() {
        typed.set("throttle", last.throttle.clone());
        says.push(super::asking::words::say(super::asking::words::THROTTLE, &last.throttle));
    }
    if !says.is_empty() {
        typed.set(REMEMBERED, says.join(", "));
    }
    typed
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn place_and_throttle_come_again_and_the_throttle_not_for_a_start() {
        let last = Last { place: "MP 41".into(), throttle: "run_8".into() };
        let trip = filled(Kind::BreakerTrip, &last);
        assert_eq!(
            (trip.raw("place"), trip.raw("throttle"), trip.raw(REMEMBERED)),
            ("MP 41", "run_8", "MP 41, Run 8")
        );
        let start = filled(Kind::EngineStart, &last);
        assert_eq!((start.raw("throttle"), start.raw(REMEMBERED)), ("", "MP 41"));
        assert!(filled(Kind::Defect, &Last { place: String::new(), throttle: String::new() }).is_empty());
    }
}
