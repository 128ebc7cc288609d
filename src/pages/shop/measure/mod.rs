//! Measurements: choose what, write it down and sign it, read what it says; a unit's list, and a battery's.
mod battery;
mod form;
mod list;
mod questions;
mod reading;
mod result;
mod table;

pub(super) use list::{Line, sheet};

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;
use uuid::Uuid;

use self::form::{FormView, Shown};
use crate::{
    base::{Instant, UnitName, text},
    desk::measure::{MeasurementTaken, ShopPage},
    people::Act,
    shop::measurements::{Kind, Measured, Wrong, breaker, store},
    web::{Answer, App, Asked, Frame, Me, Oops, Route, forms::Fields, page, paths, see, signature},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Measurements::PATTERN, Act::ReadBoard, list::show),
        Route::get(paths::MeasurementNew::PATTERN, Act::WorkOnUnits, fresh),
        Route::post(paths::MeasurementNew::PATTERN, Act::WorkOnUnits, sign),
        Route::get(paths::Measurement::PATTERN, Act::ReadBoard, result::show),
        Route::get(paths::Battery::PATTERN, Act::ReadBoard, battery::show),
        Route::get(paths::BreakerTable::PATTERN, Act::ReadBoard, table::show),
        Route::post(paths::BreakerTable::PATTERN, Act::KeepRoster, table::keep),
    ]
}

#[derive(Deserialize)]
pub struct New {
    #[serde(default)]
    kind: String,
    #[serde(default)]
    repair: String,
}

#[derive(Template)]
#[template(path = "shop/measure_choose.html")]
struct ChooseView {
    frame: Frame,
    unit: String,
    back: String,
    /// A ground-relay test is asked for, since when.
    asked: Option<String>,
    kinds: Vec<Pick>,
}

struct Pick {
    path: String,
    says: &'static str,
    more: &'static str,
}

/// The kinds to choose from, or the form of the one chosen.
async fn fresh(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    Asked(new): Asked<New>,
) -> Answer {
    let unit = unit_of(&unit)?;
    let Some(kind) = Kind::parse(&new.kind) else { return choose(&app, frame, unit, &new.repair).await };
    let fields = Fields(vec![("repair".to_owned(), new.repair)]);
    let shown = Shown { kind, fields: &fields, wrong: &[], on_top: Vec::new(), asked: Vec::new() };
    let world = app.world();
    page(
        StatusCode::OK,
        &FormView::of(frame, &unit, shown, me.sign_in().as_str(), &world.railway.zone, app.now()),
    )
}

async fn choose(app: &App, frame: Frame, unit: UnitName, repair: &str) -> Answer {
    let since = store::relay_test_asked(&mut *app.desk().read().await?, &unit).await?;
    let world = app.world();
    let pick = |kind: &Kind| Pick {
        path: paths::MeasurementNew(unit.clone()).with(&[("kind", kind.as_str()), ("repair", repair)]),
        says: kind.in_words(),
        more: more(*kind),
    };
    let view = ChooseView {
        frame,
        back: paths::Measurements(unit.clone()).to_string(),
        asked: since.map(|since| world.railway.zone.in_words(since)),
        kinds: Kind::ALL.iter().map(pick).collect(),
        unit: unit.to_string(),
    };
    page(StatusCode::OK, &view)
}

fn more(kind: Kind) -> &'static str {
    match kind {
        Kind::Insulation => "megohms at one minute, corrected, against the minimum of its winding or circuit",
        Kind::Battery => "gravities, cells beside each other, volts; follows the battery",
        Kind::Breaker => "time at 300 % against the maker's limit or your own table; instantaneous trip",
        Kind::GroundRelay => "picked up, at what, reset; after a bypass or work on the relay",
        Kind::Fuse => "four figures against those that belong there",
        Kind::TestedDead => "the tester checked before and after over 600 V",
        Kind::LockOut => "who applied a lock or tag, who removed it",
    }
}

pub(super) fn unit_of(typed: &str) -> Result<UnitName, Oops> {
    UnitName::tidy(typed)
        .ok_or_else(|| Oops::NotFound(format!("{typed} is no unit: a mark and a road number are wanted.")))
}

/// What a form needs of the book.
struct Here {
    unit: UnitName,
    now: Instant,
    breakers: Option<(Vec<breaker::Row>, String)>,
    locks: Vec<(String, String)>,
}

impl Here {
    async fn find(app: &App, typed: &str) -> Result<Self, Oops> {
        let unit = unit_of(typed)?;
        let mut db = app.desk().read().await?;
        let breakers = store::breaker_table(&mut db).await?;
        let locks = store::open_locks(&mut db, &unit).await?;
        Ok(Self { unit, now: app.now(), breakers, locks })
    }
}

/// What a form comes to before the password is looked at.
enum Checked {
    Taken(Box<MeasurementTaken>),
    Again { wrong: Vec<Wrong>, on_top: Vec<String>, asked: Vec<String> },
}

async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    fields: Fields,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let here = Here::find(&app, &unit).await?;
    let Some(kind) = Kind::parse(fields.get("kind")) else {
        return choose(&app, frame, here.unit, fields.get("repair")).await;
    };
    let taken = match check(&app, &me, &here, kind, &fields) {
        Checked::Taken(taken) => taken,
        Checked::Again { wrong, on_top, asked } => {
            let shown = Shown { kind, fields: &fields, wrong: &wrong, on_top, asked };
            return again(&app, frame, &me, &here, shown);
        }
    };
    if let Err(says) = signature::sign(&app, &me, fields.get("password")).await? {
        let wrong = [Wrong::at("password", says)];
        let shown =
            Shown { kind, fields: &fields, wrong: &wrong, on_top: Vec::new(), asked: confirmed(&fields) };
        return again(&app, frame, &me, &here, shown);
    }
    let (unit, id, measured) = (taken.unit.clone(), taken.id, taken.measured.clone());
    let filed = app.desk().act(ShopPage::measurement(*taken, &permit, app.now())).await?;
    if filed.is_none() && is_another(&app, &unit, id, &measured).await? {
        return once_more(&app, frame, &me, &here, kind, fields);
    }
    see(&paths::Measurement(unit, id.to_string()))
}

/// Whether this form was signed before with another reading: pressed twice, it is the same.
async fn is_another(app: &App, unit: &UnitName, id: Uuid, measured: &Measured) -> Result<bool, Oops> {
    let wanted = store::Wanted { unit: Some(unit), id: Some(id), ..store::Wanted::default() };
    let kept = store::taken(&mut *app.desk().read().await?, &wanted).await?.pop();
    Ok(kept.is_none_or(|kept| kept.measured != *measured))
}

/// A browser that fills in what it kept may bring back an old form: its reading is not taken for the one in the book.
fn once_more(app: &App, frame: Frame, me: &Me, here: &Here, kind: Kind, mut fields: Fields) -> Answer {
    fields.0.retain(|(name, _)| name != "id");
    let says = "This very form was signed before, with another reading, which stands in the book. Nothing of this one is kept yet: if it is another measurement, sign again.";
    let on_top = vec![says.to_owned()];
    let shown = Shown { kind, fields: &fields, wrong: &[], on_top, asked: confirmed(&fields) };
    again(app, frame, me, here, shown)
}

fn again(app: &App, frame: Frame, me: &Me, here: &Here, shown: Shown<'_>) -> Answer {
    let world = app.world();
    let view = FormView::of(frame, &here.unit, shown, me.sign_in().as_str(), &world.railway.zone, here.now);
    page(StatusCode::UNPROCESSABLE_ENTITY, &view)
}

fn confirmed(fields: &Fields) -> Vec<String> {
    fields.0.iter().filter(|(name, _)| name == "confirmed").map(|(_, value)| value.clone()).collect()
}

fn check(app: &App, me: &Me, here: &Here, kind: Kind, fields: &Fields) -> Checked {
    let world = app.world();
    let mut on_top: Vec<String> = signature::another_signer(fields.get("signer"), me).into_iter().collect();
    let mut wrong = Vec::new();
    let at = when(fields, &world.railway.zone, here.now, &mut wrong);
    let known = reading::Known {
        schedule: world.roster.schedule_at(&here.unit, here.now),
        breakers: here.breakers.as_ref(),
        locks: &here.locks,
        signer: me.sign_in().as_str(),
    };
    let measured = reading::read(kind, fields, &known).map_err(|more| wrong.extend(more)).ok();
    let Some(measured) = measured.filter(|_| wrong.is_empty() && on_top.is_empty()) else {
        if !wrong.is_empty() {
            on_top.push("Nothing is kept yet: see what stands beside the fields.".to_owned());
        }
        return Checked::Again { wrong, on_top, asked: confirmed(fields) };
    };
    ask_or_take(measured, here, at, fields)
}

/// What is odd is asked about once: signed again just as it stands, it is kept, and so is that it was asked.
fn ask_or_take(measured: Measured, here: &Here, at: Instant, fields: &Fields) -> Checked {
    let doubts = measured.doubts();
    let key = |doubt: &Wrong| format!("{}={}", doubt.field, fields.get(doubt.field).trim());
    let (known, asked): (Vec<String>, Vec<String>) = (confirmed(fields), doubts.iter().map(key).collect());
    if asked.iter().any(|one| !known.contains(one)) {
        let on_top = vec![
            "Asked once: look at what stands beside the fields. If it is right as it stands, sign again."
                .to_owned(),
        ];
        return Checked::Again { wrong: doubts, on_top, asked };
    }
    let judged = measured.judge();
    Checked::Taken(Box::new(MeasurementTaken {
        id: Uuid::parse_str(fields.get("id")).unwrap_or_else(|_| Uuid::new_v4()),
        unit: here.unit.clone(),
        repair: Uuid::parse_str(fields.get("repair")).ok(),
        at,
        done_by: text::tidy(fields.get("done_by")),
        measured,
        judged,
        confirmed: doubts.into_iter().map(|doubt| doubt.says).collect(),
    }))
}

pub(super) fn when(
    fields: &Fields,
    zone: &crate::base::Zone,
    now: Instant,
    wrong: &mut Vec<Wrong>,
) -> Instant {
    let typed = fields.get("at").trim();
    if typed.is_empty() {
        return now;
    }
    match zone.parse_local(typed) {
        Some(at) if at <= now.plus(5 * crate::base::instant::MINUTE) => at.min(now),
        Some(_) => {
            wrong.push(Wrong::at("at", format!("That is still to come: now it is {}.", zone.in_words(now))));
            now
        }
        None => {
            wrong.push(Wrong::at("at", "Set a date and a time, or leave it empty for now."));
            now
        }
    }
}
