//! One's own password.
use askama::Template;
use axum::{
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Redirect},
};
use serde::Deserialize;

use super::sign_in;
use crate::{
    desk::keep_people::KeepSecret,
    pages::drawn::form::Field,
    people::{
        password::{self, LEAST_CHARACTERS, Password},
        secrets,
    },
    web::{Answer, App, Frame, Me, Oops, Typed, cookie, page, paths, signature},
};

#[derive(Template)]
#[template(path = "office/password.html")]
struct View {
    frame: Frame,
    one_time: bool,
    sign_in: String,
    now: Field,
    new: Field,
    again: Field,
}

/// Sentences beside the three fields.
#[derive(Default)]
struct Says {
    now: Option<String>,
    new: Option<String>,
    again: Option<String>,
}

impl Says {
    fn nothing(&self) -> bool {
        self.now.is_none() && self.new.is_none() && self.again.is_none()
    }
}

impl View {
    fn new(frame: Frame, me: &Me, says: Says) -> Self {
        let hint = format!("At least {LEAST_CHARACTERS} characters, of any kind. Four plain words do well.");
        let new = |name, label| Field { autocomplete: "new-password", ..Field::password(name, label) };
        Self {
            frame,
            one_time: me.must_change(),
            sign_in: me.sign_in().to_string(),
            now: Field::password("password", "Password until now").says(says.now),
            new: new("new_password", "New password").hint(&hint).says(says.new),
            again: new("new_password_again", "The same again").says(says.again),
        }
    }
}

#[derive(Deserialize)]
pub struct Form {
    #[serde(default)]
    password: String,
    #[serde(default)]
    new_password: String,
    #[serde(default)]
    new_password_again: String,
}

pub async fn show(frame: Frame, me: Me) -> Answer {
    page(StatusCode::OK, &View::new(frame, &me, Says::default()))
}

pub async fn send(State(app): State<App>, frame: Frame, me: Me, Typed(form): Typed<Form>) -> Answer {
    let mut says = check(&app, &me, &form);
    if says.nothing() {
        says.now = signature::sign(&app, &me, &form.password).await?.err();
    }
    if !says.nothing() {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &View::new(frame, &me, says));
    }
    change(&app, &me, &form.new_password).await?;
    let token = sign_in::open(&app, me.sign_in(), me.session()).await?;
    let to = Redirect::to(paths::Home::PATTERN).into_response();
    Ok(sign_in::with_cookie(to, cookie::set(&token, app.settings())))
}

fn check(app: &App, me: &Me, form: &Form) -> Says {
    let new = Password::typed(&form.new_password);
    let mut says =
        Says { new: password::refusal(&new, me.sign_in(), &app.world().railway.name), ..Says::default() };
    if form.new_password == form.password {
        says.new.get_or_insert("This is the password you have now.".into());
    }
    if says.new.is_none() && form.new_password != form.new_password_again {
        says.again = Some("The two do not agree.".into());
    }
    says
}

/// That it changed goes into the book, the hash stays outside. Every session ends with the old password; the
/// caller opens a new one.
async fn change(app: &App, me: &Me, new: &str) -> Result<(), Oops> {
    let hash = app.hasher().hash(Password::typed(new)).await?;
    let (who, now) = (me.sign_in().clone(), app.now());
    app.desk().act(KeepSecret::password(&who, hash, false, Some(&who), now)).await?;
    app.desk().aside(move |c| Box::pin(secrets::password_was_set(c, who.clone(), now))).await?;
    Ok(())
}
