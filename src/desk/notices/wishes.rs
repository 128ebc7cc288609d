//! What people chose: of what they are told, by which way, and when.
use std::collections::BTreeMap;

use sqlx::{Row, SqliteConnection};

use super::what::{Mail, What, Wish};
use crate::{
    base::{SignIn, UnitName},
    desk::{World, backup::TimeOfDay},
    people::{Person, Role},
};

type Sql<T> = Result<T, sqlx::Error>;

/// When the digest goes out unless somebody chose.
pub const MORNING: &str = "06:00";

/// One person's choices, their role's defaults where they made none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wishes {
    pub email: Option<String>,
    pub morning: TimeOfDay,
    /// Only of units of this home shop, and of those that have none.
    pub shop: Option<String>,
    chosen: BTreeMap<What, Wish>,
}

impl Default for Wishes {
    fn default() -> Self {
        let morning = TimeOfDay::parse(MORNING).unwrap_or_default();
        Self { email: None, morning, shop: None, chosen: BTreeMap::new() }
    }
}

impl Wishes {
    pub fn of(&self, role: Role, what: What) -> Wish {
        self.chosen.get(&what).copied().unwrap_or_else(|| what.default_of(role))
    }

    pub fn choose(&mut self, what: What, wish: Wish) {
        self.chosen.insert(what, wish);
    }

    /// A unit that stands in no shop's list is everybody's.
    pub fn is_of_shop(&self, unit: Option<&UnitName>, world: &World) -> bool {
        let home = unit.and_then(|unit| world.roster.unit(unit)).and_then(|card| card.home_shop.as_deref());
        match (&self.shop, home) {
            (Some(wanted), Some(home)) => wanted.to_lowercase() == home.to_lowercase(),
            _ => true,
        }
    }
}

/// May be told of it, as their role is now.
pub fn may_be_told(person: &Person, what: What) -> bool {
    person.permit(what.act()).is_some()
}

/// Of everybody who chose anything.
pub async fn all(db: &mut SqliteConnection) -> Sql<BTreeMap<SignIn, Wishes>> {
    let mut all: BTreeMap<SignIn, Wishes> = BTreeMap::new();
    for row in
        sqlx::query("SELECT sign_in, email, morning, shop FROM notice_person").fetch_all(&mut *db).await?
    {
        let of = all.entry(SignIn::from(row.try_get::<&str, _>(0)?)).or_default();
        of.email = row.try_get(1)?;
        of.morning = TimeOfDay::parse(row.try_get(2)?).unwrap_or(of.morning);
        of.shop = row.try_get(3)?;
    }
    for row in sqlx::query("SELECT sign_in, what, inbox, mail FROM notice_wish").fetch_all(&mut *db).await? {
        let (what, mail) = (What::parse(row.try_get(1)?), Mail::parse(row.try_get(3)?));
        if let (Some(what), Some(mail)) = (what, mail) {
            let of = all.entry(SignIn::from(row.try_get::<&str, _>(0)?)).or_default();
            of.choose(what, Wish { inbox: row.try_get(2)?, mail });
        }
    }
    Ok(all)
}

pub async fn of_person(db: &mut SqliteConnection, person: &SignIn) -> Sql<Wishes> {
    Ok(all(db).await?.remove(person).unwrap_or_default())
}

/// Puts somebody's choices in the place of those before.
pub async fn keep(db: &mut SqliteConnection, of: &SignIn, wishes: &Wishes) -> Sql<()> {
    let person = "INSERT OR REPLACE INTO notice_person (sign_in, email, morning, shop) VALUES (?, ?, ?, ?)";
    sqlx::query(person)
        .bind(of.as_str())
        .bind(&wishes.email)
        .bind(wishes.morning.to_string())
        .bind(&wishes.shop)
        .execute(&mut *db)
        .await?;
    for (what, wish) in &wishes.chosen {
        let one = "INSERT OR REPLACE INTO notice_wish (sign_in, what, inbox, mail) VALUES (?, ?, ?, ?)";
        let one = sqlx::query(one).bind(of.as_str()).bind(what.as_str());
        one.bind(wish.inbox).bind(wish.mail.as_str()).execute(&mut *db).await?;
    }
    Ok(())
}
