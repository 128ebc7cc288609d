//! The sums behind a line's figures, spelled out so that a pencil can check them; nothing for rules that reckon nothing.
use crate::rules::{Finding, Rule, Thresholds, statistics::posterior::Posterior};

/// How score, luck and weight come about.
pub fn reckoned(finding: &Finding, set: &Thresholds) -> Vec<String> {
    let sums = match finding.rule {
        Rule::Burst => burst_reckoned(finding).map(Vec::from),
        Rule::Often => often_reckoned(finding, set).map(Vec::from),
        Rule::DidNotHold => returned_reckoned(finding).map(Vec::from),
        _ => None,
    };
    sums.into_iter().flatten().chain(weight_reckoned(finding)).collect()
}

/// A figure of the line that is a number.
fn number(finding: &Finding, name: &str) -> Option<f64> {
    finding.figures.get(name).and_then(serde_json::Value::as_f64)
}

/// What ranks a line about one device.
fn weight_reckoned(finding: &Finding) -> Option<String> {
    let n = |name: &str| number(finding, name);
    let (own, days, gap) = (n("year_occurrences")?, n("year_service_days")?, n("normal_gap_days")?);
    let (class, class_days) = (n("class_counts_as_occurrences")?, n("class_counts_as_days")?);
    let (extra, rank) = (n("extra_in_30_days")?, finding.rank?);
    Some(format!(
        "The weight: 30 × (({class} + {own}) ÷ ({class_days} + {days}) − 1 ÷ {gap}) = {extra} more occurrences to expect \
         in the next 30 service days than in a sister unit, over a whole year and not this stretch alone; times {}, how much \
         one matters, is {rank:.1}.",
        finding.severity
    ))
}

/// What is expected, and how sure it is that the rate is over so many times the class's: by the settings in force, and only where
/// they give what the line says.
fn often_reckoned(finding: &Finding, set: &Thresholds) -> Option<[String; 2]> {
    let n = |name: &str| number(finding, name);
    let (own, days, rate) = (n("occurrences")?, n("service_days")?, n("class_rate_per_day")?);
    let (expected, weight, certainty) = (n("expected")?, n("class_counts_as_occurrences")?, n("certainty")?);
    let believed = Posterior { alpha: weight + own, beta: weight / rate + days };
    let above = set.often_ratio * rate;
    let again = believed.chance_above(above)?;
    let sure = if (again - certainty).abs() < 0.002 {
        format!(
            "How sure: the class counts as {weight} occurrences in {weight} ÷ {} = {} service days. With this device's own that makes \
             {} in {}. The chance that a rate of which this is known (a gamma law of shape {} and rate {}) is over {} × {} = {} a day: \
             {certainty}.",
            four(rate),
            four(weight / rate),
            four(believed.alpha),
            four(believed.beta),
            four(believed.alpha),
            four(believed.beta),
            set.often_ratio,
            four(rate),
            four(above),
        )
    } else {
        "How sure: by settings that were changed since; the line is reckoned again with the next entry about this device.".to_owned()
    };
    Some([format!("What to expect: {} a service day × {days} service days = {expected}.", four(rate)), sure])
}

/// The chance of a return so soon, or of so many.
fn returned_reckoned(finding: &Finding) -> Option<[String; 1]> {
    let n = |name: &str| number(finding, name);
    let (returns, days, rate) = (n("returns")?, n("service_days")?, n("class_rate_per_day")?);
    let (chance, expected) = (n("chance")?, rate * days);
    let law = if returns <= 1.0 {
        format!("one or more in that time: 1 − e^(−{})", four(expected))
    } else {
        format!("{returns} or more in that time, by the Poisson law with {} to expect", four(expected))
    };
    Some([format!(
        "The chance: {} a service day × {days} service days since the repair = {} to expect; {law} = {chance}.",
        four(rate),
        four(expected)
    )])
}

fn burst_reckoned(finding: &Finding) -> Option<[String; 2]> {
    let n = |name: &str| finding.figures.get(name).and_then(serde_json::Value::as_f64);
    let (rate, times, before) = (n("rate_per_day")?, n("looks_for_times")?, n("score_before")?);
    let (score, threshold, one_in) = (n("score")?, n("threshold")?, n("one_in")?);
    let fall = (times - 1.0) * rate + 1.0 / 365.0;
    Some([
        format!(
            "The score: {} just before the first of them. Every occurrence multiplies it by {times}. From one to the next, so many \
             service days later, it becomes (score − {rest}) × e^(−{fall} × days) + {rest}. There {fall} is {} × {} + 1 ÷ 365, \
             what a day takes away; {rest} is 1 ÷ {fall}, what the score comes to without any. A line is written at {}; the highest \
             was {}. Counting begins with an occurrence before which the score was {} at most, twice what it comes to without any.",
            four(before),
            four(times - 1.0),
            four(rate),
            four(threshold),
            four(score),
            four(2.0 / fall),
            rest = four(1.0 / fall),
            fall = four(fall),
        ),
        format!(
            "The luck: a healthy device that operates {} times a service day gets to such a score in one of {one_in} years of \
             service. That number is the program's own reckoning. To check it: a healthy device's score grows by one a service \
             day on average at most, and is 365 at most on average to begin with, so it can't be there more often than once in \
             {} ÷ 730 = {} years.",
            four(rate),
            four(score),
            four(score / 730.0)
        ),
    ])
}

pub fn four(n: f64) -> String {
    if n == 0.0 || !n.is_finite() {
        return format!("{n}");
    }
    let digits = 3.0 - n.abs().log10().floor();
    // Between 0 and 17 by the clamp, so that the cast keeps it.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped on the same line")]
    let digits = digits.clamp(0.0, 17.0) as usize;
    format!("{n:.digits$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_tells_how_its_figures_come_about() {
        let finding = serde_json::json!({"rule": "burst", "key": "k", "unit": "QHB 412", "device": "TC2", "units": [], "devices": [],
            "class": null, "since": 0, "until": null, "severity": 2.0, "rank": 0.6, "sentence": "", "entries": [], "figures": {
                "rate_per_day": 0.005, "looks_for_times": 5.0, "score_before": 44.25, "score": 52_560.0, "threshold": 30_000.0,
                "one_in": 310, "year_occurrences": 6, "year_service_days": 365,
                "normal_gap_days": 209.1, "class_counts_as_occurrences": 1.5, "class_counts_as_days": 313.65, "extra_in_30_days": 0.3}});
        let mut finding: Finding = serde_json::from_value(finding).unwrap();
        let says = reckoned(&finding, &Thresholds::default()).join("\n");
        for want in [
            "44.25 just before the first of them. Every occurrence multiplies it by 5.",
            "(score − 43.98) × e^(−0.02274 × days) + 43.98.",
            "0.02274 is 4.000 × 0.005000 + 1 ÷ 365",
            "written at 30000; the highest was 52560. Counting begins with an occurrence before which the score was 87.95 at most",
            "one of 310 years of service",
            "52560 ÷ 730 = 72.00 years",
            "30 × ((1.5 + 6) ÷ (313.65 + 365) − 1 ÷ 209.1) = 0.3",
            "times 2, how much one matters, is 0.6.",
        ] {
            assert!(says.contains(want), "{says} has not {want:?}");
        }
        finding.figures.clear();
        assert!(reckoned(&finding, &Thresholds::default()).is_empty());
    }

    fn line(rule: &str, figures: serde_json::Value) -> Finding {
        let finding = serde_json::json!({"rule": rule, "key": "k", "unit": "QHB 412", "device": "TC2", "units": [], "devices": [],
            "class": null, "since": 0, "until": null, "severity": 1.0, "rank": 0.5, "sentence": "", "entries": [], "figures": figures});
        serde_json::from_value(finding).unwrap()
    }

    /// rules/often.rs has these by hand: a class average of 2 a year, the weight of two, 11 in the last year: 94 % sure.
    #[test]
    fn often_tells_what_was_expected_and_how_sure_it_is() {
        let rate = 2.0 / 365.0;
        let figures = serde_json::json!({"occurrences": 11, "service_days": 365, "class_rate_per_day": rate, "expected": 2.0,
            "class_counts_as_occurrences": 2.0, "certainty": 0.936});
        let told = |figures: &serde_json::Value| {
            reckoned(&line("often", figures.clone()), &Thresholds::default()).join(" ")
        };
        let says = told(&figures);
        for want in [
            "0.005479 a service day × 365 service days = 2.",
            "2 ÷ 0.005479 = 365.0 service days",
            "13.00 in 730.0",
            ": 0.936.",
        ] {
            assert!(says.contains(want), "{says} has not {want:?}");
        }
        let mut otherwise = figures;
        otherwise["certainty"] = 0.97.into();
        assert!(told(&otherwise).contains("by settings that were changed since"), "{}", told(&otherwise));
    }

    #[test]
    fn did_not_hold_tells_the_chance_of_a_return() {
        let told = |returns: u32, chance: f64| {
            let figures = serde_json::json!({"returns": returns, "service_days": 4, "class_rate_per_day": 0.01, "chance": chance});
            reckoned(&line("did_not_hold", figures), &Thresholds::default()).join(" ")
        };
        assert!(told(1, 0.039).contains("1 − e^(−0.04000) = 0.039."), "{}", told(1, 0.039));
        assert!(
            told(2, 0.001)
                .contains("2 or more in that time, by the Poisson law with 0.04000 to expect = 0.001.")
        );
    }
}
