//! A repair is opened: from lines of the board, from entries, or because the shop found something itself.
use std::collections::BTreeSet;

use axum::{
    extract::{Path, Query, State},
    http::StatusCode,
};
use sqlx::SqliteConnection;

use super::{
    super::signing::{another_signer, id_of, moment},
    open_view::view,
};
use crate::{
    base::{EntryId, Instant, Tag, UnitName, instant::DAY, text},
    desk::{
        Refused, World,
        body::RepairOpened,
        shop_repair::{OpenRepair, overlap},
    },
    people::Act,
    reports::{self, store::EntryRow, stored},
    rules::{
        Finding, Rule,
        dossier::Subject,
        routing,
        store::{self, Wanted},
    },
    shop::{self, Repair},
    web::{Answer, App, Frame, Me, Oops, SentAt, forms::Fields, page, paths, see, signature},
};

/// The form as it came; the address brings the first of it.
#[derive(Default)]
pub struct Asked {
    pub id: Option<uuid::Uuid>,
    pub findings: BTreeSet<String>,
    pub entries: BTreeSet<EntryId>,
    /// A tag, `-` for the unit itself, empty for what the ticks say.
    pub thing: String,
    pub words: String,
    pub at: String,
    /// Repairs that the reader said they know of.
    pub known: BTreeSet<uuid::Uuid>,
    pub signer: String,
    pub password: String,
}

impl Asked {
    fn read(fields: &[(String, String)]) -> Self {
        let mut asked = Self::default();
        for (name, value) in fields {
            match name.as_str() {
                "id" => asked.id = id_of(value),
                "finding" => drop(asked.findings.insert(value.clone())),
                "entry" => asked.entries.extend(value.parse::<EntryId>().ok()),
                "thing" => asked.thing.clone_from(value),
                "words" => asked.words.clone_from(value),
                "at" => asked.at.clone_from(value),
                "know" => asked.known.extend(id_of(value)),
                "signer" => asked.signer.clone_from(value),
                "password" => asked.password.clone_from(value),
                _ => {}
            }
        }
        asked
    }
}

#[derive(Default)]
pub struct Says {
    pub problems: Vec<String>,
    pub thing: Option<String>,
    pub at: Option<String>,
    pub password: Option<String>,
}

/// What the book holds of the unit that a repair could answer.
pub struct Here {
    pub unit: UnitName,
    pub findings: Vec<Finding>,
    pub entries: Vec<EntryRow>,
    pub repairs: Vec<Repair>,
    pub now: Instant,
}

/// How far back entries are offered.
const OFFERED: i64 = 30 * DAY;

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    Query(given): Query<Vec<(String, String)>>,
) -> Answer {
    let asked = Asked::read(&given);
    let here = Here::read(&app, &unit, &asked).await?;
    let view = view(frame, &me, &app.world(), &here, &asked, Says::default());
    page(StatusCode::OK, &view)
}

pub async fn sign(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(unit): Path<String>,
    fields: Fields,
) -> Answer {
    let permit = me.permit(Act::WorkOnUnits)?;
    let asked = Asked::read(&fields.0);
    let here = Here::read(&app, &unit, &asked).await?;
    let world = app.world();
    let opened = match here.check(&asked, &me, &world, now) {
        Ok(opened) => opened,
        Err(says) => {
            let view = view(frame, &me, &world, &here, &asked, says);
            return page(StatusCode::UNPROCESSABLE_ENTITY, &view);
        }
    };
    if let Err(says) = signature::sign(&app, &me, &asked.password).await? {
        let says = Says { password: Some(says), ..Says::default() };
        let view = view(frame, &me, &world, &here, &asked, says);
        return page(StatusCode::UNPROCESSABLE_ENTITY, &view);
    }
    let path = paths::Repair(opened.id.to_string());
    let act = OpenRepair::of(opened, asked.known.iter().copied().collect(), &permit, now);
    match app.desk().act(act).await {
        Ok(_) => see(&path),
        Err(Refused::Stale(says)) => {
            let here = Here::read(&app, &unit, &asked).await?;
            let says = Says { problems: vec![says], ..Says::default() };
            let view = view(frame, &me, &world, &here, &asked, says);
            page(StatusCode::CONFLICT, &view)
        }
        Err(refused) => Err(refused.into()),
    }
}

impl Here {
    async fn read(app: &App, unit: &str, asked: &Asked) -> Result<Self, Oops> {
        let unit = UnitName::tidy(unit).ok_or_else(|| Oops::NotFound("There is no such unit.".into()))?;
        let now = app.now();
        let mut db = app.desk().read().await?;
        let wanted = Wanted { unit: Some(&unit), ..Wanted::default() };
        let mut findings = store::open_at(&mut db, &wanted, now).await?;
        // One that was asked for stays on the page when it has ended meanwhile.
        let ended = asked.findings.iter().filter(|key| findings.iter().all(|f| f.key != **key));
        for key in ended.take(50).cloned().collect::<Vec<_>>() {
            findings.extend(store::by_key(&mut db, &key).await?);
        }
        findings.retain(|f| {
            !f.rule.is_ground_protection() && !Rule::NOTES.contains(&f.rule) && f.units.contains(&unit)
        });
        let entries = offered(&mut db, &unit, asked, now).await?;
        let repairs = shop::store::repairs_of(&mut db, std::slice::from_ref(&unit)).await?;
        Ok(Self { unit, findings, entries, repairs, now })
    }

    /// What a repair of the ticked lines and entries is of: devices, then the unit itself.
    pub fn subjects(&self, asked: &Asked, world: &World) -> Vec<Option<Tag>> {
        let mut of: BTreeSet<Option<Tag>> = BTreeSet::new();
        for finding in self.findings.iter().filter(|f| asked.findings.contains(&f.key)) {
            match (&finding.device, finding.devices.is_empty()) {
                (Some(device), _) => drop(of.insert(Some(device.clone()))),
                (None, false) => of.extend(finding.devices.iter().cloned().map(Some)),
                (None, true) => drop(of.insert(None)),
            }
        }
        for row in self.ticked(asked) {
            of.extend(subject_of(row, &self.unit, world));
        }
        match asked.thing.trim() {
            "" => {}
            "-" => drop(of.insert(None)),
            tag => drop(of.insert(Some(Tag::from(tag)))),
        }
        // None sorts first, and a device comes first that its part may have come from another unit.
        let (unit, devices): (Vec<_>, Vec<_>) = of.into_iter().partition(Option::is_none);
        devices.into_iter().chain(unit).collect()
    }

    fn ticked<'a>(&'a self, asked: &'a Asked) -> impl Iterator<Item = &'a EntryRow> {
        self.entries.iter().filter(|row| row.id.parse().is_ok_and(|id| asked.entries.contains(&id)))
    }

    fn check(&self, asked: &Asked, me: &Me, world: &World, now: Instant) -> Result<RepairOpened, Says> {
        let mut says =
            Says { problems: another_signer(&asked.signer, me).into_iter().collect(), ..Says::default() };
        let mut of = self.subjects(asked, world).into_iter();
        let first = of.next();
        if first.is_none() {
            says.thing = Some("Tick what it is to answer, or say here what the shop found amiss.".to_owned());
        }
        let at = moment(&asked.at, &world.railway.zone, now, None).map_err(|why| says.at = Some(why)).ok();
        let (Some(device), Some(at), Some(id)) = (first, at, asked.id) else {
            if asked.id.is_none() {
                says.problems.push("This form was not complete. Look again, then sign.".to_owned());
            }
            return Err(says);
        };
        let known = |key: &&String| self.findings.iter().any(|f| f.key == **key);
        let named = self.ticked(asked).filter_map(|row| row.id.parse().ok());
        let opened = RepairOpened {
            id,
            unit: self.unit.clone(),
            device,
            at,
            findings: asked.findings.iter().filter(known).cloned().collect(),
            also: of.collect(),
            entries: self.of_lines(asked).chain(named).collect::<BTreeSet<_>>().into_iter().collect(),
            words: text::tidy(&asked.words),
        };
        let unknown = |same: &&Repair| !asked.known.contains(&same.id);
        if self.same(&opened, asked).iter().any(|(repair, _)| unknown(repair)) {
            says.problems.push("A repair of the same is in the book already, see below. Say that you know of it, or go on with that one.".to_owned());
        }
        if says.problems.is_empty() && says.thing.is_none() { Ok(opened) } else { Err(says) }
    }

    /// Of lines about the unit itself the entries count, so that the repair answers these and says so.
    fn of_lines(&self, asked: &Asked) -> impl Iterator<Item = EntryId> {
        let of_unit =
            |f: &&Finding| asked.findings.contains(&f.key) && f.device.is_none() && f.devices.is_empty();
        self.findings.iter().filter(of_unit).flat_map(|f| f.entries.clone()).collect::<Vec<_>>().into_iter()
    }

    /// Repairs that are open on the same, and closed ones that answered a line which is ticked all the same.
    pub fn same(&self, opened: &RepairOpened, asked: &Asked) -> Vec<(&Repair, &'static str)> {
        let ended = |f: &&Finding| asked.findings.contains(&f.key) && !f.open_at(self.now);
        let answered: Vec<&Finding> = self.findings.iter().filter(ended).collect();
        // The form itself, sent once more, is no other repair.
        let others = self.repairs.iter().filter(|repair| repair.id != opened.id);
        let all = others.filter_map(|repair| match repair.closed_at {
            None => {
                overlap(repair, opened).then_some((repair, "It is open, and would answer some of the same."))
            }
            Some(closed) => answered
                .iter()
                .any(|f| f.until == Some(closed) && repair.is_of(f.device.as_ref()))
                .then_some((repair, "It answered a line that is ticked here.")),
        });
        all.collect()
    }
}

/// What was ticked, and what was written lately.
async fn offered(
    db: &mut SqliteConnection,
    unit: &UnitName,
    asked: &Asked,
    now: Instant,
) -> Result<Vec<EntryRow>, sqlx::Error> {
    let lately = reports::store::Wanted {
        unit: Some(unit),
        happened_since: Some(now.minus(OFFERED)),
        limit: Some(200),
        ..Default::default()
    };
    let mut rows = reports::store::entries(db, &lately).await?;
    let ids: Vec<EntryId> = asked.entries.iter().copied().take(50).collect();
    let named = reports::store::Wanted { unit: Some(unit), ids: Some(&ids), ..Default::default() };
    for row in reports::store::entries(db, &named).await? {
        if rows.iter().all(|known| known.id != row.id) {
            rows.push(row);
        }
    }
    rows.retain(|row| !row.withdrawn);
    Ok(rows)
}

/// What a repair of an entry is of: its device, or the unit itself.
fn subject_of(row: &EntryRow, unit: &UnitName, world: &World) -> Option<Option<Tag>> {
    let entry = stored::entry(&row.detail).ok()?;
    let subjects = routing::subjects(&entry, world.roster.schedule_at(unit, Instant(row.at)));
    let device = subjects.iter().find_map(|subject| match subject {
        Subject::Device(tag) => Some(tag.clone()),
        _ => None,
    });
    Some(device)
}
