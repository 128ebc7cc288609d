//! The end-of-trip report: everything written down, what is still open, and the signature.
use std::collections::BTreeSet;

use askama::Template;
use axum::{
    extract::{Path, Query, State},
    http::StatusCode,
};
use serde::Deserialize;
use serde_json::{Value, json};

use super::{
    checking::{Sheet, asked, read},
    draft::{DraftEntry, Kept, fresh_id},
    entry_line::EntryLine,
    filing::{self, Signed},
    handing, run,
    signed_before::{self, SignedPage},
    slip::{SlipView, open_and_untold, open_cutouts, report_json, suggest_start},
    stale::{self, Overtaken},
    store,
    typed::Typed,
    unit_of::UnitHere,
    writing::keep_if,
    wrong::Wrong,
};
use crate::{
    base::{EntryId, Problem, ReportId, SignIn},
    reports::validity,
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "crew/report.html")]
pub struct ReportPage {
    pub frame: Frame,
    pub unit: String,
    /// What just happened.
    pub done: &'static str,
    pub problems: Vec<String>,
    pub asked: Vec<String>,
    /// Entries to be written down first, if the crew will: where to, and what it says.
    pub first: Vec<(String, String)>,
    /// Field and sentence of each problem below.
    pub summary: Vec<(String, String)>,
    pub lines: Vec<LineView>,
    pub gaps: Vec<String>,
    /// The other units of the run, and where all are signed at once.
    pub together: Option<(String, String)>,
    pub slip: SlipView,
    pub hidden: Vec<(&'static str, String)>,
    pub version: String,
    pub action: String,
    /// The receipt of a report that was signed meanwhile in another tab.
    pub signed: String,
}

pub struct LineView {
    pub line: EntryLine,
    pub problems: Vec<String>,
    pub change: String,
    pub out: String,
    pub send: String,
    /// The receipt, for one that was sent at once.
    pub sent: Option<String>,
}

impl ReportPage {
    pub fn of(frame: Frame, here: &UnitHere, me: &SignIn, kept: &Kept, slip: &Typed, wrong: Wrong) -> Self {
        let zone = &here.world.railway.zone;
        let entries: Vec<(&DraftEntry, Value)> = in_order(here, me, kept);
        let line = |(entry, json): &(&DraftEntry, Value)| LineView {
            line: EntryLine::of(json, here.schedule(), zone),
            problems: wrong
                .entries
                .iter()
                .filter(|(id, _)| *id == entry.id)
                .map(|(_, s)| s.clone())
                .collect(),
            change: paths::EntryChange(here.unit.clone(), entry.id).to_string(),
            out: paths::EntryOut(here.unit.clone(), entry.id).to_string(),
            send: paths::EntrySend(here.unit.clone(), entry.id).to_string(),
            sent: entry.sent.map(|id| paths::Receipt(id).to_string()),
        };
        Self {
            frame,
            unit: here.unit.to_string(),
            done: "",
            problems: wrong.whole,
            asked: wrong.asked,
            first: wrong.first,
            summary: wrong.says.iter().map(|(name, says)| (name.clone(), says.clone())).collect(),
            lines: entries.iter().map(line).collect(),
            gaps: Vec::new(),
            together: None,
            slip: SlipView::of(here, slip, &wrong.says),
            hidden: vec![("draft", kept.id.to_string()), ("version", kept.version.to_string())],
            version: kept.version.to_string(),
            action: paths::Report(here.unit.clone()).to_string(),
            signed: String::new(),
        }
    }

    /// Whoever signs it means a report beside the one that was signed just now.
    fn is_further(&mut self, another: bool) {
        if another {
            self.hidden.push(("another", "yes".to_owned()));
        }
    }
}

/// With what is still open, by the book and by this draft.
async fn answer(
    app: &App,
    status: StatusCode,
    here: &UnitHere,
    me: &SignIn,
    kept: &Kept,
    mut view: ReportPage,
) -> Answer {
    let entries: Vec<Value> = in_order(here, me, kept).into_iter().map(|(_, json)| json).collect();
    view.gaps = handing::still_open(app, here, &entries).await?;
    page(status, &view)
}

/// The entries of a draft as the contract has them, as they happened.
pub fn in_order<'a>(here: &UnitHere, me: &SignIn, kept: &'a Kept) -> Vec<(&'a DraftEntry, Value)> {
    let json = |entry: &'a DraftEntry| (entry, Sheet::of(entry).json(here, me).0);
    let mut entries: Vec<_> = kept.draft.entries.iter().map(json).collect();
    entries.sort_by_key(|(_, json)| super::entry_line::time_of(json));
    entries
}

#[derive(Deserialize)]
pub struct Came {
    #[serde(default)]
    wrote: String,
    /// A further report is meant, though one was signed just now.
    #[serde(default)]
    another: String,
}

pub async fn show(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path(unit): Path<String>,
    Query(came): Query<Came>,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let (kept, mut slip) = open(&app, &me, &here).await?;
    let run = run::of(&app, &me).await?.map(|kept| kept.run).filter(|run| run.has(&here.unit));
    let another = came.another == "yes";
    if !another && let Some(row) = signed_before::lately(&app, &me, &here, &kept, run.as_ref()).await? {
        return page(StatusCode::OK, &SignedPage::of(frame, &here, &row));
    }
    let read_at = store::handover_read(&mut *app.desk().read().await?, me.sign_in(), &here.unit).await?;
    suggest_start(&here, &mut slip, read_at);
    if let Some(run) = &run {
        run.suggest(&here.unit, &mut slip);
    }
    let mut view = ReportPage::of(frame, &here, me.sign_in(), &kept, &slip, Wrong::default());
    view.is_further(another);
    if came.wrote == "yes" {
        view.done = "Written down. It is kept here until you sign; once signed it is in the book.";
    }
    view.together =
        run.filter(|run| run.open().count() > 1).map(|run| (run.in_words(), paths::RunClose.to_string()));
    answer(&app, StatusCode::OK, &here, me.sign_in(), &kept, view).await
}

/// The draft of this person on this unit; one that was signed meanwhile is taken away and a new one begun.
pub async fn open(app: &App, me: &Me, here: &UnitHere) -> Result<(Kept, Typed), Oops> {
    let found = store::draft_of(&mut *app.desk().read().await?, me.sign_in(), &here.unit).await?;
    let kept = match found {
        Some(kept) if filing::is_filed(app, me, kept.id).await? => {
            filing::drop_draft(app, me, kept.id).await?;
            None
        }
        found => found,
    };
    let kept = kept.unwrap_or_else(|| Kept::new(ReportId(fresh_id(here.now)), here.unit.clone(), here.now));
    let slip = kept.draft.slip.clone();
    Ok((kept, slip))
}

/// What came with the signature.
struct Form {
    draft: Option<ReportId>,
    version: i64,
    sure: bool,
    another: bool,
    /// Another button than the signature: `write` something else down, or sign `later`.
    then: String,
    password: String,
    slip: Typed,
}

impl Form {
    fn of(fields: Vec<(String, String)>) -> Self {
        let mut slip: Typed = fields.into_iter().collect();
        let mut own = |name: &str| slip.remove(name).unwrap_or_default();
        let (draft, version) = (own("draft").parse().ok(), own("version").parse().unwrap_or(0));
        let (sure, another) = (own("sure") == "yes", own("another") == "yes");
        let (then, password) = (own("then"), own("password"));
        Self { draft, version, sure, another, then, password, slip }
    }
}

pub async fn sign(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path(unit): Path<String>,
    Fields(fields): Fields,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let form = Form::of(fields);
    if let Some(id) = form.draft
        && let Some(overtaken) = stale::signed_meanwhile(&app, &me, &here, id, &form.slip).await?
    {
        return match overtaken {
            Overtaken::Same => see(&paths::Receipt(id)),
            Overtaken::Other => signed_elsewhere(&app, &me, frame, &here, id, form).await,
        };
    }
    if !form.then.is_empty() {
        return sign_later(&app, &me, frame, here, form).await;
    }
    let (mut kept, _) = open(&app, &me, &here).await?;
    if kept.version == 0 {
        kept.id = form.draft.unwrap_or(kept.id);
    }
    if form.version != kept.version {
        return overtaken(&app, &me, frame, &here, &kept, &form).await;
    }
    run::learn(&app, &me, &here, &form.slip).await?;
    match try_to_sign(&app, &me, &here, &kept, &form).await? {
        Ok(id) => see(&paths::Receipt(id)),
        Err(back) => not_signed(&app, &me, frame, &here, form, back).await,
    }
}

/// The page again with what is wrong; what was typed outlives the browser.
async fn not_signed(
    app: &App,
    me: &Me,
    frame: Frame,
    here: &UnitHere,
    form: Form,
    (status, wrong): Back,
) -> Answer {
    let (version, slip) = (form.version, form.slip.clone());
    let still = move |kept: &Kept| kept.version == version;
    match keep_if(app, me.sign_in(), here, still, move |draft| draft.slip = slip).await? {
        Ok(kept) => {
            let mut view = ReportPage::of(frame, here, me.sign_in(), &kept, &form.slip, wrong);
            view.is_further(form.another);
            answer(app, status, here, me.sign_in(), &kept, view).await
        }
        Err(kept) => overtaken(app, me, frame, here, &kept, &form).await,
    }
}

/// Keeps what was typed and goes where the button leads.
async fn sign_later(app: &App, me: &Me, frame: Frame, here: UnitHere, form: Form) -> Answer {
    let (version, slip) = (form.version, form.slip.clone());
    // What was kept already, word for word, is no news.
    let still = move |kept: &Kept| kept.version == version || kept.draft.slip == form.slip;
    let form = Form { slip, ..form };
    let slip = form.slip.clone();
    match keep_if(app, me.sign_in(), &here, still, move |draft| draft.slip = slip).await? {
        Err(kept) => overtaken(app, me, frame, &here, &kept, &form).await,
        Ok(_) => {
            run::learn(app, me, &here, &form.slip).await?;
            if form.then == "write" { see(&paths::Write(here.unit)) } else { see(&paths::Units) }
        }
    }
}

/// The draft as it stands, with what this tab had typed, to be sent again.
async fn overtaken(app: &App, me: &Me, frame: Frame, here: &UnitHere, kept: &Kept, form: &Form) -> Answer {
    let view = ReportPage::of(frame, here, me.sign_in(), kept, &form.slip, stale::changed());
    answer(app, StatusCode::CONFLICT, here, me.sign_in(), kept, view).await
}

/// Another tab signed this draft with other answers: what was typed here stands in a report of its own.
async fn signed_elsewhere(
    app: &App,
    me: &Me,
    frame: Frame,
    here: &UnitHere,
    id: ReportId,
    form: Form,
) -> Answer {
    let (kept, _) = open(app, me, here).await?;
    let slip = stale::afresh(here, form.slip);
    let mut view = ReportPage::of(frame, here, me.sign_in(), &kept, &slip, stale::signed());
    view.signed = paths::Receipt(id).to_string();
    view.is_further(true);
    answer(app, StatusCode::CONFLICT, here, me.sign_in(), &kept, view).await
}

type Back = (StatusCode, Wrong);

async fn try_to_sign(
    app: &App,
    me: &Me,
    here: &UnitHere,
    kept: &Kept,
    form: &Form,
) -> Result<Result<ReportId, Back>, Oops> {
    let all = in_order(here, me.sign_in(), kept);
    let jsons: Vec<Value> = all.iter().map(|(_, json)| json.clone()).collect();
    let open = open_cutouts(app, here, &jsons).await?;
    let slip = handing::with_remark(app, here, me.sign_in(), &form.slip, &jsons).await?;
    let entries: Vec<_> = all.into_iter().filter(|(e, _)| e.sent.is_none()).collect();
    let ids: Vec<EntryId> = entries.iter().map(|(entry, _)| entry.id).collect();
    let jsons = entries.into_iter().map(|(_, json)| json).collect();
    let (report, says) = report_json(here, me.sign_in(), &json!(kept.id), true, &slip, jsons, &open);
    if !says.is_empty() {
        return Ok(Err((StatusCode::UNPROCESSABLE_ENTITY, Wrong { says, ..Wrong::default() })));
    }
    let mut odd = to_ask(here, &report, &form.slip, &open);
    if !form.another
        && let Some(row) = signed_before::meanwhile(app, me, here, kept).await?
    {
        odd.asked.push(format!("{} Is this a further one?", signed_before::says(here, &row)));
    }
    if !odd.asked.is_empty() && !form.sure {
        return Ok(Err((StatusCode::UNPROCESSABLE_ENTITY, odd)));
    }
    Ok(match filing::file(app, me, here, kept.id, &report, &form.password).await? {
        Signed::Filed(id) => {
            filing::drop_draft(app, me, kept.id).await?;
            run::leave(app, me.sign_in(), &here.unit, app.now()).await?;
            Ok(id)
        }
        Signed::NotNow(status, says) => Err((status, Wrong { whole: vec![says], ..Wrong::default() })),
        Signed::Password(says) => Err((StatusCode::UNPROCESSABLE_ENTITY, Wrong::password(says))),
        Signed::Problems(problems) => Err((StatusCode::UNPROCESSABLE_ENTITY, Wrong::of(problems, &ids))),
    })
}

/// With the way to the form of an opening that nobody wrote down.
pub fn to_ask(here: &UnitHere, report: &Value, slip: &Typed, open: &BTreeSet<String>) -> Wrong {
    let mut wrong = Wrong { asked: questions(here, report), ..Wrong::default() };
    for tag in open_and_untold(here, slip, open) {
        wrong.asked.push(format!(
            "You leave the ground-relay cutout {tag} open, and nobody wrote down that it was opened, by whom and \
            what for. What you typed here is kept while you write it down."
        ));
        let form = paths::WriteKind(here.unit.clone(), "bypass".to_owned()).with(&[("device", tag.as_str())]);
        wrong.first.push((form, format!("Write down the opening of {tag} first")));
    }
    wrong
}

/// What is asked once about the whole; what is odd about an entry was asked when it was written down.
fn questions(here: &UnitHere, report: &Value) -> Vec<String> {
    let (Some(report), mut problems) = read(report) else { return Vec::new() };
    let world = &here.world;
    let checked = validity::check(&report, &world.roster, &world.people, &world.railway.zone, here.now, true);
    super::checking::join(&mut problems, checked);
    let outside = |p: &Problem| p.code == crate::base::Code::OutsideRun;
    let (mut of_run, others): (Vec<_>, Vec<_>) = problems.warnings.into_iter().partition(outside);
    of_run.extend(others.into_iter().filter(|p| !p.path.starts_with("entries")).map(|mut p| {
        p.path = "entries[]".to_owned();
        p
    }));
    asked(of_run)
}

/// Takes an entry out of the draft; one that was sent stays.
pub async fn take_out(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path((unit, entry)): Path<(String, String)>,
    fields: Fields,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let Ok(id) = entry.parse::<EntryId>() else { return see(&paths::Report(here.unit)) };
    // Every page of ours says which draft it showed.
    let version: Option<i64> = fields.get("version").parse().ok();
    // Pressed twice, it is out already.
    let still = move |kept: &Kept| {
        version.is_none_or(|version| version == kept.version) || kept.draft.entry(id).is_none()
    };
    match keep_if(&app, me.sign_in(), &here, still, move |draft| draft.take_out(id)).await? {
        Ok(_) => see(&paths::Report(here.unit)),
        Err(kept) => {
            let slip = kept.draft.slip.clone();
            let view = ReportPage::of(frame, &here, me.sign_in(), &kept, &slip, stale::not_taken_out());
            answer(&app, StatusCode::CONFLICT, &here, me.sign_in(), &kept, view).await
        }
    }
}
