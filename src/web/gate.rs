//! Tries that have to wait anyway, known without asking the file: ten thousand of them cost neither disk nor hashing.
use std::{
    collections::HashMap,
    sync::{Mutex, PoisonError},
};

use crate::{
    base::{Instant, instant::SECOND},
    people::tries_store::Try,
};

/// By what the tries are counted under.
#[derive(Default)]
pub struct Gate(Mutex<HashMap<String, Shut>>);

struct Shut {
    how: Try,
    since: Instant,
    /// Tries that were sent away here and are not told of in the file yet.
    slowed: u32,
}

/// Then the file is asked again: somebody may have set a new password at the console.
const BELIEVED: i64 = 5 * SECOND;
/// More names at once are tried in an attack only: it starts afresh then.
const MOST: usize = 4_096;

impl Gate {
    /// Whether it is known to be shut; counts the try if so.
    pub fn shut(&self, counted: &str, now: Instant) -> Option<Try> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let shut = all.get_mut(counted)?;
        let fresh = (0..BELIEVED).contains(&now.since(shut.since));
        let shut_still = match shut.how {
            Try::Granted => false,
            Try::Wait(until) => now < until,
            Try::Locked => true,
        };
        if !(fresh && shut_still) {
            return None;
        }
        shut.slowed = shut.slowed.saturating_add(1);
        Some(shut.how)
    }

    /// What the file said; how many tries were sent away since it was asked last.
    pub fn learn(&self, counted: &str, how: Try, now: Instant) -> u32 {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let slowed = all.remove(counted).map_or(0, |shut| shut.slowed);
        if how != Try::Granted {
            if all.len() >= MOST {
                all.clear();
            }
            all.insert(counted.to_owned(), Shut { how, since: now, slowed: 0 });
        }
        slowed
    }

    /// Opens it at once, as after a new password; how many tries were sent away here and not told of yet.
    pub fn open(&self, counted: &str) -> u32 {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.remove(counted).map_or(0, |shut| shut.slowed)
    }

    /// Sent away here and not in the file yet.
    pub fn slowed(&self, counted: &str) -> u32 {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(counted).map_or(0, |shut| shut.slowed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_believed_for_seconds_and_counts_what_it_sends_away() {
        let (gate, at) = (Gate::default(), |s: i64| Instant(s * SECOND));
        assert_eq!(gate.shut("ann", at(0)), None, "nothing is known");
        assert_eq!(gate.learn("ann", Try::Wait(at(900)), at(0)), 0);
        assert_eq!(gate.shut("ann", at(1)), Some(Try::Wait(at(900))));
        assert_eq!(gate.shut("ann", at(4)), Some(Try::Wait(at(900))));
        assert_eq!(gate.shut("ben", at(4)), None);
        assert_eq!(gate.shut("ann", at(5)), None, "the file is asked again");
        assert_eq!(gate.slowed("ann"), 2);
        assert_eq!(gate.learn("ann", Try::Wait(at(6)), at(5)), 2);
        assert_eq!(gate.shut("ann", at(6)), None, "the wait is over");
        assert_eq!(gate.learn("ann", Try::Granted, at(6)), 0);
        assert_eq!(gate.shut("ann", at(6)), None);
    }
}
