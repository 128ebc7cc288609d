//! How a report from a tablet is told of: whose word it is, and by which clock.
use crate::{
    base::{Zone, text},
    people::tablet::{TabletReport, clock_off},
};

/// What stands beside a name when a tablet's key signed; `confirmed` as `reports::store` reads it.
pub fn signed_how(confirmed: Option<i64>) -> &'static str {
    match confirmed {
        None => "",
        Some(1) => ", signed on a tablet, confirmed by password later",
        Some(0) => ", signed on a tablet; they say it is not theirs",
        Some(_) => ", signed on a tablet, not confirmed by password",
    }
}

/// Both times, when the tablet's clock was more than five minutes off.
pub fn clock_says(report: &TabletReport, zone: &Zone) -> Option<String> {
    const NEAR: i64 = 5 * crate::base::instant::MINUTE;
    let off = clock_off(report.clock, report.received_at);
    let clock = report.clock.filter(|_| off.abs() > NEAR)?;
    let way = if off > 0 { "ahead" } else { "behind" };
    Some(format!(
        "The tablet's clock said {} when this came in at {}: it was {} {way}. Its times are as the tablet had them.",
        zone.in_words(clock.at),
        zone.in_words(report.received_at),
        text::span(off.abs() + 30 * crate::base::instant::SECOND)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::{Instant, Stamp};

    #[test]
    fn a_clock_that_is_off_is_told_with_both_times() {
        let zone = Zone::named("America/Chicago").unwrap();
        let report = |clock: &str| TabletReport {
            report: crate::base::ReportId(uuid::Uuid::nil()),
            author: "ann".into(),
            key: uuid::Uuid::nil(),
            clock: Stamp::parse(clock),
            received_at: Instant::parse("2026-03-03T12:00:00Z").unwrap(),
            answer: None,
        };
        let says = clock_says(&report("2026-03-04T12:00:00Z"), &zone).unwrap();
        assert!(says.contains("4 Mar 2026 06:00") && says.contains("3 Mar 2026 06:00"), "{says}");
        assert!(says.contains("24 h ahead"), "{says}");
        assert!(clock_says(&report("2026-03-02T12:00:00Z"), &zone).unwrap().contains("24 h behind"));
        assert_eq!(clock_says(&report("2026-03-03T12:04:00Z"), &zone), None, "a few minutes");
        assert_eq!(clock_says(&report("nonsense"), &zone), None, "it said none");
    }
}
