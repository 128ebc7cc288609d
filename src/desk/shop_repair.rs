//! Repairs as people sign them: opened, worked on, closed, corrected. Decided in the writer, in the order in which the
//! forms came: of two screens the second is told what the first wrote.
use super::{
    act::{Act, Decided},
    body::{Body, CauseListed, RepairAmended, RepairClosed, RepairOpened, RepairWorked},
    draft::{Draft, Filed, Page},
    refused::Refused,
};
use crate::{
    base::{Instant, Stamp},
    book::Channel,
    people::Permit,
    shop::{self, Repair},
};

pub(super) fn signed(permit: &Permit, now: Instant, body: Body) -> Page {
    Page {
        author: Some(permit.by().clone()),
        channel: Channel::Page,
        on_behalf_of: None,
        happened_at: Some(Stamp::utc(now)),
        body,
    }
}

const NO_SUCH: &str = "The book holds no such repair: look at the unit again.";

/// A repair is begun, unless what it is to answer is in repair already and nobody said that they know.
#[derive(Debug)]
pub struct OpenRepair {
    page: Page,
    /// The open repairs of the unit that the page showed.
    seen: Vec<uuid::Uuid>,
}

impl OpenRepair {
    pub fn of(opened: RepairOpened, seen: Vec<uuid::Uuid>, permit: &Permit, now: Instant) -> Self {
        Self { page: signed(permit, now, Body::RepairOpened(Box::new(opened))), seen }
    }
}

/// Whether two repairs would answer something of the same.
pub fn overlap(open: &Repair, wanted: &RepairOpened) -> bool {
    let same_subject = std::iter::once(&wanted.device).chain(&wanted.also).any(|of| open.is_of(of.as_ref()));
    let named = open.findings.iter().any(|key| wanted.findings.contains(key))
        || open.entries.iter().any(|id| wanted.entries.contains(id));
    open.unit == wanted.unit && (same_subject || named)
}

impl Act for OpenRepair {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::RepairOpened(wanted) = &self.page.body else { return Ok(Decided::default()) };
        if draft.repairs.contains_key(&wanted.id) {
            return Ok(Decided::default());
        }
        let open = draft.repairs.values().filter(|repair| repair.closed_at.is_none());
        let mut unseen = open.filter(|repair| overlap(repair, wanted) && !self.seen.contains(&repair.id));
        match unseen.next() {
            None => Ok(Decided::all(1)),
            Some(other) => Err(Refused::Stale(format!(
                "{} opened a repair of the same since this page was shown. Look at it below before you open another.",
                other.opened_by
            ))),
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// What somebody did, under their own password.
#[derive(Debug)]
pub struct WorkOnRepair(Page);

impl WorkOnRepair {
    pub fn of(worked: RepairWorked, permit: &Permit, now: Instant) -> Self {
        Self(signed(permit, now, Body::RepairWorked(Box::new(worked))))
    }
}

impl Act for WorkOnRepair {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::RepairWorked(worked) = &self.0.body else { return Ok(Decided::default()) };
        let repair = draft.repairs.get(&worked.id).ok_or_else(|| Refused::NotThere(NO_SUCH.to_owned()))?;
        if repair.steps.iter().any(|step| step.id == worked.step) {
            return Ok(Decided::default());
        }
        if repair.closed_at.is_some() {
            return Err(Refused::Stale(format!(
                "{} closed this repair, so no step is added to it. Your words are kept below: correct the closing with them, or open another repair.",
                closed_by(repair)
            )));
        }
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

fn closed_by(repair: &Repair) -> String {
    repair.closed_by.as_ref().map_or_else(|| "Somebody".to_owned(), ToString::to_string)
}

/// The last signature under a repair.
#[derive(Debug)]
pub struct CloseRepair {
    /// The closing, and before it the cause that goes on the shop's list with it.
    pages: Vec<Page>,
    /// The last page about the repair that was shown beside the form.
    seen: u64,
}

impl CloseRepair {
    pub fn of(
        closed: RepairClosed,
        new_cause: Option<CauseListed>,
        seen: u64,
        permit: &Permit,
        now: Instant,
    ) -> Self {
        let listed = new_cause.map(|cause| signed(permit, now, Body::CauseListed(Box::new(cause))));
        let closing = signed(permit, now, Body::RepairClosed(Box::new(closed)));
        Self { pages: listed.into_iter().chain([closing]).collect(), seen }
    }
}

impl Act for CloseRepair {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        self.pages.iter().collect()
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Some(Body::RepairClosed(closed)) = self.pages.last().map(|page| &page.body) else {
            return Ok(Decided::default());
        };
        let repair = draft.repairs.get(&closed.id).ok_or_else(|| Refused::NotThere(NO_SUCH.to_owned()))?;
        if repair.closed_at.is_some() {
            return Err(Refused::Stale(format!(
                "{} closed this repair, perhaps on another screen: it stays as it was closed, see below. Nothing was written twice. What you typed is kept here in case it says more: correct the closing with it.",
                closed_by(repair)
            )));
        }
        if repair.last_seq > self.seen {
            return Err(Refused::Stale(
                "Somebody signed a step of this repair since this page was shown. Read it, then sign: what you typed is kept below.".to_owned(),
            ));
        }
        Ok(Decided::all(self.pages.len()))
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.last().copied()
    }
}

/// What a closing said is corrected by a later page.
#[derive(Debug)]
pub struct AmendRepair {
    page: Page,
    seen: u64,
}

impl AmendRepair {
    pub fn of(amended: RepairAmended, seen: u64, permit: &Permit, now: Instant) -> Self {
        Self { page: signed(permit, now, Body::RepairAmended(Box::new(amended))), seen }
    }
}

impl Act for AmendRepair {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::RepairAmended(amended) = &self.page.body else { return Ok(Decided::default()) };
        let repair = draft.repairs.get(&amended.id).ok_or_else(|| Refused::NotThere(NO_SUCH.to_owned()))?;
        if repair.before.iter().any(|before| before.amendment == amended.amendment) {
            return Ok(Decided::default());
        }
        if repair.closed_at.is_none() {
            return Err(Refused::Stale(
                "This repair is still open: close it, there is nothing to correct yet.".to_owned(),
            ));
        }
        if repair.last_seq > self.seen {
            return Err(Refused::Stale(
                "Somebody else corrected this repair since this page was shown. It is below as it now stands; what you typed is kept.".to_owned(),
            ));
        }
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// A cause goes on the shop's list, or comes off it.
#[derive(Debug)]
pub struct ListCause(Page);

impl ListCause {
    pub fn of(listed: CauseListed, permit: &Permit, now: Instant) -> Self {
        Self(signed(permit, now, Body::CauseListed(Box::new(listed))))
    }
}

impl Act for ListCause {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }

    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        let Body::CauseListed(listed) = &self.0.body else { return Ok(Decided::default()) };
        let key = shop::cause_key(&listed.cause);
        if key.is_empty() || [shop::NO_FAULT_FOUND, shop::NOT_KNOWN].contains(&key.as_str()) {
            return Err(Refused::Stale(format!(
                "'{}' and '{}' can always be chosen: they are on no list, and never come off it.",
                shop::NO_FAULT_FOUND,
                shop::NOT_KNOWN
            )));
        }
        Ok(Decided::all(1))
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}
