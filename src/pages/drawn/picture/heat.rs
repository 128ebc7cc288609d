//! Where on its panels a class trips: each device with its number, a word, and a gauge filled so far. Never by colour alone.
use std::collections::BTreeMap;

use crate::{
    base::{Tag, text::count},
    rules::pair::gap_in_words,
};

/// What each device had, and in how many service days of all units.
#[derive(Clone, Debug, Default)]
pub struct Heat {
    counts: BTreeMap<String, u32>,
    most: u32,
    days: i64,
}

/// How one device is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Level {
    /// Of four parts of the gauge, so many are filled.
    pub filled: u32,
    pub word: &'static str,
}

impl Heat {
    pub fn of(counts: impl Iterator<Item = (Tag, u32)>, days: i64) -> Self {
        let counts: BTreeMap<String, u32> = counts.map(|(tag, n)| (tag.to_string(), n)).collect();
        Self { most: counts.values().copied().max().unwrap_or(0), counts, days }
    }

    /// Of the fullest device: under an eighth few, under a third some, under two thirds many.
    pub fn level(&self, tag: &str) -> Level {
        let n = self.n(tag);
        let (filled, word) = match (n, n * 24, self.most) {
            (0, ..) => (0, "none"),
            (_, n, most) if n < most * 3 => (1, "few"),
            (_, n, most) if n < most * 8 => (2, "some"),
            (_, n, most) if n < most * 16 => (3, "many"),
            _ => (4, "most"),
        };
        Level { filled, word }
    }

    pub fn n(&self, tag: &str) -> u32 {
        self.counts.get(tag).copied().unwrap_or(0)
    }

    /// `one in 90 service days of a unit`; nothing where there was none.
    pub fn rate(&self, tag: &str) -> String {
        match self.n(tag) {
            0 => String::new(),
            n => format!("1 in {}", gap_in_words(self.days as f64 / f64::from(n)).replace("service ", "")),
        }
    }

    /// `many, 14 occurrences, 1 in 90 days`.
    pub fn told(&self, tag: &str) -> String {
        let n = count(u64::from(self.n(tag)), "occurrence", "occurrences");
        let word = self.level(tag).word;
        if self.n(tag) > 0 { format!("{word}, {n}, {}", self.rate(tag)) } else { format!("{word}, {n}") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_level_is_a_word_and_a_number_beside_the_fullest() {
        let counts = [("A", 48), ("B", 32), ("C", 31), ("D", 15), ("E", 5), ("F", 0)];
        let heat = Heat::of(counts.iter().map(|(tag, n)| (Tag::from(*tag), *n)), 4_800);
        let words: Vec<_> = counts.iter().map(|(tag, _)| heat.level(tag).word).collect();
        assert_eq!(words, ["most", "most", "many", "some", "few", "none"]);
        assert_eq!(heat.told("A"), "most, 48 occurrences, 1 in 100 days");
        assert_eq!(heat.told("F"), "none, 0 occurrences");
        assert_eq!(heat.level("not there").word, "none");
    }

    #[test]
    fn one_occurrence_in_a_class_is_the_most_there_is() {
        let heat = Heat::of([(Tag::from("A"), 1), (Tag::from("B"), 0)].into_iter(), 300);
        assert_eq!((heat.level("A").filled, heat.level("B").filled), (4, 0));
    }
}
