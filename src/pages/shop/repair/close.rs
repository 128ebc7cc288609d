//! A repair is closed: what was found, what was replaced, and the last signature.
use std::sync::Arc;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};

use super::{
    super::{
        measure::Line,
        signing::{another_signer, moment, signer},
    },
    causes::{self, Group},
    find, measured_for, of_what,
    show::{Typed as Kept, again},
    still_fails, subjects,
};
use crate::{
    base::{Instant, Tag, UnitName, text},
    desk::{
        Refused, World,
        body::{CauseListed, RepairClosed},
        shop_repair::CloseRepair,
    },
    pages::drawn::form::{Choice, Field},
    people::Act,
    shop::{self, Repair, store::CauseRow},
    web::{Answer, App, Frame, Me, Oops, SentAt, forms::Fields, naming, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "shop/repair_close.html")]
struct View {
    frame: Frame,
    unit: String,
    of: String,
    path: String,
    action: String,
    signer: String,
    seen: u64,
    problems: Vec<String>,
    steps: Vec<String>,
    measured: Vec<Line>,
    /// Failed, and nothing of the kind was measured since: said, not refused.
    fails: Vec<String>,
    causes: Vec<Group>,
    cause_says: Option<String>,
    another: Field,
    /// Whether the part of the first device is another now.
    replaced: Option<Choice>,
    from: Field,
    others: Vec<(String, String, bool)>,
    words: Field,
    parts: Field,
    at: Field,
    password: Field,
}

/// As it was typed.
#[derive(Default)]
struct Form {
    cause: String,
    another: String,
    replaced: String,
    from: String,
    also: Vec<String>,
    words: String,
    parts: String,
    at: String,
    password: String,
    signer: String,
    seen: Option<u64>,
}

#[derive(Default)]
struct Says {
    problems: Vec<String>,
    cause: Option<String>,
    replaced: Option<String>,
    from: Option<String>,
    words: Option<String>,
    at: Option<String>,
    password: Option<String>,
}

impl Says {
    fn nothing(&self) -> bool {
        let beside = [&self.cause, &self.replaced, &self.from, &self.words, &self.at, &self.password];
        self.problems.is_empty() && beside.iter().all(|says| says.is_none())
    }
}

const REPLACED: &[(&str, &str)] = &[
    ("no", "No, it stayed in"),
    ("new", "Yes, by a new one"),
    ("used", "Yes, by one taken from another unit"),
    ("swapped", "It changed places with another unit's"),
];

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    me.permit(Act::WorkOnUnits)?;
    let repair = find(&mut *app.desk().read().await?, &id).await?;
    if repair.closed_at.is_some() {
        return see(&paths::Repair(id));
    }
    form(&app, frame, &me, &repair, StatusCode::OK, &Form::default(), Says::default()).await
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let typed = Form::read(&fields.0);
    let mut db = app.desk().read().await?;
    let repair = find(&mut db, &id).await?;
    let listed = shop::store::listed_causes(&mut db).await?;
    drop(db);
    let (closed, new_cause, seen) = match typed.check(&repair, &listed, &me, &app.world(), now) {
        Ok(checked) => checked,
        Err(says) => {
            let status = StatusCode::UNPROCESSABLE_ENTITY;
            return form(&app, frame, &me, &repair, status, &typed, *says).await;
        }
    };
    if let Err(says) = signature::sign(&app, &me, &typed.password).await? {
        let says = Says { password: Some(says), ..Says::default() };
        return form(&app, frame, &me, &repair, StatusCode::UNPROCESSABLE_ENTITY, &typed, says).await;
    }
    match app.desk().act(CloseRepair::of(closed, new_cause, seen, &permit, now)).await {
        Ok(_) => see(&paths::Repair(id)),
        Err(Refused::Stale(says)) => stale(&app, frame, &me, &id, &typed, says).await,
        Err(refused) => Err(refused.into()),
    }
}

/// Somebody was quicker: with a step, and the form comes back; with the closing, and the page says what they wrote.
async fn stale(app: &App, frame: Frame, me: &Me, id: &str, typed: &Form, says: String) -> Answer {
    let repair = find(&mut *app.desk().read().await?, id).await?;
    if repair.closed_at.is_none() {
        let says = Says { problems: vec![says], ..Says::default() };
        return form(app, frame, me, &repair, StatusCode::CONFLICT, typed, says).await;
    }
    let kept = Kept { problems: vec![says], closing: typed.told(), ..Kept::default() };
    again(app, frame, me, id, StatusCode::CONFLICT, kept).await
}

impl Form {
    fn read(fields: &[(String, String)]) -> Self {
        let mut form = Self::default();
        for (name, value) in fields {
            match name.as_str() {
                "cause" => form.cause.clone_from(value),
                "another" => form.another.clone_from(value),
                "replaced" => form.replaced.clone_from(value),
                "from" => form.from.clone_from(value),
                "also_new" => form.also.push(value.clone()),
                "words" => form.words.clone_from(value),
                "parts" => form.parts.clone_from(value),
                "at" => form.at.clone_from(value),
                "password" => form.password.clone_from(value),
                "signer" => form.signer.clone_from(value),
                "seen" => form.seen = value.parse().ok(),
                _ => {}
            }
        }
        form
    }

    fn told(&self) -> Vec<(&'static str, String)> {
        let cause = if self.another.trim().is_empty() { &self.cause } else { &self.another };
        let replaced = REPLACED.iter().find(|(word, _)| *word == self.replaced);
        let replaced = replaced.map(|(_, text)| format!("{text} {}", self.from)).unwrap_or_default();
        vec![
            ("Cause", cause.clone()),
            ("Replaced", replaced.trim().to_owned()),
            ("In words", self.words.clone()),
            ("Parts", self.parts.clone()),
        ]
    }

    fn check(
        &self,
        repair: &Repair,
        listed: &[CauseRow],
        me: &Me,
        world: &World,
        now: Instant,
    ) -> Result<(RepairClosed, Option<CauseListed>, u64), Box<Says>> {
        let mut says =
            Says { problems: another_signer(&self.signer, me).into_iter().collect(), ..Says::default() };
        let cause = causes::read(&self.cause, &self.another, listed);
        let (cause, is_new) = cause.unwrap_or_else(|why| {
            says.cause = Some(why.to_owned());
            Default::default()
        });
        if repair.steps.is_empty() && text::tidy(&self.words).is_none() {
            says.words = Some("Nobody has signed a step of this repair: say here what was done.".to_owned());
        }
        let (new_life, from) = self.part(repair, world, &mut says);
        let first = ("The repair was opened", repair.opened_at);
        let at = moment(&self.at, &world.railway.zone, now, Some(first));
        let at = at.map_err(|why| says.at = Some(why)).unwrap_or(now);
        if self.seen.is_none() {
            says.problems.push("This form was not complete. Look again, then sign.".to_owned());
        }
        let swapped = self.replaced == "swapped";
        let closed = RepairClosed {
            id: repair.id,
            at,
            cause: cause.clone(),
            words: text::tidy(&self.words),
            new_life,
            used_from: from.clone().filter(|_| !swapped),
            swapped_with: from.filter(|_| swapped),
            also_new: repair.also.iter().flatten().filter(|tag| self.also_new(tag)).cloned().collect(),
            parts: text::tidy(&self.parts),
        };
        let new_cause = is_new.then_some(CauseListed { cause, listed: true });
        if says.nothing() { Ok((closed, new_cause, self.seen.unwrap_or(0))) } else { Err(Box::new(says)) }
    }

    fn also_new(&self, tag: &Tag) -> bool {
        self.also.iter().any(|also| also == tag.as_str())
    }

    /// Whether a new life begins, and the unit that the part came from.
    fn part(&self, repair: &Repair, world: &World, says: &mut Says) -> (bool, Option<UnitName>) {
        if repair.device.as_ref().is_none_or(|tag| !is_a_part(tag)) {
            return (false, None);
        }
        match self.replaced.as_str() {
            "no" => (false, None),
            "new" => (true, None),
            "used" | "swapped" => {
                let named = naming::unit(&self.from, world);
                match named.unit {
                    Some(unit) if unit != repair.unit => (true, Some(unit)),
                    Some(unit) => {
                        says.from = Some(format!("{unit} is this unit itself: name the other one."));
                        (true, None)
                    }
                    None => {
                        let why = named.says.unwrap_or_else(|| "Name the unit that it came from.".to_owned());
                        says.from = Some(why);
                        (true, None)
                    }
                }
            }
            _ => {
                says.replaced =
                    Some("Say whether it is another one now: its count begins anew then.".to_owned());
                (false, None)
            }
        }
    }
}

/// Starting is no part that could be another.
pub fn is_a_part(tag: &Tag) -> bool {
    tag.as_str() != Tag::ENGINE_START
}

/// What a closing is shown beside.
struct Known {
    world: Arc<World>,
    listed: Vec<CauseRow>,
    before: shop::Causes,
    measured: Vec<shop::measurements::store::Kept>,
}

async fn form(
    app: &App,
    frame: Frame,
    me: &Me,
    repair: &Repair,
    status: StatusCode,
    typed: &Form,
    says: Says,
) -> Result<Response, Oops> {
    let world = app.world();
    let mut db = app.desk().read().await?;
    let known = Known {
        listed: shop::store::listed_causes(&mut db).await?,
        before: shop::store::causes(&mut db, &world.roster, app.now()).await?,
        measured: measured_for(&mut db, repair.id).await?,
        world,
    };
    drop(db);
    page(status, &view(frame, me, repair, &known, typed, says))
}

fn view(frame: Frame, me: &Me, repair: &Repair, known: &Known, typed: &Form, says: Says) -> View {
    let world = known.world.as_ref();
    let line = |kept: &shop::measurements::store::Kept| Line::of(kept, &world.railway.zone);
    let fails = still_fails(&known.measured).into_iter().map(line);
    let of = |tag: &Tag| of_what(Some(tag), &repair.unit, repair.opened_at, world);
    let part = repair.device.as_ref().filter(|tag| is_a_part(tag));
    let others = repair.also.iter().flatten().filter(|tag| is_a_part(tag));
    let subject = (&repair.unit, repair.device.as_ref());
    View {
        frame,
        unit: repair.unit.to_string(),
        of: subjects(repair, world),
        path: paths::Repair(repair.id.to_string()).to_string(),
        action: paths::RepairClose(repair.id.to_string()).to_string(),
        signer: signer(me),
        seen: repair.last_seq,
        problems: says.problems,
        steps: repair.steps.iter().map(|step| format!("{} (signed {})", step.words, step.by)).collect(),
        measured: known.measured.iter().map(line).collect(),
        fails: fails.map(|line| format!("{}: {}", line.what(), line.says)).collect(),
        causes: causes::groups(&known.listed, &known.before, subject, world, &typed.cause),
        cause_says: says.cause,
        another: Field::text("another", "Another cause, in a few words", &typed.another)
            .hint("It goes on the shop's list with this closing."),
        replaced: part.map(|tag| is_another(&of(tag), &typed.replaced).says(says.replaced)),
        from: Field::text("from", "Of which unit?", &typed.from)
            .hint("Only where it came from, or changed places with, another unit's.")
            .says(says.from),
        others: others.map(|tag| (tag.to_string(), of(tag), typed.also_new(tag))).collect(),
        words: Field::text("words", "What was found and done, in words", &typed.words).says(says.words),
        parts: Field::text("parts", "Parts used", &typed.parts)
            .hint("In your words; leave it empty for none."),
        at: Field::time("at", "Closed at", &typed.at).hint("Leave it empty for now.").says(says.at),
        password: Field::password("password", "Your password, as the closing signature").says(says.password),
    }
}

fn is_another(what: &str, chosen: &str) -> Choice {
    Choice::of("replaced", &format!("Is {what} another one now?"), chosen, REPLACED)
}
