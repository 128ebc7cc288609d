//! What the writer keeps of histories from one group to the next, so that it need not read and unpack them again.
//! Only what is in the file belongs in here: the clerk puts a draft's histories in after COMMIT, and empties it when
//! a group is undone or another process wrote.
use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{draft::UnitHistory, runs::Watch};
use crate::{
    base::{EntryId, Instant, UnitName},
    rules::{
        Dossier, DossierKey, Fact,
        dossier::{Place, ends_part},
        quiet,
    },
};

/// A dossier in hand: all of it, or its last part.
#[derive(Clone, Debug, Default)]
pub struct Kept {
    pub dossier: Dossier,
    /// What the file has of its judgement; `None`: it was never judged.
    pub stored: Option<Prints>,
    /// Of a ground-protection dossier, once it has been judged.
    pub watch: Option<Watch>,
    /// The number of the first part in hand: those before it are in the file only.
    pub first_part: usize,
    /// How many parts the file has of it.
    pub parts: usize,
    /// What came in or went out since the file was as it is.
    changed: Vec<Place>,
    /// A fact was taken out or belongs before the others in hand: no look at the end is all there is to it.
    stirred: bool,
    /// It is to be judged whatever came in.
    pub to_judge: bool,
}

/// What a judgement says, as a few numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Prints {
    pub settled_after: Option<Instant>,
    pub watched_until: Option<Instant>,
    /// In ascending order.
    pub findings: Vec<i64>,
    /// Those of them that rest on class figures and settings.
    pub reckoned: Vec<i64>,
    pub bypasses: i64,
}

impl Kept {
    /// As the file has it, given its last part (none: it has no facts).
    pub fn of_file(stored: Prints, last: Option<(usize, Vec<Fact>)>) -> Self {
        let parts = last.as_ref().map_or(0, |(part, _)| part + 1);
        let (first_part, facts) = last.unwrap_or_default();
        Self { dossier: Dossier::of(facts), stored: Some(stored), first_part, parts, ..Self::default() }
    }

    pub fn add(&mut self, fact: Fact) {
        let place = fact.place();
        self.stirred |= self.dossier.before(place) < self.dossier.facts().len();
        self.stirred |= self.first_part > 0 && self.dossier.is_empty();
        self.changed.push(place);
        self.dossier.add(fact);
    }

    /// Takes out every version of an entry and hands them back.
    pub fn take(&mut self, entry: EntryId) -> Vec<Fact> {
        let out = self.dossier.take(entry);
        self.changed.extend(out.iter().map(Fact::place));
        self.stirred |= !out.is_empty();
        out
    }

    /// Whether it has to be judged again, given when the first of its unit's new runs began.
    pub fn wants_judging(&self, first_run: Option<Instant>) -> bool {
        let Some(stored) = &self.stored else { return true };
        let over = stored.watched_until;
        let runs_matter = over.is_some_and(|over| first_run.is_some_and(|began| began <= over));
        let new = self.dossier.facts().len().saturating_sub(self.changed.len());
        self.to_judge
            || self.stirred
            || runs_matter
            || !quiet::say_nothing_new(self.dossier.facts(), new, over)
    }

    /// Whether a fact came in that belongs among those that are in the file only.
    pub fn wants_the_rest(&self) -> bool {
        self.first_part > 0 && self.stirred
    }

    /// The earlier parts, read from the file after all.
    pub fn complete(&mut self, earlier: Vec<Fact>) {
        self.dossier.put_before(earlier);
        self.first_part = 0;
    }

    /// What the file does not have as it is here: parts by number, and from which part on it has too many.
    pub fn changed_parts(&mut self) -> (Vec<(usize, &[Fact])>, Option<usize>) {
        let changed = std::mem::take(&mut self.changed);
        (self.stirred, self.to_judge) = (false, false);
        if changed.is_empty() {
            return (Vec::new(), None);
        }
        let mut ends: Vec<usize> = self.dossier.parts().map(<[Fact]>::len).collect();
        for n in 1..ends.len() {
            ends[n] += ends[n - 1];
        }
        let last = ends.len().saturating_sub(1);
        let (mut some, mut from) = (BTreeSet::new(), usize::MAX);
        for place in changed {
            let at = self.dossier.before(place);
            let part = ends.partition_point(|end| *end <= at).min(last);
            // Where a part begins or ceases to end, those after it are counted anew.
            if ends_part(place.1) {
                from = from.min(part);
            } else {
                some.insert(part);
            }
        }
        let first = self.first_part;
        let (before, now) = (std::mem::replace(&mut self.parts, first + ends.len()), first + ends.len());
        let parts = self.dossier.parts().enumerate().filter(|(n, _)| *n >= from || some.contains(n));
        (parts.map(|(n, facts)| (first + n, facts)).collect(), (now < before).then_some(now))
    }
}

/// Facts kept at most: some 80 MB. A railway whose units report in turn has its busy dossiers here.
const MOST_FACTS: usize = 250_000;

/// Facts that a rebuild lets wait before it writes them. The more, the less often a dossier's end is read
/// and written again.
const MOST_WAITING: usize = 1_000_000;

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

    /// Whether as much waits in it as a rebuild lets wait.
    pub fn is_full(&self) -> bool {
        self.facts > MOST_WAITING
    }

    /// Everything in it.
    pub fn take_all(&mut self) -> BTreeMap<DossierKey, Kept> {
        self.facts = 0;
        std::mem::take(&mut self.dossiers).into_iter().map(|(key, (_, kept))| (key, kept)).collect()
    }

    pub fn take_units(&mut self) -> BTreeMap<UnitName, UnitHistory> {
        std::mem::take(&mut self.units).into_iter().collect()
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

    /// A file that holds parts, kept up by what changes.
    fn write(file: &mut BTreeMap<usize, Vec<Fact>>, kept: &mut Kept) {
        let (parts, surplus) = kept.changed_parts();
        parts.into_iter().for_each(|(n, facts)| drop(file.insert(n, facts.to_vec())));
        file.retain(|n, _| surplus.is_none_or(|from| *n < from));
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig { failure_persistence: None, ..Default::default() })]

        /// Whatever comes in or goes out, from the end or among the earlier, the file has the parts of the whole.
        #[test]
        fn the_file_keeps_up(groups in proptest::collection::vec(
            (proptest::bool::ANY, proptest::collection::vec((0..400_i64, 0..12_u8), 0..20)), 0..12))
        {
            let template = sample::position("2026-03-01T10:00:00Z", "GRC", "closed", None);
            let (mut file, mut whole) = (BTreeMap::new(), Dossier::default());
            let mut next = 0;
            for (all, group) in groups {
                let last = file.last_key_value().map(|(n, facts): (&usize, &Vec<Fact>)| (*n, facts.clone()));
                let mut kept = Kept::of_file(Prints::default(), last);
                let earlier: Vec<Fact> = file.iter().filter(|(n, _)| **n < kept.first_part).flat_map(|(_, f)| f.clone()).collect();
                if all {
                    kept.complete(earlier.clone());
                }
                for (minutes, what) in group {
                    let entry = whole.facts().get(usize::try_from(minutes).unwrap()).map(|fact| fact.entry);
                    if let (true, true, Some(entry)) = (all, what == 0, entry) {
                        proptest::prop_assert_eq!(whole.take(entry), kept.take(entry));
                        continue;
                    }
                    next += 1;
                    let at = if what < 4 { minutes } else { 400 + next };
                    let fact = Fact { at: Instant(at), entry: sample::entry(next.unsigned_abs()), ..template.clone() };
                    whole.add(fact.clone());
                    kept.add(fact);
                }
                if kept.wants_the_rest() {
                    kept.complete(earlier);
                }
                write(&mut file, &mut kept);
                let parts: BTreeMap<usize, Vec<Fact>> = whole.parts().map(<[Fact]>::to_vec).enumerate().collect();
                proptest::prop_assert_eq!(&file, &parts);
            }
        }
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
