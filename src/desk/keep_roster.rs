//! Classes' schedules and units, as lists bring them.
use super::{
    act::{Act, Decided},
    body::Body,
    draft::{Draft, Filed, Page},
    keep_people::Kept,
    refused::Refused,
};
use crate::{
    base::{Code, Instant, Problem, SignIn},
    book::Channel,
    roster::{Schedule, UnitCard},
};

/// Issues whole schedules. Identical content makes no new version.
#[derive(Debug)]
pub struct IssueSchedules(Vec<Page>);

impl IssueSchedules {
    pub fn of(schedules: Vec<Schedule>, by: Option<&SignIn>, channel: Channel) -> Self {
        Self(
            schedules
                .into_iter()
                .map(|schedule| page(Body::ScheduleIssued(Box::new(schedule)), by, channel))
                .collect(),
        )
    }
}

fn page(body: Body, by: Option<&SignIn>, channel: Channel) -> Page {
    Page { author: by.cloned(), channel, on_behalf_of: None, happened_at: None, body }
}

impl Act for IssueSchedules {
    type Answer = Kept;

    fn pages(&self) -> Vec<&Page> {
        self.0.iter().collect()
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let is_new = |page: &Page| {
            let Body::ScheduleIssued(schedule) = &page.body else { return false };
            let known = draft.world.roster.classes.get(&schedule.class).and_then(|class| class.latest());
            known
                .is_none_or(|known| Schedule { effective: known.effective, ..(**schedule).clone() } != *known)
        };
        let file =
            self.0.iter().enumerate().filter(|(_, page)| is_new(page)).map(|(place, _)| place).collect();
        Ok(Decided { file, outside: Vec::new() })
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Kept {
        Kept { new: filed.len(), same: self.0.len() - filed.len() }
    }
}

/// Adds units, or changes those it knows.
#[derive(Debug)]
pub struct KeepUnits(Vec<Page>);

impl KeepUnits {
    /// `known` says which units the roster has, so that the page says added or changed.
    pub fn of(
        cards: Vec<UnitCard>,
        known: impl Fn(&UnitCard) -> bool,
        by: Option<&SignIn>,
        channel: Channel,
    ) -> Self {
        let body = |card: UnitCard| {
            if known(&card) { Body::UnitChanged(Box::new(card)) } else { Body::UnitAdded(Box::new(card)) }
        };
        Self(cards.into_iter().map(|card| page(body(card), by, channel)).collect())
    }
}

impl Act for KeepUnits {
    type Answer = Kept;

    fn pages(&self) -> Vec<&Page> {
        self.0.iter().collect()
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let mut decided = Decided::default();
        for (place, page) in self.0.iter().enumerate() {
            let (Body::UnitAdded(card) | Body::UnitChanged(card)) = &page.body else { continue };
            if !draft.world.roster.classes.contains_key(&card.class) {
                return Err(Refused::Problems(vec![Problem {
                    path: "class".to_owned(),
                    code: Code::NotAllowed,
                    says: format!(
                        "There is no class {} yet: import its schedule first, then {}.",
                        card.class, card.unit
                    ),
                }]));
            }
            if draft.world.roster.unit(&card.unit) != Some(card) {
                decided.file.push(place);
            }
        }
        Ok(decided)
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Kept {
        Kept { new: filed.len(), same: self.0.len() - filed.len() }
    }
}
