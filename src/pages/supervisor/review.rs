//! A review, signed by password.
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::bypass::{self, Typed as Kept};
use crate::{
    base::{EntryId, UnitName, text},
    desk::{Refused, body::Judgement, oversee::ReviewBypass},
    people::Act,
    web::{Answer, App, Frame, Me, Oops, Typed, page, paths, see, signature},
};

#[derive(Deserialize)]
pub struct ReviewForm {
    #[serde(default)]
    judgement: String,
    #[serde(default)]
    words: String,
    #[serde(default)]
    password: String,
    /// To whom the form was shown: on a shared terminal somebody else may be signed in by now.
    #[serde(default)]
    signer: String,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    seen_seq: String,
    /// A form without it has seen no review.
    #[serde(default)]
    seen_review: String,
}

/// The form's values once they make sense.
struct Checked {
    judgement: Judgement,
    words: String,
    unit: UnitName,
    seen_seq: u64,
    seen_review: u64,
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(id): Path<String>,
    Typed(form): Typed<ReviewForm>,
) -> Answer {
    let permit = me.permit(Act::ReviewBypass)?;
    let bypass: EntryId = id.parse().map_err(|_| Oops::NotFound("There is no such opening.".into()))?;
    let checked = match form.check(&me) {
        Ok(checked) => checked,
        Err(kept) => return again(&app, frame, &me, &id, StatusCode::UNPROCESSABLE_ENTITY, *kept).await,
    };
    if let Err(says) = signature::sign(&app, &me, &form.password).await? {
        let kept = Kept { password_says: Some(says), ..form.kept() };
        return again(&app, frame, &me, &id, StatusCode::UNPROCESSABLE_ENTITY, kept).await;
    }
    let now = app.now();
    let act = ReviewBypass::of(
        bypass,
        checked.unit,
        checked.seen_seq,
        checked.judgement,
        checked.words,
        &permit,
        now,
    )
    .having_seen(checked.seen_review);
    match app.desk().act_on_record(act, bypass, &permit, now).await {
        Ok(_) => see(&paths::Bypass(bypass)),
        Err(Refused::Stale(says)) => {
            let kept = Kept { says: Some(says), ..form.kept() };
            again(&app, frame, &me, &id, StatusCode::CONFLICT, kept).await
        }
        Err(refused) => Err(refused.into()),
    }
}

async fn again(app: &App, frame: Frame, me: &Me, id: &str, status: StatusCode, kept: Kept) -> Answer {
    page(status, &bypass::look_up(app, frame, me, id, kept).await?)
}

impl ReviewForm {
    fn kept(&self) -> Kept {
        Kept { judgement: self.judgement.clone(), words: self.words.clone(), ..Kept::default() }
    }

    fn check(&self, me: &Me) -> Result<Checked, Box<Kept>> {
        let mut kept = Kept { says: signature::another_signer(&self.signer, me), ..self.kept() };
        let judgement = Judgement::parse(&self.judgement);
        let words = text::words(&self.words);
        if judgement.is_none() {
            kept.judgement_says = Some("Choose one of the three.".into());
        }
        if words.is_none() {
            kept.words_says = Some("Say in a few words what you looked at.".into());
        }
        let (unit, seen_seq) = (UnitName::tidy(&self.unit), self.seen_seq.parse().ok());
        if unit.is_none() || seen_seq.is_none() {
            kept.says = Some("This form was not complete. Look again, then sign.".into());
        }
        match (judgement, words, unit, seen_seq, &kept.says) {
            (Some(judgement), Some(words), Some(unit), Some(seen_seq), None) => {
                let seen_review = self.seen_review.parse().unwrap_or(0);
                Ok(Checked { judgement, words, unit, seen_seq, seen_review })
            }
            _ => Err(Box::new(kept)),
        }
    }
}
