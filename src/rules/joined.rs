//! Findings about what people decided of ground protection, and what they left undone. They depend on reviews,
//! statements and grants, so no row holds them: they are joined whenever findings are read.
use super::{
    Ground,
    case::Case,
    dossier::{DossierKey, Subject},
    expiring::expiring,
    fact::Hand,
    finding::{Finding, Rule},
    register::Bypass,
    service_days::ServiceDays,
    weather::WeatherDays,
};
use crate::base::{Instant, SignIn, instant::DAY, text::own_words};

/// How long an opening, or what was written about it later, may wait for a review.
const TO_REVIEW: i64 = 7 * DAY;

/// A signed review: its page, and the highest page about the opening that its writer had seen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reviewed {
    pub seq: u64,
    pub by: SignIn,
    pub at: Instant,
    pub last_seq: u64,
}

/// A page that tells something of an opening: a report, an amendment, a statement beside one of its entries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Telling {
    pub seq: u64,
    pub at: Instant,
}

/// One opening with what people wrote about it and decided.
#[derive(Clone, Debug)]
pub struct Opening<'a> {
    pub bypass: &'a Bypass,
    /// Both sorted by page.
    pub reviews: Vec<Reviewed>,
    pub told: &'a [Telling],
}

/// *same_hand*, *not_reviewed* and *expiring*, each once begun by `then`, whether or not it has ended.
pub fn joined(ground: &Ground<'_>, openings: &[Opening<'_>], then: Instant) -> Vec<Finding> {
    let mut out = Vec::new();
    for opening in openings {
        let key = DossierKey { unit: opening.bypass.unit.clone(), subject: Subject::GroundProtection };
        let (days, weather) = (ServiceDays::Calendar, WeatherDays::default());
        let case = Case {
            key: &key,
            facts: &[],
            outlines: &[],
            days: &days,
            weather: &weather,
            runs: &[],
            earlier: &[],
            ground,
        };
        same_hand(&case, opening, &mut out);
        not_reviewed(&case, opening, then, &mut out);
    }
    expiring(ground, then, &mut out);
    out.retain(|finding| finding.since <= then);
    out
}

/// Reviews by somebody with a hand in the bypass. The desk refuses what it can know: a later entry, an amendment or a
/// merge of two openings may show a hand that nobody could see when the review was signed. The next review ends it.
fn same_hand(case: &Case<'_>, opening: &Opening<'_>, out: &mut Vec<Finding>) {
    let line = opening.bypass;
    for (nth, review) in opening.reviews.iter().enumerate().filter(|(_, r)| line.hands.contains(&r.by)) {
        let says = format!(
            "{} reviewed the opening of {} of {} and had a hand in it: opened, closed, authorised or granted.",
            review.by,
            case.named(&line.device, line.begins()),
            case.when(line.begins())
        );
        let again = opening.reviews[..nth].iter().any(|earlier| earlier.by == review.by);
        let mark = match again {
            false => format!("{}:{}", line.id, review.by),
            true => format!("{}:{}:{}", line.id, review.by, review.seq),
        };
        let finding = case.finding(Rule::SameHand, Some(&line.device), &mark, review.at);
        out.push(
            finding
                .until(opening.reviews.get(nth + 1).map(|next| next.at))
                .weighs(6.0)
                .says(says)
                .rests_on(line.entries.iter().copied()),
        );
    }
}

/// A stretch of time in which something about an opening waits for a review.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Waiting {
    from: Instant,
    /// The page that changed it since the review before; `None`: it was never reviewed.
    changed: Option<u64>,
    until: Option<Instant>,
}

/// The first stretch runs from the opening itself; each further one from the page that the review before cannot have
/// seen. A review that had not seen everything written so far answers nothing.
fn waiting(opening: &Opening<'_>) -> Vec<Waiting> {
    let mut out = Vec::new();
    let mut open = Some(Waiting { from: opening.bypass.begins(), changed: None, until: None });
    let mut told = opening.told.iter().peekable();
    let mut last = 0;
    for review in &opening.reviews {
        while let Some(page) = told.next_if(|page| page.seq < review.seq) {
            open.get_or_insert(Waiting { from: page.at, changed: Some(page.seq), until: None });
            last = page.seq;
        }
        if review.last_seq >= last {
            out.extend(open.take().map(|one| Waiting { until: Some(review.at), ..one }));
        }
    }
    for page in told {
        open.get_or_insert(Waiting { from: page.at, changed: Some(page.seq), until: None });
    }
    out.extend(open);
    out
}

fn not_reviewed(case: &Case<'_>, opening: &Opening<'_>, then: Instant, out: &mut Vec<Finding>) {
    let line = opening.bypass;
    for one in waiting(opening) {
        let since = one.from.plus(TO_REVIEW);
        if one.until.is_some_and(|until| until <= since) {
            continue;
        }
        let mark = match one.changed {
            None => line.id.to_string(),
            Some(page) => format!("{}:{page}", line.id),
        };
        out.push(
            case.finding(Rule::NotReviewed, Some(&line.device), &mark, since)
                .until(one.until)
                .weighs(3.0)
                .says(asks(case, opening, &one, then))
                .rests_on(line.entries.iter().copied()),
        );
    }
}

fn asks(case: &Case<'_>, opening: &Opening<'_>, one: &Waiting, then: Instant) -> String {
    let (line, zone) = (opening.bypass, case.ground.zone);
    let day = |at: Instant| zone.day_in_words(at);
    let device = case.named(&line.device, line.begins());
    let opened = match (&line.opened_by, &line.found_by) {
        (_, Some(finder)) => format!("found open {} by {finder}", day(line.begins())),
        (Hand::NotKnown, None) => format!("opened {}, by whom is not known", day(line.begins())),
        (hand, None) => format!("opened {} by {}", day(line.begins()), own_words(hand.in_words())),
    };
    let closed = match line.closed_at.filter(|closed| *closed <= then) {
        _ if line.withdrawn => "withdrawn by amendment".to_owned(),
        Some(closed) => format!("closed {}", day(closed)),
        None => "still open".to_owned(),
    };
    let by = day(one.from.plus(TO_REVIEW));
    let waits = match one.changed {
        None => format!("Nobody reviewed it by {by}."),
        Some(_) => format!(
            "Something was written about it on {} after it was reviewed; nobody reviewed it again by {by}.",
            day(one.from)
        ),
    };
    format!("{device} {opened}, {closed}. {waits} Somebody with no hand in it has to look and sign.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::sample::{Railway, at, bypass, device};

    const OPENED: &str = "2026-03-03T10:00:00Z";

    fn railway() -> Railway {
        let mut railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        railway.authorise("a.lind", "2026-02-01", None);
        railway
    }

    /// Opened and closed on 3 March by a.lind, told on page 50.
    fn opened(railway: &Railway) -> Bypass {
        let mut fact = bypass(OPENED, "GRC", |b| {
            b.closed_at = Some(at("2026-03-03T11:00:00Z"));
            b.closed_by = Some(Hand::Person("c.rey".into()));
        });
        fact.seq = 50;
        railway.judge(Subject::GroundProtection, vec![fact]).bypasses.remove(0)
    }

    fn review(seq: u64, by: &str, when: &str, last_seq: u64) -> Reviewed {
        Reviewed { seq, by: by.into(), at: at(when), last_seq }
    }

    fn page(seq: u64, when: &str) -> Telling {
        Telling { seq, at: at(when) }
    }

    /// Since, until, and what the key ends in, of one rule's findings.
    fn told(
        rule: Rule,
        reviews: Vec<Reviewed>,
        told: &[Telling],
        then: &str,
    ) -> Vec<(String, Option<String>, String)> {
        let railway = railway();
        let line = opened(&railway);
        let opening = Opening { bypass: &line, reviews, told };
        let found = joined(&railway.ground(), &[opening], at(then));
        let short = |at: Instant| at.to_z()[5..16].to_owned();
        let id = line.id.to_string();
        let of_rule = found.into_iter().filter(|f| f.rule == rule);
        of_rule
            .map(|f| {
                (short(f.since), f.until.map(short), f.key.split(&id).last().unwrap_or_default().to_owned())
            })
            .collect()
    }

    fn one(since: &str, until: Option<&str>, key: &str) -> (String, Option<String>, String) {
        (since.to_owned(), until.map(str::to_owned), key.to_owned())
    }

    #[test]
    fn a_reviewer_with_a_hand_in_it_is_found() {
        let first = [page(50, OPENED)];
        for (person, want) in [("a.lind", 1), ("c.rey", 1), ("m.ruiz", 1), ("k.berg", 0)] {
            let reviews = vec![review(60, person, "2026-03-04T10:00:00Z", 50)];
            let found = told(Rule::SameHand, reviews, &first, "2026-05-01T00:00:00Z");
            assert_eq!(found.len(), want, "{person}: opened, closed, granted, or none of these");
        }
        let reviews = vec![
            review(60, "a.lind", "2026-03-04T10:00:00Z", 50),
            review(61, "a.lind", "2026-03-05T10:00:00Z", 50),
            review(62, "k.berg", "2026-03-06T10:00:00Z", 50),
        ];
        assert_eq!(
            told(Rule::SameHand, reviews, &first, "2026-05-01T00:00:00Z"),
            [
                one("03-04T10:00", Some("03-05T10:00"), ":a.lind"),
                one("03-05T10:00", Some("03-06T10:00"), ":a.lind:61")
            ]
        );
    }

    #[test]
    fn what_waits_seven_days_for_a_review_is_asked_for() {
        let kind = "k.berg";
        let (first, may) = ([page(50, OPENED)], "2026-05-01T00:00:00Z");
        // (reviews, pages about it, as of, what is found)
        let day_2 = || review(60, kind, "2026-03-05T10:00:00Z", 50);
        let later = [page(50, OPENED), page(70, "2026-03-20T09:00:00Z")];
        type Row<'a> = (Vec<Reviewed>, &'a [Telling], &'a str, Vec<(String, Option<String>, String)>);
        let table: [Row<'_>; 8] = [
            (vec![], &first, "2026-03-10T09:59:00Z", vec![]),
            (vec![], &first, may, vec![one("03-10T10:00", None, "")]),
            (vec![day_2()], &first, may, vec![]),
            // On the ninth day: it was asked for from the seventh on.
            (
                vec![review(60, kind, "2026-03-12T10:00:00Z", 50)],
                &first,
                may,
                vec![one("03-10T10:00", Some("03-12T10:00"), "")],
            ),
            // Had not seen the page that stood in the book already.
            (
                vec![review(60, kind, "2026-03-05T10:00:00Z", 49)],
                &first,
                may,
                vec![one("03-10T10:00", None, "")],
            ),
            (vec![day_2()], &later, may, vec![one("03-27T09:00", None, ":70")]),
            (vec![day_2()], &later, "2026-03-27T08:59:00Z", vec![]),
            // Two pages later, the first of them counts; the review of both ends it.
            (
                vec![day_2(), review(80, kind, "2026-04-01T10:00:00Z", 71)],
                &[page(50, OPENED), page(70, "2026-03-20T09:00:00Z"), page(71, "2026-03-28T09:00:00Z")],
                may,
                vec![one("03-27T09:00", Some("04-01T10:00"), ":70")],
            ),
        ];
        for (reviews, pages, then, want) in table {
            assert_eq!(
                told(Rule::NotReviewed, reviews.clone(), pages, then),
                want,
                "{reviews:?} {pages:?} {then}"
            );
        }
    }

    #[test]
    fn the_sentence_names_what_to_do() {
        let railway = railway();
        let mut line = opened(&railway);
        let pages = [page(50, OPENED), page(70, "2026-03-20T09:00:00Z")];
        let says = |line: &Bypass, reviews: Vec<Reviewed>| {
            let opening = Opening { bypass: line, reviews, told: &pages[..=usize::from(line.last_seq > 50)] };
            joined(&railway.ground(), &[opening], at("2026-05-01T00:00:00Z")).remove(0).sentence
        };
        assert_eq!(
            says(&line, vec![]),
            "GRC (GRC LEGEND) opened 3 March 2026 by a.lind, closed 3 March 2026. Nobody reviewed it by 10 March 2026. \
             Somebody with no hand in it has to look and sign."
        );
        line.closed_at = None;
        assert!(says(&line, vec![]).contains("by a.lind, still open. Nobody"));
        line.last_seq = 70;
        let reviews = vec![review(60, "k.berg", "2026-03-05T10:00:00Z", 50)];
        assert!(says(&line, reviews).contains(
            "Something was written about it on 20 March 2026 after it was reviewed; nobody reviewed it again by 27 March 2026."
        ));
        line.withdrawn = true;
        (line.opened_at, line.found_open_at, line.found_by) = (None, line.opened_at, Some("b.sato".into()));
        line.last_seq = 50;
        assert!(
            says(&line, vec![])
                .starts_with("GRC (GRC LEGEND) found open 3 March 2026 by b.sato, withdrawn by amendment.")
        );
    }
}
