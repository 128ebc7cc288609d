//! A unit kept from service, and signed back into it; a line of the board set aside until a date.
use super::{
    act::{Act, Decided},
    body::{Body, Hold, Release, SetAside},
    draft::{Draft, Filed, Page},
    refused::Refused,
    shop_repair::signed,
};
use crate::{base::Instant, people::Permit};

/// A hold, or another reason for one that stands.
#[derive(Debug)]
pub struct HoldUnit {
    page: Page,
    /// The page said that it was held already, and why: this is another reason.
    seen_held: bool,
}

impl HoldUnit {
    pub fn of(hold: Hold, seen_held: bool, permit: &Permit, now: Instant) -> Self {
        Self { page: signed(permit, now, Body::UnitHeld(Box::new(hold))), seen_held }
    }
}

impl Act for HoldUnit {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::UnitHeld(hold) = &self.page.body else { return Ok(Decided::default()) };
        let held = draft
            .units
            .get(&hold.unit)
            .is_some_and(|known| known.holds.iter().any(|held| held.until.is_none()));
        if held != self.seen_held {
            let says = if held {
                "Somebody held this unit since this page was shown: nothing was written twice. Below is how it stands now."
            } else {
                "This unit was released since this page was shown. Below is how it stands now; what you typed is kept."
            };
            return Err(Refused::Stale(says.to_owned()));
        }
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// A release. What stands against it was looked up in a book of `seen` pages: if anything was written about the unit
/// since, nobody knows whether it still may be.
#[derive(Debug)]
pub struct ReleaseUnit {
    page: Page,
    seen: u64,
}

impl ReleaseUnit {
    pub fn of(release: Release, seen: u64, permit: &Permit, now: Instant) -> Self {
        Self { page: signed(permit, now, Body::UnitReleased(Box::new(release))), seen }
    }
}

impl Act for ReleaseUnit {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::UnitReleased(release) = &self.page.body else { return Ok(Decided::default()) };
        match draft.told_about.get(&release.unit) {
            Some(last) if *last >= self.seen && self.seen > 0 => Err(Refused::Stale(
                "Something was written about this unit since this page was shown: it was not released. Read what came, below, then sign again. What you typed is kept.".to_owned(),
            )),
            _ => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// A line leaves the board until a date, with a reason; with a date that has come, it is back.
#[derive(Debug)]
pub struct SetLineAside(Page);

impl SetLineAside {
    pub fn of(aside: SetAside, permit: &Permit, now: Instant) -> Self {
        Self(signed(permit, now, Body::FindingSetAside(Box::new(aside))))
    }
}

impl Act for SetLineAside {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::FindingSetAside(aside) = &self.0.body else { return Ok(Decided::default()) };
        if aside.rule.is_certain() {
            return Err(Refused::Stale(
                "What somebody wrote is never set aside: it ends by a repair, or by an entry that says otherwise.".to_owned(),
            ));
        }
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}
