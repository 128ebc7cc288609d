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
    base::UnitName,
    desk::keep_people::KeepSecret,
    pages::drawn::form::Field,
    people::{
        Act,
        password::{self, LEAST_CHARACTERS, Password},
        secrets,
    },
    web::{Answer, App, Frame, Me, Oops, Seen, Typed, page, paths, signature},
};

#[derive(Template)]
#[template(path = "office/password.html")]
struct View {
    frame: Frame,
    one_time: bool,
    sign_in: String,
    /// They may keep one-time codes.
    codes: bool,
    /// They keep other people's.
    people: bool,
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
            codes: me.may(Act::KeepCodes),
            people: me.may(Act::KeepPeople),
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

pub async fn send(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    seen: Seen,
    Typed(form): Typed<Form>,
) -> Answer {
    let mut says = check(&app, &me, &form);
    if says.nothing() {
        says.now = signature::sign_by_password(&app, &me, &form.password).await?.err();
    }
    if !says.nothing() {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &View::new(frame, &me, says));
    }
    change(&app, &me, &form.new_password).await?;
    let opened = sign_in::open(&app, me.sign_in(), me.session(), seen).await?;
    let to = if me.must_set_codes() { paths::Codes::PATTERN } else { paths::Home::PATTERN };
    Ok(opened.with_cookies(Redirect::to(to).into_response(), &app))
}

fn check(app: &App, me: &Me, form: &Form) -> Says {
    let new = Password::typed(&form.new_password);
    let mut says = Says { new: refusal(app, me, &new, &form.new_password), ..Says::default() };
    if form.new_password == form.password {
        says.new.get_or_insert("This is the password you have now.".into());
    }
    if says.new.is_none() && form.new_password != form.new_password_again {
        says.again = Some("The two do not agree.".into());
    }
    says
}

/// With the words of this very book: its railway's name and mark, and the units that stand in the password.
fn refusal(app: &App, me: &Me, new: &Password, typed: &str) -> Option<String> {
    let world = app.world();
    let typed = typed.to_lowercase();
    let number = |unit: &str| unit.rsplit(' ').next().unwrap_or_default().to_lowercase();
    let units = world.roster.units.keys().map(UnitName::as_str).filter(|unit| typed.contains(&number(unit)));
    let own: Vec<&str> =
        [world.railway.name.as_str(), &world.railway.mark].into_iter().chain(units).collect();
    password::refusal(new, me.sign_in(), &own)
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
