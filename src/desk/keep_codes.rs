//! That somebody's one-time codes were set up or cleared, or a token revoked, stands in the book; what they are does not.
use super::{
    act::{Act, Decided},
    body::{Body, CodesCleared, SecretChanged},
    draft::{Draft, Filed, Page},
    refused::Refused,
};
use crate::{
    base::{Instant, SignIn},
    book::Channel,
    people::Permit,
};

#[derive(Debug)]
pub struct TellOfSecret(Page);

impl TellOfSecret {
    pub fn set(permit: &Permit) -> Self {
        let body = Body::CodesSet(Box::new(SecretChanged { sign_in: permit.by().clone() }));
        Self::page(Some(permit.by()), body)
    }

    /// `by`: an administrator; `None`: whoever has the machine.
    pub fn cleared(of: &SignIn, reason: String, by: Option<&Permit>) -> Self {
        let body = Body::CodesCleared(Box::new(CodesCleared { sign_in: of.clone(), reason }));
        Self::page(by.map(Permit::by), body)
    }

    pub fn token_revoked(of: &SignIn, permit: &Permit) -> Self {
        Self::page(Some(permit.by()), Body::TokenRevoked(Box::new(SecretChanged { sign_in: of.clone() })))
    }

    fn page(author: Option<&SignIn>, body: Body) -> Self {
        let channel = if author.is_some() { Channel::Page } else { Channel::Console };
        Self(Page { author: author.cloned(), channel, on_behalf_of: None, happened_at: None, body })
    }
}

impl Act for TellOfSecret {
    type Answer = ();

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let of = match &self.0.body {
            Body::CodesSet(of) | Body::TokenRevoked(of) => &of.sign_in,
            Body::CodesCleared(of) => &of.sign_in,
            _ => return Ok(Decided::default()),
        };
        match draft.world.people.person(of) {
            Some(_) => Ok(Decided::all(1)),
            None => Err(Refused::NotThere(format!("Nobody in this book signs in as {of}."))),
        }
    }

    fn answer(&self, _: &Draft, _: &[Filed]) {}
}
