//! The only place that asks what time it is.
use std::sync::{
    Arc,
    atomic::{AtomicI64, Ordering},
};

use super::Instant;

/// What time it is: the machine's, or one that a test or the demo sets.
#[derive(Clone, Debug, Default)]
pub struct Clock(Option<Arc<AtomicI64>>);

impl Clock {
    pub fn machine() -> Self {
        Self(None)
    }

    /// A clock that stands still until [`Clock::set`] moves it.
    pub fn standing_at(at: Instant) -> Self {
        Self(Some(Arc::new(AtomicI64::new(at.0))))
    }

    /// Moves a standing clock; a machine's clock stays what it is.
    pub fn set(&self, at: Instant) {
        if let Some(hand) = &self.0 {
            hand.store(at.0, Ordering::SeqCst);
        }
    }

    #[expect(clippy::disallowed_methods, reason = "this is the one place")]
    pub fn now(&self) -> Instant {
        match &self.0 {
            Some(hand) => Instant(hand.load(Ordering::SeqCst)),
            None => {
                let nanos = time::OffsetDateTime::now_utc().unix_timestamp_nanos();
                Instant(i64::try_from(nanos / 1_000).unwrap_or(i64::MAX))
            }
        }
    }
}
