//! One person as the register knows them: the rights they held and the openings they had a part in, and nothing else.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::{
    authorisations,
    bypasses::{self, Row, had_a_part},
    rights,
};
use crate::{
    base::{Instant, SignIn},
    desk::World,
    oversight::{self, Line},
    pages::drawn::pager::{Pager, page_of},
    people::{Authorisation, person},
    rules::{
        Bypass, Finding, Rule,
        fact::Hand,
        store::{self, Wanted},
    },
    web::{Answer, App, Asked, Frame, Oops, page, paths},
};

#[derive(Deserialize)]
pub struct Query {
    #[serde(default)]
    page: String,
}

#[derive(Template)]
#[template(path = "supervisor/bypass_person.html")]
struct View {
    frame: Frame,
    who: String,
    /// The office list has them.
    listed: bool,
    now: String,
    grants: Vec<Grant>,
    says: String,
    rows: Vec<Row>,
    pager: Pager,
    csv: String,
    xlsx: String,
}

struct Grant {
    now: &'static str,
    says: String,
    path: String,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(typed): Path<String>,
    Asked(query): Asked<Query>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let who = person::sign_in(&typed).ok_or_else(not_there)?;
    let (register, findings) = read(&app, &who).await?;
    let known = world.people.person(&who).is_some() || rights::of_person(&who, &world).next().is_some();
    if !known && register.is_empty() {
        return Err(not_there());
    }
    page(StatusCode::OK, &view(frame, &who, (register, &findings), &query, &world, now))
}

/// The openings somebody had a part in, the latest first, and what the rules say now.
async fn read(app: &App, who: &SignIn) -> Result<(Vec<Line>, Vec<Finding>), Oops> {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let mut register = oversight::store::register(&mut db, now).await?;
    register.retain(|line| had_a_part(&line.bypass, who));
    let about = Wanted { rules: Some(&Rule::GROUND_PROTECTION), ..Wanted::default() };
    let mut findings = store::open_at(&mut db, &about, now).await?;
    drop(db);
    findings.extend(oversight::joined(&world.ground(), &register, now));
    findings.retain(|finding| finding.open_at(now));
    Ok((register, findings))
}

fn view(
    frame: Frame,
    who: &SignIn,
    (register, findings): (Vec<Line>, &[Finding]),
    query: &Query,
    world: &World,
    now: Instant,
) -> View {
    let here = paths::BypassPerson(who.to_string());
    let says = said_of(&register, who);
    let (register, pager) =
        Pager::cut(register, page_of(&query.page), |n| here.with(&[("page", &n.to_string())]));
    let row = |line: &Line| Row {
        part: Some(parts(&line.bypass, who).join(", ")),
        ..bypasses::row(line, findings, world, now)
    };
    let of_register = |format| paths::Bypasses.with(&[("person", who.as_str()), ("format", format)]);
    View {
        frame,
        who: who.to_string(),
        listed: world.people.person(who).is_some(),
        now: world.railway.zone.in_words(now),
        grants: rights::of_person(who, world).map(|grant| grant_of(grant, world, now)).collect(),
        says,
        rows: register.iter().map(row).collect(),
        pager,
        csv: of_register("csv"),
        xlsx: of_register("xlsx"),
    }
}

fn not_there() -> Oops {
    Oops::NotFound("Nobody in this book has that sign-in name: look at the register again.".into())
}

fn grant_of(grant: &Authorisation, world: &World, now: Instant) -> Grant {
    let stands = authorisations::stands(grant.standing(now, &world.railway.zone));
    Grant { now: stands, says: rights::says(grant, world), path: paths::Authorisation(grant.seq).to_string() }
}

/// `3 openings: opened 2, gave the word for 1.`
fn said_of(register: &[Line], who: &SignIn) -> String {
    let opened = register.iter().filter(|line| line.bypass.opened_by.person() == Some(who)).count();
    format!(
        "Named in {}, of which they opened {opened}.",
        crate::base::text::count(register.len() as u64, "opening", "openings")
    )
}

/// What part somebody had in an opening, as its tellers say.
fn parts(bypass: &Bypass, who: &SignIn) -> Vec<&'static str> {
    let is = |hand: Option<&Hand>| hand.and_then(Hand::person) == Some(who);
    let known = [
        (is(Some(&bypass.opened_by)), "opened it"),
        (is(bypass.authorised_by.as_ref()), "gave the word"),
        (bypass.found_by.as_ref() == Some(who), "found it open"),
        (is(bypass.closed_by.as_ref()), "closed it"),
    ];
    let mut parts: Vec<&str> = known.into_iter().filter_map(|(is_so, says)| is_so.then_some(says)).collect();
    if parts.is_empty() {
        parts.push("granted the right it rests on, or is named by one of several tellers");
    }
    parts
}
