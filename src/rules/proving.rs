//! *proving* and *held*: how long a repaired device has to be silent before that proves anything. Reckoned from the pair's
//! own rate before the repair, drawn towards the class: a device that had a bad run would be quieter anyway.
use super::{
    figures::Normal,
    finding::{Finding, Rule},
    pair::{Pair, Repaired},
    rests::Rests,
    statistics::posterior::Posterior,
};
use crate::base::Instant;

/// A repair that held is told for so many service days.
const TOLD_FOR: i64 = 30;

/// Looks at every repair that followed an occurrence within a year: silence after one that answered nothing proves
/// nothing.
pub fn proving(pair: &mut Pair<'_>, normal: &Normal, out: &mut Vec<Finding>) {
    let Some(prior) = pair.prior_weight().and_then(|weight| Posterior::prior(normal.pooled(), weight)) else {
        return;
    };
    for place in 0..pair.repairs.len() {
        let repair = pair.repairs[place];
        let before = pair.occurrences.partition_point(|o| o.at < repair.at);
        if before == 0 {
            continue;
        }
        let year = pair.year_ending(before - 1, repair.day);
        if year.occurrences == 0 {
            pair.rest_on_days_to(repair.day);
            continue;
        }
        let exposed = year.days as f64;
        let was = prior.after(year.occurrences, exposed);
        let days = was.days_of_silence(pair.case.ground.thresholds.proving_chance).ceil();
        let returned = pair.occurrences.get(before).map(|o| o.at);
        let next = pair.repairs.get(place + 1).map(|r| r.at);
        let ends = [returned, next].into_iter().flatten().min();
        let told = Told { repair, occurrences: year.occurrences, exposed, days, ends };
        told.findings(pair, before - 1, out);
    }
}

struct Told {
    repair: Repaired,
    /// Before the repair, in so many service days.
    occurrences: u32,
    exposed: f64,
    /// Service days of silence that prove it.
    days: f64,
    /// The return, or the next repair, that ended the silence.
    ends: Option<Instant>,
}

impl Told {
    fn findings(&self, pair: &mut Pair<'_>, last: usize, out: &mut Vec<Finding>) {
        let set = pair.case.ground.thresholds;
        let provable = self.days <= set.proving_days;
        #[expect(clippy::cast_possible_truncation, reason = "at most the setting's 3,650")]
        let days = self.days.min(set.proving_days).max(1.0) as i64;
        let (proved, at_proof) = pair.case.after_days(self.repair.day, days);
        // That silence cannot prove it is told no longer than that it held.
        let (told_until, at_end) =
            pair.case.after_days(self.repair.day, if provable { days + TOLD_FOR } else { TOLD_FOR });
        pair.rest(self.ends.map_or(at_proof.and(at_end), Rests::on));
        let sooner = |at: Option<Instant>| [at, self.ends].into_iter().flatten().min();
        out.push(self.line(pair, Rule::Proving, self.repair.at, last, provable).until(sooner(if provable {
            proved
        } else {
            told_until
        })));
        if let Some(proved) = proved.filter(|at| provable && self.ends.is_none_or(|ends| *at < ends)) {
            out.push(self.line(pair, Rule::Held, proved, last, provable).until(sooner(told_until)));
        }
    }

    fn line(&self, pair: &Pair<'_>, rule: Rule, since: Instant, last: usize, provable: bool) -> Finding {
        let days = if self.days <= 1.0 {
            "1 service day".to_owned()
        } else {
            format!("{:.0} service days", self.days)
        };
        let before = format!(
            "Repair closed {}, after {} in {:.0} service days.",
            self.repair.day.in_words(),
            pair.counted(self.occurrences as usize),
            self.exposed
        );
        let never = pair.counted(0).replacen("0 ", "", 1);
        let set = pair.case.ground.thresholds;
        let says = match (rule, provable) {
            (Rule::Held, _) => format!("{before} {days} without any of these {never} since: it held."),
            (_, true) => format!("{before} {days} without any of these {never} would prove it."),
            (_, false) => {
                format!(
                    "{before} Silence cannot prove this one: it would take more than {:.0} service days.",
                    set.proving_days
                )
            }
        };
        let mut line = pair.case.finding(rule, Some(pair.tag), &self.repair.at.to_z(), since).says(says);
        // A note, ranked below every line that asks for work.
        line.rank = Some(0.0);
        line.rests_on(pair.entries(&pair.occurrences[last..=last]))
            .figure("occurrences", self.occurrences)
            .figure("service_days", self.exposed)
            .figure("days_of_silence", self.days)
    }
}

#[cfg(test)]
mod tests {
    use crate::rules::{
        Finding, Rule,
        sample::{Railway, at, repair, trips, with_gap},
    };

    fn found(railway: &Railway, days: &[&str], repaired: &str) -> Vec<Finding> {
        let mut facts = trips(days);
        facts.push(repair(&format!("{repaired}T18:00:00Z")));
        let mut found = railway.judge_device("TC2", facts);
        found.retain(|f| matches!(f.rule, Rule::Proving | Rule::Held));
        found
    }

    /// By hand: weight 2, one in 90, so beta 180; 4 trips in 365 days before: (545 / (545 + d))^6 = 0.05 at
    /// d = 545 (20^(1/6) - 1) = 352.9.
    #[test]
    fn silence_proves_a_repair_on_the_day_it_says() {
        let mut railway = with_gap(90);
        railway.even();
        let days = ["2025-01-10", "2025-01-20", "2025-02-01", "2025-02-10"];
        let both = found(&railway, &days, "2025-02-11");
        assert_eq!(both.iter().map(|f| f.rule).collect::<Vec<_>>(), [Rule::Held, Rule::Proving]);
        assert_eq!(
            both[1].sentence,
            "Repair closed 11 February 2025, after 4 trips in 365 service days. 353 service days without any of these trips \
             would prove it."
        );
        // 353 service days after 11 February 2025, to the end of that day in the railway's zone.
        assert_eq!(both[1].until, Some(at("2026-01-31T06:00:00Z")));
        assert_eq!(both[0].since, at("2026-01-31T06:00:00Z"));
        assert!(both[0].sentence.ends_with("353 service days without any of these trips since: it held."));
    }

    /// Of the 365 service days that end with the repair, not of those that end with the last trip.
    #[test]
    fn what_happened_longer_than_a_year_before_the_repair_is_not_told() {
        let days = ["2024-02-01", "2024-04-01", "2024-06-01", "2024-12-20"];
        let told = found(&with_gap(90), &days, "2025-03-20");
        assert!(
            told[0].sentence.starts_with("Repair closed 20 March 2025, after 3 trips in 365 service days."),
            "{told:?}"
        );
        assert_eq!(
            found(&with_gap(90), &days, "2026-01-10"),
            [],
            "a year of silence before it: nothing to prove"
        );
    }

    #[test]
    fn a_return_ends_it_and_a_rare_device_cannot_be_proved() {
        let mut railway = with_gap(90);
        railway.even();
        let days = ["2025-02-01", "2025-02-10", "2025-05-01"];
        let returned = found(&railway, &days, "2025-02-11");
        assert_eq!(returned.len(), 1);
        assert_eq!(returned[0].until, Some(at("2025-05-01T12:00:00Z")));
        let mut rare = with_gap(1_500);
        rare.even();
        let never = found(&rare, &["2025-02-10"], "2025-02-11");
        assert!(never[0].sentence.contains("Silence cannot prove this one"), "{never:?}");
        // Thirty service days later, the day after the last of them.
        assert_eq!((never.len(), never[0].until), (1, Some(at("2025-03-14T05:00:00Z"))));
        // Nothing had happened: there is nothing to prove.
        assert_eq!(found(&railway, &["2025-02-10"], "2025-02-09"), []);
    }
}
