//! Open findings in a crew's words: what to expect of the unit, without the shop's statistics. What is certain is
//! said as the rule says it.
use crate::{
    base::{Tag, Zone, text},
    pages::drawn::told::named,
    roster::{DeviceKind, Schedule},
    rules::{Finding, Rule},
};

pub fn in_crew_words(finding: &Finding, schedule: Option<&Schedule>, zone: &Zone) -> String {
    let what = || What::of(finding, schedule);
    let since = || zone.day_in_words(finding.since);
    match finding.rule {
        Rule::Burst | Rule::Often => format!("{}. Expect it again.", what().so_often(finding)),
        Rule::Worsening => format!("{} more and more often. Expect it again.", what().does),
        Rule::DidNotHold => {
            format!("{} again after it was repaired. Do not count on the repair.", what().has)
        }
        Rule::Proving => format!(
            "{}: repaired {}. Nothing shows yet whether it holds; write down every return.",
            what().subject,
            since()
        ),
        Rule::Held => format!("{}: repaired, and it has held since {}.", what().subject, since()),
        Rule::SharedCause => shared(finding),
        Rule::Wet => format!("{} on wet days, and hardly on dry ones.", what().does),
        Rule::StartingWeakens => starting(finding),
        _ => finding.sentence.clone(),
    }
}

/// How a device is spoken of.
struct What {
    subject: String,
    /// `TC2 Inverter 2 control trips`.
    does: String,
    /// `TC2 Inverter 2 control has tripped`.
    has: String,
}

impl What {
    fn of(finding: &Finding, schedule: Option<&Schedule>) -> Self {
        let said = |subject: &str, does: &str, has: &str| Self {
            subject: subject.to_owned(),
            does: format!("{subject} {does}"),
            has: format!("{subject} {has}"),
        };
        let Some(tag) = &finding.device else { return said("The unit", "fails", "has failed") };
        match tag.as_str() {
            Tag::GROUND_RELAY => said("The ground relay", "operates", "has operated"),
            Tag::ENGINE_START => said("Starting", "fails", "has failed"),
            _ => {
                let device = schedule.and_then(|s| s.device(tag));
                let subject = named(tag, schedule);
                match device.map(|d| d.kind) {
                    Some(DeviceKind::Fuse) => said(&subject, "blows", "has blown"),
                    _ => said(&subject, "trips", "has tripped"),
                }
            }
        }
    }

    fn so_often(&self, finding: &Finding) -> String {
        let figure = |name: &str| finding.figures.get(name).and_then(serde_json::Value::as_u64);
        match (figure("occurrences"), figure("service_days")) {
            (Some(n), Some(days)) => {
                let (times, days) = (text::count(n, "time", "times"), text::count(days, "day", "days"));
                format!("{} {times} in {days} of service", self.has)
            }
            _ => format!("{} again and again", self.has),
        }
    }
}

fn shared(finding: &Finding) -> String {
    let list = |names: Vec<String>| names.join(", ");
    let of: Vec<String> = match finding.devices.len() {
        0 | 1 => finding.units.iter().map(ToString::to_string).collect(),
        _ => finding.devices.iter().map(ToString::to_string).collect(),
    };
    match (&finding.device, finding.devices.len()) {
        (Some(device), 0 | 1) => {
            format!("{device} tripped on {} together: one cause behind them is likely.", list(of))
        }
        _ => format!("{} tripped together: one cause behind them is likely.", list(of)),
    }
}

fn starting(finding: &Finding) -> String {
    let volts = |name: &str| finding.figures.get(name).and_then(serde_json::Value::as_f64);
    match (volts("line_now_v"), volts("minimum_v")) {
        (Some(now), Some(least)) => format!(
            "Cranking volts fall: {now:.1} V by the last starts, and {least} V is the least. It may not start again \
             once it is shut down."
        ),
        _ => "Starts have failed lately. It may not start again once it is shut down.".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Map, json};

    use super::*;
    use crate::{base::Instant, pages::drawn::sample};

    fn finding(rule: Rule, device: &str, figures: &serde_json::Value) -> Finding {
        Finding {
            rule,
            key: String::new(),
            unit: Some("QHB 412".into()),
            device: Some(device.into()),
            units: vec![],
            devices: vec![],
            class: None,
            since: Instant::parse("2026-03-03T12:00:00Z").unwrap(),
            until: None,
            severity: 1.0,
            rank: Some(1.0),
            sentence: "5 trips in 23 service days. About 1 healthy unit in 690 would do this in a year."
                .into(),
            entries: vec![],
            figures: figures.as_object().cloned().unwrap_or_else(Map::new),
        }
    }

    #[test]
    fn a_crew_reads_what_to_expect_and_no_statistics() {
        let schedule = sample::schedule();
        let zone = Zone::named("America/Chicago").unwrap();
        let says = |rule, device: &str, figures| {
            in_crew_words(&finding(rule, device, &figures), Some(&schedule), &zone)
        };
        let burst = says(Rule::Burst, "TC2", json!({"occurrences": 5, "service_days": 23}));
        assert!(
            burst.starts_with("TC2 ")
                && burst.ends_with("has tripped 5 times in 23 days of service. Expect it again.")
        );
        let relay = says(Rule::Often, "ground_relay", json!({"occurrences": 3, "service_days": 365}));
        assert_eq!(relay, "The ground relay has operated 3 times in 365 days of service. Expect it again.");
        let proving = says(Rule::Proving, "engine_start", json!({}));
        assert!(proving.starts_with("Starting: repaired 3 March 2026. Nothing shows yet"), "{proving}");
        let weak =
            says(Rule::StartingWeakens, "engine_start", json!({"line_now_v": 43.467, "minimum_v": 43.0}));
        assert!(
            weak.starts_with("Cranking volts fall: 43.5 V by the last starts, and 43 V is the least."),
            "{weak}"
        );
        for rule in Rule::RECKONED.into_iter().chain(Rule::NOTES).filter(|rule| *rule != Rule::ClassWide) {
            let said = says(rule, "SF", json!({}));
            for of_the_shop in ["healthy unit", "chance", "class", " safe", " fit "] {
                assert!(!said.contains(of_the_shop), "{rule}: {said}");
            }
        }
    }

    #[test]
    fn what_is_certain_is_said_as_the_rule_says_it() {
        let zone = Zone::named("America/Chicago").unwrap();
        let certain = finding(Rule::Reported, "TC2", &json!({}));
        assert_eq!(in_crew_words(&certain, None, &zone), certain.sentence);
    }
}
