//! What somebody typed or tapped, by field name, as it came. Kept until it is signed, so that nothing is lost.
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::base::text;

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Typed(BTreeMap<String, String>);

impl Typed {
    /// As typed; empty when it was not.
    pub fn raw(&self, name: &str) -> &str {
        self.0.get(name).map_or("", String::as_str)
    }

    /// Trimmed; `None` when nothing was stated.
    pub fn stated(&self, name: &str) -> Option<String> {
        text::tidy(self.raw(name))
    }

    /// Its field came with the form, whatever was in it.
    pub fn asked(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        self.0.insert(name.to_owned(), value.into());
    }

    pub fn with(mut self, name: &str, value: impl Into<String>) -> Self {
        self.set(name, value);
        self
    }

    pub fn remove(&mut self, name: &str) -> Option<String> {
        self.0.remove(name)
    }

    /// Every field that came, by name.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// A browser sends a field twice only where two controls share a name: the last stated one counts.
impl FromIterator<(String, String)> for Typed {
    fn from_iter<T: IntoIterator<Item = (String, String)>>(pairs: T) -> Self {
        let mut typed = Self::default();
        for (name, value) in pairs {
            if !value.trim().is_empty() || typed.raw(&name).is_empty() {
                typed.set(&name, value);
            }
        }
        typed
    }
}
