//! A right proposed: the first of two signatures.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use uuid::Uuid;

use crate::{
    base::SignIn,
    desk::{World, body::GrantProposed, grants::ProposeGrant},
    pages::drawn::{form::Field, sent::Sent},
    people::{Act, authorisation::Scope, import, person},
    web::{Answer, App, Asked, Frame, Me, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "supervisor/authorisation_new.html")]
struct View {
    frame: Frame,
    action: &'static str,
    signer: String,
    id: String,
    on_top: Vec<String>,
    person: Field,
    classes: Field,
    from: Field,
    to: Field,
    basis: Field,
    password: Field,
}

const FIELDS: &[&str] = &["person", "classes", "from", "to", "basis"];

#[derive(serde::Deserialize, Default)]
#[serde(default)]
pub struct Query {
    person: String,
    classes: String,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let today = app.world().railway.zone.day_of(app.now());
    let fresh = [
        ("id", Uuid::new_v4().to_string()),
        ("person", query.person),
        ("classes", query.classes),
        ("from", today.to_string()),
    ];
    draw(&app, frame, &me, StatusCode::OK, &Sent::showing(&fresh))
}

pub async fn propose(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let permit = me.permit(Act::GrantAuthorisation)?;
    let mut sent = Sent::of(form);
    let proposed = read(&mut sent, &app.world());
    let propose = async |proposed: GrantProposed| {
        let (id, who, now) = (proposed.id, proposed.sign_in.clone(), app.now());
        app.desk().act_on_record(ProposeGrant::of(proposed, &permit, now), who, &permit, now).await?;
        Ok(id)
    };
    match sent.file((&app, &me), proposed, FIELDS, propose).await? {
        Ok(id) => see(&paths::Proposal(id.to_string())),
        Err(status) => draw(&app, frame, &me, status, &sent),
    }
}

fn read(sent: &mut Sent, world: &World) -> Option<GrantProposed> {
    let id = Uuid::parse_str(sent.get("id")).ok();
    if id.is_none() {
        sent.on_top.push("This form was not complete. Open it again.".into());
    }
    let who = whom(sent, world);
    let scope = import::scope(sent.get("classes"));
    if let Err(says) = &scope {
        sent.wrong("classes", says.replacen("classes is", "This is", 1));
    }
    let (from, to) = (sent.day("from"), sent.day("to"));
    if from.is_none() {
        sent.wrong("from", "Give the first day on which it holds.");
    }
    let basis = sent.words("basis", "Say on what it rests: a course, an examination, a letter.");
    let classes = match scope.ok()? {
        Scope::All => Vec::new(),
        Scope::Classes(typed) => typed.into_iter().map(|class| as_known(class, world)).collect(),
    };
    Some(GrantProposed { id: id?, sign_in: who?, classes, from: from?, to, basis })
}

/// A class in the letters that its schedule has.
fn as_known(typed: crate::base::ClassName, world: &World) -> crate::base::ClassName {
    let same = |class: &&crate::base::ClassName| class.as_str().eq_ignore_ascii_case(typed.as_str());
    world.roster.classes.keys().find(same).cloned().unwrap_or(typed)
}

fn whom(sent: &mut Sent, world: &World) -> Option<SignIn> {
    let typed = sent.get("person").trim().to_owned();
    let who = person::sign_in(&typed).filter(|who| world.people.person(who).is_some());
    if who.is_none() {
        let near = crate::base::text::nearest(&typed, world.people.persons.keys().map(SignIn::as_str));
        let near = near.map(|name| format!(" Did you mean {name}?")).unwrap_or_default();
        sent.wrong(
            "person",
            format!("Give the sign-in name of somebody in this book, as in n.okafor.{near}"),
        );
    }
    who
}

fn draw(app: &App, frame: Frame, me: &Me, status: StatusCode, sent: &Sent) -> Answer {
    let world = app.world();
    let classes: Vec<&str> = world.roster.classes.keys().map(crate::base::ClassName::as_str).collect();
    let known = if classes.is_empty() { "no class is on record yet".to_owned() } else { classes.join(" ") };
    let view = View {
        frame,
        action: paths::AuthorisationNew::PATTERN,
        signer: me.sign_in().to_string(),
        id: sent.get("id").to_owned(),
        on_top: sent.on_top.clone(),
        person: sent.field("person", "For whom: a sign-in name"),
        classes: sent.field("classes", "Classes").hint(&format!(
            "Parted by spaces, or * for all, also those that come later. There are: {known}."
        )),
        from: sent.date("from", "First day"),
        to: sent.date("to", "Last day").hint("Empty: without an end."),
        basis: sent
            .field("basis", "On what it rests")
            .hint("A course, an examination, a letter: where it can be found again."),
        password: sent.password(),
    };
    page(status, &view)
}
