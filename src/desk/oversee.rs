//! The next crew's signature under the handover; a supervisor's review of a bypass.
use super::{
    Desk,
    act::{Act, Decided},
    body::{ActRefused, Body, HandoverRead, Judgement, Review},
    draft::{Draft, Filed, Page},
    refused::Refused,
};
use crate::{
    base::{EntryId, Instant, SignIn, Stamp, UnitName},
    book::Channel,
    people::Permit,
    rules::Bypass,
};

fn signed(permit: &Permit, now: Instant, body: Body) -> Page {
    Page {
        author: Some(permit.by().clone()),
        channel: Channel::Page,
        on_behalf_of: None,
        happened_at: Some(Stamp::utc(now)),
        body,
    }
}

/// 'Read and understood.'
#[derive(Debug)]
pub struct SignHandover(Page);

impl SignHandover {
    /// `tree_size` is the book's size as it was shown to the reader.
    pub fn of(unit: UnitName, tree_size: u64, permit: &Permit, now: Instant) -> Self {
        Self(signed(
            permit,
            now,
            Body::HandoverRead(Box::new(HandoverRead { unit, tree_size: Some(tree_size) })),
        ))
    }
}

impl Act for SignHandover {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }
    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        Ok(Decided::all(1))
    }
    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// A supervisor's signed judgement of one bypass.
#[derive(Debug)]
pub struct ReviewBypass {
    page: Page,
    /// The page of the last review its writer had seen; 0: none. Not in the book: it only decides.
    seen_review: u64,
}

impl ReviewBypass {
    /// `seen_seq` is the highest page the bypass rested on when it was shown.
    pub fn of(
        bypass: EntryId,
        unit: UnitName,
        seen_seq: u64,
        judgement: Judgement,
        words: String,
        permit: &Permit,
        now: Instant,
    ) -> Self {
        let review = Review { bypass, unit, last_seq: seen_seq, judgement, words };
        Self { page: signed(permit, now, Body::BypassReviewed(Box::new(review))), seen_review: 0 }
    }

    /// The latest review that was shown beside the form.
    pub fn having_seen(self, seen_review: u64) -> Self {
        Self { seen_review, ..self }
    }
}

impl Act for ReviewBypass {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.page]
    }

    fn decide(&self, draft: &Draft, _: Instant) -> Result<Decided, Refused> {
        let (Body::BypassReviewed(review), Some(reviewer)) = (&self.page.body, &self.page.author) else {
            return Ok(Decided::default());
        };
        let Some(bypass) = draft.bypasses.get(&review.bypass) else {
            return Err(Refused::NotThere(
                "The register holds no such opening any more: look at the unit's openings again.".to_owned(),
            ));
        };
        let reviewed = bypass.entries.iter().filter_map(|entry| draft.reviewed.get(entry)).max();
        let stated = bypass.entries.iter().filter_map(|entry| draft.stated.get(entry)).max();
        let last_seq = stated.copied().unwrap_or(0).max(bypass.last_seq);
        if last_seq > review.last_seq || reviewed.is_some_and(|seq| *seq > self.seen_review) {
            return Err(Refused::Stale(
                "Something about this opening was written since you opened this page. Your words are kept below: look again, then sign.".to_owned(),
            ));
        }
        match own_hand(bypass, reviewer, &draft.world.people) {
            Some(why) => Err(Refused::NotYours(why)),
            None => Ok(Decided::all(1)),
        }
    }

    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

impl Desk {
    /// Does what somebody signed. If it was not theirs to do, that they signed it stays, whatever becomes of what it was
    /// about (`about`: its id).
    pub async fn act_on_record<A: Act>(
        &self,
        act: A,
        about: impl ToString,
        permit: &Permit,
        now: Instant,
    ) -> Result<A::Answer, Refused> {
        let answer = self.act(act).await;
        if let Err(Refused::NotYours(says)) = &answer {
            self.act(KeepRefused::of(about.to_string(), says, permit, now)).await?;
        }
        answer
    }
}

/// That somebody signed what was not theirs to do. The page changes nothing, but it stays.
#[derive(Debug)]
pub struct KeepRefused(Page);

impl KeepRefused {
    /// `about`: the id of what it was about. `says`: what they were told.
    pub fn of(about: String, says: &str, permit: &Permit, now: Instant) -> Self {
        let refused = ActRefused { act: permit.act(), about, says: says.to_owned() };
        Self(signed(permit, now, Body::ActRefused(Box::new(refused))))
    }
}

impl Act for KeepRefused {
    type Answer = Option<Filed>;

    fn pages(&self) -> Vec<&Page> {
        vec![&self.0]
    }
    fn decide(&self, _: &Draft, _: Instant) -> Result<Decided, Refused> {
        Ok(Decided::all(1))
    }
    fn answer(&self, _: &Draft, filed: &[Filed]) -> Option<Filed> {
        filed.first().copied()
    }
}

/// Why somebody may not review a bypass: they had a hand in it. `None`: they had none.
pub fn own_hand(bypass: &Bypass, reviewer: &SignIn, people: &crate::people::People) -> Option<String> {
    if bypass.hands.contains(reviewer) {
        return Some(
            "You opened, closed or authorised this one, or granted the right to: somebody with no hand in it has to review it.".to_owned(),
        );
    }
    let opener =
        if let crate::rules::fact::Hand::Person(opener) = &bypass.opened_by { Some(opener) } else { None };
    let granted = people.authorisations.iter().any(|a| {
        a.granters().any(|by| by == reviewer)
            && opener == Some(&a.person)
            && a.scope.covers(bypass.class.as_ref())
    });
    granted.then(|| {
        "You granted the authorisation it was opened under: somebody with no hand in it has to review it."
            .to_owned()
    })
}
