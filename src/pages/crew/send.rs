//! 'Send this now': one entry of the draft, filed at once in a report that is not the final one.
use std::collections::BTreeSet;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};
use serde_json::{Value, json};

use super::{
    checking::Sheet,
    draft::{Draft, DraftEntry, fresh_id},
    entry_line::EntryLine,
    filing::{self, Signed},
    run,
    slip::{SlipView, report_json, suggest_start},
    stale, store,
    typed::Typed,
    unit_of::UnitHere,
    writing::keep,
    wrong::Wrong,
};
use crate::{
    base::{EntryId, ReportId},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "crew/send.html")]
pub struct SendPage {
    pub frame: Frame,
    pub unit: String,
    pub line: EntryLine,
    pub problems: Vec<String>,
    pub slip: SlipView,
    pub hidden: Vec<(&'static str, String)>,
    pub action: String,
    pub back: String,
}

/// The entry that is to be sent, and the draft it lies in.
struct Sending {
    here: UnitHere,
    entry: DraftEntry,
    json: Value,
    slip: Typed,
    /// Of the draft, as it stands.
    version: i64,
}

async fn find(app: &App, me: &Me, unit: &str, entry: &str) -> Result<Result<Sending, String>, Oops> {
    let here = UnitHere::find(app, unit)?;
    let mut db = app.desk().read().await?;
    let kept = store::draft_of(&mut db, me.sign_in(), &here.unit).await?;
    let id = entry.parse::<EntryId>().ok();
    let found = kept.as_ref().zip(id).and_then(|(kept, id)| kept.draft.entry(id).cloned());
    let Some(entry) = found else { return Ok(Err(paths::Report(here.unit).to_string())) };
    if let Some(report) = entry.sent {
        return Ok(Err(paths::Receipt(report).to_string()));
    }
    let version = kept.as_ref().map_or(0, |kept| kept.version);
    let mut slip = kept.map(|kept| kept.draft.slip).unwrap_or_default();
    suggest_start(&here, &mut slip, store::handover_read(&mut db, me.sign_in(), &here.unit).await?);
    if let Some(kept) = store::run_of(&mut db, me.sign_in()).await? {
        kept.run.suggest(&here.unit, &mut slip);
    }
    let json = Sheet::of(&entry).json(&here, me.sign_in()).0;
    Ok(Ok(Sending { here, entry, json, slip, version }))
}

pub async fn show(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path((unit, entry)): Path<(String, String)>,
) -> Answer {
    match find(&app, &me, &unit, &entry).await? {
        Ok(sending) => {
            let report = ReportId(fresh_id(sending.here.now));
            sending.page(StatusCode::OK, frame, report, Wrong::default())
        }
        Err(elsewhere) => see(&elsewhere),
    }
}

pub async fn send(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path((unit, entry)): Path<(String, String)>,
    Fields(fields): Fields,
) -> Answer {
    let mut sending = match find(&app, &me, &unit, &entry).await? {
        Ok(sending) => sending,
        Err(elsewhere) => return see(&elsewhere),
    };
    let (password, report, version) = sending.typed(fields);
    if version != Some(sending.version) {
        return sending.page(StatusCode::CONFLICT, frame, report, stale::changed());
    }
    match sending.try_to_send(&app, &me, report, &password).await? {
        Ok(id) => {
            run::learn(&app, &me, &sending.here, &sending.slip).await?;
            let (entry, slip) = (sending.entry.id, sending.slip);
            keep(&app, me.sign_in(), &sending.here, move |draft| draft.was_sent(entry, id, &slip)).await?;
            see(&paths::Receipt(id))
        }
        Err((status, wrong)) => sending.page(status, frame, report, wrong),
    }
}

impl Sending {
    /// Takes over what was typed of the run; hands back the password, the id of the report, and the version of
    /// the draft that was on the page.
    fn typed(&mut self, fields: Vec<(String, String)>) -> (String, ReportId, Option<i64>) {
        let typed: Typed = fields.into_iter().collect();
        for name in Draft::OF_THE_RUN {
            self.slip.set(name, typed.raw(name));
        }
        let report = typed.raw("report").parse().unwrap_or(ReportId(fresh_id(self.here.now)));
        (typed.raw("password").to_owned(), report, typed.raw("version").parse().ok())
    }

    async fn try_to_send(
        &self,
        app: &App,
        me: &Me,
        id: ReportId,
        password: &str,
    ) -> Result<Result<ReportId, (StatusCode, Wrong)>, Oops> {
        let entries = vec![self.json.clone()];
        let (report, says) =
            report_json(&self.here, me.sign_in(), &json!(id), false, &self.slip, entries, &BTreeSet::new());
        if !says.is_empty() {
            return Ok(Err((StatusCode::UNPROCESSABLE_ENTITY, Wrong { says, ..Wrong::default() })));
        }
        Ok(match filing::file(app, me, &self.here, id, &report, password).await? {
            Signed::Filed(id) => Ok(id),
            Signed::NotNow(status, says) => Err((status, Wrong { whole: vec![says], ..Wrong::default() })),
            Signed::Password(says) => Err((StatusCode::UNPROCESSABLE_ENTITY, Wrong::password(says))),
            Signed::Problems(problems) => {
                Err((StatusCode::UNPROCESSABLE_ENTITY, Wrong::of(problems, &[self.entry.id])))
            }
        })
    }

    fn page(
        self,
        status: StatusCode,
        frame: Frame,
        report: ReportId,
        wrong: Wrong,
    ) -> Result<Response, Oops> {
        let of_entry = wrong.entries.into_iter().map(|(_, says)| says);
        let view = SendPage {
            frame,
            unit: self.here.unit.to_string(),
            line: EntryLine::of(&self.json, self.here.schedule(), &self.here.world.railway.zone),
            problems: wrong.whole.into_iter().chain(of_entry).collect(),
            slip: SlipView::of(&self.here, &self.slip, &wrong.says),
            hidden: vec![("report", report.to_string()), ("version", self.version.to_string())],
            action: paths::EntrySend(self.here.unit.clone(), self.entry.id).to_string(),
            back: paths::Report(self.here.unit).to_string(),
        };
        page(status, &view)
    }
}
