//! Looks what there is to tell, and writes it down once, with a delivery for everybody who is to be told. Both are one
//! transaction, and a matter's key is unique: ended at whatever moment, it is told neither twice nor not at all.
use std::collections::BTreeMap;

use sqlx::{Row, SqliteConnection};

use super::{
    Matter, hooks,
    sources::{self, Found},
    what::{Mail, What},
    when::next_morning,
    wishes::{self, Wishes},
};
use crate::{
    base::{Instant, SignIn},
    db::writer::Trouble,
    desk::{Desk, World, board::size},
    rules::store as findings,
};

type Sql<T> = Result<T, sqlx::Error>;

/// A book as it was looked at, and until when the same is open in it if nothing comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stand {
    size: i64,
    from: Instant,
    until: Option<Instant>,
}

impl Stand {
    /// How the book stands now; it is asked for before it is looked at.
    ///
    /// # Errors
    /// Trouble with the file.
    pub async fn of(desk: &Desk, now: Instant) -> Result<Self, Trouble> {
        let sql = |why: sqlx::Error| Trouble::from(&why);
        let mut db = desk.read().await?;
        let size = size(&mut db).await.map_err(sql)?;
        Ok(Self { size, from: now, until: findings::next_change(&mut db, now).await.map_err(sql)? })
    }

    /// Whether every line that was open then is open now, and no other.
    pub fn is_still(&self, now: &Self) -> bool {
        let ended = self.until.is_some_and(|until| until <= now.from);
        self.size == now.size && self.from <= now.from && !ended
    }
}

/// What one look takes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Looking {
    /// What the book says may have changed since it was looked at. A large railway has thousands of open lines: asking which of
    /// them were told takes as long as twenty pages.
    pub book: bool,
    /// Also what changes by the day, and takes reading: reviews, rights, inspections.
    pub thorough: bool,
    /// This server sends e-mail.
    pub mail: bool,
    /// At the very first look: what began earlier is known, and told to nobody. Later looks do not ask.
    pub from: Instant,
}

/// How much one look told: matters and deliveries.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Looked {
    pub matters: usize,
    pub deliveries: usize,
}

/// Looks through the book as it is.
///
/// # Errors
/// Trouble with the file; the next look finds the same.
pub async fn look(desk: &Desk, looking: Looking, now: Instant) -> Result<Looked, Trouble> {
    let sql = |why: sqlx::Error| Trouble::from(&why);
    let mut db = desk.read().await?;
    let world = desk.world_now(&mut db).await?;
    let begun = begun(&mut db).await.map_err(sql)?;
    let (size, found) = found(&mut db, &world, begun, looking, now).await.map_err(sql)?;
    drop(db);
    if found.told.is_empty() && found.known.is_empty() && begun.is_some_and(|(_, seen)| seen == size) {
        return Ok(Looked::default());
    }
    desk.aside(move |db| Box::pin(async move { write_down(db, &world, &found, size, looking, now).await }))
        .await
}

/// Since when matters are told, and how many pages the last look had before it.
async fn begun(db: &mut SqliteConnection) -> Sql<Option<(Instant, i64)>> {
    let row = sqlx::query("SELECT begun_at, size FROM notice_look").fetch_optional(db).await?;
    row.map(|row| Ok((Instant(row.try_get(0)?), row.try_get(1)?))).transpose()
}

/// The size is read first: what is filed meanwhile is looked at once more, and known by its key.
async fn found(
    db: &mut SqliteConnection,
    world: &World,
    begun: Option<(Instant, i64)>,
    looking: Looking,
    now: Instant,
) -> Sql<(i64, Found)> {
    let size = size(db).await?;
    let mut found = Found::default();
    if looking.book || begun.is_none() {
        sources::openings(db, begun.map_or(0, |(_, seen)| seen), now, &mut found).await?;
        sources::lines(db, now, &mut found).await?;
    }
    sources::failed_backup(db, world, now, &mut found).await?;
    sources::waiting_grants(db, world, now, &mut found).await?;
    if looking.thorough || begun.is_none() {
        sources::joined_lines(db, world, now, &mut found).await?;
        sources::due_inspections(db, world, now, &mut found).await?;
    }
    if begun.is_none() {
        let (told, known) = found.told.into_iter().partition(|matter| matter.at >= looking.from);
        found.told = told;
        found.known.extend::<Vec<Matter>>(known);
    }
    Ok((size, found))
}

async fn write_down(
    db: &mut SqliteConnection,
    world: &World,
    found: &Found,
    size: i64,
    looking: Looking,
    now: Instant,
) -> Sql<Looked> {
    let head = "INSERT INTO notice_look (one, begun_at, size) VALUES (1, ?1, ?2)
        ON CONFLICT (one) DO UPDATE SET size = max(size, excluded.size)";
    sqlx::query(head).bind(now.0).bind(size).execute(&mut *db).await?;
    for matter in &found.known {
        put(db, matter, now).await?;
    }
    let wishes = wishes::all(db).await?;
    let hooks = hooks::live(db).await?;
    let mut looked = Looked::default();
    for matter in &found.told {
        let Some(id) = put(db, matter, now).await? else { continue };
        looked.matters += 1;
        let mut ways = to_people(matter, world, &wishes, looking.mail, now);
        let wanted = hooks.iter().filter(|hook| hook.what.contains(&matter.what));
        ways.extend(wanted.map(|hook| Way { channel: "hook", to: hook.id.clone(), due: now }));
        looked.deliveries += ways.len();
        for way in &ways {
            deliver(db, id, matter.what, way, now).await?;
        }
    }
    Ok(looked)
}

/// `None`: somebody was told of it already.
pub(super) async fn put(db: &mut SqliteConnection, matter: &Matter, now: Instant) -> Sql<Option<i64>> {
    let sql = "INSERT OR IGNORE INTO notice (what, key, unit, at, about, made_at) VALUES (?, ?, ?, ?, ?, ?) RETURNING id";
    sqlx::query_scalar(sql)
        .bind(matter.what.as_str())
        .bind(&matter.key)
        .bind(matter.unit.as_ref().map(|unit| unit.as_str()))
        .bind(matter.at.0)
        .bind(matter.about.text())
        .bind(now.0)
        .fetch_optional(db)
        .await
}

/// One way to somebody, and when it is to be gone.
pub(super) struct Way {
    pub channel: &'static str,
    pub to: String,
    pub due: Instant,
}

fn to_people(
    matter: &Matter,
    world: &World,
    wishes: &BTreeMap<SignIn, Wishes>,
    mail: bool,
    now: Instant,
) -> Vec<Way> {
    let (mut ways, nothing) = (Vec::new(), Wishes::default());
    for person in world.people.persons.values().filter(|person| wishes::may_be_told(person, matter.what)) {
        let theirs = wishes.get(&person.sign_in).unwrap_or(&nothing);
        if theirs.is_of_shop(matter.unit.as_ref(), world) {
            ways.extend(ways_to(&person.sign_in, person.role, matter.what, theirs, mail, world, now));
        }
    }
    ways
}

/// The ways that somebody chose for one sort of matter.
pub(super) fn ways_to(
    person: &SignIn,
    role: crate::people::Role,
    what: What,
    theirs: &Wishes,
    mail: bool,
    world: &World,
    now: Instant,
) -> Vec<Way> {
    let wish = theirs.of(role, what);
    let to = || person.to_string();
    let inbox = wish.inbox.then(|| Way { channel: "inbox", to: to(), due: now });
    let due = match wish.mail {
        Mail::No => None,
        Mail::AtOnce => Some(now),
        Mail::Morning => Some(next_morning(now, theirs.morning, &world.railway.zone)),
    };
    let letter =
        due.filter(|_| mail && theirs.email.is_some()).map(|due| Way { channel: "mail", to: to(), due });
    inbox.into_iter().chain(letter).collect()
}

pub(super) async fn deliver(
    db: &mut SqliteConnection,
    notice: i64,
    what: What,
    way: &Way,
    now: Instant,
) -> Sql<()> {
    // What lies in the inbox has arrived.
    let sent = way.channel == "inbox";
    let sql = "INSERT OR IGNORE INTO notice_delivery (notice, channel, to_whom, what, state, since, due_at, sent_at)
        VALUES (?, ?, ?, ?, ?, ?, ?, ?)";
    sqlx::query(sql)
        .bind(notice)
        .bind(way.channel)
        .bind(&way.to)
        .bind(what.as_str())
        .bind(if sent { "sent" } else { "waiting" })
        .bind(now.0.max(way.due.0))
        .bind(way.due.0)
        .bind(sent.then_some(now.0))
        .execute(db)
        .await
        .map(drop)
}
