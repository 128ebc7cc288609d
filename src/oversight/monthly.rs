//! The register by the month in which openings began, counted.
use std::collections::BTreeMap;

use super::{Line, Standing};
use crate::{
    base::{Instant, Zone},
    rules::register::Authorised,
};

/// Openings that began, or were found, in one month, as the book stands at a moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Without those withdrawn.
    pub openings: u64,
    pub own_right: u64,
    pub ordered: u64,
    pub not_authorised: u64,
    /// Nor, then, whether they held a right.
    pub opener_not_known: u64,
    pub found_open: u64,
    pub to_keep_moving: u64,
    pub no_purpose: u64,
    pub past_limit: u64,
    pub still_open: u64,
    pub in_order: u64,
    pub not_in_order: u64,
    pub cannot_tell: u64,
    /// Without a review that holds, the withdrawn ones too.
    pub not_reviewed: u64,
    pub withdrawn: u64,
}

/// A count as a sheet's column, a page's column and a line of a page name it.
pub type Name = (&'static str, &'static str, &'static str);

pub const NAMES: [Name; 15] = [
    ("openings", "Openings", "Openings"),
    ("own_right", "Own right", "Opener authorised, own right"),
    ("ordered", "Ordered", "Ordered by one who held the right"),
    ("not_authorised", "Not author\u{ad}ised", "Not authorised"),
    ("opener_not_known", "Opener not known", "Opener not known, so whether authorised is not known"),
    ("found_open", "Found open", "Found open"),
    ("to_keep_moving", "To keep moving", "Opened to keep moving"),
    ("no_purpose", "No purpose", "No purpose stated"),
    ("past_limit", "Open when asked", "Open when the book asked"),
    ("still_open", "Still open", "Still open"),
    ("in_order", "In order", "Reviewed: in order"),
    ("not_in_order", "Not in order", "Reviewed: not in order"),
    ("cannot_tell", "Cannot tell", "Reviewed: cannot tell"),
    ("not_reviewed", "No review", "Without a review that holds"),
    ("withdrawn", "With\u{ad}drawn", "Withdrawn by amendment"),
];

impl Counts {
    pub fn of<'a>(lines: impl IntoIterator<Item = &'a Line>, then: Instant) -> Self {
        let mut counts = Self::default();
        lines.into_iter().for_each(|line| counts.add(line, then));
        counts
    }

    /// In the order of [`NAMES`].
    pub fn all(&self) -> [u64; 15] {
        [
            self.openings,
            self.own_right,
            self.ordered,
            self.not_authorised,
            self.opener_not_known,
            self.found_open,
            self.to_keep_moving,
            self.no_purpose,
            self.past_limit,
            self.still_open,
            self.in_order,
            self.not_in_order,
            self.cannot_tell,
            self.not_reviewed,
            self.withdrawn,
        ]
    }

    fn add(&mut self, line: &Line, then: Instant) {
        self.reviewed(line);
        let bypass = &line.bypass;
        if bypass.withdrawn {
            self.withdrawn += 1;
            return;
        }
        self.openings += 1;
        *match bypass.authorised {
            Authorised::OwnRight => &mut self.own_right,
            Authorised::Ordered => &mut self.ordered,
            Authorised::Neither => &mut self.not_authorised,
            Authorised::NotKnown => &mut self.opener_not_known,
        } += 1;
        let purpose = bypass.purpose.as_deref();
        for (count, is_so) in [
            (&mut self.found_open, bypass.found_open_at.is_some()),
            (&mut self.to_keep_moving, purpose == Some("to_keep_moving")),
            (&mut self.no_purpose, purpose.is_none()),
            (&mut self.past_limit, bypass.past_limit(then)),
            (&mut self.still_open, line.standing(then) == Standing::Open),
        ] {
            *count += u64::from(is_so);
        }
    }

    fn reviewed(&mut self, line: &Line) {
        *match line.review().map(|review| review.judgement.as_str()) {
            Some("in_order") => &mut self.in_order,
            Some("not_in_order") => &mut self.not_in_order,
            Some(_) => &mut self.cannot_tell,
            None => &mut self.not_reviewed,
        } += 1;
    }
}

/// `2026-03`: the month of a moment in the railway's zone.
pub fn month_of(at: Instant, zone: &Zone) -> String {
    zone.day_of(at).to_string().chars().take(7).collect()
}

/// The months in which something was opened or found open, the latest first, each with its lines.
pub fn by_month<'a>(lines: &'a [Line], zone: &Zone) -> Vec<(String, Vec<&'a Line>)> {
    let mut months: BTreeMap<String, Vec<&Line>> = BTreeMap::new();
    for line in lines {
        months.entry(month_of(line.bypass.begins(), zone)).or_default().push(line);
    }
    months.into_iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        oversight::KeptReview,
        rules::{
            dossier::Subject,
            fact::{Fact, Hand},
            sample::{Railway, at, bypass, device, word},
        },
    };

    #[test]
    fn each_opening_is_counted_in_the_month_it_began_here_and_once_in_each_way() {
        let mut railway = Railway::with(vec![device("GRC", |d| d.ground_protection = true)]);
        railway.authorise("a.lind", "2026-01-01", None);
        let closed =
            |when: &'static str| move |b: &mut crate::rules::fact::BypassFact| b.closed_at = Some(at(when));
        // 22:30 on 28 February in Chicago.
        let late = bypass("2026-03-01T04:30:00Z", "GRC", closed("2026-03-01T05:00:00Z"));
        let moving = bypass("2026-03-05T10:00:00Z", "GRC", |b| {
            b.purpose = Some(word("to_keep_moving"));
            b.by = Hand::Person("b.sato".into());
            b.closed_at = Some(at("2026-03-05T10:30:00Z"));
        });
        let found = Fact {
            found: true,
            ..bypass("2026-03-20T10:00:00Z", "GRC", |b| (b.by, b.purpose) = (Hand::NotKnown, None))
        };
        let judged = railway.judge(Subject::GroundProtection, vec![late, moving, found]);
        let review = |line: &crate::rules::Bypass| KeptReview {
            seq: 9_000,
            bypass: line.id,
            by: "m.ruiz".into(),
            at: at("2026-03-06T10:00:00Z"),
            last_seq: u64::MAX,
            judgement: "not_in_order".into(),
            words: "Looked".into(),
        };
        let lines: Vec<Line> = judged
            .bypasses
            .into_iter()
            .enumerate()
            .map(|(nth, bypass)| Line {
                reviews: if nth == 1 { vec![review(&bypass)] } else { vec![] },
                told: vec![],
                bypass,
            })
            .collect();
        let months = by_month(&lines, &railway.zone);
        let now = at("2026-04-01T00:00:00Z");
        assert_eq!(
            months.iter().map(|(month, of)| (month.as_str(), of.len())).collect::<Vec<_>>(),
            [("2026-03", 2), ("2026-02", 1)]
        );
        let march = Counts::of(months[0].1.iter().copied(), now);
        let want = Counts {
            openings: 2,
            not_authorised: 1,
            opener_not_known: 1,
            found_open: 1,
            to_keep_moving: 1,
            no_purpose: 1,
            past_limit: 2,
            still_open: 1,
            not_in_order: 1,
            not_reviewed: 1,
            ..Counts::default()
        };
        assert_eq!(march, want);
        let february = Counts::of(months[1].1.iter().copied(), now);
        assert_eq!((february.openings, february.own_right, february.past_limit), (1, 1, 0));
        assert_eq!(february.all().len(), NAMES.len());
    }
}
