//! *often*: a device whose rate over the last 365 service days is, almost surely, more than twice its class's.
use super::{
    figures::Normal,
    finding::{Finding, Rule},
    pair::{Pair, Year, one_in, round},
    statistics::{posterior::Posterior, tails::predictive_at_least},
};
use crate::base::text::count;

/// One stretch during which the line stands.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    crossed: usize,
    last: usize,
    /// When it was surest.
    surest: usize,
    certainty: f64,
}

/// Looks at every occurrence with the year behind it. The class is pooled, this unit included, so that a class of few
/// units is not held against itself.
pub fn often(pair: &mut Pair<'_>, normal: &Normal, out: &mut Vec<Finding>) {
    let set = pair.case.ground.thresholds;
    if (pair.occurrences.len() as f64) < set.often_at_least {
        return;
    }
    let Some(prior) = pair.prior_weight().and_then(|weight| Posterior::prior(normal.pooled(), weight)) else {
        return;
    };
    let mut open: Option<Stretch> = None;
    let mut done = Vec::new();
    for i in 0..pair.occurrences.len() {
        if open.is_some_and(|stretch| pair.ended_before(stretch.last, i, normal)) {
            done.extend(open.take());
        }
        let year = pair.year_up_to(i);
        if open.is_none()
            && is_out_of_question(set.often_certainty, prior, &year, set.often_ratio * normal.pooled())
        {
            continue;
        }
        let certainty = certainty(set.often_at_least, prior, &year, set.often_ratio * normal.pooled());
        match &mut open {
            Some(stretch) => {
                stretch.last = i;
                if certainty > stretch.certainty {
                    (stretch.surest, stretch.certainty) = (i, certainty);
                }
            }
            None if certainty >= set.often_certainty => {
                open = Some(Stretch { crossed: i, last: i, surest: i, certainty });
            }
            None => {}
        }
    }
    done.extend(open);
    for stretch in done {
        let until = pair.ends(stretch.last, normal);
        out.push(told(pair, normal, prior, stretch).until(until));
    }
}

/// A gamma law's median lies below its mean: where the mean is not above, no more than half of it can be. Spares most
/// occurrences the reckoning.
fn is_out_of_question(certainty: f64, prior: Posterior, year: &Year, above: f64) -> bool {
    let after = prior.after(year.occurrences, year.days as f64);
    certainty >= 0.5 && after.alpha <= above * after.beta
}

/// How sure it is that the rate is above; 0 for too few occurrences to say.
fn certainty(at_least: f64, prior: Posterior, year: &Year, above: f64) -> f64 {
    if f64::from(year.occurrences) < at_least {
        return 0.0;
    }
    prior.after(year.occurrences, year.days as f64).chance_above(above).unwrap_or(0.0)
}

fn told(pair: &Pair<'_>, normal: &Normal, prior: Posterior, stretch: Stretch) -> Finding {
    let year = pair.year_up_to(stretch.surest);
    let days = year.days as f64;
    let n = usize::try_from(year.occurrences).unwrap_or(0);
    let told = &pair.occurrences[stretch.surest + 1 - n..=stretch.surest];
    let by_luck =
        predictive_at_least(u64::from(year.occurrences), prior.alpha, prior.beta, days).unwrap_or(1.0);
    let ratio = pair.case.ground.thresholds.often_ratio;
    let whose = if normal.fleet { "the fleet's" } else { "the class's" };
    let says = format!(
        "{} in the {} up to {}; a unit at {whose} average has {:.1}. {:.0} % sure that its rate is over {ratio} times \
         that. {} has so many.",
        pair.counted(n),
        count(year.days.unsigned_abs(), "service day", "service days"),
        pair.days[stretch.surest].in_words(),
        normal.pooled() * days,
        100.0 * stretch.certainty.min(0.99),
        one_in("healthy unit", 1.0 / by_luck),
    );
    let since = pair.occurrences[stretch.crossed].at;
    pair.line(Rule::Often, &pair.days[stretch.crossed].to_string(), since, stretch.last, normal)
        .says(says)
        .rests_on(pair.entries(told))
        .figure("occurrences", n)
        .figure("service_days", year.days)
        .figure("class_rate_per_day", normal.pooled())
        .figure("expected", round(normal.pooled() * days))
        .figure("certainty", round(stretch.certainty))
        .figure("one_in", (1.0 / by_luck).round())
}

#[cfg(test)]
mod tests {
    use crate::rules::{
        Rule,
        sample::{at, repair, trips, with_gap},
    };

    fn found(railway: &crate::rules::sample::Railway, days: &[&str]) -> Vec<crate::rules::Finding> {
        let mut found = railway.judge_device("TC2", trips(days));
        found.retain(|f| f.rule == Rule::Often);
        found
    }

    const ELEVEN: [&str; 11] = [
        "2025-04-10",
        "2025-05-14",
        "2025-06-17",
        "2025-07-20",
        "2025-08-23",
        "2025-09-26",
        "2025-10-29",
        "2025-12-01",
        "2026-01-03",
        "2026-02-05",
        "2026-03-10",
    ];

    /// statistics.md section 2: at a class average of 2 a year and the weight of two, 11 in the last year give 94 %,
    /// 9 give 82 %, 10 give 89 %: no line. P(X >= 11) = p^11 (1 + 11 (1 - p)) at p = 365/729: one in 311.
    #[test]
    fn eleven_a_year_beside_two_are_often_and_ten_are_not() {
        let mut railway = with_gap(182);
        railway.even();
        assert_eq!(found(&railway, &ELEVEN[1..]), []);
        let often = found(&railway, &ELEVEN);
        assert_eq!(
            often[0].sentence,
            "11 trips in the 365 service days up to 10 March 2026; a unit at the class's average has 2.0. 94 % sure that \
             its rate is over 2 times that. About 1 healthy unit in 310 has so many."
        );
        assert_eq!(
            (often.len(), often[0].since, often[0].entries.len()),
            (1, at("2026-03-10T12:00:00Z"), 11)
        );
    }

    #[test]
    fn a_new_device_begins_a_new_year() {
        let mut railway = with_gap(182);
        railway.even();
        let mut facts = trips(&ELEVEN);
        facts.push(crate::rules::sample::new_life("2026-01-20T00:00:00Z"));
        let often = railway.judge_device("TC2", facts);
        assert!(often.iter().all(|f| f.rule != Rule::Often), "{often:?}");
        let mut facts = trips(&ELEVEN);
        facts.push(repair("2026-03-20T00:00:00Z"));
        let often = railway.judge_device("TC2", facts);
        let often = often.iter().find(|f| f.rule == Rule::Often).unwrap();
        assert_eq!(often.until, Some(at("2026-03-20T00:00:00Z")));
    }
}
