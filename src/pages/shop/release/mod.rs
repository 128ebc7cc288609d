//! A unit is signed back into service, or refused, with the reason and what to do.
mod form;
mod read;

use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};

use self::{
    form::{Form, Says, view},
    read::Here,
};
use super::hold::unit_of;
use crate::{
    base::UnitName,
    desk::{Refused, shop_release::ReleaseUnit},
    people::Act,
    web::{Answer, App, Frame, Me, Oops, SentAt, Typed, page, paths, see, signature},
};

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(unit): Path<String>) -> Answer {
    let unit = unit_of(&unit)?;
    again(&app, frame, &me, &unit, StatusCode::OK, &Form::default(), Says::default()).await
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
    let here = Here::read(&app, &unit).await?;
    if let Some(says) = here.came_since(typed.seen()) {
        return again(&app, frame, &me, &unit, StatusCode::CONFLICT, &typed, Says::on_top(says)).await;
    }
    let release = match typed.check(&here, &me, &app.world().railway.zone, now) {
        Ok(release) => release,
        Err(says) => {
            return again(&app, frame, &me, &unit, StatusCode::UNPROCESSABLE_ENTITY, &typed, *says).await;
        }
    };
    if let Err(says) = signature::sign(&app, &me, &typed.password).await? {
        let status = StatusCode::UNPROCESSABLE_ENTITY;
        return again(&app, frame, &me, &unit, status, &typed, Says::of_password(says)).await;
    }
    // What stands against it was looked up in a book of that size; the writer looks whether anything came since.
    match app.desk().act(ReleaseUnit::of(release, here.size, &permit, now)).await {
        Ok(_) => see(&paths::UnitShop(unit)),
        Err(Refused::Stale(says)) => {
            again(&app, frame, &me, &unit, StatusCode::CONFLICT, &typed, Says::on_top(says)).await
        }
        Err(refused) => Err(refused.into()),
    }
}

async fn again(
    app: &App,
    frame: Frame,
    me: &Me,
    unit: &UnitName,
    status: StatusCode,
    typed: &Form,
    says: Says,
) -> Result<Response, Oops> {
    let here = Here::read(app, unit).await?;
    page(status, &view(frame, me, &app.world(), &here, typed, says))
}
