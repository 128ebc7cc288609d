//! The password, asked at sign-in and again under every signature; and the one-time code in its place or beside it.
use super::{App, Me, Oops};
use crate::{
    base::SignIn,
    people::{
        codes::Typed,
        codes_store,
        password::Password,
        secrets,
        tries_store::{self, Try, Way},
    },
};

/// How a try with a password or a code went.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tried {
    Right,
    /// Wrong, or nobody has that name.
    Wrong,
    /// Not even looked at; the sentence says when it will be.
    NotNow(String),
}

pub const NOT_TOGETHER: &str = "Name and password do not go together.";
pub const NOT_THE_CODE: &str =
    "This code is not right, or it was used before. The next one comes within 30 seconds.";

/// Tries a name and password. `Right` does not yet say that the person may sign in: see `people`.
pub async fn try_password(app: &App, who: &SignIn, password: Password, way: Way) -> Result<Tried, Oops> {
    let may_try = may_try(app, who, way).await?;
    if let Some(says) = not_now(app, may_try, way) {
        return Ok(Tried::NotNow(says));
    }
    let kept = {
        let mut c = app.desk().read().await?;
        secrets::password_of(&mut c, who).await?
    };
    if !app.hasher().verify(password, kept.map(|k| k.hash)).await? {
        app.metrics().wrong_password();
        return wrong(app, who, way).await;
    }
    let name = who.clone();
    app.desk().aside(move |c| Box::pin(async move { tries_store::forget(c, &name).await })).await?;
    gate_opens(app, who, &[Way::Elsewhere, Way::Signature]).await?;
    Ok(Tried::Right)
}

/// What was known of tries under a name is over: its password was right, or is new. Those that were sent away meanwhile are
/// told of.
pub async fn gate_opens(app: &App, who: &SignIn, ways: &[Way]) -> Result<(), Oops> {
    for way in ways {
        let slowed = app.gate().open(&way.counted(who));
        if slowed > 0 {
            tell(app, who, *way, 0, slowed).await?;
        }
    }
    Ok(())
}

/// Tries a one-time or a recovery code of somebody who has such. Right is right once.
pub async fn try_code(app: &App, who: &SignIn, typed: &str) -> Result<Tried, Oops> {
    let may_try = may_try(app, who, Way::Code).await?;
    if let Some(says) = not_now(app, may_try, Way::Code) {
        return Ok(Tried::NotNow(says));
    }
    let Some(typed) = Typed::read(typed) else { return wrong(app, who, Way::Code).await };
    let (name, now) = (who.clone(), app.now());
    let take = app.desk().aside(move |c| {
        Box::pin(async move {
            let right = codes_store::take(c, &name, &typed, now).await?;
            if right {
                tries_store::forget_codes(c, &name).await?;
            }
            Ok(right)
        })
    });
    if take.await? { Ok(Tried::Right) } else { wrong(app, who, Way::Code).await }
}

/// Asks for a try, and tells of those that were sent away since.
async fn may_try(app: &App, who: &SignIn, way: Way) -> Result<Try, Oops> {
    let (counted, now) = (way.counted(who), app.now());
    if let Some(shut) = app.gate().shut(&counted, now) {
        return Ok(shut);
    }
    let named = counted.clone();
    let begun = app.desk().aside(move |c| Box::pin(async move { tries_store::begin(c, &named, now).await }));
    let may_try = begun.await?;
    let slowed = app.gate().learn(&counted, may_try, now) + u32::from(may_try != Try::Granted);
    if slowed > 0 {
        tell(app, who, way, 0, slowed).await?;
    }
    Ok(may_try)
}

async fn wrong(app: &App, who: &SignIn, way: Way) -> Result<Tried, Oops> {
    tell(app, who, way, 1, 0).await?;
    Ok(Tried::Wrong)
}

/// What failed stands in the log and in the file (ASVS 5.0 16.3.1); a name that nobody has does not: it may be a password
/// that was typed into the wrong field.
async fn tell(app: &App, who: &SignIn, way: Way, wrong: u32, slowed: u32) -> Result<(), Oops> {
    let known = app.world().people.person(who).map(|person| person.sign_in.clone());
    let by = known.as_ref().map_or("somebody unknown", SignIn::as_str);
    tracing::warn!(by, ?way, wrong, slowed, "tries to sign in failed");
    let now = app.now();
    app.desk()
        .aside(move |c| {
            Box::pin(async move { tries_store::tell(c, known.as_ref(), wrong, slowed, now).await })
        })
        .await?;
    Ok(())
}

fn not_now(app: &App, may_try: Try, way: Way) -> Option<String> {
    let what = if way == Way::Code { "codes" } else { "passwords" };
    match may_try {
        Try::Granted => None,
        Try::Wait(until) => {
            let when = app.world().railway.zone.clock_in_words(until);
            Some(format!("Too many wrong {what} in a row. Try again at {when}."))
        }
        Try::Locked if way == Way::Code => {
            Some("100 wrong codes in a row. An administrator must clear your codes.".into())
        }
        Try::Locked => Some(
            "100 wrong passwords in a row under this name. An administrator must set a new one. A browser in which you signed in before still takes yours.".into(),
        ),
    }
}

/// Why a form that was shown to somebody else is not signed by whoever is signed in now.
pub fn another_signer(shown_to: &str, me: &Me) -> Option<String> {
    (shown_to != me.sign_in().as_str()).then(|| {
        format!(
            "This page was opened by {shown_to}, and you are {}. Look again, then sign as yourself.",
            me.sign_in()
        )
    })
}

/// The signature under something that is to go into the book: the signer's own password, typed again, or their current
/// one-time code. `Err` inside is the sentence to show beside the field.
pub async fn sign(app: &App, me: &Me, typed: &str) -> Result<Result<(), String>, Oops> {
    if me.has_codes() && matches!(Typed::read(typed), Some(Typed::Code(_))) {
        return sign_by_code(app, me, typed).await;
    }
    let signed = sign_by_password(app, me, typed).await?;
    // Only once it is no password: one might look like a recovery code.
    let recovery = me.has_codes() && matches!(Typed::read(typed), Some(Typed::Recovery(_)));
    Ok(signed.map_err(|says| if recovery && says == NOT_YOURS { NO_SIGNATURE.to_owned() } else { says }))
}

const NOT_YOURS: &str = "This is not your password.";
const NO_SIGNATURE: &str = "A recovery code lets you in, and signs nothing. Type your password, or the six digits that your telephone shows now.";

/// The password alone: for what changes how somebody signs in.
pub async fn sign_by_password(app: &App, me: &Me, password: &str) -> Result<Result<(), String>, Oops> {
    if password.is_empty() {
        return Ok(Err("Type your password: it is your signature.".into()));
    }
    Ok(match try_password(app, me.sign_in(), Password::typed(password), Way::Signature).await? {
        Tried::Right => Ok(()),
        Tried::Wrong => Err(NOT_YOURS.into()),
        Tried::NotNow(says) => Err(says),
    })
}

pub async fn sign_by_code(app: &App, me: &Me, code: &str) -> Result<Result<(), String>, Oops> {
    if code.trim().is_empty() {
        return Ok(Err("Type the code that your telephone shows now.".into()));
    }
    Ok(match try_code(app, me.sign_in(), code).await? {
        Tried::Right => Ok(()),
        Tried::Wrong => Err(NOT_THE_CODE.into()),
        Tried::NotNow(says) => Err(says),
    })
}

/// The signature of somebody else before the same screen: their own password. One that was given to them has to be
/// changed first, by signing in with it.
pub async fn sign_for(app: &App, who: &SignIn, password: &str) -> Result<Result<(), String>, Oops> {
    if password.is_empty() {
        return Ok(Err(format!("{who} types their own password here: it is the signature.")));
    }
    match try_password(app, who, Password::typed(password), Way::Signature).await? {
        Tried::Right => {
            let mut c = app.desk().read().await?;
            let given = secrets::password_of(&mut c, who).await?.is_some_and(|kept| kept.one_time);
            Ok(if given {
                Err(format!(
                    "{who} still has a password that was given to them: they sign in with it and choose their own first."
                ))
            } else {
                Ok(())
            })
        }
        Tried::Wrong => Ok(Err(format!("This is not the password of {who}."))),
        Tried::NotNow(says) => Ok(Err(says)),
    }
}
