//! A class's schedule, edited as its list and seen as its panel before it is signed.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use crate::{
    base::{ClassName, Instant},
    desk::{
        World,
        keep_fleet::{KeepSchedule, begins, versions},
    },
    pages::drawn::{
        form::Field,
        panel::{self, Drawing},
        sent::Sent,
    },
    people::Act,
    roster::{Schedule, import, written},
    web::{Answer, App, Asked, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "office/schedule.html")]
struct View {
    frame: Frame,
    /// The class that is edited; `None`: one that is to come.
    class: Option<String>,
    on_top: Vec<String>,
    signer: String,
    seen: String,
    action: &'static str,
    list: Field,
    effective: Field,
    columns: String,
    /// Rows that cannot be: the line, and why.
    rejects: Vec<(u64, String)>,
    shown: Option<Shown>,
    reason: Field,
    password: Field,
}

/// What the list says, drawn.
struct Shown {
    class: String,
    differences: Vec<String>,
    is_first: bool,
    drawing: Drawing,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Query {
    class: String,
}

fn latest<'w>(class: &ClassName, world: &'w World) -> Option<&'w Schedule> {
    world.roster.classes.get(class)?.latest()
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let world = app.world();
    let today = world.railway.zone.day_of(app.now()).to_string();
    let class = ClassName::from(query.class.as_str());
    let list = match latest(&class, &world) {
        Some(known) => written::csv(known).map_err(|why| Oops::machine(&why))?,
        None if query.class.is_empty() => String::new(),
        None => return Err(Oops::NotFound("There is no such class: look at the list of the fleet.".into())),
    };
    let seen = versions(&class, &world).to_string();
    let fresh =
        Sent::showing(&[("class", query.class), ("list", list), ("effective", today), ("seen", seen)]);
    // Nothing is wrong with a list that nobody has begun.
    let read =
        if fresh.get("list").is_empty() { Ok(Read::default()) } else { read(&fresh, &world, app.now()) };
    draw(&app, frame, &me, StatusCode::OK, fresh, read)
}

/// The list as it was read.
#[derive(Default)]
struct Read {
    schedule: Option<Schedule>,
    rejects: Vec<(u64, String)>,
}

const NO_DEVICE: &str =
    "No device is in it. Write the columns' names in its first line, and a row for each device below.";

/// By the reader of imported lists; a list of one class.
fn read(sent: &Sent, world: &World, now: Instant) -> Result<Read, String> {
    let zone = &world.railway.zone;
    let day = crate::base::Day::parse(sent.get("effective")).unwrap_or_else(|| zone.day_of(now));
    if sent.get("list").trim().is_empty() {
        return Err(NO_DEVICE.to_owned());
    }
    let import = import::schedules(sent.get("list").as_bytes(), zone.start_of(day))?;
    let rejects = import.rejects.into_iter().filter(|reject| !import::only_waits(&reject.reason));
    let rejects: Vec<_> = rejects.map(|reject| (reject.line, reject.reason)).collect();
    let mut good = import.good.into_iter();
    let first = good.next();
    if first.is_none() && rejects.is_empty() {
        return Err(NO_DEVICE.to_owned());
    }
    if good.next().is_some() {
        return Err("This list is of several classes. Write one at a time.".to_owned());
    }
    let wanted = sent.get("class");
    let schedule = first.map(|schedule| match latest(&schedule.class, world) {
        // A list of devices says nothing of the checks: those that the class has stay.
        Some(known) => schedule.with_checks_of(known),
        None => schedule,
    });
    match &schedule {
        Some(schedule) if !wanted.is_empty() && schedule.class.as_str() != wanted => Err(format!(
            "The list says class {}, and this page is of {wanted}. Put the column class right.",
            schedule.class
        )),
        Some(schedule) if wanted.is_empty() && latest(&schedule.class, world).is_some() => Err(format!(
            "There is a class {} already: open its schedule from the list of the fleet.",
            schedule.class
        )),
        _ => Ok(Read { schedule, rejects }),
    }
}

const FIELDS: &[&str] = &["list", "effective", "reason"];

/// Shows what the list says; with `then=sign`, files it.
pub async fn send(State(app): State<App>, frame: Frame, me: Me, form: Fields) -> Answer {
    let permit = me.permit(Act::KeepRoster)?;
    let (world, now) = (app.world(), app.now());
    let mut sent = Sent::of(form);
    if sent.day("effective").is_none() {
        sent.wrong("effective", "Give the first day on which it holds.");
    }
    let read = read(&sent, &world, now);
    if sent.get("then") != "sign" {
        let status =
            if sent.is_fine() && read.is_ok() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
        return draw(&app, frame, &me, status, sent, read);
    }
    let schedule = read.as_ref().ok().filter(|read| read.rejects.is_empty());
    let schedule = schedule.and_then(|read| read.schedule.clone());
    if schedule.is_none() && read.is_ok() {
        sent.wrong("list", "Put the rows right that are named below, and show it again.");
    }
    let reason = sent.words("reason", "Say why in a few words: it stands in the book.");
    let seen = sent.get("seen").parse().unwrap_or(usize::MAX);
    let signed = read.is_ok() && sent.is_signed(&app, &me).await?;
    let Some(schedule) = schedule.filter(|_| signed) else {
        return draw(&app, frame, &me, StatusCode::UNPROCESSABLE_ENTITY, sent, read);
    };
    let class = schedule.class.to_string();
    match app.desk().act(KeepSchedule::of(schedule, reason, seen, &permit, now)).await {
        Ok(()) => see(&paths::Fleet.with(&[("done", &class)])),
        Err(refused) => {
            let status = sent.refused(refused, FIELDS)?;
            draw(&app, frame, &me, status, sent, read)
        }
    }
}

fn draw(
    app: &App,
    frame: Frame,
    me: &Me,
    status: StatusCode,
    mut sent: Sent,
    read: Result<Read, String>,
) -> Answer {
    let world = app.world();
    let read = read.unwrap_or_else(|says| {
        sent.wrong("list", says);
        Read::default()
    });
    let class = Some(sent.get("class")).filter(|class| !class.is_empty()).map(str::to_owned);
    let shown = read.schedule.as_ref().map(|schedule| shown(schedule, &world, app.now()));
    let view = View {
        frame,
        on_top: sent.on_top.clone(),
        signer: me.sign_in().to_string(),
        // What was shown stays what was seen: a version that came meanwhile is met at signing.
        seen: sent.get("seen").to_owned(),
        action: paths::Schedule::PATTERN,
        list: sent.field("list", "Its list, a row per device"),
        effective: sent.date("effective", "Holds from"),
        columns: import::SCHEDULE_COLUMNS.join(" "),
        rejects: read.rejects,
        shown,
        reason: sent.field("reason", "Why it changes"),
        password: sent.password(),
        class,
    };
    page(status, &view)
}

fn shown(schedule: &Schedule, world: &World, now: Instant) -> Shown {
    let known = latest(&schedule.class, world);
    let mut differences = known.map(|known| written::differences(known, schedule)).unwrap_or_default();
    if let (Some(known), Err(refused)) = (known, begins(schedule, world, now))
        && !known.same_content(schedule)
    {
        differences.push(refused.says());
    }
    Shown {
        class: schedule.class.to_string(),
        differences,
        is_first: known.is_none(),
        drawing: panel::draw(schedule, now, |_| None, |_| None),
    }
}
