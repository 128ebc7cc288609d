//! Thresholds: what the statistical rules go by, what they have said in this very book and should be expected to say by
//! chance; a change is tried first, then signed with its reason.
mod asked;
mod groups;
mod view;

use std::collections::BTreeMap;

use axum::{extract::State, http::StatusCode};

use self::{
    asked::Asking,
    view::{Sheet, View},
};
use crate::{
    base::text,
    desk::{
        Refused, World,
        thresholds::{ChangeThresholds, changed, expected, past, too_much},
        trial,
    },
    people::Act,
    rules::Forecast,
    web::{Answer, App, Asked, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

/// What the page says above everything when something is wrong, beside a field, and what was typed into the signature.
#[derive(Default)]
struct Kept {
    on_top: Vec<String>,
    reason: String,
    reason_says: Option<String>,
    password_says: Option<String>,
}

/// The page; with values in its address, a trial of them.
pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Asked(typed): Asked<BTreeMap<String, String>>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let asking = Asking::read(&world.thresholds, |name| typed.get(name).map(String::as_str));
    let mut kept = Kept::default();
    let mut sheet = load(&app, &world).await?;
    let mut status = StatusCode::OK;
    if !asking.problems.is_empty() {
        status = StatusCode::UNPROCESSABLE_ENTITY;
    } else if asking.changes.is_empty() {
        if !typed.is_empty() {
            kept.on_top.push("Nothing is changed: every value is the one in force.".into());
        }
    } else {
        let new = changed(&world, &asking.changes)?;
        match app.desk().try_thresholds(new, now).await {
            Ok(trial) => sheet.trial = Some(trial),
            Err(Refused::Busy { .. }) => kept.on_top.push(BUSY.into()),
            Err(refused) => return Err(refused.into()),
        }
    }
    page(status, &draw(frame, &me, &world, sheet, &asking, kept))
}

const BUSY: &str = "Somebody else is trying settings on the whole book just now, so what these would have flagged is not \
    shown. Try them again in a minute.";

/// A change, signed.
pub async fn sign(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let permit = me.permit(Act::ChangeThresholds)?;
    let world = app.world();
    let asking = Asking::read(&world.thresholds, |name| form.value(name));
    let mut kept = Kept { reason: form.get("reason").to_owned(), ..Kept::default() };
    if let Some(says) = signature::another_signer(form.get("signer"), &me) {
        kept.on_top.push(says);
        return again(&app, frame, &me, &asking, StatusCode::UNPROCESSABLE_ENTITY, kept).await;
    }
    let Some(reason) = text::words(&kept.reason).filter(|_| asking.problems.is_empty()) else {
        kept.reason_says = text::words(&kept.reason)
            .is_none()
            .then(|| "Say why in a few words: it stands in the book.".into());
        return again(&app, frame, &me, &asking, StatusCode::UNPROCESSABLE_ENTITY, kept).await;
    };
    if let Err(says) = signature::sign(&app, &me, form.get("password")).await? {
        kept.password_says = Some(says);
        return again(&app, frame, &me, &asking, StatusCode::UNPROCESSABLE_ENTITY, kept).await;
    }
    let changes = asking.as_shown(|name| form.value(name));
    match app.desk().act(ChangeThresholds::of(changes, reason, &permit, app.now())).await {
        Ok(_) => see(&paths::Thresholds),
        Err(Refused::Stale(says)) => {
            kept.on_top.push(says);
            again(&app, frame, &me, &asking, StatusCode::CONFLICT, kept).await
        }
        Err(Refused::Problems(problems)) => {
            // What stands above the signature already is not said twice.
            kept.on_top.extend(problems.into_iter().map(|problem| problem.says));
            again(&app, frame, &me, &asking, StatusCode::UNPROCESSABLE_ENTITY, kept).await
        }
        Err(refused) => Err(refused.into()),
    }
}

/// The page once more, with what was typed; the book's history is not judged again for it.
async fn again(app: &App, frame: Frame, me: &Me, asking: &Asking, status: StatusCode, kept: Kept) -> Answer {
    // Another's change may have come in between: what was typed is held against what is in force now.
    let world = app.world();
    let asking = Asking::read(&world.thresholds, |name| asking.typed.get(name).map(String::as_str));
    let sheet = load(app, &world).await?;
    page(status, &draw(frame, me, &world, sheet, &asking, kept))
}

async fn load(app: &App, world: &World) -> Result<Sheet, Oops> {
    let mut db = app.desk().read().await?;
    let opened = trial::opened_in_a_year(&mut db, app.now()).await?;
    let past = past(&mut db).await?;
    Ok(Sheet { opened, past, expected: expected(world, &world.thresholds), trial: None })
}

fn draw(frame: Frame, me: &Me, world: &World, sheet: Sheet, asking: &Asking, mut kept: Kept) -> View {
    let new = changed(world, &asking.changes).ok();
    let new: Option<Forecast> = new.map(|new| expected(world, &new));
    let refused = new.as_ref().and_then(|new| too_much(new, &sheet.expected));
    kept.on_top.retain(|says| refused.as_ref() != Some(says));
    View::of(frame, me, world, &sheet, asking, new, refused, kept)
}
