//! One unit's inspections: what is due, what was done, and the form to write one down.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use uuid::Uuid;

use super::due::not_a_unit;
use crate::{
    base::{Day, Instant, SignIn, UnitName, instant::DAY, text},
    desk::{World, measure::ShopPage},
    pages::drawn::form::{Choice, Field},
    people::{Act, person},
    shop::inspections::{
        self, Due, InspectionDone, InspectionKind, NO_CREDIT, PAPER, Wanted, repair_unsigned, store,
    },
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/unit_inspections.html")]
struct View {
    frame: Frame,
    unit: String,
    paper: &'static str,
    no_credit: &'static str,
    interval: i32,
    due: Vec<String>,
    missed: Vec<String>,
    done: Vec<Done>,
    links: Vec<(String, &'static str)>,
    form: Option<Form>,
}

struct Done {
    kind: &'static str,
    at: String,
    by: String,
    says: String,
}

struct Form {
    action: String,
    signer: String,
    id: String,
    kind: Choice,
    at: Field,
    place: Field,
    conditions: Field,
    repairs: Field,
    repaired_by: Field,
    certified_by: Field,
    password: Field,
    on_top: Vec<String>,
}

type Says = Vec<(&'static str, String)>;

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(unit): Path<String>) -> Answer {
    let unit = UnitName::tidy(&unit).ok_or_else(|| not_a_unit(&unit))?;
    let view = view(&app, frame, &me, unit, &Fields(Vec::new()), &Vec::new()).await?;
    page(StatusCode::OK, &view)
}

/// How far back days of use are held against daily inspections.
const DAILY_BACK: i64 = 14 * DAY;

async fn view(
    app: &App,
    frame: Frame,
    me: &Me,
    unit: UnitName,
    typed: &Fields,
    says: &Says,
) -> Result<View, Oops> {
    let (world, now) = (app.world(), app.now());
    let zone = &world.railway.zone;
    let mut db = app.desk().read().await?;
    let done = store::of_unit(&mut db, &unit).await?;
    let class = world.roster.unit(&unit).map(|card| card.class.clone());
    let interval = store::intervals(&mut db).await?.of(&unit, class.as_ref());
    let (used, inspected) = store::daily(&mut db, &unit, now.minus(DAILY_BACK), zone).await?;
    drop(db);
    let today = zone.day_of(now);
    let due = InspectionKind::ALL.iter().filter_map(|kind| {
        let last = done.iter().find(|kept| kept.done.kind == *kind).map(|kept| zone.day_of(kept.done.at));
        Due::of(unit.clone(), *kind, last, interval, today)
    });
    Ok(View {
        frame,
        paper: PAPER,
        no_credit: NO_CREDIT,
        interval,
        due: due.map(|due| due_says(&due, today)).collect(),
        missed: inspections::days_missed(&used, &inspected).into_iter().map(Day::in_words).collect(),
        done: done.iter().map(|kept| told(kept, &world)).collect(),
        links: links(&unit),
        form: me.may(Act::WorkOnUnits).then(|| form(me, &unit, typed, says, &world, now)),
        unit: unit.to_string(),
    })
}

fn links(unit: &UnitName) -> Vec<(String, &'static str)> {
    vec![
        (
            paths::SinceInspection(unit.clone()).to_string(),
            "Defects and repairs since the last periodic inspection",
        ),
        (paths::Tag(unit.clone()).to_string(), "Tag of a non-complying unit"),
        (paths::Records(unit.clone()).to_string(), "All records of this unit"),
        (paths::Measurements(unit.clone()).to_string(), "Measurements"),
    ]
}

fn due_says(due: &Due, today: Day) -> String {
    let kind = due.kind.in_words();
    match (due.done, due.last_day) {
        (Some(done), Some(last)) => {
            let left = i64::from(last.0) - i64::from(today.0);
            let how = if left < 0 { "OVERDUE since" } else { "last lawful day" };
            format!("{kind}: done {}, {how} {}", done.in_words(), last.in_words())
        }
        _ => format!("{kind}: none in the book. Look at the paper, then write the last one down here."),
    }
}

fn told(kept: &store::Kept, world: &World) -> Done {
    let done = &kept.done;
    let mut says =
        format!("{}. Conditions: {}", text::own_words(&done.place), text::own_words(&done.conditions));
    if let Some(repairs) = &done.repairs {
        let by = done.repaired_by.as_ref().map(|by| format!(", by {by}")).unwrap_or_default();
        says.push_str(&format!(". Repairs: {}{by}", text::own_words(repairs)));
    }
    if let Some(certified) = &done.certified_by {
        says.push_str(&format!(". Certified on paper by {}", text::own_words(certified)));
    }
    Done {
        kind: done.kind.in_words(),
        at: world.railway.zone.in_words(done.at),
        by: format!("{}, page {}", kept.by, kept.seq),
        says,
    }
}

const KINDS: &[(&str, &str)] = &[
    ("periodic", "Periodic"),
    ("annual", "Annual tests"),
    ("mechanical_daily", "Daily, by a mechanical inspector"),
    ("daily", "Daily"),
];

fn form(me: &Me, unit: &UnitName, typed: &Fields, says: &Says, world: &World, now: Instant) -> Form {
    let said = |name: &str| says.iter().find(|(field, _)| *field == name).map(|(_, says)| says.clone());
    let field = |name: &str, label: &str| Field::text(name, label, typed.get(name)).says(said(name));
    let at = typed.value("at").map_or_else(|| world.railway.zone.local_input(now), str::to_owned);
    let id = Some(typed.get("id").to_owned()).filter(|id| !id.is_empty());
    Form {
        action: paths::UnitInspections(unit.clone()).to_string(),
        signer: me.sign_in().to_string(),
        id: id.unwrap_or_else(|| Uuid::new_v4().to_string()),
        kind: Choice::of("kind", "Inspection", typed.get("kind"), KINDS).says(said("kind")),
        at: Field::time("at", "Date and time", &at).says(said("at")),
        place: field("place", "Place"),
        conditions: field("conditions", "Non-complying conditions").hint("Each, or 'none'."),
        repairs: field("repairs", "Repairs made with it")
            .hint("Only your own: whoever makes a repair signs for it."),
        repaired_by: field("repaired_by", "Repairs made by").hint("Sign-in name."),
        certified_by: field("certified_by", "Certified on the paper form by")
            .hint("The supervisor of the person who inspected."),
        password: Field::password("password", "Your password, as your signature").says(said("password")),
        on_top: says.iter().filter(|(field, _)| field.is_empty()).map(|(_, says)| says.clone()).collect(),
    }
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    mut fields: Fields,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let unit = UnitName::tidy(&unit).ok_or_else(|| not_a_unit(&unit))?;
    let mut says = Vec::new();
    let done = check(&app, &me, &unit, &fields, &mut says);
    if let Some(done) = done.filter(|_| says.is_empty()) {
        match signature::sign(&app, &me, fields.get("password")).await? {
            Ok(()) => {
                let filed = app.desk().act(ShopPage::inspection(done.clone(), &permit, app.now())).await?;
                if filed.is_some() || is_that_one(&app, &done).await? {
                    return see(&paths::UnitInspections(unit));
                }
                fields.0.retain(|(name, _)| name != "id");
                says.push(("", SIGNED_BEFORE.to_owned()));
            }
            Err(wrong) => says.push(("password", wrong)),
        }
    }
    page(StatusCode::UNPROCESSABLE_ENTITY, &view(&app, frame, &me, unit, &fields, &says).await?)
}

const SIGNED_BEFORE: &str = "This very form was signed before, with other words, which stand in the book. Nothing of this one is kept yet: if it is another inspection, sign again.";

/// Whether what was signed is what stands in the book under its id: pressed twice, it is.
async fn is_that_one(app: &App, done: &InspectionDone) -> Result<bool, Oops> {
    let kept = store::of_unit(&mut *app.desk().read().await?, &done.unit).await?;
    Ok(kept.iter().any(|kept| kept.done == *done))
}

fn check(app: &App, me: &Me, unit: &UnitName, fields: &Fields, says: &mut Says) -> Option<InspectionDone> {
    let (world, now) = (app.world(), app.now());
    says.extend(signature::another_signer(fields.get("signer"), me).map(|says| ("", says)));
    let kind = InspectionKind::parse(fields.get("kind"));
    if kind.is_none() {
        says.push(("kind", "Choose which one it was.".to_owned()));
    }
    let at = world.railway.zone.parse_local(fields.get("at").trim());
    if at.is_some_and(|at| at > now.plus(5 * crate::base::instant::MINUTE)) {
        says.push(("at", "That is still to come.".to_owned()));
    }
    missing(&world, unit, me, at, fields, says);
    let (repairs, repaired_by) = (text::tidy(fields.get("repairs")), repairer(fields, says));
    if let Some(why) = repair_unsigned(repairs.as_deref(), repaired_by.as_ref(), me.sign_in()) {
        says.push(("repaired_by", why));
    }
    Some(InspectionDone {
        id: Uuid::parse_str(fields.get("id")).unwrap_or_else(|_| Uuid::new_v4()),
        unit: unit.clone(),
        kind: kind?,
        at: at?.min(now),
        place: text::tidy(fields.get("place"))?,
        conditions: text::tidy(fields.get("conditions"))?,
        repairs,
        repaired_by,
        certified_by: text::tidy(fields.get("certified_by")),
    })
}

fn missing(world: &World, unit: &UnitName, me: &Me, at: Option<Instant>, fields: &Fields, says: &mut Says) {
    let wanted = Wanted {
        carrier: &world.railway.name,
        unit: unit.as_str(),
        place: fields.get("place"),
        at,
        conditions: fields.get("conditions"),
        signature: Some(me.sign_in().as_str()),
    };
    says.extend(wanted.missing().into_iter().map(|field| (field, missing_says(field).to_owned())));
}

fn repairer(fields: &Fields, says: &mut Says) -> Option<SignIn> {
    let typed = text::tidy(fields.get("repaired_by"))?;
    let name = person::sign_in(&typed);
    if name.is_none() {
        says.push(("repaired_by", "Write a sign-in name.".to_owned()));
    }
    name
}

fn missing_says(field: &str) -> &'static str {
    match field {
        "carrier" => "The book has no name for the railway.",
        "unit" => "A unit is its initials and its number.",
        "place" => "Write where it was inspected.",
        "at" => "Set the date and the time.",
        "conditions" => "Write each condition that was found, or 'none'.",
        _ => "This has to be signed.",
    }
}
