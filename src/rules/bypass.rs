//! A bypass is the maximal open interval of one unit and cutout, told by however many people.
use super::{
    authority::{Authority, authority},
    case::Case,
    fact::{BypassFact, Fact, Hand, Told},
    ground_open::Asks,
    occurrence::{leaves_closed, seen_closed},
    register::Bypass,
};
use crate::base::{Instant, SignIn, Tag};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Opened,
    SeenOpen,
    Closed,
    SeenClosed,
}

/// One thing told about a cutout's position.
#[derive(Clone, Copy, Debug)]
struct Event<'a> {
    at: Instant,
    kind: Kind,
    hand: Option<&'a Hand>,
    fact: &'a Fact,
}

/// Who is told to have opened it, and when.
#[derive(Clone, Copy, Debug)]
pub struct Opener<'a> {
    pub at: Instant,
    pub hand: &'a Hand,
    pub fact: &'a Fact,
}

/// One open interval in the making, with the facts that tell of it.
#[derive(Clone, Debug)]
pub struct Stretch<'a> {
    pub device: &'a Tag,
    pub begin: Instant,
    /// It begins with somebody finding it open.
    pub found: bool,
    /// Oldest first; the first of them begins it.
    pub facts: Vec<&'a Fact>,
    pub openers: Vec<Opener<'a>>,
    pub closed_at: Option<Instant>,
    pub closed_by: Option<&'a Hand>,
    /// When it was last told to be closed before, and in which entry.
    pub last_closed: Option<(Instant, &'a Fact)>,
    /// The last moment at which it was told to stand open.
    pub last_open: Instant,
    /// It ends with somebody seeing it closed: when it was closed is not known.
    pub seen_closed: bool,
    /// The latest end that an entry gave it from its own start: nothing earlier ends it.
    covered_until: Option<Instant>,
}

impl<'a> Stretch<'a> {
    fn new(device: &'a Tag, event: &Event<'a>, last_closed: Option<(Instant, &'a Fact)>) -> Self {
        Self {
            device,
            begin: event.at,
            found: event.kind == Kind::SeenOpen,
            facts: Vec::new(),
            openers: Vec::new(),
            closed_at: None,
            closed_by: None,
            last_closed,
            last_open: event.at,
            seen_closed: false,
            covered_until: None,
        }
    }

    fn opens(&mut self, event: &Event<'a>) {
        self.tells(event.fact);
        self.last_open = event.at;
        if let Some(hand) = event.hand {
            self.openers.push(Opener { at: event.at, hand, fact: event.fact });
        }
        if let Told::Bypass(told) = &event.fact.told {
            self.covered_until = self.covered_until.max(told.end(event.fact.at));
        }
    }

    fn tells(&mut self, fact: &'a Fact) {
        if !self.facts.iter().any(|f| std::ptr::eq(*f, fact)) {
            self.facts.push(fact);
        }
    }

    /// Whether that ended it. Two people may give the same closing with times of their own: the later counts.
    fn closes(&mut self, event: &Event<'a>) -> bool {
        self.tells(event.fact);
        if let (Kind::Closed, Some(hand)) = (event.kind, event.hand)
            && hand.is_known()
        {
            self.closed_by = Some(hand);
        }
        let ends = self.covered_until.is_none_or(|until| until <= event.at);
        if ends {
            self.closed_at = Some(event.at);
            self.seen_closed = event.kind == Kind::SeenClosed;
        }
        ends
    }

    pub fn holds(&self, at: Instant) -> bool {
        self.begin <= at && self.closed_at.is_none_or(|closed| at < closed)
    }

    /// The bypass entries among its facts.
    pub fn tellings(&self) -> impl Iterator<Item = &'a BypassFact> + '_ {
        self.facts.iter().filter_map(|f| match &f.told {
            Told::Bypass(told) => Some(&**told),
            _ => None,
        })
    }

    /// Of one that was found open, nobody who is told to have opened it later than it was found: that is not how it came to be
    /// open. Whoever found it may name somebody.
    pub fn opener(&self) -> &'a Hand {
        let may_be = |o: &&Opener<'_>| !self.found || o.fact.found || o.at <= self.begin;
        let named = self.openers.iter().filter(may_be).map(|o| o.hand);
        named.into_iter().find(|h| h.is_known()).unwrap_or(&Hand::NotKnown)
    }

    /// Opened for: the purposes stated, else the words of a position entry.
    pub fn purpose(&self) -> Option<String> {
        use crate::reports::vocabulary::Purpose::{NoneGiven, NotKnown};
        let stated = self.tellings().filter_map(|t| t.purpose).find(|p| !matches!(p, NoneGiven | NotKnown));
        stated.map(|p| p.as_str().to_owned()).or_else(|| {
            self.openers.iter().find_map(|o| match &o.fact.told {
                Told::Position(p) => p.why.clone(),
                _ => None,
            })
        })
    }

    pub fn authorised_by(&self) -> Option<&'a Hand> {
        self.tellings().filter_map(|t| t.authorised_by.as_ref()).find(|h| h.is_known())
    }
}

impl BypassFact {
    /// When it was closed again, unless that is before it was opened: then nobody knows.
    pub fn end(&self, begin: Instant) -> Option<Instant> {
        self.closed_at.filter(|closed| *closed >= begin)
    }
}

/// The tags that are ground-relay cutouts here: by the schedule, or because an entry opened them as one.
pub fn cutouts<'a>(case: &Case<'_>, facts: &[&'a Fact]) -> Vec<&'a Tag> {
    let mut tags: Vec<&Tag> = Vec::new();
    for fact in facts {
        let tag = match &fact.told {
            Told::Bypass(told) => &told.device,
            Told::Position(told) => &told.device,
            Told::Trip { device, .. } => device,
            _ => continue,
        };
        let listed = || case.device(tag, fact.at).is_some_and(|d| d.ground_protection);
        if !tags.contains(&tag) && (matches!(fact.told, Told::Bypass(_)) || listed()) {
            tags.push(tag);
        }
    }
    tags.sort();
    tags
}

/// Every open interval of one cutout, oldest first.
pub fn stretches<'a>(facts: &[&'a Fact], device: &'a Tag) -> Vec<Stretch<'a>> {
    let mut out: Vec<Stretch<'a>> = Vec::new();
    let mut open: Option<Stretch<'a>> = None;
    let mut last_closed = None;
    for event in events(facts, device) {
        match (event.kind, &mut open) {
            (Kind::Opened | Kind::SeenOpen, standing) => {
                standing.get_or_insert_with(|| Stretch::new(device, &event, last_closed)).opens(&event);
            }
            (Kind::Closed | Kind::SeenClosed, Some(stretch)) => {
                if stretch.closes(&event) {
                    last_closed = Some((event.at, event.fact));
                    out.extend(open.take());
                }
            }
            (_, None) => last_closed = Some((event.at, event.fact)),
        }
    }
    out.extend(open);
    out
}

/// Every time somebody told how a cutout stood: closed or not, in order of time.
pub fn told_to_stand<'a>(facts: &[&'a Fact], device: &Tag) -> Vec<(Instant, bool, &'a Fact)> {
    let closed = |kind| matches!(kind, Kind::Closed | Kind::SeenClosed);
    events(facts, device).iter().map(|event| (event.at, closed(event.kind), event.fact)).collect()
}

fn events<'a>(facts: &[&'a Fact], device: &Tag) -> Vec<Event<'a>> {
    let mut out = Vec::new();
    for fact in facts.iter().copied() {
        let mut push = |at, kind, hand| out.push(Event { at, kind, hand, fact });
        let seen = |closed| if closed { Kind::SeenClosed } else { Kind::SeenOpen };
        match &fact.told {
            Told::Bypass(told) if told.device == *device => {
                push(fact.at, if fact.found { Kind::SeenOpen } else { Kind::Opened }, Some(&told.by));
                if let Some(closed) = told.end(fact.at) {
                    push(closed, Kind::Closed, told.closed_by.as_ref());
                }
            }
            Told::Position(told) if told.device == *device => {
                if let Some(closed) = seen_closed(told.seen) {
                    push(fact.at, seen(closed), None);
                }
                if let Some(closed) = told.moved_to.and_then(seen_closed) {
                    push(fact.at, if closed { Kind::Closed } else { Kind::Opened }, Some(&told.by));
                }
            }
            Told::Trip { device: tripped, .. } if tripped == device => {
                if let Some(closed) = leaves_closed(fact) {
                    push(fact.at, seen(closed), None);
                }
            }
            _ => {}
        }
    }
    // Stable: at one moment the order of the facts, and within a fact the order of telling.
    out.sort_by_key(|event| event.at);
    out
}

/// All who opened, ordered or closed it, and who granted the right it rests on: none of them reviews it.
fn hands(stretch: &Stretch<'_>, granted_by: Vec<SignIn>) -> Vec<SignIn> {
    let openers = stretch.openers.iter().map(|o| o.hand);
    let ordered = stretch.tellings().filter_map(|t| t.authorised_by.as_ref());
    let closers = stretch.tellings().filter_map(|t| t.closed_by.as_ref()).chain(stretch.closed_by);
    let mut hands: Vec<_> = openers.chain(ordered).chain(closers).filter_map(Hand::person).cloned().collect();
    hands.extend(granted_by);
    hands.sort();
    hands.dedup();
    hands
}

fn seal_applied(stretch: &Stretch<'_>) -> Option<String> {
    stretch.facts.iter().rev().find_map(|f| match &f.told {
        Told::Bypass(t) => t.seal_applied.clone(),
        Told::Position(p) if p.closed() => p.seal.clone(),
        _ => None,
    })
}

/// The line of the register. `asks`: when the book starts asking, and how long it waits for what it was opened for.
pub fn bypass(case: &Case<'_>, stretch: &Stretch<'_>, asks: &Asks) -> Bypass {
    let opener = stretch.opener();
    let act = stretch.openers.iter().find(|o| o.hand == opener).map_or(stretch.begin, |o| o.at);
    let Authority { authorised, why, granted_by } = authority(case, opener, act, stretch.authorised_by());
    let stated = |of: fn(&BypassFact) -> Option<&String>| stretch.tellings().find_map(of).cloned();
    let (first, found) = (stretch.facts.first(), stretch.found);
    let mut entries: Vec<_> = stretch.facts.iter().map(|f| f.entry).collect();
    entries.dedup();
    Bypass {
        id: first.map_or(crate::base::EntryId(uuid::Uuid::nil()), |f| f.entry),
        unit: case.unit().clone(),
        class: case.class().cloned(),
        device: stretch.device.clone(),
        opened_at: (!found).then_some(stretch.begin),
        found_open_at: found.then_some(stretch.begin),
        opened_by: opener.clone(),
        found_by: first.filter(|_| found).map(|f| f.author.clone()),
        authorised,
        authorised_why: why,
        authorised_by: stretch.authorised_by().cloned(),
        reference: stated(|t| t.reference.as_ref()),
        purpose: stretch.purpose(),
        seal_found: stated(|t| t.seal_found.as_ref()),
        seal_applied: seal_applied(stretch),
        closed_at: stretch.closed_at,
        closed_by: stretch.closed_at.map(|_| stretch.closed_by.cloned().unwrap_or(Hand::NotKnown)),
        last_closed_at: stretch.last_closed.map(|(at, _)| at),
        last_closed_by: stretch.last_closed.map(|(_, fact)| fact.author.clone()),
        last_closed_entry: stretch.last_closed.map(|(_, fact)| fact.entry),
        last_open_at: stretch.last_open,
        seen_closed: stretch.seen_closed,
        limit: asks.limit,
        asks_at: asks.since,
        hands: hands(stretch, granted_by),
        last_seq: stretch.facts.iter().map(|f| f.seq).max().unwrap_or(0),
        withdrawn: false,
        entries,
    }
}

impl Bypass {
    /// Open then, as far as the book knows.
    pub fn open_at(&self, then: Instant) -> bool {
        self.begins() <= then && self.closed_at.is_none_or(|closed| then < closed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::{
        dossier::Subject,
        sample::{Railway, at, bypass, device, position},
    };

    fn railway() -> Railway {
        Railway::with(vec![device("GRC", |d| d.ground_protection = true)])
    }

    fn told(facts: Vec<Fact>) -> Vec<(String, Option<String>, String)> {
        let short = |at: Instant| at.to_z()[8..16].to_owned();
        let judged = railway().judge(Subject::GroundProtection, facts);
        let line = |b: &Bypass| {
            let by = b.closed_by.as_ref().map(|h| h.in_words().to_owned()).unwrap_or_default();
            (short(b.begins()), b.closed_at.map(short), by)
        };
        judged.bypasses.iter().map(line).collect()
    }

    fn opened(when: &str, closed: Option<&str>, by: &str) -> Fact {
        bypass(when, "GRC", |b| {
            b.by = Hand::Person(by.into());
            b.closed_at = closed.map(at);
            b.closed_by = closed.map(|_| Hand::Person(by.into()));
        })
    }

    fn line(begin: &str, end: Option<&str>, by: &str) -> (String, Option<String>, String) {
        (begin.to_owned(), end.map(str::to_owned), by.to_owned())
    }

    #[test]
    fn several_people_tell_of_one_opening() {
        let ten = opened("2026-03-01T10:00:00Z", Some("2026-03-01T11:00:00Z"), "a.lind");
        let same = opened("2026-03-01T10:02:00Z", Some("2026-03-01T11:01:00Z"), "b.sato");
        assert_eq!(told(vec![ten.clone(), same]), [line("01T10:00", Some("01T11:01"), "b.sato")]);
        let seen = Fact { found: true, ..opened("2026-03-01T10:30:00Z", None, "c.rey") };
        assert_eq!(told(vec![ten.clone(), seen]), [line("01T10:00", Some("01T11:00"), "a.lind")]);
        let after = opened("2026-03-01T11:00:00Z", None, "a.lind");
        assert_eq!(
            told(vec![ten, after]),
            [line("01T10:00", Some("01T11:00"), "a.lind"), line("01T11:00", None, "")]
        );
    }

    #[test]
    fn seen_closed_ends_it_closed_by_not_known() {
        let open = opened("2026-03-01T10:00:00Z", None, "a.lind");
        assert_eq!(told(vec![open.clone()]), [line("01T10:00", None, "")], "no known end: it stays open");
        let seen = position("2026-03-02T08:00:00Z", "GRC", "closed", None);
        assert_eq!(told(vec![open.clone(), seen]), [line("01T10:00", Some("02T08:00"), "not known")]);
        let moved = position("2026-03-02T08:00:00Z", "GRC", "open", Some("closed"));
        assert_eq!(told(vec![open, moved]), [line("01T10:00", Some("02T08:00"), "n.okafor")]);
    }

    #[test]
    fn position_entries_alone_tell_of_one() {
        let open = position("2026-03-01T10:00:00Z", "GRC", "closed", Some("open"));
        let closed = position("2026-03-01T10:20:00Z", "GRC", "open", Some("closed"));
        assert_eq!(told(vec![open, closed]), [line("01T10:00", Some("01T10:20"), "n.okafor")]);
        let seen_then_closed = position("2026-03-01T10:00:00Z", "GRC", "open", Some("closed"));
        assert_eq!(told(vec![seen_then_closed]), [line("01T10:00", Some("01T10:00"), "n.okafor")]);
    }

    #[test]
    fn whoever_opened_it_after_it_was_found_open_is_not_how_it_came_to_be_open() {
        let found = |by: Hand| Fact { found: true, ..bypass("2026-03-01T10:00:00Z", "GRC", |b| b.by = by) };
        let later = || opened("2026-03-01T12:00:00Z", Some("2026-03-01T13:00:00Z"), "a.lind");
        let opener = |facts| {
            let line = railway().judge(Subject::GroundProtection, facts).bypasses.remove(0);
            (line.opened_by.in_words().to_owned(), line.hands.contains(&"a.lind".into()))
        };
        assert_eq!(
            opener(vec![found(Hand::NotKnown), later()]),
            ("not known".into(), true),
            "nor reviews it"
        );
        assert_eq!(opener(vec![found(Hand::Person("c.rey".into())), later()]), ("c.rey".into(), true));
    }

    #[test]
    fn what_is_not_known_of_its_end_lies_between_two_moments() {
        let open = || opened("2026-03-01T10:00:00Z", None, "a.lind");
        let known = |facts| {
            let judged = railway().judge(Subject::GroundProtection, facts);
            let line = &judged.bypasses[0];
            (line.last_open_at.to_z()[8..16].to_owned(), line.seen_closed)
        };
        let seen = |when, how| position(when, "GRC", how, None);
        let (still, closed) = (seen("2026-03-01T15:00:00Z", "open"), seen("2026-03-02T08:00:00Z", "closed"));
        assert_eq!(known(vec![open(), closed.clone()]), ("01T10:00".into(), true));
        assert_eq!(known(vec![open(), still.clone(), closed.clone()]), ("01T15:00".into(), true));
        let told = opened("2026-03-01T10:00:00Z", Some("2026-03-01T16:00:00Z"), "a.lind");
        assert_eq!(
            known(vec![told, still, closed]),
            ("01T15:00".into(), false),
            "told, so its time is known"
        );
    }

    #[test]
    fn the_line_says_who_saw_it_closed_before() {
        let seen = position("2026-02-27T08:00:00Z", "GRC", "closed", None);
        let before = seen.entry;
        let found = Fact { found: true, ..bypass("2026-03-01T10:00:00Z", "GRC", |b| b.by = Hand::NotKnown) };
        let judged = railway().judge(Subject::GroundProtection, vec![seen, found]);
        let line = &judged.bypasses[0];
        assert_eq!(line.found_open_at, Some(at("2026-03-01T10:00:00Z")));
        assert_eq!((line.opened_at, line.last_closed_at), (None, Some(at("2026-02-27T08:00:00Z"))));
        assert_eq!(line.last_closed_entry, Some(before));
        assert_eq!(line.opened_by, Hand::NotKnown);
        assert!(line.open_at(at("2026-04-01T00:00:00Z")) && !line.open_at(at("2026-03-01T09:00:00Z")));
    }
}
