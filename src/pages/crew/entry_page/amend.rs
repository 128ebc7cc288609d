//! A whole entry is replaced by a later one, on the form it was written with, or withdrawn. The last recorded counts; all
//! stay readable.
use std::collections::BTreeMap;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};

use super::{Found, back};
use crate::{
    base::{AmendmentId, Stamp, text},
    book::Channel,
    desk::{Refused, reports::AmendEntry},
    pages::{
        crew::{
            answers::{About, Scene, settle},
            checking::{Checked, Sheet},
            entry_form::AskView,
            typed::Typed,
            write::{Asked, EntryPage, can_be_about},
        },
        drawn::form::Field,
    },
    people::Act,
    reports::{Amendment, kinds::Kind, stored},
    web::{Answer, App, Frame, Me, Oops, SentAt, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "crew/amend.html")]
struct View {
    frame: Frame,
    form: EntryPage,
    entry: String,
    amendment: String,
    /// The last amendment that was shown; empty: none.
    seen: String,
    signer: String,
    devices: Vec<(String, String, bool)>,
    withdraw: bool,
    problems: Vec<String>,
    reason: Field,
    password: Field,
}

/// What the form asks beside the entry's own questions.
#[derive(Default)]
struct Beside {
    amendment: String,
    seen: String,
    signer: String,
    reason: String,
    password: String,
    withdraw: bool,
    sure: bool,
    problems: Vec<String>,
    reason_says: Option<String>,
    password_says: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    let found = may(&app, &me, &id).await?;
    let sheet = as_it_stands(&found, &me)?;
    let beside = Beside {
        amendment: uuid::Uuid::new_v4().to_string(),
        seen: found.row.amended.clone().unwrap_or_default(),
        ..Beside::default()
    };
    form(frame, &me, &found, StatusCode::OK, &sheet, &Checked::default(), beside)
}

async fn may(app: &App, me: &Me, id: &str) -> Result<Found, Oops> {
    let found = Found::find(app, id).await?;
    if found.may_amend(me) {
        return Ok(found);
    }
    Err(Oops::Forbidden(
        "Only the author of a report, the shop or a supervisor may amend it. If the entry names you, a statement of yours can stand beside it.".into(),
    ))
}

fn as_it_stands(found: &Found, me: &Me) -> Result<Sheet, Oops> {
    let entry = found.detail();
    let unreadable =
        || Oops::NotFound("This entry cannot be read as a form: add a statement beside it.".into());
    let kind = Kind::parse(&found.row.kind).ok_or_else(unreadable)?;
    let mut sheet =
        Sheet { kind, about: back::about(&entry), entry: found.id, typed: Typed::default(), version: None };
    let zone = &found.here.world.railway.zone;
    sheet.typed = back::typed(kind, sheet.device(&found.here), &entry, me.sign_in(), zone);
    Ok(sheet)
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(id): Path<String>,
    Fields(fields): Fields,
) -> Answer {
    let found = may(&app, &me, &id).await?;
    let (mut sheet, mut beside) = came(&found, fields, &me)?;
    let world = &found.here.world;
    let scene = Scene { me: me.sign_in(), people: &world.people, zone: &world.railway.zone, now };
    settle(&mut sheet.typed, &scene);
    let checked =
        if beside.withdraw { Checked::default() } else { sheet.check(&found.here, me.sign_in(), &[]) };
    let (id, reason) = match beside.check(&found, &checked) {
        Ok(asked) => asked,
        Err(status) => return form(frame, &me, &found, status, &sheet, &checked, beside),
    };
    let status = StatusCode::UNPROCESSABLE_ENTITY;
    if let Err(says) = signature::sign(&app, &me, &beside.password).await? {
        beside.password_says = Some(says);
        return form(frame, &me, &found, status, &sheet, &checked, beside);
    }
    let replacement = if beside.withdraw { None } else { Some(replacement(&found, &sheet, &me)?) };
    let at = Stamp { at: now, offset_min: world.railway.zone.offset_min(now) };
    let report = found.row.report.parse().map_err(|_| Oops::machine(&"a report's id"))?;
    let author = me.sign_in().clone();
    let amendment = Amendment { id, report, entry: found.id, author, at, reason, replacement };
    let permit = me.permit(Act::AmendEntry)?;
    match app.desk().act(AmendEntry::of(amendment, &permit, me.role(), Channel::Page)).await {
        Ok(_) => see(&paths::Entry(found.id)),
        Err(Refused::Problems(problems)) => {
            beside.problems.extend(problems.into_iter().map(|problem| problem.says));
            form(frame, &me, &found, status, &sheet, &checked, beside)
        }
        Err(refused) => Err(refused.into()),
    }
}

impl Beside {
    /// The amendment's own id and why; else the status with which the form comes back, its sentences put into it.
    fn check(&mut self, found: &Found, checked: &Checked) -> Result<(AmendmentId, String), StatusCode> {
        let last = found.row.amended.clone().unwrap_or_default();
        // The form itself, sent once more, is no other amendment.
        if last != self.seen && last != self.amendment {
            self.seen = last;
            self.problems.push("Somebody amended this entry since this page was shown: look at it again first. What you typed is kept; signed once more, it takes the place of theirs.".to_owned());
            return Err(StatusCode::CONFLICT);
        }
        let (id, reason) = (self.amendment.parse::<AmendmentId>(), text::words(&self.reason));
        if reason.is_none() {
            let says = "Say in a few words why: both versions stay readable, and so does this.";
            self.reason_says = Some(says.to_owned());
        }
        if id.is_err() {
            self.problems.push("This form was not complete. Look again, then sign.".to_owned());
        }
        let asks = !checked.says.is_empty() || !(checked.asks.is_empty() || self.sure);
        match (id, reason, asks || !self.problems.is_empty()) {
            (Ok(id), Some(reason), false) => Ok((id, reason)),
            _ => Err(StatusCode::UNPROCESSABLE_ENTITY),
        }
    }
}

fn replacement(found: &Found, sheet: &Sheet, me: &Me) -> Result<crate::reports::Entry, Oops> {
    let new = sheet.json(&found.here, me.sign_in()).0;
    let device = sheet.device(&found.here);
    let zone = &found.here.world.railway.zone;
    let whole = back::changed(sheet.kind, device, new, &found.detail(), zone);
    stored::entry(&whole.to_string()).map_err(|why| Oops::machine(&why))
}

/// The form as it came back.
fn came(found: &Found, fields: Vec<(String, String)>, me: &Me) -> Result<(Sheet, Beside), Oops> {
    let mut sheet = as_it_stands(found, me)?;
    let mut typed: Typed = fields.into_iter().collect();
    let mut own = |name: &str| typed.remove(name).unwrap_or_default();
    let mut beside = Beside {
        amendment: own("amendment"),
        seen: own("seen"),
        signer: own("signer"),
        reason: own("reason"),
        password: own("password"),
        withdraw: own("withdraw") == "yes",
        sure: own("sure") == "yes",
        ..Beside::default()
    };
    let device = own("device");
    sheet.about = About::parse(&device);
    sheet.typed = typed;
    beside.problems.extend(signature::another_signer(&beside.signer, me));
    Ok((sheet, beside))
}

fn form(
    frame: Frame,
    me: &Me,
    found: &Found,
    status: StatusCode,
    sheet: &Sheet,
    checked: &Checked,
    beside: Beside,
) -> Result<Response, Oops> {
    let asked = Asked {
        unit: &found.here.unit,
        kind: sheet.kind,
        about: &sheet.about,
        device: sheet.device(&found.here),
        entry: found.id,
        version: None,
        action: paths::EntryAmend(found.id).to_string(),
        back: paths::Entry(found.id).to_string(),
        reset: Vec::new(),
    };
    let view = View {
        form: EntryPage::of(frame.clone(), &asked, &sheet.typed, &checked.says, &checked.asks),
        frame,
        entry: found.line(&found.detail()).says,
        amendment: beside.amendment,
        seen: beside.seen,
        signer: me.sign_in().to_string(),
        devices: devices(found, sheet),
        withdraw: beside.withdraw,
        problems: beside.problems,
        reason: Field::text("reason", "Why it is amended", &beside.reason).says(beside.reason_says),
        password: Field::password("password", "Your password, as your signature").says(beside.password_says),
    };
    page(status, &view)
}

/// What else it can be about: the devices of the schedule that this kind of entry is about, and the one it names.
fn devices(found: &Found, sheet: &Sheet) -> Vec<(String, String, bool)> {
    let now = sheet.about.as_str();
    let listed = found.here.schedule().into_iter().flat_map(|schedule| &schedule.devices);
    let listed = listed.filter(|device| can_be_about(sheet.kind, device));
    let mut all: BTreeMap<String, String> =
        listed.map(|device| (device.tag.to_string(), format!("{} {}", device.tag, device.legend))).collect();
    if sheet.about != About::Nothing {
        let says = if now == "?" { "not on the schedule, by its plate" } else { now };
        all.entry(now.to_owned()).or_insert_with(|| says.to_owned());
    } else if sheet.kind == Kind::GroundRelay {
        all.insert(String::new(), "not named".to_owned());
    }
    all.into_iter().map(|(value, text)| (value.clone(), text, value == now)).collect()
}
