//! What the writer keeps of histories from one group to the next, so that it need not read and unpack them again.
//! Only what is in the file belongs in here: the clerk puts a draft's histories in after COMMIT, and empties it when
//! a group is undone or another process wrote.
use std::collections::{BTreeSet, HashMap};

use super::{draft::UnitHistory, runs::Watch};
use crate::{
    base::{EntryId, UnitName},
    rules::{Dossier, DossierKey, Fact, Judgement, dossier::fortnight},
};

/// A dossier in hand.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    pub dossier: Dossier,
    pub stored: Stored,
    /// Of a ground-protection dossier, once it has been judged.
    pub watch: Option<Watch>,
    /// The fortnights whose facts are not as the file has them.
    pub changed: BTreeSet<i64>,
}

/// What the file has of a dossier's judgement.
#[derive(Clone, Debug, Default)]
pub enum Stored {
    #[default]
    Nothing,
    /// So many findings, which nobody has read.
    Unread {
        findings: usize,
    },
    This(Judgement),
}

impl Kept {
    pub fn add(&mut self, fact: Fact) {
        self.changed.insert(fortnight(fact.at));
        self.dossier.add(fact);
    }

    /// Takes out every version of an entry and hands them back.
    pub fn take(&mut self, entry: EntryId) -> Vec<Fact> {
        let out = self.dossier.take(entry);
        self.changed.extend(out.iter().map(|fact| fortnight(fact.at)));
        out
    }
}

/// Facts kept at most: some 80 MB. A railway whose units report in turn has its busy dossiers here.
const MOST_FACTS: usize = 250_000;

#[derive(Debug, Default)]
pub struct Cabinet {
    /// With the turn in which each was last in hand.
    dossiers: HashMap<DossierKey, (u64, Kept)>,
    units: HashMap<UnitName, UnitHistory>,
    facts: usize,
    turn: u64,
}

impl Cabinet {
    pub fn take(&mut self, key: &DossierKey) -> Option<Kept> {
        let (_, kept) = self.dossiers.remove(key)?;
        self.facts -= kept.dossier.facts().len();
        Some(kept)
    }

    pub fn put(&mut self, key: DossierKey, kept: Kept) {
        self.facts += kept.dossier.facts().len();
        self.dossiers.insert(key, (self.turn, kept));
    }

    pub fn take_unit(&mut self, unit: &UnitName) -> Option<UnitHistory> {
        self.units.remove(unit)
    }

    pub fn put_unit(&mut self, unit: UnitName, history: UnitHistory) {
        self.units.insert(unit, history);
    }

    /// A group is over: what was longest out of hand makes room, half of all at once.
    pub fn next_turn(&mut self) {
        self.turn += 1;
        if self.facts > MOST_FACTS {
            let mut turns: Vec<u64> = self.dossiers.values().map(|(turn, _)| *turn).collect();
            let middle = turns.len() / 2;
            let (_, middle, _) = turns.select_nth_unstable(middle);
            let middle = *middle;
            self.dossiers.retain(|_, (turn, _)| *turn > middle);
            self.facts = self.dossiers.values().map(|(_, kept)| kept.dossier.facts().len()).sum();
        }
    }

    pub fn empty(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{dossier::Subject, sample};

    fn key(n: usize) -> DossierKey {
        DossierKey { unit: UnitName::from(format!("QHB {n}")), subject: Subject::Unit }
    }

    #[test]
    fn what_was_longest_out_of_hand_makes_room() {
        let fact = sample::position("2026-03-01T10:00:00Z", "GRC", "closed", None);
        let many = || Kept { dossier: Dossier::of(vec![fact.clone(); 2_500]), ..Kept::default() };
        let mut cabinet = Cabinet::default();
        for n in 0..=100 {
            cabinet.put(key(n), many());
            cabinet.next_turn();
        }
        assert!(cabinet.take(&key(0)).is_none(), "put in first");
        assert!(cabinet.take(&key(100)).is_some(), "put in last");
        assert_eq!(cabinet.facts, cabinet.dossiers.len() * 2_500);
    }
}
