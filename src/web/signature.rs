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
    /// Wrong, or nobody has that name.
    Wrong,
    /// Not even looked at; the sentence says when it will be.
    NotNow(String),
}

pub const NOT_TOGETHER: &str = "Name and password do not go together.";

/// Tries a name and password. `Right` does not yet say that the person may sign in: see `people`.
pub async fn try_password(app: &App, who: &SignIn, password: Password) -> Result<Tried, Oops> {
    let (name, now) = (who.clone(), app.now());
    let may_try = app.desk().aside(move |c| Box::pin(secrets::begin_try(c, name.clone(), now))).await?;
    if let Some(says) = not_now(app, may_try) {
        return Ok(Tried::NotNow(says));
    }
    let kept = {
        let mut c = app.desk().read().await?;
        secrets::password_of(&mut c, who).await?
    };
    let right = app.hasher().verify(password, kept.map(|k| k.hash)).await?;
    if !right {
        app.metrics().wrong_password();
    }
    Ok(if right { Tried::Right } else { Tried::Wrong })
}

fn not_now(app: &App, may_try: Try) -> Option<String> {
    match may_try {
        Try::Granted => None,
        Try::Wait(until) => {
            let when = app.world().railway.zone.clock_in_words(until);
            Some(format!("Too many wrong passwords in a row. Try again at {when}."))
        }
        Try::Locked => {
            Some("100 wrong passwords in a row under this name. An administrator must set a new one.".into())
        }
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
            app.desk().aside(move |c| Box::pin(secrets::forget_failures(c, who.clone()))).await?;
            Ok(Ok(()))
        }
        Tried::Wrong => Ok(Err("This is not your password.".into())),
        Tried::NotNow(says) => Ok(Err(says)),
    }
}

/// The signature of somebody else before the same screen: their own password. One that was given to them has to be
/// changed first, by signing in with it.
pub async fn sign_for(app: &App, who: &SignIn, password: &str) -> Result<Result<(), String>, Oops> {
    if password.is_empty() {
        return Ok(Err(format!("{who} types their own password here: it is the signature.")));
    }
    match try_password(app, who, Password::typed(password)).await? {
        Tried::Right => {
            let mut c = app.desk().read().await?;
            let given = secrets::password_of(&mut c, who).await?.is_some_and(|kept| kept.one_time);
            drop(c);
            if given {
                return Ok(Err(format!(
                    "{who} still has a password that was given to them: they sign in with it and choose their own first."
                )));
            }
            let name = who.clone();
            app.desk().aside(move |c| Box::pin(secrets::forget_failures(c, name.clone()))).await?;
            Ok(Ok(()))
        }
        Tried::Wrong => Ok(Err(format!("This is not the password of {who}."))),
        Tried::NotNow(says) => Ok(Err(says)),
    }
}
