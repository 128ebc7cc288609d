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
    oversight::store::refused_to,
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

/// Which of the page's forms was sent.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Which {
    Change,
    End,
    Return,
    Password,
}

fn find(app: &App, typed: &str) -> Result<SignIn, Oops> {
    let who = person::sign_in(typed).filter(|who| app.world().people.person(who).is_some());
    who.ok_or_else(|| Oops::NotFound("Nobody in this book has that sign-in name: look at the list.".into()))
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(typed): Path<String>) -> Answer {
    let who = find(&app, &typed)?;
    draw(&app, frame, &me, &who, StatusCode::OK, None).await
}

pub async fn change(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let who = find(&app, &typed)?;
    let mut sent = Sent::of(form);
    let wanted = read(&mut sent, Some(who.clone()));
    sign(&app, frame, &me, (&who, Deed::Change, Which::Change), wanted, sent).await
}

pub async fn end(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let who = find(&app, &typed)?;
    let mut sent = Sent::of(form);
    let wanted = as_they_are(&app, &who, reason(&mut sent)).await?;
    sign(&app, frame, &me, (&who, Deed::End, Which::End), wanted, sent).await
}

pub async fn come_back(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(typed): Path<String>,
    form: Fields,
) -> Answer {
    let who = find(&app, &typed)?;
    let mut sent = Sent::of(form);
    let wanted = read(&mut sent, Some(who.clone()));
    sign(&app, frame, &me, (&who, Deed::Return, Which::Return), wanted, sent).await
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
    (who, deed, which): (&SignIn, Deed, Which),
    wanted: Option<Wanted>,
    mut sent: Sent,
) -> Answer {
    let permit = me.permit(Act::KeepPeople)?;
    let seen = sent.get("seen").parse().unwrap_or(u64::MAX);
    let signed = sent.is_signed(app, me).await?;
    let Some(wanted) = wanted.filter(|_| signed) else {
        return draw(app, frame, me, who, StatusCode::UNPROCESSABLE_ENTITY, Some((which, sent))).await;
    };
    match keep(app, deed, wanted, seen, &permit).await? {
        Ok(()) if deed == Deed::Return => show_first_password(app, frame, who, &permit).await,
        Ok(()) => see(&paths::Person(who.to_string())),
        Err(refused) => {
            let status = sent.refused(refused, FIELDS)?;
            draw(app, frame, me, who, status, Some((which, sent))).await
        }
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
    let mut sent = Sent::of(form);
    if who == *me.sign_in() {
        sent.on_top.push("Change your own password on its own page: it is under your name above.".into());
    }
    if !sent.is_signed(&app, &me).await? {
        let back = Some((Which::Password, sent));
        return draw(&app, frame, &me, &who, StatusCode::UNPROCESSABLE_ENTITY, back).await;
    }
    show_first_password(&app, frame, &who, &permit).await
}

async fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    who: &SignIn,
    status: StatusCode,
    back: Option<(Which, Sent)>,
) -> Answer {
    let world = app.world();
    let known = world.people.persons.get(who).ok_or(Oops::Machine)?;
    let kept = names(app).await?.get(who).cloned();
    let fresh = as_kept(known, kept.as_ref());
    let empty = Sent::default();
    let of = |which: Which, else_: &'static str| match &back {
        Some((sent, form)) if *sent == which => form,
        _ if else_ == "fresh" => &fresh,
        _ => &empty,
    };
    let on_top = back.as_ref().map(|(_, sent)| sent.on_top.clone()).unwrap_or_default();
    let mut db = app.desk().read().await?;
    let tried = refused_to(&mut db, Act::KeepPeople, who.as_str()).await?;
    drop(db);
    let zone = &world.railway.zone;
    let name = who.to_string();
    let view = View {
        frame,
        who: name.clone(),
        name: kept.map(|kept| kept.name).unwrap_or_default(),
        here: known.active,
        facts: facts(known, app),
        book: paths::BookPage(known.last.seq).to_string(),
        rights: paths::BypassPerson(name.clone()).to_string(),
        on_top,
        tried: tried
            .iter()
            .map(|t| {
                format!(
                    "{} signed {}, and it was refused: {} Page {}.",
                    t.by,
                    zone.in_words(t.at),
                    t.says,
                    t.seq
                )
            })
            .collect(),
        signer: me.sign_in().to_string(),
        seen: known.last.seq,
        change: asked(of(Which::Change, "fresh"), paths::PersonChange(name.clone()).to_string(), "change"),
        end: signed(of(Which::End, "empty"), paths::PersonEnd(name.clone()).to_string(), "end"),
        back: asked(of(Which::Return, "fresh"), paths::PersonReturn(name.clone()).to_string(), "back"),
        first: signed(of(Which::Password, "empty"), paths::PersonPassword(name).to_string(), "first"),
    };
    page(status, &view)
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
