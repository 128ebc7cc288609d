//! Somebody new.
use askama::Template;
use axum::{extract::State, http::StatusCode};

use super::{FIELDS, keep, read, roles, show_first_password};
use crate::{
    desk::keep_person::{Deed, Wanted},
    pages::drawn::{
        form::{Field, Select},
        sent::Sent,
    },
    people::{Act, person},
    web::{Answer, App, Frame, Me, forms::Fields, page, paths},
};

#[derive(Template)]
#[template(path = "office/person_new.html")]
struct View {
    frame: Frame,
    action: &'static str,
    signer: String,
    on_top: Vec<String>,
    sign_in: Field,
    name: Field,
    craft: Field,
    role: Select,
    reason: Field,
    password: Field,
}

pub async fn show(frame: Frame, me: Me) -> Answer {
    draw(frame, &me, StatusCode::OK, &Sent::showing(&[("role", "crew".to_owned())]))
}

pub async fn add(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let permit = me.permit(Act::KeepPeople)?;
    let mut sent = Sent::of(form);
    let who = person::sign_in(sent.get("sign_in"));
    if who.is_none() {
        sent.wrong("sign_in", "2 to 40 letters, digits, dots or dashes, and no spaces, as in n.okafor.");
    }
    let wanted = read(&mut sent, who);
    let add = async |wanted: Wanted| {
        let who = wanted.sign_in.clone();
        keep(&app, Deed::Add, wanted, 0, &permit).await?;
        Ok(who)
    };
    match sent.file((&app, &me), wanted, FIELDS, add).await? {
        Ok(who) => show_first_password(&app, frame, &who, &permit).await,
        Err(status) => draw(frame, &me, status, &sent),
    }
}

fn draw(frame: Frame, me: &Me, status: StatusCode, sent: &Sent) -> Answer {
    let view = View {
        frame,
        action: paths::PersonNew::PATTERN,
        signer: me.sign_in().to_string(),
        on_top: sent.on_top.clone(),
        sign_in: sent
            .field("sign_in", "Sign-in name")
            .hint("Theirs for ever: it stands under what they write, and is never given to anybody else."),
        name: sent
            .field("name", "Name as it is shown")
            .hint("Kept outside the book, so that it can be erased."),
        craft: sent.field("craft", "Craft"),
        role: sent.select("role", "Role", roles()),
        reason: sent.field("reason", "Why").hint("Hired, transferred, a list that was wrong."),
        password: sent.password(),
    };
    page(status, &view)
}
