//! Verifying the whole book because somebody at a page asked, beside everything else, one at a time.
use std::sync::{Arc, Mutex, PoisonError};

use super::{
    Desk,
    verify::{self, Verdict},
};
use crate::{
    base::{Instant, SignIn},
    book::checkpoint_store::{self, Checked},
};

/// Who has asked, while it goes on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checking {
    pub since: Instant,
    pub by: SignIn,
}

#[derive(Clone, Debug, Default)]
pub struct Turn(Arc<Mutex<Option<Checking>>>);

impl Turn {
    fn now(&self) -> Option<Checking> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Whether it was free.
    fn take(&self, who: Checking) -> bool {
        let mut turn = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let free = turn.is_none();
        turn.get_or_insert(who);
        free
    }

    fn give_back(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

impl Desk {
    /// Who is having the book verified just now.
    pub fn checking(&self) -> Option<Checking> {
        self.checking.now()
    }

    /// Begins to verify and does not wait for it; `false`: somebody's is under way already. On a thread of its own: it
    /// reckons every projection anew, and must hold up neither the writer nor the web.
    pub fn begin_check(&self, by: SignIn) -> std::io::Result<bool> {
        let who = Checking { since: self.clock().now(), by };
        if !self.checking.take(who.clone()) {
            return Ok(false);
        }
        let desk = self.clone();
        let tokio = tokio::runtime::Builder::new_current_thread().enable_all().build();
        let tokio = tokio.inspect_err(|_| self.checking.give_back())?;
        let begun = std::thread::Builder::new().name("verify".to_owned()).spawn(move || {
            let verdict = tokio.block_on(verify::verify(&desk.path));
            let (clean, says) = told(verdict);
            let ended_at = desk.clock().now();
            let kept = Checked { asked_at: who.since, asked_by: who.by, ended_at, clean, says };
            let kept = tokio.block_on(
                desk.aside(move |db| Box::pin(async move { checkpoint_store::keep_check(db, &kept).await })),
            );
            if let Err(why) = kept {
                tracing::warn!(%why, "what verifying found could not be kept");
            }
            desk.checking.give_back();
        });
        begun.map(|_| true).inspect_err(|_| self.checking.give_back())
    }
}

/// More lines than a page can show are in `breakerbook verify`.
const MOST_LINES: usize = 20;

fn told(verdict: Result<Verdict, crate::db::OpenError>) -> (bool, String) {
    match verdict {
        Ok(Verdict::Clean { size, root, notes }) => {
            let first = format!("{size} pages, root {root}: all as filed.");
            (true, std::iter::once(first).chain(notes).collect::<Vec<_>>().join("\n"))
        }
        Ok(Verdict::Flawed(flaws)) => {
            let more = flaws.len().saturating_sub(MOST_LINES);
            let mut lines: Vec<String> = flaws.into_iter().take(MOST_LINES).collect();
            if more > 0 {
                lines.push(format!("and {more} more: run `breakerbook verify`"));
            }
            (false, lines.join("\n"))
        }
        Err(why) => (false, why.to_string()),
    }
}
