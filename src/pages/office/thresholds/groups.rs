//! The settings by the rule that goes by them.
use crate::{
    pages::drawn::rules,
    rules::{
        Rule,
        thresholds::{SETTINGS, Setting},
    },
};

pub(super) struct Group {
    pub title: String,
    /// `None`: not one rule's.
    pub rule: Option<Rule>,
    pub settings: Vec<&'static Setting>,
}

const OF_RULES: &[(Rule, &[&str])] = &[
    (Rule::Burst, &["burst_"]),
    (Rule::Often, &["often_"]),
    (Rule::DidNotHold, &["returned_"]),
    (Rule::Worsening, &["worsening_"]),
    (Rule::ClassWide, &["class_wide_"]),
    (Rule::SharedCause, &["shared_", "consist_"]),
    (Rule::Wet, &["wet_"]),
    (Rule::StartingWeakens, &["start"]),
    (Rule::Held, &["proving_"]),
];
const OF_ALL: &[(&str, &str)] = &[("How long a line stands", "quiet_"), ("The watch list", "watch_")];

/// Every setting once.
pub(super) fn groups() -> Vec<Group> {
    let of_rule = |(rule, prefixes): &(Rule, &[&str])| Group {
        title: capital(rules::name(*rule)),
        rule: Some(*rule),
        settings: prefixes.iter().flat_map(|prefix| with(prefix)).collect(),
    };
    let of_all = |(title, prefix): &(&str, &str)| Group {
        title: (*title).to_owned(),
        rule: None,
        settings: with(prefix).collect(),
    };
    let mut groups: Vec<Group> =
        OF_RULES.iter().map(of_rule).chain(OF_ALL.iter().map(of_all)).collect();
    let named = |setting: &&Setting| groups.iter().any(|g| g.settings.iter().any(|s| s.name == setting.name));
    let others: Vec<&Setting> = SETTINGS.iter().filter(|setting| !named(setting)).collect();
    groups.push(Group { title: "Others".to_owned(), rule: None, settings: others });
    groups.retain(|group| !group.settings.is_empty());
    groups
}

fn with(prefix: &str) -> impl Iterator<Item = &'static Setting> {
    SETTINGS.iter().filter(move |setting| setting.name.starts_with(prefix))
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_setting_stands_in_one_group() {
        let groups = groups();
        for setting in SETTINGS {
            let n: usize =
                groups.iter().map(|g| g.settings.iter().filter(|s| s.name == setting.name).count()).sum();
            assert_eq!(n, 1, "{}", setting.name);
        }
        assert_eq!(groups[0].title, "Operates in a burst");
    }
}
