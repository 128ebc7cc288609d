//! Repairs, holds, releases, figures: what the shop and the program itself put in the book.
use super::{
    act::{Act, Decided},
    body::Body,
    draft::{Draft, Filed, Page},
    refused::Refused,
};
use crate::{
    base::{Instant, SignIn, Stamp},
    book::Channel,
};

/// An act of the shop, or the program's own class figures: the page as it stands.
#[derive(Debug)]
pub struct ShopAct(Page);

impl ShopAct {
    /// `by` is `None` for the program itself.
    pub fn of(body: Body, by: Option<SignIn>, channel: Channel, happened: Instant) -> Self {
        Self(Page { author: by, channel, on_behalf_of: None, happened_at: Some(Stamp::utc(happened)), body })
    }
}

impl Act for ShopAct {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        match &self.0.body {
            Body::RepairOpened(opened) if draft.repairs.contains_key(&opened.id) => Ok(Decided::default()),
            Body::RepairClosed(closed) => match draft.repairs.get(&closed.id) {
                None => Err(Refused::NotThere(
                    "The book holds no such repair: look at the unit again.".to_owned(),
                )),
                Some(known) if known.closed_at.is_some() => Err(Refused::Stale(
                    "This repair was closed already, perhaps from another screen: it stays as it was closed."
                        .to_owned(),
                )),
                Some(_) => Ok(Decided::all(1)),
            },
            _ => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}
