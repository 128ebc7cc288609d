//! What the writer keeps of histories from one group to the next, so that it need not read and unpack them again.
//! Only what is in the file belongs in here: the clerk puts a draft's histories in after COMMIT, and empties it when
//! a group is undone or another process wrote.
use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::{draft::UnitHistory, outlined::Outlined, runs::Watch};
use crate::{
    base::{EntryId, Instant, UnitName},
    rules::{
        Dossier, DossierKey, Fact, Finding, Ground,
        chunk::Chunk,
        dossier::{Place, ends_part},
        quiet::{self, Ends, Judged},
        rests::Rests,
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
    /// What is reckoned of it is to be judged, by its outlines.
    pub to_reckon: bool,
    pub outlined: Outlined,
    /// What the certain rules say of what came in, where that adds to what they said and changes nothing of it.
    pub certain_news: Vec<Finding>,
}

/// What a judgement says, as a few numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Prints {
    pub rests: Rests,
    pub watched_until: Option<Instant>,
    /// Of the certain lines about a device.
    pub ends: Ends,
    /// In ascending order.
    pub findings: Vec<i64>,
    /// Those of them that rest on class figures and settings.
    pub reckoned: Vec<i64>,
    pub bypasses: i64,
    /// See [`crate::rules::judge::Judgement::idle`].
    pub idle: bool,
}

impl Kept {
    /// As the file has it, given its last part (none: it has no facts), and of a device the last chunk of its outlines.
    pub fn of_file(
        stored: Prints,
        last: Option<(usize, Vec<Fact>)>,
        last_chunk: Option<(usize, Chunk)>,
    ) -> Self {
        let parts = last.as_ref().map_or(0, |(part, _)| part + 1);
        let (first_part, facts) = last.unwrap_or_default();
        let outlined = last_chunk.map(|(n, chunk)| Outlined::of_file(n, chunk)).unwrap_or_default();
        let (dossier, stored) = (Dossier::of(facts), Some(stored));
        Self { dossier, stored, first_part, parts, outlined, ..Self::default() }
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

    /// Finds out whether it has to be judged again, and how, given when the first of its unit's new runs began.
    pub fn look_at_news(&mut self, key: &DossierKey, first_run: Option<Instant>, ground: &Ground<'_>) {
        let Some(stored) = &self.stored else {
            self.to_judge = true;
            return;
        };
        let over = stored.watched_until;
        let runs_matter = over.is_some_and(|over| first_run.is_some_and(|began| began <= over));
        self.to_judge |= self.stirred || runs_matter;
        if self.to_judge || self.changed.is_empty() {
            return;
        }
        let judged = Judged { rests: stored.rests, watched_until: over, more_before: self.first_part > 0 };
        let facts = self.dossier.facts();
        let new = facts.len().saturating_sub(self.changed.len());
        if quiet::say_nothing_new(key, facts, new, judged, ground) {
            return;
        }
        let before = self.outlined.before(stored.ends);
        match before.and_then(|before| quiet::certain_of_new(key, &facts[new..], before, ground)) {
            Some(news) => (self.to_reckon, self.certain_news) = (true, news),
            None => self.to_judge = true,
        }
    }

    /// How much it takes of the cabinet, in facts: an outline is a quarter of one.
    fn weight(&self) -> usize {
        self.dossier.facts().len() + self.outlined.len() / 4
    }

    /// Whether a fact came in that belongs among those that are in the file only.
    pub fn wants_the_rest(&self) -> bool {
        self.first_part > 0 && self.stirred
    }

    /// The part before those in hand.
    pub fn go_back(&mut self, facts: Vec<Fact>) {
        self.dossier.put_before([facts]);
        self.first_part = self.first_part.saturating_sub(1);
    }

    /// Takes new facts up among a device's outlines. What is in hand has to be all of it if any belongs among those of
    /// before.
    pub fn outline(&mut self) {
        let facts = self.dossier.facts();
        if self.stirred {
            self.outlined.begin_again(facts);
        } else {
            self.outlined.append(&facts[facts.len().saturating_sub(self.changed.len())..]);
        }
    }

    /// The earlier parts, read from the file after all.
    pub fn complete(&mut self, earlier: Vec<Vec<Fact>>) {
        self.dossier.put_before(earlier);
        self.first_part = 0;
    }

    /// What the file does not have as it is here; `None`: it has all of it.
    pub fn changed_parts(&mut self) -> Option<ChangedParts<'_>> {
        let changed = std::mem::take(&mut self.changed);
        (self.stirred, self.to_judge, self.to_reckon) = (false, false, false);
        if changed.is_empty() {
            return None;
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
        // What was the end is a part among others once there is a later one.
        let was_end = move |n: usize| first + n + 1 == before;
        let is_new = |n: &usize| *n >= from || some.contains(n) || was_end(*n);
        let mut parts = self.dossier.parts();
        let last = parts.next_back().map(|facts| (now - 1, facts));
        let parts = parts.enumerate().filter(|(n, _)| is_new(n)).map(|(n, facts)| (first + n, facts));
        Some(ChangedParts {
            earlier: parts.collect(),
            surplus: (now < before).then(|| now.saturating_sub(1)),
            last,
        })
    }
}

/// Parts by number, of a dossier that changed.
pub struct ChangedParts<'a> {
    /// Those before the last that the file does not have as they are here.
    pub earlier: Vec<(usize, &'a [Fact])>,
    /// From which number on the file has earlier parts that there are no more.
    pub surplus: Option<usize>,
    /// `None`: nothing is left of it.
    pub last: Option<(usize, &'a [Fact])>,
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
        self.facts -= kept.weight();
        Some(kept)
    }

    pub fn put(&mut self, key: DossierKey, kept: Kept) {
        self.facts += kept.weight();
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
            self.facts = self.dossiers.values().map(|(_, kept)| kept.weight()).sum();
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
    #[derive(Default)]
    struct File {
        earlier: BTreeMap<usize, Vec<Fact>>,
        end: Option<(usize, Vec<Fact>)>,
    }

    impl File {
        fn write(&mut self, kept: &mut Kept) {
            let Some(ChangedParts { earlier, surplus, last }) = kept.changed_parts() else { return };
            self.earlier.retain(|n, _| surplus.is_none_or(|from| *n < from));
            earlier.into_iter().for_each(|(n, facts)| drop(self.earlier.insert(n, facts.to_vec())));
            self.end = last.map(|(n, facts)| (n, facts.to_vec()));
        }

        /// The last one is nowhere else.
        fn parts(&self) -> BTreeMap<usize, Vec<Fact>> {
            let mut all = self.earlier.clone();
            assert!(self.end.iter().all(|(n, facts)| all.insert(*n, facts.clone()).is_none()), "{all:?}");
            all
        }
    }

    proptest::proptest! {
        #![proptest_config(proptest::prelude::ProptestConfig { failure_persistence: None, ..Default::default() })]

        /// Whatever comes in or goes out, from the end or among the earlier, the file has the parts of the whole.
        #[test]
        fn the_file_keeps_up(groups in proptest::collection::vec(
            (proptest::bool::ANY, proptest::collection::vec((0..400_i64, 0..12_u8), 0..20)), 0..12))
        {
            let template = sample::position("2026-03-01T10:00:00Z", "GRC", "closed", None);
            let (mut file, mut whole) = (File::default(), Dossier::default());
            let mut next = 0;
            for (all, group) in groups {
                let mut kept = Kept::of_file(Prints::default(), file.end.clone(), None);
                let earlier: Vec<Fact> = file.earlier.values().flatten().cloned().collect();
                if all {
                    kept.complete(vec![earlier.clone()]);
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
                    kept.complete(vec![earlier]);
                }
                file.write(&mut kept);
                let parts: BTreeMap<usize, Vec<Fact>> = whole.parts().map(<[Fact]>::to_vec).enumerate().collect();
                proptest::prop_assert_eq!(&file.parts(), &parts);
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
