//! A line is set aside until a date, with a reason: it leaves the board until then, and comes back by itself.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::signing::{another_signer, signer};
use crate::{
    base::{Day, Instant, Tag, Zone, instant::DAY, text},
    desk::{Refused, World, body::SetAside, shop_release::SetLineAside},
    pages::drawn::{form::Field, rules, told::named},
    people::Act,
    rules::{Finding, Rule, store},
    shop::store::{AsideRow, asides},
    web::{Answer, App, Frame, Me, Oops, SentAt, Typed, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/aside.html")]
struct View {
    frame: Frame,
    what: String,
    sentence: String,
    path: String,
    action: String,
    signer: String,
    problems: Vec<String>,
    /// How it is set aside already.
    aside: Option<String>,
    until: Field,
    reason: Field,
    password: Field,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    until: String,
    reason: String,
    password: String,
    signer: String,
    /// `back`: it comes back now.
    then: String,
}

#[derive(Default)]
struct Says {
    problems: Vec<String>,
    until: Option<String>,
    reason: Option<String>,
    password: Option<String>,
}

/// The farthest date a line can be set aside until: nobody plans further.
const FARTHEST: i64 = 366 * DAY;

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(key): Path<String>) -> Answer {
    let finding = find(&app, &key).await?;
    form(&app, frame, &me, &finding, StatusCode::OK, &Form::default(), Says::default()).await
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(key): Path<String>,
    Typed(typed): Typed<Form>,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let finding = find(&app, &key).await?;
    let aside = match typed.check(&finding, &me, &app.world().railway.zone, now) {
        Ok(aside) => aside,
        Err(says) => {
            return form(&app, frame, &me, &finding, StatusCode::UNPROCESSABLE_ENTITY, &typed, *says).await;
        }
    };
    if let Err(says) = signature::sign(&app, &me, &typed.password).await? {
        let says = Says { password: Some(says), ..Says::default() };
        return form(&app, frame, &me, &finding, StatusCode::UNPROCESSABLE_ENTITY, &typed, says).await;
    }
    match app.desk().act(SetLineAside::of(aside, &permit, now)).await {
        Ok(_) => see(&paths::InShop),
        Err(Refused::Stale(says)) => {
            let says = Says { problems: vec![says], ..Says::default() };
            form(&app, frame, &me, &finding, StatusCode::CONFLICT, &typed, says).await
        }
        Err(refused) => Err(refused.into()),
    }
}

/// What can be set aside: a line that is reckoned, about a unit. `Err` says why another cannot.
pub fn may_be_set_aside(finding: &Finding) -> Result<(), &'static str> {
    if finding.rule.is_certain() {
        return Err(
            "What somebody wrote is never set aside: it ends by a repair, or by an entry that says otherwise.",
        );
    }
    if Rule::NOTES.contains(&finding.rule) {
        return Err("This line asks for no work, so there is nothing to set aside.");
    }
    match finding.unit {
        Some(_) => Ok(()),
        None => Err("A line about a whole class is not set aside: it is reckoned anew every month."),
    }
}

async fn find(app: &App, key: &str) -> Result<Finding, Oops> {
    let mut db = app.desk().read().await?;
    let finding = store::by_key(&mut db, key).await?.filter(|f| !f.rule.is_ground_protection());
    let gone = "There is no such line that could be set aside: look at the board again.";
    let finding = finding.ok_or_else(|| Oops::NotFound(gone.into()))?;
    Ok(finding)
}

impl Form {
    fn check(&self, finding: &Finding, me: &Me, zone: &Zone, now: Instant) -> Result<SetAside, Box<Says>> {
        let mut says =
            Says { problems: another_signer(&self.signer, me).into_iter().collect(), ..Says::default() };
        says.problems.extend(may_be_set_aside(finding).err().map(str::to_owned));
        let back = self.then == "back";
        let day = Day::parse(self.until.trim());
        let until = if back { Some(now) } else { day.map(|day| zone.start_of(day)) };
        says.until = match until {
            None => Some("Set the date on which it is to come back.".to_owned()),
            Some(_) if back => None,
            Some(until) if until <= now => Some("That day has begun: set a later one.".to_owned()),
            Some(until) if until > now.plus(FARTHEST) => {
                Some("At most a year from now: set it aside again when it comes back.".to_owned())
            }
            Some(_) => None,
        };
        let reason = text::words(&self.reason);
        if reason.is_none() {
            says.reason = Some("Say why in a few words: whoever looks for it reads this.".to_owned());
        }
        match (until, reason, &finding.unit) {
            (Some(until), Some(reason), Some(unit)) if says.until.is_none() && says.problems.is_empty() => {
                Ok(SetAside {
                    rule: finding.rule,
                    unit: unit.clone(),
                    device: finding.device.clone(),
                    until,
                    reason,
                })
            }
            _ => Err(Box::new(says)),
        }
    }
}

/// How a line is set aside at a moment, if it is.
pub async fn aside_of(
    db: &mut SqliteConnection,
    finding: &Finding,
    now: Instant,
) -> Result<Option<AsideRow>, sqlx::Error> {
    let same = |row: &AsideRow| {
        row.rule == finding.rule.as_str()
            && finding.unit.as_ref().is_some_and(|unit| unit.as_str() == row.unit)
            && finding.device.as_ref().map(Tag::as_str) == row.device.as_deref()
    };
    Ok(asides(db, now).await?.into_iter().find(same))
}

/// `Until 4 March 2026, by r.dunmore: “…”`
pub fn says(row: &AsideRow, zone: &Zone) -> String {
    format!("Until {}, by {}: “{}”", zone.day_in_words(Instant(row.until)), row.by, row.reason)
}

/// `QHB 412 · TC2 Traction inverter 2 · more often than its sisters`
pub fn what(rule: Rule, unit: &str, device: Option<&Tag>, at: Instant, world: &World) -> String {
    let schedule = world.roster.schedule_at(&unit.into(), at);
    let device = device.map(|tag| format!(" · {}", named(tag, schedule))).unwrap_or_default();
    format!("{unit}{device} · {}", rules::name(rule))
}

async fn form(
    app: &App,
    frame: Frame,
    me: &Me,
    finding: &Finding,
    status: StatusCode,
    typed: &Form,
    says: Says,
) -> Result<Response, Oops> {
    let world = app.world();
    let aside = aside_of(&mut *app.desk().read().await?, finding, app.now()).await?;
    let unit = finding.unit.as_ref().map(ToString::to_string).unwrap_or_default();
    let view = View {
        frame,
        what: what(finding.rule, &unit, finding.device.as_ref(), finding.since, &world),
        sentence: finding.sentence.clone(),
        path: paths::Finding(finding.key.clone()).to_string(),
        action: paths::FindingAside(finding.key.clone()).to_string(),
        signer: signer(me),
        problems: says.problems,
        aside: aside.map(|row| self::says(&row, &world.railway.zone)),
        until: Field { input: "date", ..Field::text("until", "Until", &typed.until) }
            .hint("On that day it is on the board again, if it still holds then.")
            .says(says.until),
        reason: Field::text("reason", "Why", &typed.reason).says(says.reason),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    };
    page(status, &view)
}
