//! The password, asked at sign-in and again under every signature.
use super::{App, Me, Oops};
use crate::{
    base::SignIn,
    people::{
        password::Password,
        secrets::{self, Try},
    },
};

/// How a try with a password went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tried {
    Right,
    /// A sentence to stand beside the field; the same for a wrong password and an unknown name.
    Refused(String),
}

/// Tries a name and password. `Right` does not yet say that the person may sign in: see `people`.
pub async fn try_password(app: &App, who: &SignIn, password: Password) -> Result<Tried, Oops> {
    let now = app.now();
    let name = who.clone();
    let may_try =
        app.desk().aside(move |c| Box::pin(async move { secrets::begin_try(c, &name, now).await })).await?;
    match may_try {
        Try::Granted => {}
        Try::Wait(until) => {
            let zone = &app.world().railway.zone;
            let when = zone.clock_in_words(until);
            return Ok(Tried::Refused(format!(
                "Too many wrong passwords for this name. Try again at {when}."
            )));
        }
        Try::Locked => {
            let says = "100 wrong passwords in a row for this name. An administrator must set a new one.";
            return Ok(Tried::Refused(says.into()));
        }
    }
    let kept = {
        let mut c = app.desk().read().await?;
        secrets::password_of(&mut c, who).await?
    };
    if app.hasher().verify(password, kept.map(|k| k.hash)).await? {
        Ok(Tried::Right)
    } else {
        Ok(Tried::Refused("Name and password do not go together.".into()))
    }
}

/// The signature under something that is to go into the book: the signer's own password, typed again.
/// `Err` inside is the sentence to show beside the password field.
pub async fn sign(app: &App, me: &Me, password: &str) -> Result<Result<(), String>, Oops> {
    if password.is_empty() {
        return Ok(Err("Type your password: it is your signature.".into()));
    }
    match try_password(app, me.sign_in(), Password::typed(password)).await? {
        Tried::Right => {
            let who = me.sign_in().clone();
            app.desk()
                .aside(move |c| Box::pin(async move { secrets::forget_failures(c, &who).await }))
                .await?;
            Ok(Ok(()))
        }
        Tried::Refused(says) if says.starts_with("Name") => Ok(Err("This is not your password.".into())),
        Tried::Refused(says) => Ok(Err(says)),
    }
}
