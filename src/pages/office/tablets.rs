//! What tablets signed for somebody, to be confirmed or disowned, and the keys they sign with.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use crate::{
    base::{Instant, ReportId, Zone, text},
    desk::tablets::{self, AnswerReport, RevokeKey},
    pages::drawn::{form::Field, told::EntryLine},
    people::{
        Act,
        tablet::{TabletKey, TabletReport, clock_off},
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
}

/// The form that was sent back, and the sentence beside its password.
struct Wrong {
    report: ReportId,
    says: String,
    words: String,
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
    let keys = keys.iter().map(|key| key_line(key, zone)).collect();
    page(status, &View { frame, waiting, keys, of_all })
}

fn waits(
    one: &TabletReport,
    row: &ReportRow,
    lines: Vec<EntryLine>,
    zone: &Zone,
    wrong: Option<&Wrong>,
) -> Waiting {
    let wrong = wrong.filter(|wrong| wrong.report == one.report);
    let password = Field::password("password", "Your password, as your signature");
    let words = wrong.map_or("", |wrong| wrong.words.as_str());
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
        password: password.says(wrong.map(|wrong| wrong.says.clone())),
    }
}

/// Both times, when the tablet's clock was more than five minutes off.
pub fn clock_says(report: &TabletReport, zone: &Zone) -> Option<String> {
    const NEAR: i64 = 5 * crate::base::instant::MINUTE;
    let off = clock_off(report.clock, report.received_at);
    let clock = report.clock.filter(|_| off.abs() > NEAR)?;
    let way = if off > 0 { "ahead" } else { "behind" };
    Some(format!(
        "The tablet's clock said {} when this came in at {}: it was {} {way}. Its times are as the tablet had them.",
        zone.in_words(clock.at),
        zone.in_words(report.received_at),
        text::span(off.abs())
    ))
}

fn key_line(key: &TabletKey, zone: &Zone) -> KeyLine {
    KeyLine {
        who: key.sign_in.to_string(),
        since: zone.in_words(key.registered_at),
        until: zone.in_words(key.until),
        action: paths::TabletRevoke(key.id.to_string()).to_string(),
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
        let wrong = Wrong { report, says, words: typed.get("words").to_owned() };
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, Some(wrong)).await;
    }
    let words = text::tidy(typed.get("words"));
    app.desk().act(AnswerReport::of(me.sign_in(), report, mine, words, app.now())).await?;
    see(&paths::Tablets)
}

pub async fn revoke(State(app): State<App>, me: Me, Path(key): Path<String>) -> Answer {
    let missing = || Oops::NotFound("You have no such tablet key on record.".into());
    let key = key.parse().map_err(|_| missing())?;
    let keeps_people = me.may(Act::KeepPeople);
    let act = RevokeKey::of(me.sign_in(), keeps_people, key, "revoked on the page".into(), app.now());
    app.desk().act(act).await?;
    see(&paths::Tablets)
}
