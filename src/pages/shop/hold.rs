//! A unit is kept from service, and why.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};
use serde::Deserialize;

use super::signing::{another_signer, moment, signer};
use crate::{
    base::{Instant, UnitName, Zone, text},
    desk::{
        Refused,
        body::{Hold, HoldReason},
        shop_release::HoldUnit,
    },
    pages::drawn::form::{Choice, Field},
    people::Act,
    shop::store::{Standing, standing},
    web::{Answer, App, Frame, Me, Oops, SentAt, Typed, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/hold.html")]
struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    release: String,
    action: String,
    signer: String,
    /// How it is held already.
    held: Option<String>,
    problems: Vec<String>,
    reason: Choice,
    words: Field,
    at: Field,
    password: Field,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    reason: String,
    words: String,
    at: String,
    password: String,
    signer: String,
    /// The page said that it was held already.
    held: String,
}

#[derive(Default)]
struct Says {
    problems: Vec<String>,
    reason: Option<String>,
    at: Option<String>,
    password: Option<String>,
}

const REASONS: &[(&str, &str)] = &[
    ("repair", "Repair"),
    ("inspection", "Inspection"),
    ("stored", "Stored"),
    ("away", "Away, on another railway or in another shop"),
];

pub fn reason_says(word: &str) -> &'static str {
    REASONS.iter().find(|(reason, _)| *reason == word).map_or("Held", |(_, text)| text)
}

pub fn unit_of(typed: &str) -> Result<UnitName, Oops> {
    UnitName::tidy(typed).ok_or_else(|| Oops::NotFound("There is no such unit.".into()))
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(unit): Path<String>) -> Answer {
    let unit = unit_of(&unit)?;
    form(&app, frame, &me, &unit, StatusCode::OK, &Form::default(), Says::default()).await
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(unit): Path<String>,
    Typed(typed): Typed<Form>,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let unit = unit_of(&unit)?;
    let hold = match typed.check(&unit, &me, &app.world().railway.zone, now) {
        Ok(hold) => hold,
        Err(says) => {
            return form(&app, frame, &me, &unit, StatusCode::UNPROCESSABLE_ENTITY, &typed, *says).await;
        }
    };
    if let Err(says) = signature::sign(&app, &me, &typed.password).await? {
        let says = Says { password: Some(says), ..Says::default() };
        return form(&app, frame, &me, &unit, StatusCode::UNPROCESSABLE_ENTITY, &typed, says).await;
    }
    match app.desk().act(HoldUnit::of(hold, typed.held == "yes", &permit, now)).await {
        Ok(_) => see(&paths::UnitShop(unit)),
        Err(Refused::Stale(says)) => {
            let says = Says { problems: vec![says], ..Says::default() };
            form(&app, frame, &me, &unit, StatusCode::CONFLICT, &typed, says).await
        }
        Err(refused) => Err(refused.into()),
    }
}

impl Form {
    fn check(&self, unit: &UnitName, me: &Me, zone: &Zone, now: Instant) -> Result<Hold, Box<Says>> {
        let mut says =
            Says { problems: another_signer(&self.signer, me).into_iter().collect(), ..Says::default() };
        let reason = HoldReason::parse(&self.reason);
        if reason.is_none() {
            says.reason = Some("Choose one of the four.".to_owned());
        }
        let at = moment(&self.at, zone, now, None).map_err(|why| says.at = Some(why)).ok();
        match (reason, at) {
            (Some(reason), Some(at)) if says.problems.is_empty() => {
                Ok(Hold { unit: unit.clone(), at, reason, words: text::tidy(&self.words) })
            }
            _ => Err(Box::new(says)),
        }
    }
}

/// `Held since 3 March by r.dunmore: repair. “…”`
pub fn held_says(standing: &Standing, zone: &Zone) -> Option<String> {
    let since = zone.in_words(standing.held_since?);
    let dead = match &standing.released {
        Some(row) if row.is_dead() => {
            format!(
                " Released dead for repair {} by {}: it goes under no power.",
                zone.in_words(Instant(row.at)),
                row.by
            )
        }
        _ => String::new(),
    };
    let why = standing.held.as_ref().map(|row| {
        let words = row.words.as_deref().map(|words| format!(" “{words}”")).unwrap_or_default();
        format!(" {}, by {}.{words}", reason_says(&row.reason), row.by)
    });
    Some(format!("Held since {since}.{}{dead}", why.unwrap_or_default()))
}

async fn form(
    app: &App,
    frame: Frame,
    me: &Me,
    unit: &UnitName,
    status: StatusCode,
    typed: &Form,
    says: Says,
) -> Result<Response, Oops> {
    let standing = standing(&mut *app.desk().read().await?, unit, app.now()).await?;
    let zone = &app.world().railway.zone;
    let view = View {
        frame,
        unit: unit.to_string(),
        unit_path: paths::UnitShop(unit.clone()).to_string(),
        release: paths::Release(unit.clone()).to_string(),
        action: paths::Hold(unit.clone()).to_string(),
        signer: signer(me),
        held: held_says(&standing, zone),
        problems: says.problems,
        reason: Choice::of("reason", "Why is it kept from service?", &typed.reason, REASONS)
            .hint("Stored or away from midnight to midnight, a day is no service day; days in the shop are.")
            .says(says.reason),
        words: Field::text("words", "In your words", &typed.words),
        at: Field::time("at", "Held since", &typed.at).hint("Leave it empty for now.").says(says.at),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    };
    page(status, &view)
}
