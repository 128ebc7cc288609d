//! Everybody of the book: added, changed, gone and back, each by a signed page with its reason.
pub(super) mod list;
pub(super) mod new;
pub(super) mod person;

use std::collections::HashMap;

use askama::Template;
use axum::http::StatusCode;

use crate::{
    base::SignIn,
    db::writer::Trouble,
    desk::{
        Refused,
        keep_people::{KeepSecret, KeptName, kept_names},
        keep_person::{Deed, KeepPerson, Wanted},
        tablets::live_keys,
    },
    pages::drawn::sent::Sent,
    people::{
        Permit, Role,
        password::{self, Password},
        secrets,
    },
    web::{Answer, App, Frame, Oops, page, paths},
};

fn roles() -> Vec<(String, String)> {
    Role::ALL.iter().map(|role| (role.as_str().to_owned(), role.as_str().to_owned())).collect()
}

async fn names(app: &App) -> Result<HashMap<SignIn, KeptName>, Oops> {
    Ok(kept_names(&mut *app.desk().read().await?).await?)
}

/// What the office forms ask of a person; the sentences stand beside the fields.
fn read(sent: &mut Sent, sign_in: Option<SignIn>) -> Option<Wanted> {
    let name = sent.words("name", "Write the name as it is to be shown.");
    let craft = sent.short("craft").unwrap_or_default();
    let role = Role::parse(sent.get("role"));
    if role.is_none() {
        sent.wrong("role", "Choose a role.");
    }
    let reason = reason(sent);
    Some(Wanted { sign_in: sign_in?, role: role?, name, craft, reason })
}

fn reason(sent: &mut Sent) -> String {
    sent.words("reason", "Say why in a few words: it stands in the book.")
}

const FIELDS: &[&str] = &["sign_in", "name", "craft", "role", "reason"];

async fn keep(app: &App, deed: Deed, wanted: Wanted, seen: u64, permit: &Permit) -> Result<(), Refused> {
    let (who, now) = (wanted.sign_in.clone(), app.now());
    let mut db = app.desk().read().await?;
    let kept = kept_names(&mut db).await.map_err(|why| Trouble::from(&why))?;
    let keys = match deed {
        Deed::End | Deed::Return => {
            live_keys(&mut db, Some(&who), now).await.map_err(|why| Trouble::from(&why))?
        }
        Deed::Add | Deed::Change => Vec::new(),
    };
    drop(db);
    let act = KeepPerson::of(deed, wanted, kept.get(&who), seen, permit, now)
        .map_err(|why| Trouble::Fault(why.to_string()))?
        .ending_keys(keys.iter().map(|key| key.id), now);
    app.desk().act_on_record(act, who, permit, now).await
}

#[derive(Template)]
#[template(path = "office/first_password.html")]
struct FirstPassword {
    frame: Frame,
    who: String,
    person: String,
    password: String,
}

/// Makes one and shows it, this once. Whoever was signed in under the old one is out.
async fn show_first_password(app: &App, frame: Frame, who: &SignIn, permit: &Permit) -> Answer {
    let (made, now) = (password::one_time()?, app.now());
    let hash = app.hasher().hash(Password::typed(&made)).await?;
    app.desk().act(KeepSecret::password(who, hash, true, Some(permit.by()), now)).await?;
    let of = who.clone();
    app.desk().aside(move |c| Box::pin(secrets::password_was_set(c, of.clone(), now))).await?;
    let person = paths::Person(who.to_string()).to_string();
    page(StatusCode::OK, &FirstPassword { frame, who: who.to_string(), person, password: made })
}
