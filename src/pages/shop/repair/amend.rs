//! What a closing said is corrected by a later page; what it said before stays readable.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};
use serde::Deserialize;

use super::{
    super::signing::{another_signer, fresh, id_of, signer},
    causes::{self, Group},
    close::is_a_part,
    find, of_what, subjects,
};
use crate::{
    base::{Instant, text},
    desk::{Refused, body::RepairAmended, shop_repair::AmendRepair},
    pages::drawn::form::{Choice, Field},
    people::Act,
    shop::{self, Repair},
    web::{Answer, App, Frame, Me, Oops, SentAt, Typed, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/repair_amend.html")]
struct View {
    frame: Frame,
    unit: String,
    of: String,
    path: String,
    action: String,
    signer: String,
    amendment: String,
    seen: u64,
    problems: Vec<String>,
    causes: Vec<Group>,
    cause_says: Option<String>,
    replaced: Option<Choice>,
    words: Field,
    parts: Field,
    reason: Field,
    password: Field,
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub struct Form {
    amendment: String,
    cause: String,
    replaced: String,
    words: String,
    parts: String,
    reason: String,
    password: String,
    signer: String,
    seen: String,
}

#[derive(Default)]
struct Says {
    problems: Vec<String>,
    cause: Option<String>,
    reason: Option<String>,
    password: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    me.permit(Act::WorkOnUnits)?;
    let repair = find(&mut *app.desk().read().await?, &id).await?;
    if repair.closed_at.is_none() {
        return see(&paths::Repair(id));
    }
    let as_it_is = Form {
        cause: repair.cause.clone().unwrap_or_default(),
        replaced: if repair.new_life { "yes" } else { "no" }.to_owned(),
        words: repair.words.clone().unwrap_or_default(),
        parts: repair.parts.clone().unwrap_or_default(),
        ..Form::default()
    };
    form(&app, frame, &me, &repair, StatusCode::OK, &as_it_is, Says::default()).await
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(id): Path<String>,
    Typed(typed): Typed<Form>,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let repair = find(&mut *app.desk().read().await?, &id).await?;
    let (amended, seen) = match typed.check(&repair, &me, now) {
        Ok(checked) => checked,
        Err(says) => {
            return form(&app, frame, &me, &repair, StatusCode::UNPROCESSABLE_ENTITY, &typed, *says).await;
        }
    };
    if let Err(says) = signature::sign(&app, &me, &typed.password).await? {
        let says = Says { password: Some(says), ..Says::default() };
        return form(&app, frame, &me, &repair, StatusCode::UNPROCESSABLE_ENTITY, &typed, says).await;
    }
    match app.desk().act(AmendRepair::of(amended, seen, &permit, now)).await {
        Ok(_) => see(&paths::Repair(id)),
        Err(Refused::Stale(says)) => {
            let repair = find(&mut *app.desk().read().await?, &id).await?;
            let says = Says { problems: vec![says], ..Says::default() };
            form(&app, frame, &me, &repair, StatusCode::CONFLICT, &typed, says).await
        }
        Err(refused) => Err(refused.into()),
    }
}

impl Form {
    fn check(&self, repair: &Repair, me: &Me, now: Instant) -> Result<(RepairAmended, u64), Box<Says>> {
        let mut says =
            Says { problems: another_signer(&self.signer, me).into_iter().collect(), ..Says::default() };
        let cause = text::tidy(&self.cause);
        if cause.is_none() {
            says.cause =
                Some("Say what was found: choose one, or 'no fault found', or 'not known'.".to_owned());
        }
        let reason = text::words(&self.reason);
        if reason.is_none() {
            says.reason = Some("Say in a few words why it is corrected.".to_owned());
        }
        let (id, seen) = (id_of(&self.amendment), self.seen.parse().ok());
        if id.is_none() || seen.is_none() {
            says.problems.push("This form was not complete. Look again, then sign.".to_owned());
        }
        match (cause, reason, id, seen) {
            (Some(cause), Some(reason), Some(amendment), Some(seen)) if says.problems.is_empty() => {
                let amended = RepairAmended {
                    id: repair.id,
                    amendment,
                    at: now,
                    reason,
                    cause,
                    words: text::tidy(&self.words),
                    parts: text::tidy(&self.parts),
                    new_life: self.replaced == "yes",
                };
                Ok((amended, seen))
            }
            _ => Err(Box::new(says)),
        }
    }
}

async fn form(
    app: &App,
    frame: Frame,
    me: &Me,
    repair: &Repair,
    status: StatusCode,
    typed: &Form,
    says: Says,
) -> Result<Response, Oops> {
    let world = app.world();
    let mut db = app.desk().read().await?;
    let listed = shop::store::listed_causes(&mut db).await?;
    let before = shop::store::causes(&mut db, &world.roster, app.now()).await?;
    drop(db);
    let part = repair.device.as_ref().filter(|tag| is_a_part(tag) && repair.from.is_none());
    let replaced = part.map(|tag| {
        let label =
            format!("Is {} another one since?", of_what(Some(tag), &repair.unit, repair.opened_at, &world));
        Choice::of("replaced", &label, &typed.replaced, &[("yes", "Yes"), ("no", "No, it stayed in")]).few()
    });
    let subject = (&repair.unit, repair.device.as_ref());
    let view = View {
        frame,
        unit: repair.unit.to_string(),
        of: subjects(repair, &world),
        path: paths::Repair(repair.id.to_string()).to_string(),
        action: paths::RepairAmend(repair.id.to_string()).to_string(),
        signer: signer(me),
        amendment: id_of(&typed.amendment).unwrap_or_else(fresh).to_string(),
        seen: repair.last_seq,
        problems: says.problems,
        causes: causes::groups(&listed, &before, subject, &world, &typed.cause),
        cause_says: says.cause,
        replaced,
        words: Field::text("words", "What was found and done, in words", &typed.words),
        parts: Field::text("parts", "Parts used", &typed.parts),
        reason: Field::text("reason", "Why it is corrected", &typed.reason).says(says.reason),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    };
    page(status, &view)
}
