//! One person, kept by hand: added, changed, gone and back, each with its reason.
use uuid::Uuid;

use super::{
    World,
    act::{Act, Decided, Outside},
    body::{Body, PersonCard, TabletKeyRevoked},
    draft::{Draft, Filed, Page},
    grants::still_may,
    keep_people::{KeptName, name_digest, salt_of},
    refused::{Refused, not_allowed},
    tables::PersonNameRow,
    tablets::page,
};
use crate::{
    base::{Instant, SignIn},
    people::{Permit, Person, Role, permit},
};

/// What is done with a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deed {
    Add,
    Change,
    End,
    Return,
}

/// A person as they are to be.
#[derive(Clone, Debug)]
pub struct Wanted {
    pub sign_in: SignIn,
    pub role: Role,
    pub name: String,
    pub craft: String,
    pub reason: String,
}

#[derive(Debug)]
pub struct KeepPerson {
    deed: Deed,
    /// The last page about them that its author had seen.
    seen: u64,
    /// The person first; then the keys that sign no more.
    pages: Vec<Page>,
    name: PersonNameRow,
    /// Name and craft are what they were.
    same_name: bool,
    by: SignIn,
}

impl KeepPerson {
    pub fn of(
        deed: Deed,
        wanted: Wanted,
        kept: Option<&KeptName>,
        seen: u64,
        permit: &Permit,
        now: Instant,
    ) -> Result<Self, getrandom::Error> {
        let salt = salt_of(kept)?;
        let card = PersonCard {
            sign_in: wanted.sign_in.clone(),
            role: wanted.role,
            active: deed != Deed::End,
            name_digest: name_digest(&salt, &wanted.name, &wanted.craft),
            reason: Some(wanted.reason),
        };
        let body = match deed {
            Deed::Add => Body::PersonAdded(Box::new(card)),
            _ => Body::PersonChanged(Box::new(card)),
        };
        let same_name = kept.is_some_and(|known| known.name == wanted.name && known.craft == wanted.craft);
        let (name, craft) = (wanted.name, wanted.craft);
        Ok(Self {
            deed,
            seen,
            pages: vec![page(permit.by(), now, body)],
            name: PersonNameRow { sign_in: wanted.sign_in, name, craft, salt: hex::encode(&salt) },
            same_name,
            by: permit.by().clone(),
        })
    }

    /// Their tablets' keys end with them, and none of before comes back with them.
    pub fn ending_keys(mut self, keys: impl IntoIterator<Item = Uuid>, now: Instant) -> Self {
        let reason = match self.deed {
            Deed::End => "Its person has left.",
            _ => "Its person had left.",
        };
        let revoked = |key| TabletKeyRevoked { key, reason: reason.to_owned() };
        let by = self.by.clone();
        let pages =
            keys.into_iter().map(|key| page(&by, now, Body::TabletKeyRevoked(Box::new(revoked(key)))));
        self.pages.extend(pages);
        self
    }

    fn card(&self) -> Option<&PersonCard> {
        match &self.pages.first()?.body {
            Body::PersonAdded(card) | Body::PersonChanged(card) => Some(card),
            _ => None,
        }
    }

    fn may_be(&self, card: &PersonCard, world: &World) -> Result<(), Refused> {
        let who = &card.sign_in;
        let Some(known) = world.people.person(who) else {
            return match self.deed {
                Deed::Add => Ok(()),
                _ => Err(Refused::NotThere(format!("Nobody in this book signs in as {who}."))),
            };
        };
        if self.deed == Deed::Add {
            return Err(not_allowed("sign_in", in_use(known)));
        }
        if known.last.seq != self.seen {
            return Err(Refused::Stale(format!(
                "Somebody changed {who} since you opened this page. What you typed is kept below: look again, then sign."
            )));
        }
        if let Some(says) = not_theirs(known, card, &self.by, world) {
            return Err(Refused::NotYours(says));
        }
        match self.deed {
            Deed::Return if known.active => Err(Refused::Stale(format!("{who} has not left."))),
            Deed::Change | Deed::End if !known.active => {
                Err(Refused::Stale(format!("{who} has left already.")))
            }
            Deed::Change if known.role == card.role && self.same_name => {
                Err(not_allowed("", "Nothing is changed: all is as it was.".to_owned()))
            }
            _ => Ok(()),
        }
    }
}

fn in_use(known: &Person) -> String {
    let who = &known.sign_in;
    if known.active {
        format!("{who} is in use. A sign-in name is one person's for ever: choose another.")
    } else {
        format!(
            "{who} is the name of somebody who has left, and is never given to a second person. If it is they who come back, let them in again on their own page."
        )
    }
}

/// What nobody may do to the one who signs, or to the book's last administrator.
fn not_theirs(known: &Person, card: &PersonCard, by: &SignIn, world: &World) -> Option<String> {
    let ends = known.active && !card.active;
    if ends && known.sign_in == *by {
        return Some("You cannot end yourself: another administrator has to.".to_owned());
    }
    let loses =
        known.active && known.role == Role::Administrator && (ends || card.role != Role::Administrator);
    (loses && !world.people.another_administrator(&known.sign_in)).then(|| {
        format!(
            "{} is the last administrator: without one nobody could keep people and roster any more. Make somebody else one first.",
            known.sign_in
        )
    })
}

impl Act for KeepPerson {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        self.pages.iter().collect()
    }

    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused> {
        let Some(card) = self.card() else { return Ok(Decided::default()) };
        still_may(draft, Some(&self.by), permit::Act::KeepPeople)?;
        self.may_be(card, &draft.world)?;
        let lives = |page: &Page| match &page.body {
            Body::TabletKeyRevoked(revoked) => {
                draft.tablet_keys.get(&revoked.key).is_some_and(|key| key.revoked_at.is_none())
            }
            _ => true,
        };
        let file = (0..).zip(&self.pages).filter(|(_, page)| lives(page)).map(|(place, _)| place).collect();
        let mut outside = vec![Outside::Name(self.name.clone())];
        if matches!(self.deed, Deed::End | Deed::Return) {
            outside.push(Outside::Gone(card.sign_in.clone(), now));
        }
        Ok(Decided { file, outside })
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}
