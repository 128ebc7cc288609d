//! A report page that somebody goes back to after signing. It says that the report is in the book: an empty form there, signed
//! once more, would be a second report that nobody meant.
use askama::Template;

use super::{
    draft::Kept,
    run::{self, Run},
    unit_of::UnitHere,
};
use crate::{
    base::{Instant, ReportId},
    reports::store::{self, ReportRow},
    web::{App, Frame, Me, Oops, paths},
};

#[derive(Template)]
#[template(path = "crew/signed_before.html")]
pub struct SignedPage {
    frame: Frame,
    unit: String,
    says: String,
    receipt: String,
    write: String,
    another: String,
}

impl SignedPage {
    pub fn of(frame: Frame, here: &UnitHere, row: &ReportRow) -> Self {
        let unit = || here.unit.clone();
        Self {
            frame,
            unit: here.unit.to_string(),
            says: says(here, row),
            receipt: row.id.parse().map(|id: ReportId| paths::Receipt(id).to_string()).unwrap_or_default(),
            write: paths::Write(unit()).to_string(),
            another: paths::Report(unit()).with(&[("another", "yes")]),
        }
    }
}

/// What this person signed last for this unit, while nothing says that more is to come: no draft is kept, and no run of
/// theirs waits for its report. After as long as a run may last nobody is asked any more.
pub async fn lately(
    app: &App,
    me: &Me,
    here: &UnitHere,
    kept: &Kept,
    run: Option<&Run>,
) -> Result<Option<ReportRow>, Oops> {
    if kept.version > 0 || run.is_some_and(|run| run.awaits(&here.unit)) {
        return Ok(None);
    }
    let since = here.now.minus(run::LONGEST);
    Ok(store::signed_since(&mut *app.desk().read().await?, me.sign_in(), &here.unit, since).await?)
}

/// The same while a form lay open, whatever the run has become meanwhile.
pub async fn meanwhile(app: &App, me: &Me, here: &UnitHere, kept: &Kept) -> Result<Option<ReportRow>, Oops> {
    let run = run::of(app, me).await?.map(|kept| kept.run);
    lately(app, me, here, kept, run.as_ref()).await
}

pub fn says(here: &UnitHere, row: &ReportRow) -> String {
    let at = here.world.railway.zone.in_words(Instant(row.signed_at));
    let what = match row.entries {
        0 => "with nothing to report".to_owned(),
        1 => "with 1 entry".to_owned(),
        n => format!("with {n} entries"),
    };
    format!("You signed a report for {}, {what}, {at}. It is in the book on page {}.", here.unit, row.seq)
}
