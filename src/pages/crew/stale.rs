//! What a page says when another tab of the same person was quicker. Nothing typed is lost by it.
use super::{draft::fresh_id, handing::same_remarks, slip, typed::Typed, unit_of::UnitHere, wrong::Wrong};
use crate::{
    base::{EntryId, Instant, ReportId},
    reports::store::{self, EntryRow, ReportRow, Wanted},
    web::{App, Me, Oops},
};

fn whole(says: &str) -> Wrong {
    Wrong { whole: vec![says.to_owned()], ..Wrong::default() }
}

pub fn changed() -> Wrong {
    whole(
        "Your draft was changed in another tab after this page was opened. Here are its entries as they stand now, and \
        below them what you typed here; nothing was kept or signed yet. Look through it once more and press again.",
    )
}

pub fn not_taken_out() -> Wrong {
    whole(
        "Your draft was changed in another tab after this page was opened, so nothing was taken out. Here it is as it \
        stands now: press again if it is still to go.",
    )
}

pub fn signed() -> Wrong {
    whole(
        "This report was signed in another tab and is in the book, with other answers than yours here. What you typed \
        is not in it; it stands below. If it belongs in the book, sign it here as a further report.",
    )
}

/// How a form stands to the report that was signed from the same draft.
pub enum Overtaken {
    /// The button was pressed twice.
    Same,
    Other,
}

/// Nothing while this draft is not in the book.
pub async fn signed_meanwhile(
    app: &App,
    me: &Me,
    here: &UnitHere,
    id: ReportId,
    typed: &Typed,
) -> Result<Option<Overtaken>, Oops> {
    let mut db = app.desk().read().await?;
    let row = store::report(&mut db, id).await?.filter(|row| row.author == me.sign_in().as_str());
    let Some(row) = row else { return Ok(None) };
    let wanted = Wanted { report: Some(id), ..Wanted::default() };
    let entries = store::entries(&mut db, &wanted).await?;
    let same = same_slip(here, &row, typed) && same_cutouts(here, &entries, typed);
    Ok(Some(if same { Overtaken::Same } else { Overtaken::Other }))
}

fn same_slip(here: &UnitHere, row: &ReportRow, typed: &Typed) -> bool {
    let zone = &here.world.railway.zone;
    let same = |name: &str, filed: &Option<String>| typed.stated(name) == *filed;
    let occasion = typed.stated("occasion").unwrap_or_else(|| "run".to_owned());
    // Away from a run a report begins when it is signed, whatever stood in the field.
    let started = occasion != "run"
        || typed.stated("run.started").is_none_or(|at| at == zone.local_input(Instant(row.started)));
    let ended = typed.stated("run.ended") == row.ended.map(|at| zone.local_input(Instant(at)));
    occasion == row.occasion
        && started
        && ended
        && same("run.symbol", &row.symbol)
        && same("run.from", &row.run_from)
        && same("run.to", &row.run_to)
        && same("position", &row.position)
        && same("weather", &row.weather)
        && same_remarks(typed, row.remarks.as_deref())
}

/// Each cutout that was answered for is in the report under the very same entry.
fn same_cutouts(here: &UnitHere, entries: &[EntryRow], typed: &Typed) -> bool {
    let cutouts = here.schedule().into_iter().flat_map(|schedule| schedule.cutouts());
    cutouts.map(|cutout| format!("cutout.{}", cutout.tag)).all(|name| {
        let id = typed.raw(&format!("{name}.entry"));
        let filed = entries.iter().find(|e| e.id == id).map(|e| e.detail.as_str());
        slip::says_of_cutout(typed, &name) == filed.map(slip::filed_of_cutout).unwrap_or_default()
    })
}

/// The same answers for a report of its own: what they say of cutouts gets new entries.
pub fn afresh(here: &UnitHere, mut typed: Typed) -> Typed {
    for cutout in here.schedule().into_iter().flat_map(|schedule| schedule.cutouts()) {
        typed.set(&format!("cutout.{}.entry", cutout.tag), EntryId(fresh_id(here.now)).to_string());
    }
    typed
}
