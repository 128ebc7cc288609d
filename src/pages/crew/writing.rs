//! The way of one entry: choose, tap, fill in, keep in the draft.
use axum::{
    extract::{Path, Query, State},
    http::StatusCode,
    response::Response,
};
use serde::Deserialize;

use super::{
    answers::{About, Scene, settle, with_times},
    checking::{Checked, Sheet},
    draft::{Draft, DraftEntry, Kept, fresh_id},
    picture::Picture,
    prefill, remembered, resetting, run, store,
    typed::Typed,
    unit_of::UnitHere,
    write::{Asked, ChoosePage, EntryPage, PickPage, begins_at_the_panel},
};
use crate::{
    base::{EntryId, ReportId, SignIn},
    reports::{self, kinds::Kind},
    web::{Answer, App, Frame, Me, Oops, SentAt, forms::Fields, page, paths, see},
};

pub async fn choose(State(app): State<App>, me: Me, frame: Frame, Path(unit): Path<String>) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let draft = store::draft_of(&mut *app.desk().read().await?, me.sign_in(), &here.unit).await?;
    let drafted = draft.map_or(0, |kept| kept.draft.unsent().count());
    page(StatusCode::OK, &ChoosePage::of(frame, &here.unit, drafted))
}

#[derive(Deserialize)]
pub struct Tapped {
    #[serde(default)]
    device: String,
}

/// The panel to tap on, or straight away the form where nothing has to be tapped.
pub async fn ask(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path((unit, kind)): Path<(String, String)>,
    Query(tapped): Query<Tapped>,
    Query(given): Query<Vec<(String, String)>>,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let kind = kind_of(&kind)?;
    let about = About::parse(&tapped.device);
    if about == About::Nothing && begins_at_the_panel(kind, here.schedule()) {
        return pick(&app, frame, &here, kind).await;
    }
    let entry = EntryId(fresh_id(here.now));
    let mut typed = remembered::circumstances(&app, &me, &here, kind).await?;
    let mut sheet = Sheet { kind, about, entry, typed: Typed::default(), version: None };
    let given = prefill::typed(kind, sheet.device(&here), &given);
    given.all().for_each(|(name, value)| typed.set(name, value));
    sheet.typed = typed;
    form(&app, &me, StatusCode::OK, frame, &here, &sheet, &Checked::default()).await
}

async fn pick(app: &App, frame: Frame, here: &UnitHere, kind: Kind) -> Answer {
    let dossiers = store::dossiers_of(&mut *app.desk().read().await?, &here.unit).await?;
    let picture = Picture::of(&dossiers, here.schedule());
    let view = PickPage::of(frame, &here.unit, kind, here.schedule(), here.now, |d| picture.known(d));
    page(StatusCode::OK, &view)
}

/// An entry of the draft once more, with what was typed.
pub async fn change(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path((unit, entry)): Path<(String, String)>,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let kept = store::draft_of(&mut *app.desk().read().await?, me.sign_in(), &here.unit).await?;
    let entry = entry.parse::<EntryId>().ok();
    let found = kept.as_ref().zip(entry).and_then(|(kept, id)| kept.draft.entry(id));
    let Some(found) = found.filter(|e| e.sent.is_none()) else { return see(&paths::Report(here.unit)) };
    let mut sheet = Sheet { version: kept.as_ref().map(|kept| kept.version), ..Sheet::of(found) };
    with_times(&mut sheet.typed, &here.world.railway.zone);
    form(&app, &me, StatusCode::OK, frame, &here, &sheet, &Checked::default()).await
}

/// Checks a form and keeps its entry in the draft; wrong, it comes back with everything that was typed.
pub async fn take(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    SentAt(sent): SentAt,
    Path((unit, kind)): Path<(String, String)>,
    Fields(fields): Fields,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    let Came { mut sheet, sure, send } = came(kind_of(&kind)?, fields, &here);
    let scene =
        Scene { me: me.sign_in(), people: &here.world.people, zone: &here.world.railway.zone, now: sent };
    settle(&mut sheet.typed, &scene);
    let wanted = reports::store::Wanted { unit: Some(&here.unit), limit: Some(60), ..Default::default() };
    let others = reports::store::entries(&mut *app.desk().read().await?, &wanted).await?;
    let checked = sheet.check(&here, me.sign_in(), &others);
    if !checked.says.is_empty() || !(checked.asks.is_empty() || sure) {
        return form(&app, &me, StatusCode::UNPROCESSABLE_ENTITY, frame, &here, &sheet, &checked).await;
    }
    let entry = sheet.entry;
    let (mine, change) = (sheet.clone(), sheet.clone());
    let kept = keep_if(&app, me.sign_in(), &here, move |k| mine.is_of(k), |d| d.put(change.into())).await?;
    if let Err(kept) = kept {
        let checked = sheet.overtaken(&kept, &here);
        return form(&app, &me, StatusCode::CONFLICT, frame, &here, &sheet, &checked).await;
    }
    run::begin(&app, &me, &here, None).await?;
    match send {
        true => see(&paths::EntrySend(here.unit, entry)),
        false => see(&paths::Report(here.unit).with(&[("wrote", "yes")])),
    }
}

/// Changes the draft of somebody on a unit; there need not be one yet.
pub async fn keep(
    app: &App,
    who: &SignIn,
    here: &UnitHere,
    change: impl FnOnce(&mut Draft) + Send + 'static,
) -> Result<Kept, Oops> {
    keep_if(app, who, here, |_| true, change).await.map(|kept| kept.unwrap_or_else(|kept| kept))
}

/// The same, if the draft still is as a page had it; else it stays, and comes back as it now is.
pub async fn keep_if(
    app: &App,
    who: &SignIn,
    here: &UnitHere,
    still: impl FnOnce(&Kept) -> bool + Send + 'static,
    change: impl FnOnce(&mut Draft) + Send + 'static,
) -> Result<Result<Kept, Kept>, Oops> {
    let fresh = Kept::new(ReportId(fresh_id(here.now)), here.unit.clone(), here.now);
    let who = who.clone();
    Ok(app.desk().aside(move |db| Box::pin(store::change_draft(db, who, fresh, still, change))).await?)
}

fn kind_of(word: &str) -> Result<Kind, Oops> {
    Kind::parse(word).ok_or_else(|| Oops::NotFound("There is no such kind of entry.".into()))
}

/// A form as it came back.
struct Came {
    sheet: Sheet,
    sure: bool,
    send: bool,
}

fn came(kind: Kind, fields: Vec<(String, String)>, here: &UnitHere) -> Came {
    let mut typed: Typed = fields.into_iter().collect();
    let mut own = |name: &str| typed.remove(name).unwrap_or_default();
    let (about, entry) = (About::parse(&own("device")), own("entry").parse());
    let (sure, send, version) = (own("sure") == "yes", own("then") == "send", own("version").parse().ok());
    let entry = entry.unwrap_or_else(|_| EntryId(fresh_id(here.now)));
    Came { sheet: Sheet { kind, about, entry, typed, version }, sure, send }
}

async fn form(
    app: &App,
    me: &Me,
    status: StatusCode,
    frame: Frame,
    here: &UnitHere,
    sheet: &Sheet,
    checked: &Checked,
) -> Result<Response, Oops> {
    let asked = Asked {
        unit: &here.unit,
        kind: sheet.kind,
        about: &sheet.about,
        device: sheet.device(here),
        entry: sheet.entry,
        version: sheet.version,
        action: paths::WriteKind(here.unit.clone(), sheet.kind.as_str().to_owned()).to_string(),
        back: paths::Write(here.unit.clone()).to_string(),
        reset: resetting::answer(app, me, here, sheet).await?,
    };
    let no_device = matches!(&sheet.about, About::Device(_)) && asked.device.is_none();
    let mut says = checked.says.clone();
    if let (true, About::Device(tag)) = (no_device, &sheet.about) {
        let lost =
            format!("{tag} is not on this unit's schedule. Tap another device, or say that it is not drawn.");
        says.entry(String::new()).or_insert(lost);
    }
    page(status, &EntryPage::of(frame, &asked, &sheet.typed, &says, &checked.asks))
}

impl Sheet {
    pub fn of(entry: &DraftEntry) -> Self {
        let DraftEntry { kind, about, id, typed, .. } = entry.clone();
        Self { kind, about, entry: id, typed, version: None }
    }

    /// Nobody wrote something else in its place since its form was opened.
    fn is_of(&self, kept: &Kept) -> bool {
        match (kept.draft.entry(self.entry), self.version) {
            (Some(old), _) if *old == DraftEntry::from(self.clone()) => true,
            (Some(old), version) => old.sent.is_none() && version == Some(kept.version),
            // One that was there when the form was opened is gone.
            (None, version) => version.is_none(),
        }
    }

    /// Another tab was quicker: says so, and makes the form ready to be sent again.
    fn overtaken(&mut self, kept: &Kept, here: &UnitHere) -> Checked {
        let there = kept.draft.entry(self.entry).filter(|old| old.sent.is_none());
        let says = if there.is_some() {
            self.version = Some(kept.version);
            CHANGED
        } else {
            (self.version, self.entry) = (None, EntryId(fresh_id(here.now)));
            GONE
        };
        Checked { says: [(String::new(), says.to_owned())].into(), asks: Vec::new() }
    }
}

const CHANGED: &str = "Your draft was changed in another tab after this form was opened. Nothing was kept yet: below is what \
    you typed here. Press the button again, and it takes the place of what the other tab wrote.";
const GONE: &str = "In another tab this entry was taken out, sent or signed after this form was opened. Below is what you \
    typed here; it is not kept yet. Press the button again, and it is written down as an entry of its own.";

impl From<Sheet> for DraftEntry {
    fn from(sheet: Sheet) -> Self {
        Self { id: sheet.entry, kind: sheet.kind, about: sheet.about, typed: sheet.typed, sent: None }
    }
}
