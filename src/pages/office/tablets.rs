//! What tablets signed for somebody, to be confirmed or disowned, and the keys they sign with.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use crate::{
    base::{Instant, ReportId, Zone, text},
    desk::{
        signed::AnswerReport,
        tablets::{self, RevokeKey},
    },
    pages::drawn::{form::Field, tablet::clock_says, told::EntryLine},
    people::{
        Act,
        tablet::{TabletKey, TabletReport},
    },
    reports::store::{self, ReportRow, Wanted},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "office/tablets.html")]
pub struct View {
    pub frame: Frame,
    pub waiting: Vec<Waiting>,
    pub keys: Vec<KeyLine>,
    /// All people's keys are shown, not only one's own.
    pub of_all: bool,
}

pub struct Waiting {
    pub unit: String,
    pub receipt: String,
    pub signed: String,
    /// Said when the tablet's clock was more than a few minutes off.
    pub clock: Option<String>,
    pub lines: Vec<EntryLine>,
    pub action: String,
    pub words: Field,
    pub password: Field,
}

pub struct KeyLine {
    pub who: String,
    pub since: String,
    pub until: String,
    pub action: String,
    pub password: Field,
}

/// The form that was sent back, by the report or key it is about, and the sentence beside its password.
struct Wrong {
    about: String,
    says: String,
    words: String,
}

fn password(about: &str, wrong: Option<&Wrong>) -> Field {
    let says = wrong.filter(|wrong| wrong.about == about).map(|wrong| wrong.says.clone());
    Field::password("password", "Your password, as your signature").says(says).of(about)
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    draw(&app, frame, &me, StatusCode::OK, None).await
}

async fn draw(app: &App, frame: Frame, me: &Me, status: StatusCode, wrong: Option<Wrong>) -> Answer {
    let mut db = app.desk().read().await?;
    let of_all = me.may(Act::KeepPeople);
    let keys = tablets::live_keys(&mut db, (!of_all).then(|| me.sign_in()), app.now()).await?;
    let world = app.world();
    let zone = &world.railway.zone;
    let mut waiting = Vec::new();
    for one in tablets::unanswered(&mut db, me.sign_in()).await? {
        let Some(row) = store::report(&mut db, one.report).await? else { continue };
        let wanted = Wanted { report: Some(one.report), ..Wanted::default() };
        let entries = store::entries(&mut db, &wanted).await?;
        let lines = entries.iter().map(|e| EntryLine::of(e, &world)).collect();
        waiting.push(waits(&one, &row, lines, zone, wrong.as_ref()));
    }
    let keys = keys.iter().map(|key| key_line(key, zone, wrong.as_ref())).collect();
    page(status, &View { frame, waiting, keys, of_all })
}

fn waits(
    one: &TabletReport,
    row: &ReportRow,
    lines: Vec<EntryLine>,
    zone: &Zone,
    wrong: Option<&Wrong>,
) -> Waiting {
    let about = one.report.to_string();
    let words = wrong.filter(|wrong| wrong.about == about).map_or("", |wrong| wrong.words.as_str());
    Waiting {
        unit: row.unit.clone(),
        receipt: paths::Receipt(one.report).to_string(),
        signed: format!(
            "Signed on a tablet {}, came in {}",
            zone.in_words(Instant(row.signed_at)),
            zone.in_words(one.received_at)
        ),
        clock: clock_says(one, zone),
        lines,
        action: paths::TabletAnswer(one.report).to_string(),
        words: Field::text("words", "If it is not yours: what you know of it", words),
        password: password(&about, wrong),
    }
}

fn key_line(key: &TabletKey, zone: &Zone, wrong: Option<&Wrong>) -> KeyLine {
    KeyLine {
        who: key.sign_in.to_string(),
        since: zone.in_words(key.registered_at),
        until: zone.in_words(key.until),
        action: paths::TabletRevoke(key.id.to_string()).to_string(),
        password: password(&key.id.to_string(), wrong),
    }
}

pub async fn answer(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(report): Path<String>,
    typed: Fields,
) -> Answer {
    let missing = || Oops::NotFound("No such report of yours came from a tablet.".into());
    let report: ReportId = report.parse().map_err(|_| missing())?;
    let mine = match typed.get("then") {
        "mine" => true,
        "not_mine" => false,
        _ => return Err(Oops::Unreadable("Say whether it is yours.".into())),
    };
    if let Err(says) = signature::sign(&app, &me, typed.get("password")).await? {
        let wrong = Wrong { about: report.to_string(), says, words: typed.get("words").to_owned() };
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, Some(wrong)).await;
    }
    let words = text::tidy(typed.get("words"));
    app.desk().act(AnswerReport::of(me.sign_in(), report, mine, words, app.now())).await?;
    see(&paths::Tablets)
}

pub async fn revoke(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(key): Path<String>,
    typed: Fields,
) -> Answer {
    let missing = || Oops::NotFound("You have no such tablet key on record.".into());
    let id = key.parse().map_err(|_| missing())?;
    if let Err(says) = signature::sign(&app, &me, typed.get("password")).await? {
        let wrong = Wrong { about: key, says, words: String::new() };
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, Some(wrong)).await;
    }
    let keeps_people = me.may(Act::KeepPeople);
    let act = RevokeKey::of(me.sign_in(), keeps_people, id, "revoked on the page".into(), app.now());
    app.desk().act(act).await?;
    see(&paths::Tablets)
}
