//! People, their authorisations, their tokens.
use std::{
    collections::{BTreeSet, HashMap},
    sync::Arc,
};

use sha2::{Digest, Sha256};
use sqlx::{Row, SqliteConnection};

use super::{
    act::{Act, Decided, Outside},
    body::{Body, Grant, PersonCard, SecretChanged},
    draft::{Draft, Filed, Page},
    refused::Refused,
    tables::{PasswordRow, PersonNameRow, TokenRow},
};
use crate::{
    base::{Instant, SignIn},
    book::Channel,
    people::{People, Person, Role, authorisation::Scope},
};

/// A person as a list has them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PersonWanted {
    pub sign_in: SignIn,
    pub role: Role,
    pub name: String,
    pub craft: String,
}

/// Name, craft and salt as they are kept outside the book.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptName {
    pub name: String,
    pub craft: String,
    pub salt: Vec<u8>,
}

/// The names kept outside the book, by sign-in name.
pub async fn kept_names(db: &mut SqliteConnection) -> Result<HashMap<SignIn, KeptName>, sqlx::Error> {
    let rows = sqlx::query("SELECT sign_in, name, craft, salt FROM person_name").fetch_all(db).await?;
    rows.iter()
        .map(|row| {
            let kept = KeptName {
                name: row.try_get("name")?,
                craft: row.try_get("craft")?,
                salt: row.try_get("salt")?,
            };
            Ok((SignIn::from(row.try_get::<String, _>("sign_in")?), kept))
        })
        .collect()
}

/// The salt that a name was kept with, or a new one.
pub(super) fn salt_of(kept: Option<&KeptName>) -> Result<Vec<u8>, getrandom::Error> {
    if let Some(known) = kept {
        return Ok(known.salt.clone());
    }
    let mut salt = vec![0; 16];
    getrandom::fill(&mut salt)?;
    Ok(salt)
}

/// What the book holds of a name: it can be checked against the name, and the name cannot be had from it.
pub(super) fn name_digest(salt: &[u8], name: &str, craft: &str) -> String {
    let mut sha = Sha256::new();
    sha.update(salt);
    sha.update(name.as_bytes());
    sha.update([0]);
    sha.update(craft.as_bytes());
    hex::encode(sha.finalize())
}

/// How many rows of a list were new, and how many the book had already.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    pub new: usize,
    pub same: usize,
}

/// Adds people, or changes those it knows. All of a list in one transaction.
#[derive(Debug)]
pub struct KeepPeople {
    pages: Vec<Page>,
    names: Vec<PersonNameRow>,
}

impl KeepPeople {
    pub fn of(
        wanted: &[PersonWanted],
        kept: &HashMap<SignIn, KeptName>,
        by: Option<&SignIn>,
        channel: Channel,
    ) -> Result<Self, getrandom::Error> {
        let (mut pages, mut names) = (Vec::new(), Vec::new());
        for person in wanted {
            let salt = salt_of(kept.get(&person.sign_in))?;
            let card = PersonCard {
                sign_in: person.sign_in.clone(),
                role: person.role,
                active: true,
                name_digest: name_digest(&salt, &person.name, &person.craft),
                reason: None,
            };
            let same_name =
                kept.get(&person.sign_in).is_some_and(|k| k.name == person.name && k.craft == person.craft);
            let body = if kept.contains_key(&person.sign_in) {
                Body::PersonChanged(Box::new(card))
            } else {
                Body::PersonAdded(Box::new(card))
            };
            // A page whose name is the one on record says at most that the role changed: `decide` drops it otherwise.
            let happened_at = None;
            pages.push(Page { author: by.cloned(), channel, on_behalf_of: None, happened_at, body });
            names.push(PersonNameRow {
                sign_in: person.sign_in.clone(),
                name: if same_name { String::new() } else { person.name.clone() },
                craft: person.craft.clone(),
                salt: hex::encode(&salt),
            });
        }
        Ok(Self { pages, names })
    }

    /// A slip in a list must not leave a book that nobody administers.
    fn leave_an_administrator(&self, people: &People) -> Result<(), Refused> {
        let administers = |person: &&Arc<Person>| person.active && person.role == Role::Administrator;
        let mut left: BTreeSet<&SignIn> =
            people.persons.values().filter(administers).map(|person| &person.sign_in).collect();
        let had_one = !left.is_empty();
        for page in &self.pages {
            let (Body::PersonAdded(card) | Body::PersonChanged(card)) = &page.body else { continue };
            if card.role == Role::Administrator {
                left.insert(&card.sign_in);
            } else {
                left.remove(&card.sign_in);
            }
        }
        if had_one && left.is_empty() {
            let says = "After this list the book would have no administrator. Leave at least one in it.";
            return Err(Refused::NotYours(says.to_owned()));
        }
        Ok(())
    }
}

impl Act for KeepPeople {
    type Answer = Kept;

    fn pages(&self) -> Vec<&Page> {
        self.pages.iter().collect()
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let mut decided = Decided::default();
        for (place, (page, name)) in self.pages.iter().zip(&self.names).enumerate() {
            let (Body::PersonAdded(card) | Body::PersonChanged(card)) = &page.body else { continue };
            let same_role =
                draft.world.people.person(&card.sign_in).is_some_and(|p| p.role == card.role && p.active);
            if same_role && name.name.is_empty() {
                continue;
            }
            decided.file.push(place);
            if !name.name.is_empty() {
                decided.outside.push(Outside::Name(name.clone()));
            }
        }
        self.leave_an_administrator(&draft.world.people)?;
        Ok(decided)
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Kept {
        Kept { new: filed.len(), same: self.pages.len() - filed.len() }
    }
}

/// Grants from a list, or one granted on a page. All of a list in one transaction.
#[derive(Debug)]
pub struct GrantAuthorisations(Vec<Page>);

impl GrantAuthorisations {
    pub fn of(grants: Vec<Grant>, by: Option<&SignIn>, channel: Channel) -> Self {
        let page = |grant| Page {
            author: by.cloned(),
            channel,
            on_behalf_of: None,
            happened_at: None,
            body: Body::AuthorisationGranted(Box::new(grant)),
        };
        Self(grants.into_iter().map(page).collect())
    }
}

impl Act for GrantAuthorisations {
    type Answer = Kept;

    fn pages(&self) -> Vec<&Page> {
        self.0.iter().collect()
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let is_new = |page: &&Page| {
            let Body::AuthorisationGranted(grant) = &page.body else { return false };
            let scope =
                if grant.classes.is_empty() { Scope::All } else { Scope::Classes(grant.classes.clone()) };
            !draft.world.people.authorisations.iter().any(|a| {
                a.person == grant.sign_in
                    && a.scope == scope
                    && a.from == grant.from
                    && a.to == grant.to
                    && a.granted_by == grant.granted_by
                    && a.revoked_at.is_none()
            })
        };
        let file =
            self.0.iter().enumerate().filter(|(_, page)| is_new(page)).map(|(place, _)| place).collect();
        Ok(Decided { file, outside: Vec::new() })
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Kept {
        Kept { new: filed.len(), same: self.0.len() - filed.len() }
    }
}

/// A password or a token was made: the secret goes outside the book, that it changed goes in.
#[derive(Debug)]
pub struct KeepSecret {
    page: Page,
    outside: Outside,
}

impl KeepSecret {
    pub fn password(of: &SignIn, hash: String, one_time: bool, by: Option<&SignIn>, now: Instant) -> Self {
        let channel = if by.is_some() { Channel::Page } else { Channel::Console };
        let body = Body::PasswordSet(Box::new(SecretChanged { sign_in: of.clone() }));
        let outside = Outside::Password(PasswordRow { sign_in: of.clone(), hash, set_at: now, one_time });
        Self {
            page: Page { author: by.cloned(), channel, on_behalf_of: None, happened_at: None, body },
            outside,
        }
    }

    /// `by`: an administrator; `None`: whoever has the machine.
    pub fn token(of: &SignIn, token_hash: [u8; 32], by: Option<&SignIn>, now: Instant) -> Self {
        let channel = if by.is_some() { Channel::Page } else { Channel::Console };
        let body = Body::TokenMade(Box::new(SecretChanged { sign_in: of.clone() }));
        let outside = Outside::Token(TokenRow {
            token_hash: hex::encode(token_hash),
            sign_in: of.clone(),
            created_at: now,
        });
        Self {
            page: Page { author: by.cloned(), channel, on_behalf_of: None, happened_at: None, body },
            outside,
        }
    }
}

impl Act for KeepSecret {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let (Body::PasswordSet(of) | Body::TokenMade(of)) = &self.page.body else {
            return Ok(Decided::default());
        };
        if draft.world.people.person(&of.sign_in).is_some_and(|p| p.active) {
            Ok(Decided { file: vec![0], outside: vec![self.outside.clone()] })
        } else {
            Err(Refused::NotThere(format!(
                "Nobody in this book signs in as {}: add the person first.",
                of.sign_in
            )))
        }
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}
