//! One person: what they are, and what an administrator can do about it.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{FIELDS, keep, names, read, reason, roles, show_first_password};
use crate::{
    base::SignIn,
    desk::{
        keep_people::KeptName,
        keep_person::{Deed, Wanted},
    },
    oversight::store::{Tried, refused_to},
    pages::drawn::{
        form::{Field, Select},
        sent::Sent,
    },
    people::{Act, Person, person},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "office/person.html")]
struct View {
    frame: Frame,
    who: String,
    name: String,
    here: bool,
    facts: Vec<(&'static str, String)>,
    book: String,
    rights: String,
    on_top: Vec<String>,
    tried: Vec<String>,
    signer: String,
    seen: u64,
    change: Change,
    end: Signed,
    back: Change,
    first: Signed,
}

/// Name, craft and role, with a reason.
struct Change {
    action: String,
    name: Field,
    craft: Field,
    role: Select,
    reason: Field,
    password: Field,
}

struct Signed {
    action: String,
    reason: Field,
    password: Field,
}

fn find(app: &App, typed: &str) -> Result<SignIn, Oops> {
    let who = person::sign_in(typed).filter(|who| app.world().people.person(who).is_some());
    who.ok_or_else(|| Oops::NotFound("Nobody in this book has that sign-in name: look at the list.".into()))
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(typed): Path<String>) -> Answer {
    let who = find(&app, &typed)?;
    draw(&app, frame, &me, &who, StatusCode::OK, Sent::default()).await
}

pub async fn change(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let who = find(&app, &typed)?;
    let mut sent = Sent::named("change", form);
    let wanted = read(&mut sent, Some(who.clone()));
    sign(&app, frame, &me, (&who, Deed::Change), wanted, sent).await
}

pub async fn end(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let who = find(&app, &typed)?;
    let mut sent = Sent::named("end", form);
    let wanted = as_they_are(&app, &who, reason(&mut sent)).await?;
    sign(&app, frame, &me, (&who, Deed::End), wanted, sent).await
}

pub async fn come_back(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let who = find(&app, &typed)?;
    let mut sent = Sent::named("back", form);
    let wanted = read(&mut sent, Some(who.clone()));
    sign(&app, frame, &me, (&who, Deed::Return), wanted, sent).await
}

/// Whoever leaves keeps name and role: what they wrote stays theirs.
async fn as_they_are(app: &App, who: &SignIn, reason: String) -> Result<Option<Wanted>, Oops> {
    let kept = names(app).await?.get(who).cloned();
    let (name, craft) = kept.map(|kept| (kept.name, kept.craft)).unwrap_or_default();
    let role = app.world().people.person(who).map(|person| person.role);
    Ok(role.map(|role| Wanted { sign_in: who.clone(), role, name, craft, reason }))
}

async fn sign(
    app: &App,
    frame: Frame,
    me: &Me,
    (who, deed): (&SignIn, Deed),
    wanted: Option<Wanted>,
    mut sent: Sent,
) -> Answer {
    let permit = me.permit(Act::KeepPeople)?;
    let seen = sent.get("seen").parse().unwrap_or(u64::MAX);
    let keep = async |wanted| keep(app, deed, wanted, seen, &permit).await;
    match sent.file((app, me), wanted, FIELDS, keep).await? {
        Ok(()) if deed == Deed::Return => show_first_password(app, frame, who, &permit).await,
        Ok(()) => see(&paths::Person(who.to_string())),
        Err(status) => draw(app, frame, me, who, status, sent).await,
    }
}

/// For one who forgot theirs, or mistyped it a hundred times.
pub async fn first_password(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let permit = me.permit(Act::KeepPeople)?;
    let who = find(&app, &typed)?;
    let mut sent = Sent::named("first", form);
    if who == *me.sign_in() {
        sent.on_top.push("Change your own password on its own page: it is under your name above.".into());
    }
    if !sent.is_signed(&app, &me).await? {
        return draw(&app, frame, &me, &who, StatusCode::UNPROCESSABLE_ENTITY, sent).await;
    }
    show_first_password(&app, frame, &who, &permit).await
}

async fn draw(app: &App, frame: Frame, me: &Me, who: &SignIn, status: StatusCode, sent: Sent) -> Answer {
    let world = app.world();
    let known = world.people.persons.get(who).ok_or(Oops::Machine)?;
    let kept = names(app).await?.get(who).cloned();
    let (fresh, empty) = (as_kept(known, kept.as_ref()), Sent::default());
    let asked = |own: &str, action: String| asked(sent.form(own, &fresh), action, own);
    let signed = |own: &str, action: String| signed(sent.form(own, &empty), action, own);
    let name = who.to_string();
    let view = View {
        frame,
        who: name.clone(),
        name: kept.map(|kept| kept.name).unwrap_or_default(),
        here: known.active,
        facts: facts(known, app),
        book: paths::BookPage(known.last.seq).to_string(),
        rights: paths::BypassPerson(name.clone()).to_string(),
        on_top: sent.on_top.clone(),
        tried: tried(app, who).await?,
        signer: me.sign_in().to_string(),
        seen: known.last.seq,
        change: asked("change", paths::PersonChange(name.clone()).to_string()),
        end: signed("end", paths::PersonEnd(name.clone()).to_string()),
        back: asked("back", paths::PersonReturn(name.clone()).to_string()),
        first: signed("first", paths::PersonPassword(name).to_string()),
    };
    page(status, &view)
}

/// What somebody signed about them that was not theirs to do.
async fn tried(app: &App, who: &SignIn) -> Result<Vec<String>, Oops> {
    let mut db = app.desk().read().await?;
    let tried = refused_to(&mut db, Act::KeepPeople, who.as_str()).await?;
    let world = app.world();
    let says = |tried: &Tried| {
        format!(
            "{} signed {}, and it was refused: {} Page {}.",
            tried.by,
            world.railway.zone.in_words(tried.at),
            tried.says,
            tried.seq
        )
    };
    Ok(tried.iter().map(says).collect())
}

fn as_kept(person: &Person, kept: Option<&KeptName>) -> Sent {
    let of = |of: fn(&KeptName) -> &String| kept.map(of).cloned().unwrap_or_default();
    Sent::showing(&[
        ("name", of(|kept| &kept.name)),
        ("craft", of(|kept| &kept.craft)),
        ("role", person.role.as_str().to_owned()),
    ])
}

fn asked(sent: &Sent, action: String, own: &str) -> Change {
    Change {
        action,
        name: sent.field("name", "Name as it is shown").of(own),
        craft: sent.field("craft", "Craft").of(own),
        role: sent.select("role", "Role", roles()).of(own),
        reason: sent.field("reason", "Why").of(own),
        password: sent.password().of(own),
    }
}

fn signed(sent: &Sent, action: String, own: &str) -> Signed {
    Signed { action, reason: sent.field("reason", "Why").of(own), password: sent.password().of(own) }
}

fn facts(person: &Person, app: &App) -> Vec<(&'static str, String)> {
    let world = app.world();
    let zone = &world.railway.zone;
    let by = person.last.by.as_ref().map_or_else(|| "the console or a list".to_owned(), ToString::to_string);
    let mut facts = vec![
        ("Role", person.role.to_string()),
        ("In the book since", zone.in_words(person.added_at)),
        ("Last changed", format!("{}, by {by}", zone.in_words(person.last.at))),
    ];
    facts.extend(person.last.reason.clone().map(|reason| ("Why", reason)));
    facts
}
