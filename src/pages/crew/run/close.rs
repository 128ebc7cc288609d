//! Closing a run: a report for each of its units under one signature. Nothing is filed before every report can be
//! taken as it stands.
use axum::{extract::State, http::StatusCode, response::Response};
use serde_json::{Value, json};

use super::{
    Run,
    closing::{ClosePage, Closing, NotYet},
    learn, leave, of,
};
use crate::{
    base::{EntryId, ReportId},
    desk::reports::FileReport,
    pages::crew::{
        draft::{DraftEntry, Kept as Draft},
        filing::{self, Signed},
        handing,
        report::{in_order, open, to_ask},
        slip::{open_cutouts, report_json, suggest_start},
        stale, store,
        typed::Typed,
        unit_of::UnitHere,
        writing::keep_if,
        wrong::Wrong,
    },
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

/// Said once on the page, and the same in each report.
const ONCE: [&str; 2] = ["hand_over", "handed_to"];

pub async fn ask(State(app): State<App>, me: Me, frame: Frame) -> Answer {
    let Some(kept) = of(&app, &me).await? else { return see(&paths::Run) };
    let units = gather(&app, &me, &kept.run, &Typed::default()).await?;
    let shared = units.first().map(|unit| unit.slip.clone()).unwrap_or_default();
    closing_page(StatusCode::OK, frame, &kept.run, &units, &shared, &NotYet::default())
}

fn closing_page(
    status: StatusCode,
    frame: Frame,
    run: &Run,
    units: &[Closing],
    shared: &Typed,
    not_yet: &NotYet,
) -> Result<Response, Oops> {
    match ClosePage::of(frame, run, units, shared, not_yet) {
        Some(view) => page(status, &view),
        None => see(&paths::Run),
    }
}

/// Every unit of the run with its draft, and over that what was typed on this page.
async fn gather(app: &App, me: &Me, run: &Run, typed: &Typed) -> Result<Vec<Closing>, Oops> {
    let mut units = Vec::new();
    for unit in run.open() {
        units.push(one(app, me, run, UnitHere::find(app, unit.as_str())?, typed).await?);
    }
    Ok(units)
}

async fn one(app: &App, me: &Me, run: &Run, here: UnitHere, typed: &Typed) -> Result<Closing, Oops> {
    let (mut kept, mut slip) = open(app, me, &here).await?;
    let read_at = store::handover_read(&mut *app.desk().read().await?, me.sign_in(), &here.unit).await?;
    suggest_start(&here, &mut slip, read_at);
    run.suggest(&here.unit, &mut slip);
    let own = format!("{}.", here.unit.slug());
    for (name, value) in typed.all() {
        match name.strip_prefix(&own) {
            Some(name) => slip.set(name, value),
            None if Run::SHARED.contains(&name) || ONCE.contains(&name) => slip.set(name, value),
            None => {}
        }
    }
    if kept.version == 0
        && let Ok(id) = typed.raw(&format!("{own}draft")).parse()
    {
        kept.id = id;
    }
    let in_order = in_order(&here, me.sign_in(), &kept);
    let entries: Vec<(Value, bool)> =
        in_order.into_iter().map(|(entry, json)| (json, entry.sent.is_some())).collect();
    let all: Vec<Value> = entries.iter().map(|(json, _)| json.clone()).collect();
    let still_open = handing::still_open(app, &here, &all).await?;
    let open_cutouts = open_cutouts(app, &here, &all).await?;
    Ok(Closing { here, kept, slip, entries, open_cutouts, still_open })
}

pub async fn sign(State(app): State<App>, me: Me, frame: Frame, Fields(fields): Fields) -> Answer {
    let mut typed: Typed = fields.into_iter().collect();
    let (password, sure) = (typed.remove("password").unwrap_or_default(), typed.raw("sure") == "yes");
    let then = typed.remove("then").unwrap_or_default();
    let Some(kept) = of(&app, &me).await? else { return pressed_twice(&app, &me, &typed).await };
    let units = gather(&app, &me, &kept.run, &typed).await?;
    let back = |status, not_yet: NotYet| closing_page(status, frame, &kept.run, &units, &typed, &not_yet);
    if units.iter().any(|unit| is_stale(unit, &typed)) {
        return back(StatusCode::CONFLICT, NotYet::of(stale::changed()));
    }
    if leads_on(&then, &units) {
        return keep_and_go(&app, &me, units, &then).await;
    }
    let acts = match read_all(&app, &me, &units, sure).await? {
        Ok(acts) => acts,
        Err(not_yet) => return back(StatusCode::UNPROCESSABLE_ENTITY, not_yet),
    };
    if let Err(says) = signature::sign(&app, &me, &password).await? {
        return back(StatusCode::UNPROCESSABLE_ENTITY, NotYet::of(Wrong::password(says)));
    }
    let filed = acts.len();
    if let Some((status, wrong)) = file_all(&app, &me, &units, acts).await? {
        return back(status, NotYet::of(wrong));
    }
    see(&paths::Runs.with(&[("closed", &filed.to_string())]))
}

/// To the run itself, or to a page of one of its units.
fn leads_on(then: &str, units: &[Closing]) -> bool {
    let of_unit = |unit: &Closing| then.starts_with(&format!("{}/", paths::Handover(unit.unit().clone())));
    then == paths::Run::PATTERN || (then.bytes().all(|b| b.is_ascii_graphic()) && units.iter().any(of_unit))
}

/// Another button than the signature: what was typed is kept, and one goes where it leads.
async fn keep_and_go(app: &App, me: &Me, units: Vec<Closing>, then: &str) -> Answer {
    for Closing { here, kept, slip, .. } in units {
        learn(app, me, &here, &slip).await?;
        let version = kept.version;
        let still = move |now: &Draft| now.version == version;
        if keep_if(app, me.sign_in(), &here, still, move |draft| draft.slip = slip).await?.is_err() {
            return see(&paths::RunClose);
        }
    }
    see(&then)
}

/// The run is over already: by the first press of this very button, or in another tab.
async fn pressed_twice(app: &App, me: &Me, typed: &Typed) -> Answer {
    let ids = typed.all().filter(|(name, _)| name.ends_with(".draft")).filter_map(|(_, id)| id.parse().ok());
    let ids: Vec<ReportId> = ids.collect();
    let mut filed = 0;
    for id in &ids {
        filed += usize::from(filing::is_filed(app, me, *id).await?);
    }
    if filed > 0 && filed == ids.len() {
        return see(&paths::Runs.with(&[("closed", &filed.to_string())]));
    }
    see(&paths::Runs.with(&[("closed", "0")]))
}

fn is_stale(unit: &Closing, typed: &Typed) -> bool {
    typed.raw(&format!("{}.version", unit.unit().slug())) != unit.kept.version.to_string()
}

/// Every report as it will be filed, or what is wrong with any of them.
async fn read_all(
    app: &App,
    me: &Me,
    units: &[Closing],
    sure: bool,
) -> Result<Result<Vec<(ReportId, FileReport)>, NotYet>, Oops> {
    let (mut acts, mut not_yet) = (Vec::new(), NotYet::default());
    for unit in units {
        match read(app, me, unit, sure).await? {
            Ok(act) => acts.push((unit.kept.id, act)),
            Err(wrong) => not_yet.of_units.push((unit.unit().slug(), wrong)),
        }
    }
    Ok(if not_yet.of_units.is_empty() { Ok(acts) } else { Err(not_yet) })
}

async fn read(app: &App, me: &Me, unit: &Closing, sure: bool) -> Result<Result<FileReport, Wrong>, Oops> {
    let Closing { here, kept, slip, open_cutouts, .. } = unit;
    let slip = handing::with_remark(app, here, me.sign_in(), slip, &unit.all()).await?;
    let (report, says) =
        report_json(here, me.sign_in(), &json!(kept.id), true, &slip, unit.unsent(), open_cutouts);
    if !says.is_empty() {
        return Ok(Err(Wrong { says, ..Wrong::default() }));
    }
    let odd = to_ask(here, &report, &slip, open_cutouts);
    if !odd.asked.is_empty() && !sure {
        return Ok(Err(of_unit(odd, here)));
    }
    let ids: Vec<EntryId> = kept.draft.unsent().map(|entry: &DraftEntry| entry.id).collect();
    Ok(match filing::read(app, me, here, kept.id, &report).await? {
        Ok(act) => Ok(act),
        Err(Signed::Problems(problems)) => Err(Wrong::of(problems, &in_entry_order(unit, &ids))),
        Err(Signed::NotNow(_, says) | Signed::Password(says)) => {
            Err(Wrong { whole: vec![says], ..Wrong::default() })
        }
        Err(Signed::Filed(_)) => Err(stale::signed()),
    })
}

/// The ids as the report has its entries.
fn in_entry_order(unit: &Closing, ids: &[EntryId]) -> Vec<EntryId> {
    let read = |json: &Value| json["id"].as_str().and_then(|id| id.parse().ok());
    unit.unsent().iter().filter_map(read).filter(|id| ids.contains(id)).collect()
}

/// On a page of several units, each question says which one it is about.
fn of_unit(mut wrong: Wrong, here: &UnitHere) -> Wrong {
    for line in &mut wrong.asked {
        *line = format!("{}: {line}", here.unit);
    }
    wrong
}

/// Files each; the first that is not taken stays with those after it, and all the others are in the book.
async fn file_all(
    app: &App,
    me: &Me,
    units: &[Closing],
    acts: Vec<(ReportId, FileReport)>,
) -> Result<Option<(StatusCode, Wrong)>, Oops> {
    for (unit, (id, act)) in units.iter().zip(acts) {
        let wrong = match filing::hand_in(app, me, id, act).await? {
            Signed::Filed(_) => {
                filing::drop_draft(app, me, id).await?;
                leave(app, me.sign_in(), unit.unit(), app.now()).await?;
                continue;
            }
            Signed::NotNow(status, says) => (status, says),
            Signed::Password(says) => (StatusCode::UNPROCESSABLE_ENTITY, says),
            Signed::Problems(problems) => {
                let says: Vec<String> = problems.into_iter().map(|problem| problem.says).collect();
                (StatusCode::UNPROCESSABLE_ENTITY, says.join(" "))
            }
        };
        let says =
            format!("{}: {} The reports of the units before it are in the book.", unit.unit(), wrong.1);
        return Ok(Some((wrong.0, Wrong { whole: vec![says], ..Wrong::default() })));
    }
    Ok(None)
}
