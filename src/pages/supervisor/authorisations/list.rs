//! Who holds what until when: now, or on any day.
use std::sync::Arc;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::{came, stands};
use crate::{
    base::{ClassName, Day, Instant, SignIn, text},
    desk::World,
    pages::{
        drawn::{
            form::{Field, Select},
            pager::{Pager, page_of},
        },
        supervisor::rights,
    },
    people::{Act, Authorisation, Proposal, authorisation::Standing, person},
    rules::expiring::SOON_DAYS,
    web::{
        Answer, App, Asked, Frame, Me, page, paths,
        sheet::{Format, Sheet},
    },
};

#[derive(Template)]
#[template(path = "supervisor/authorisations.html")]
struct View {
    frame: Frame,
    may_grant: bool,
    person: Field,
    class: Field,
    stands: Select,
    on: Field,
    narrowed: bool,
    wrong: bool,
    /// Of the whole list: in force, of these ending soon.
    in_force: usize,
    soon: usize,
    /// The day it is asked for, in words.
    day: Option<String>,
    proposals: Vec<Waiting>,
    rows: Vec<Row>,
    pager: Pager,
    csv: String,
    xlsx: String,
}

struct Waiting {
    path: String,
    says: String,
    sub: String,
}

struct Row {
    path: String,
    who: String,
    person: String,
    name: String,
    classes: String,
    from: String,
    to: String,
    stands: String,
    loud: bool,
    came: String,
    basis: String,
    revoked: Option<String>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    person: String,
    class: String,
    stands: String,
    on: String,
    page: String,
    format: String,
}

const STANDS: &[(&str, &str, Option<Standing>)] = &[
    ("", "all", None),
    ("in_force", "in force", Some(Standing::InForce)),
    ("not_begun", "not begun", Some(Standing::NotBegun)),
    ("ended", "ended", Some(Standing::Ended)),
    ("revoked", "revoked", Some(Standing::Revoked)),
];

/// What was asked for, read; and the sentences beside the fields that could not be.
#[derive(Default)]
struct Filter {
    person: Option<SignIn>,
    class: Option<ClassName>,
    stands: Option<Standing>,
    on: Option<Day>,
    person_says: Option<String>,
    class_says: Option<String>,
    on_says: Option<String>,
}

impl Filter {
    fn read(form: &Form, world: &World) -> Self {
        let mut filter = Self::default();
        let known = |who: &SignIn| {
            world.people.person(who).is_some() || world.people.authorisations.iter().any(|a| a.person == *who)
        };
        if let Some(typed) = text::tidy(&form.person) {
            filter.person = person::sign_in(&typed).filter(known);
            filter.person_says = filter
                .person
                .is_none()
                .then(|| "Nobody in this book has that sign-in name. Give one as in n.okafor.".into());
        }
        if let Some(typed) = text::tidy(&form.class) {
            let same = |class: &&ClassName| class.as_str().eq_ignore_ascii_case(&typed);
            filter.class = world.roster.classes.keys().find(same).cloned();
            filter.class_says = filter.class.is_none().then(|| "There is no such class.".into());
        }
        if let Some(typed) = text::tidy(&form.on) {
            filter.on = Day::parse(&typed);
            filter.on_says = filter.on.is_none().then(|| "Write the day as in 2026-05-01.".into());
        }
        filter.stands =
            STANDS.iter().find(|(value, ..)| *value == form.stands).and_then(|(.., stands)| *stands);
        filter
    }

    fn is_wrong(&self) -> bool {
        self.person_says.is_some() || self.class_says.is_some() || self.on_says.is_some()
    }

    fn takes(&self, grant: &Authorisation, world: &World, now: Instant) -> bool {
        let zone = &world.railway.zone;
        self.person.as_ref().is_none_or(|who| *who == grant.person)
            && self.class.as_ref().is_none_or(|class| grant.scope.covers(Some(class)))
            && self.stands.is_none_or(|stands| stands == grant.standing(now, zone))
            && self.on.is_none_or(|day| grant.held_on(day, zone))
    }
}

/// Days until it ends, of one in force that ends within 60.
fn ends_in(grant: &Authorisation, world: &World, now: Instant) -> Option<i32> {
    let zone = &world.railway.zone;
    let left = grant.to?.0 - zone.day_of(now).0;
    (grant.standing(now, zone) == Standing::InForce && left < SOON_DAYS).then_some(left)
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(form): Asked<Form>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let filter = Filter::read(&form, &world);
    let mut grants: Vec<Arc<Authorisation>> = world
        .people
        .authorisations
        .iter()
        .filter(|grant| filter.takes(grant, &world, now))
        .cloned()
        .collect();
    // What ends first stands first; what has ended is history, the latest first.
    let rank = |grant: &Authorisation| match grant.standing(now, &world.railway.zone) {
        Standing::InForce | Standing::NotBegun => (0, grant.to.map_or(i32::MAX, |day| day.0)),
        Standing::Ended | Standing::Revoked => (1, -grant.to.map_or(i32::MAX, |day| day.0)),
    };
    grants.sort_by_key(|grant| (rank(grant), grant.person.clone(), grant.seq));
    if filter.is_wrong() {
        grants.clear();
    } else if let Some(format) = Format::asked(&form.format)? {
        return sheet(&grants, &world, now).answer(format);
    }
    let names = names(&app).await?;
    let status = if filter.is_wrong() { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    let link = |name: &str, value: &str| address(&form, name, value);
    let (grants, pager) = Pager::cut(grants, page_of(&form.page), |n| link("page", &n.to_string()));
    let name = |who: &SignIn| names.get(who).map(|kept| kept.name.clone()).unwrap_or_default();
    let rows = grants.iter().map(|grant| row(grant, name(&grant.person), &world, now)).collect();
    page(status, &View { rows, pager, ..view(frame, &me, &form, &filter, &world, now) })
}

async fn names(
    app: &App,
) -> Result<std::collections::HashMap<SignIn, crate::desk::keep_people::KeptName>, crate::web::Oops> {
    Ok(crate::desk::keep_people::kept_names(&mut *app.desk().read().await?).await?)
}

fn address(form: &Form, name: &str, value: &str) -> String {
    paths::Authorisations.with(&[
        ("person", &form.person),
        ("class", &form.class),
        ("stands", &form.stands),
        ("on", &form.on),
        (name, value),
    ])
}

fn view(frame: Frame, me: &Me, form: &Form, filter: &Filter, world: &World, now: Instant) -> View {
    let search = |name, label, value: &str, says: &Option<String>| Field {
        input: "search",
        ..Field::text(name, label, value).says(says.clone())
    };
    let all = &world.people.authorisations;
    let options = STANDS.iter().map(|(value, says, _)| ((*value).to_owned(), (*says).to_owned())).collect();
    View {
        frame,
        may_grant: me.may(Act::GrantAuthorisation),
        person: search("person", "Person", &form.person, &filter.person_says),
        class: search("class", "Class", &form.class, &filter.class_says),
        stands: Select::of_list("stands", "Which", &form.stands, options),
        on: Field {
            input: "date",
            ..Field::text("on", "Who held one on", &form.on).says(filter.on_says.clone())
        },
        narrowed: [&form.person, &form.class, &form.stands, &form.on].iter().any(|typed| !typed.is_empty()),
        wrong: filter.is_wrong(),
        in_force: all.iter().filter(|g| g.standing(now, &world.railway.zone) == Standing::InForce).count(),
        soon: all.iter().filter(|grant| ends_in(grant, world, now).is_some()).count(),
        day: filter.on.map(Day::in_words),
        proposals: world.proposals.values().filter(|p| p.waits(now)).map(|p| waiting(p, world)).collect(),
        rows: Vec::new(),
        pager: Pager::default(),
        csv: address(form, "format", "csv"),
        xlsx: address(form, "format", "xlsx"),
    }
}

fn waiting(proposal: &Proposal, world: &World) -> Waiting {
    let zone = &world.railway.zone;
    let to = proposal.to.map_or_else(|| "without an end".to_owned(), |to| format!("to {}", to.in_words()));
    Waiting {
        path: paths::Proposal(proposal.id.to_string()).to_string(),
        says: format!("{}: {}", proposal.person, rights::scope_says(&proposal.scope)),
        sub: format!(
            "From {} {to}, proposed by {}. Another supervisor confirms it by {}, or it lapses.",
            proposal.from.in_words(),
            proposal.by,
            zone.in_words(proposal.lapses_at())
        ),
    }
}

fn row(grant: &Authorisation, name: String, world: &World, now: Instant) -> Row {
    let zone = &world.railway.zone;
    let ends = ends_in(grant, world, now);
    let left = world.people.person(&grant.person).is_some_and(|person| !person.active);
    let standing = grant.standing(now, zone);
    let mut says = match ends {
        Some(0) => "ends today".to_owned(),
        Some(days) => format!("ends in {}", text::count(u64::from(days.unsigned_abs()), "day", "days")),
        None => stands(standing).to_owned(),
    };
    if left {
        says.push_str("; has left");
    }
    Row {
        path: paths::Authorisation(grant.seq).to_string(),
        who: grant.person.to_string(),
        person: paths::BypassPerson(grant.person.to_string()).to_string(),
        name,
        classes: rights::scope(grant),
        from: grant.from.in_words(),
        to: grant.to.map_or_else(|| "no end".to_owned(), Day::in_words),
        stands: says,
        loud: ends.is_some() && !left,
        came: came(grant, world),
        basis: grant.basis.clone().unwrap_or_else(|| "not stated".to_owned()),
        revoked: rights::revoked(grant, zone),
    }
}

const COLUMNS: &[&str] = &[
    "sign_in",
    "classes",
    "from",
    "to",
    "basis",
    "granted_by",
    "proposed_by",
    "recorded_at",
    "from_list",
    "stands",
    "revoked_at",
    "revoked_by",
    "revoked_because",
    "page",
];

fn sheet(grants: &[Arc<Authorisation>], world: &World, now: Instant) -> Sheet {
    let mut sheet = Sheet::of("authorisations", COLUMNS);
    for grant in grants {
        let of = |text: Option<String>| text.unwrap_or_default();
        let revoked = |of: fn(&crate::people::authorisation::Revoked) -> String| {
            grant.revoked.as_ref().map(of).unwrap_or_default()
        };
        let cells = [
            grant.person.to_string(),
            rights::scope(grant),
            grant.from.to_string(),
            of(grant.to.map(|day| day.to_string())),
            of(grant.basis.clone()),
            grant.granted_by.to_string(),
            of(grant.proposed_by.as_ref().map(ToString::to_string)),
            grant.recorded_at.to_z(),
            if grant.from_list { "yes" } else { "no" }.to_owned(),
            stands(grant.standing(now, &world.railway.zone)).to_owned(),
            of(grant.revoked_at.map(Instant::to_z)),
            revoked(|revoked| revoked.by.to_string()),
            revoked(|revoked| revoked.reason.clone()),
            grant.seq.to_string(),
        ];
        sheet.rows.push(cells.into_iter().map(Into::into).collect());
    }
    sheet
}
