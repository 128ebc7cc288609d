//! What is still open at the end of a run, by the book and by what was written down, and its handing over to the
//! next crew. Handing over is a remark of the report: it changes no state and excuses nothing.
use serde_json::Value;

use super::{gaps::gaps, picture::Picture, slip, store, typed::Typed, unit_of::UnitHere};
use crate::{
    base::{SignIn, Tag},
    pages::drawn::state::face_of,
    roster::RightPosition,
    web::{App, Oops},
};

/// How such a remark begins; the next crew's handover page puts it on top.
pub const HANDED_OVER: &str = "Handed over";

/// One sentence for each thing that is open after these entries.
pub async fn still_open(app: &App, here: &UnitHere, entries: &[Value]) -> Result<Vec<String>, Oops> {
    let dossiers = store::dossiers_of(&mut *app.desk().read().await?, &here.unit).await?;
    let picture = Picture::of(&dossiers, here.schedule());
    let drafted = gaps(entries, here.schedule(), &here.world.railway.zone);
    let told = |tag: &str| entries.iter().any(|entry| entry["device"] == tag);
    let by_the_book = by_the_book(here, &picture).into_iter().filter(|(tag, _)| !told(tag.as_str()));
    Ok(drafted.into_iter().chain(by_the_book.map(|(_, says)| says)).collect())
}

/// What earlier reports left open, in a sentence for each device: it holds until an entry of this run is about it.
pub fn by_the_book(here: &UnitHere, picture: &Picture) -> Vec<(Tag, String)> {
    let Some(schedule) = here.schedule() else { return Vec::new() };
    let open = picture.amiss(schedule).filter(|(device, _, state)| {
        // Where off is right for a unit that leads, nothing is open.
        let right = matches!(device.normal_lead, Some(RightPosition::Off | RightPosition::Any));
        !state.carries() && !right
    });
    open.map(|(device, known, state)| {
        let says = format!(
            "{} stands {} in the book since {}, told by {}, and nothing that you wrote says otherwise.",
            device.tag,
            face_of(device, Some(known.state)).word,
            here.world.railway.zone.in_words(state.since),
            state.told_by,
        );
        (device.tag.clone(), says)
    })
    .collect()
}

/// The report's answers with the remark that hands over what is open, if that was tapped.
pub async fn with_remark(
    app: &App,
    here: &UnitHere,
    me: &SignIn,
    typed: &Typed,
    entries: &[Value],
) -> Result<Typed, Oops> {
    if typed.raw("hand_over") != "yes" {
        return Ok(typed.clone());
    }
    let cutouts = slip::open_cutouts(app, here, entries).await?;
    let mut all = entries.to_vec();
    all.extend(slip::cutout_entries(here, me, typed, &cutouts));
    let open = still_open(app, here, &all).await?;
    Ok(remark(typed, &open))
}

fn remark(typed: &Typed, open: &[String]) -> Typed {
    if open.is_empty() {
        return typed.clone();
    }
    let to = typed.stated("handed_to").map(|name| format!(" to {name}")).unwrap_or_default();
    let handed = format!("{HANDED_OVER}{to}: {}", open.join(" "));
    let own = typed.stated("remarks").map(|own| format!("{own} ")).unwrap_or_default();
    typed.clone().with("remarks", format!("{own}{handed}"))
}

/// Whether a filed report's remarks are those typed, with what was handed over behind them.
pub fn same_remarks(typed: &Typed, filed: Option<&str>) -> bool {
    let own = typed.stated("remarks");
    match filed {
        Some(filed) if typed.raw("hand_over") == "yes" => {
            let rest = filed.strip_prefix(own.as_deref().unwrap_or_default()).map(str::trim_start);
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(HANDED_OVER))
        }
        filed => own.as_deref() == filed,
    }
}

/// The handing over in a report's remarks, if it is there.
pub fn handed_over(remarks: &str) -> Option<&str> {
    remarks.find(HANDED_OVER).map(|at| &remarks[at..])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_open_stands_behind_the_own_remarks_and_is_known_again() {
        let typed = Typed::default().with("hand_over", "yes").with("remarks", "Slow order at MP 9.");
        let open = ["TC2 is left tripped since 23:12.".to_owned()];
        let with = remark(&typed.clone().with("handed_to", "A. Lind"), &open);
        let filed = with.raw("remarks");
        assert_eq!(filed, "Slow order at MP 9. Handed over to A. Lind: TC2 is left tripped since 23:12.");
        assert_eq!(handed_over(filed), Some("Handed over to A. Lind: TC2 is left tripped since 23:12."));
        assert!(same_remarks(&typed, Some(filed)) && !same_remarks(&typed, Some("Another one.")));
        assert_eq!(remark(&typed, &[]), typed, "nothing is open");
        let plain = Typed::default().with("remarks", "Wet.");
        assert!(same_remarks(&plain, Some("Wet.")) && !same_remarks(&plain, None));
    }
}
