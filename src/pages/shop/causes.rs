//! The list of causes that the shop keeps.
use askama::Template;
use axum::{extract::State, http::StatusCode, response::Response};
use serde::Deserialize;

use super::signing::{another_signer, signer};
use crate::{
    base::{Instant, text},
    desk::{Refused, body::CauseListed, shop_repair::ListCause},
    pages::drawn::form::Field,
    people::Act,
    shop::{
        NO_FAULT_FOUND, NOT_KNOWN, cause_key,
        store::{CauseRow, listed_causes},
    },
    web::{Answer, App, Frame, Me, Oops, SentAt, Typed, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/causes.html")]
struct View {
    frame: Frame,
    signer: String,
    may_work: bool,
    problems: Vec<String>,
    always: [&'static str; 2],
    listed: Vec<Line>,
    dropped: Vec<Line>,
    cause: Field,
    password: Field,
}

struct Line {
    cause: String,
    says: String,
    chosen: bool,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    /// A new one, in words.
    cause: String,
    /// One of the list, to come off it.
    off: String,
    password: String,
    signer: String,
}

#[derive(Default)]
struct Says {
    problems: Vec<String>,
    cause: Option<String>,
    password: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    form(&app, frame, &me, StatusCode::OK, &Form::default(), Says::default()).await
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Typed(typed): Typed<Form>,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let known = listed_causes(&mut *app.desk().read().await?).await?;
    let listed = match typed.check(&me, &known) {
        Ok(listed) => listed,
        Err(says) => return form(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, &typed, *says).await,
    };
    if let Err(says) = signature::sign(&app, &me, &typed.password).await? {
        let says = Says { password: Some(says), ..Says::default() };
        return form(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, &typed, says).await;
    }
    match app.desk().act(ListCause::of(listed, &permit, now)).await {
        Ok(_) => see(&paths::Causes),
        Err(Refused::Stale(says)) => {
            let says = Says { cause: Some(says), ..Says::default() };
            form(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, &typed, says).await
        }
        Err(refused) => Err(refused.into()),
    }
}

impl Form {
    fn check(&self, me: &Me, known: &[CauseRow]) -> Result<CauseListed, Box<Says>> {
        let problems: Vec<String> = another_signer(&self.signer, me).into_iter().collect();
        let wrong = |cause: &str| Box::new(Says { cause: Some(cause.to_owned()), ..Says::default() });
        if !problems.is_empty() {
            return Err(Box::new(Says { problems, ..Says::default() }));
        }
        let is_listed =
            |cause: &str| known.iter().any(|row| row.listed && cause_key(&row.cause) == cause_key(cause));
        match (text::tidy(&self.cause), text::tidy(&self.off)) {
            (Some(cause), None) if cause.chars().count() > 120 => {
                Err(wrong("A cause is a few words, at most 120 letters."))
            }
            (Some(cause), None) if is_listed(&cause) => Err(wrong("It is on the list already.")),
            (Some(cause), None) => Ok(CauseListed { cause, listed: true }),
            (None, Some(cause)) if is_listed(&cause) => Ok(CauseListed { cause, listed: false }),
            (None, Some(_)) => Err(wrong("It came off the list already.")),
            (Some(_), Some(_)) => Err(wrong("One at a time: put this one on, or take another off.")),
            (None, None) => Err(wrong("Write a cause to put on the list, or choose one to take off.")),
        }
    }
}

async fn form(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    typed: &Form,
    says: Says,
) -> Result<Response, Oops> {
    let rows = listed_causes(&mut *app.desk().read().await?).await?;
    let zone = &app.world().railway.zone;
    let line = |row: &CauseRow| Line {
        cause: row.cause.clone(),
        says: format!("{}, by {}", zone.day_in_words(Instant(row.at)), row.by),
        chosen: row.cause == typed.off,
    };
    let view = View {
        frame,
        signer: signer(me),
        may_work: me.may(Act::WorkOnUnits),
        problems: says.problems,
        always: [NO_FAULT_FOUND, NOT_KNOWN],
        listed: rows.iter().filter(|row| row.listed).map(line).collect(),
        dropped: rows.iter().filter(|row| !row.listed).map(line).collect(),
        cause: Field::text("cause", "Put on the list", &typed.cause).hint("A few words.").says(says.cause),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    };
    page(status, &view)
}
