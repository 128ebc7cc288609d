//! A step of a repair, under the password of whoever did it.
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::{
    super::signing::{Signed, another_signer, id_of, moment, sign_as},
    find,
    show::{Typed as Kept, again},
};
use crate::{
    base::{Instant, Zone, text},
    desk::{Refused, body::RepairWorked, shop_repair::WorkOnRepair},
    people::Act,
    shop::Repair,
    web::{Answer, App, Frame, Me, SentAt, Typed, paths, see},
};

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct StepForm {
    step: String,
    words: String,
    parts: String,
    at: String,
    by: String,
    password: String,
    signer: String,
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(id): Path<String>,
    Typed(form): Typed<StepForm>,
) -> Answer {
    me.permit(Act::WorkOnUnits)?;
    let repair = find(&mut *app.desk().read().await?, &id).await?;
    let worked = match form.check(&repair, &me, &app.world().railway.zone, now) {
        Ok(worked) => worked,
        Err(kept) => return again(&app, frame, &me, &id, StatusCode::UNPROCESSABLE_ENTITY, *kept).await,
    };
    let permit = match sign_as(&app, &me, &form.by, &form.password).await? {
        Signed::By(permit) => permit,
        Signed::Not { name, password } => {
            let kept = Kept { by_says: name, password_says: password, ..form.kept() };
            return again(&app, frame, &me, &id, StatusCode::UNPROCESSABLE_ENTITY, kept).await;
        }
    };
    match app.desk().act(WorkOnRepair::of(worked, &permit, now)).await {
        Ok(_) => see(&paths::Repair(id)),
        Err(Refused::Stale(says)) => {
            let closing = vec![("What was done", form.words.clone()), ("Parts used", form.parts.clone())];
            let kept = Kept { problems: vec![says], closing, ..form.kept() };
            again(&app, frame, &me, &id, StatusCode::CONFLICT, kept).await
        }
        Err(refused) => Err(refused.into()),
    }
}

impl StepForm {
    fn kept(&self) -> Kept {
        Kept {
            step: self.step.clone(),
            words: self.words.clone(),
            parts: self.parts.clone(),
            at: self.at.clone(),
            by: self.by.clone(),
            ..Kept::default()
        }
    }

    fn check(&self, repair: &Repair, me: &Me, zone: &Zone, now: Instant) -> Result<RepairWorked, Box<Kept>> {
        let mut kept = self.kept();
        kept.problems.extend(another_signer(&self.signer, me));
        let words = text::tidy(&self.words);
        if words.is_none() {
            kept.words_says = Some("Say in a few words what was done.".to_owned());
        }
        let first = ("The repair was opened", repair.opened_at);
        let at = moment(&self.at, zone, now, Some(first)).map_err(|says| kept.at_says = Some(says)).ok();
        let step = id_of(&self.step);
        if step.is_none() {
            kept.problems.push("This form was not complete. Look again, then sign.".to_owned());
        }
        match (words, at, step) {
            (Some(words), Some(at), Some(step)) if kept.problems.is_empty() => {
                Ok(RepairWorked { id: repair.id, step, at, words, parts: text::tidy(&self.parts) })
            }
            _ => Err(Box::new(kept)),
        }
    }
}
