//! What the writer is doing, for whoever watches it from outside.
use std::{
    sync::{Mutex, PoisonError},
    time::{Duration, Instant},
};

use prometheus_client::metrics::histogram::Histogram;

use super::writer::Trouble;

pub struct AtWork {
    /// Since when the first job of the group in hand has waited. Jobs are taken in order, so none is older.
    oldest: Mutex<Option<Instant>>,
    /// Why the disk took nothing, if the last attempt was of that kind.
    trouble: Mutex<Option<Trouble>>,
    /// How many jobs a group had.
    groups: Histogram,
}

impl Default for AtWork {
    fn default() -> Self {
        let groups = Histogram::new([1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 256.0, 1024.0, 2048.0]);
        Self { oldest: Mutex::default(), trouble: Mutex::default(), groups }
    }
}

impl AtWork {
    pub(super) fn begins(&self, since: Instant, jobs: usize) {
        *self.oldest.lock().unwrap_or_else(PoisonError::into_inner) = Some(since);
        self.groups.observe(jobs as f64);
    }

    pub(super) fn ends(&self) {
        *self.oldest.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// What failed by the program's own fault says nothing about the disk.
    pub(super) fn told(&self, outcome: &Result<(), Trouble>) {
        if matches!(outcome, Err(Trouble::Fault(_))) {
            return;
        }
        *self.trouble.lock().unwrap_or_else(PoisonError::into_inner) = outcome.as_ref().err().cloned();
    }

    /// How long the oldest unfinished job has waited.
    pub fn oldest(&self) -> Option<Duration> {
        self.oldest.lock().unwrap_or_else(PoisonError::into_inner).map(|since| since.elapsed())
    }

    pub fn trouble(&self) -> Option<Trouble> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    pub fn groups(&self) -> &Histogram {
        &self.groups
    }
}
