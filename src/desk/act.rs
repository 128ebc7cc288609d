//! An act: the pages somebody wants filed, and whether they may be, decided in memory.
use tokio::sync::oneshot;

use super::{
    draft::{Draft, Filed, Page},
    refused::Refused,
    tables::{PasswordRow, PersonNameRow, TokenRow},
};
use crate::{
    base::{Instant, SignIn},
    db::writer::Trouble,
};

/// Something somebody wants changed. Deciding looks only at the draft: everything it needs has been loaded.
pub trait Act: Send + 'static {
    type Answer: Send + 'static;

    /// The pages it would file, so that what they touch can be loaded.
    fn pages(&self) -> Vec<&Page>;

    /// Whether it may be, and which of the pages are to be filed. Never changes anything.
    fn decide(&self, draft: &Draft, now: Instant) -> Result<Decided, Refused>;

    /// What to tell whoever waits, once it is on the disk.
    fn answer(&self, draft: &Draft, filed: &[Filed]) -> Self::Answer;
}

/// A decision to go ahead.
#[derive(Debug, Default)]
pub struct Decided {
    /// Places in [`Act::pages`]; empty: nothing is new, and nothing is filed.
    pub file: Vec<usize>,
    /// What goes outside the book with it.
    pub outside: Vec<Outside>,
}

impl Decided {
    pub fn all(count: usize) -> Self {
        Self { file: (0..count).collect(), outside: Vec::new() }
    }
}

/// Rows outside the book that go with a page: secrets, and names that can be erased.
#[derive(Clone, Debug)]
pub enum Outside {
    Name(PersonNameRow),
    Password(PasswordRow),
    Token(TokenRow),
    /// Their sessions and tokens end.
    Gone(SignIn, Instant),
}

/// An act in the writer's queue, whatever its answer's type.
pub trait Errand: Send {
    fn pages(&self) -> Vec<&Page>;
    /// Decides and files; a refusal is kept as the answer and touches nothing.
    fn carry_out(&mut self, draft: &mut Draft, clock_now: Instant);
    /// Tells whoever waits.
    fn finish(self: Box<Self>, outcome: Result<(), &Trouble>);
}

pub(super) struct Waiting<A: Act> {
    pub act: A,
    /// When it counts as recorded; only a demo's history is given one.
    pub at: Option<Instant>,
    pub answer: Option<Result<A::Answer, Refused>>,
    pub reply: oneshot::Sender<Result<A::Answer, Refused>>,
}

impl<A: Act> Errand for Waiting<A> {
    fn pages(&self) -> Vec<&Page> {
        self.act.pages()
    }

    fn carry_out(&mut self, draft: &mut Draft, clock_now: Instant) {
        let now = if draft.world.railway.demo { self.at.unwrap_or(clock_now) } else { clock_now };
        self.answer = Some(decide_and_file(&self.act, draft, now));
    }

    fn finish(self: Box<Self>, outcome: Result<(), &Trouble>) {
        let answer = match (outcome, self.answer) {
            (Err(trouble), _) => Err(Refused::Trouble(trouble.clone())),
            (Ok(()), Some(answer)) => answer,
            (Ok(()), None) => Err(Refused::Trouble(Trouble::Fault("an act was not decided".to_owned()))),
        };
        // Nobody may be waiting any more: the act is done all the same.
        let _ = self.reply.send(answer);
    }
}

fn decide_and_file<A: Act>(act: &A, draft: &mut Draft, now: Instant) -> Result<A::Answer, Refused> {
    // A panic while deciding has changed nothing yet, so it fails this one act only.
    let decided = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| act.decide(draft, now)))
        .map_err(|_| Refused::Trouble(Trouble::Fault("a panic while deciding".to_owned())))??;
    let pages = act.pages();
    let mut filed = Vec::with_capacity(decided.file.len());
    for place in decided.file {
        let Some(page) = pages.get(place) else { continue };
        filed.push(draft.file(page, now).map_err(|why| Refused::Trouble(Trouble::Fault(why.to_string())))?);
    }
    for row in &decided.outside {
        match row {
            Outside::Name(name) => draft.rows.names.add(name),
            Outside::Password(password) => draft.rows.passwords.add(password),
            Outside::Token(token) => draft.rows.tokens.add(token),
            Outside::Gone(who, at) => {
                draft.rows.sessions_ended.add(&(who, at));
                draft.rows.tokens_ended.add(&(who, at));
            }
        }
    }
    Ok(act.answer(draft, &filed))
}
