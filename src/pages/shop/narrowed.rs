//! What the board is narrowed down to, as it stands in the address bar; what is not known is a sentence beside its field.
use std::collections::BTreeSet;

use serde::Deserialize;

use super::ground;
use crate::{
    base::{ClassName, Tag, UnitName, text},
    desk::World,
    pages::drawn::{form::Field, rules},
    rules::{Rule, store::Wanted},
    web::{naming, paths},
};

#[derive(Deserialize, Default, Clone)]
pub struct TriageForm {
    #[serde(default)]
    pub unit: String,
    #[serde(default)]
    pub class: String,
    #[serde(default)]
    pub device: String,
    #[serde(default)]
    pub rule: String,
    #[serde(default)]
    pub shop: String,
    #[serde(default)]
    pub severity: String,
    /// `yes`: only what is new since this person last looked.
    #[serde(default)]
    pub new: String,
    #[serde(default)]
    pub page: String,
    #[serde(default)]
    pub day: String,
}

/// What the address asks for, once it is read.
#[derive(Default)]
pub struct Filter {
    pub unit: naming::NamedUnit,
    pub class: Option<ClassName>,
    pub class_says: Option<String>,
    pub device: Option<Tag>,
    pub device_says: Option<String>,
    pub rule: Option<Rule>,
    pub rule_says: Option<String>,
    /// The units at home in a shop.
    pub units: Option<BTreeSet<UnitName>>,
    pub shop_says: Option<String>,
    pub severity: Option<f64>,
    pub severity_says: Option<String>,
    pub new: bool,
}

impl Filter {
    pub fn is_wrong(&self) -> bool {
        let no_unit = self.unit.unit.is_none() && self.unit.says.is_some();
        let says =
            [&self.class_says, &self.device_says, &self.rule_says, &self.shop_says, &self.severity_says];
        no_unit || says.into_iter().any(Option::is_some)
    }

    pub fn wanted(&self) -> Wanted<'_> {
        Wanted {
            unit: self.unit.unit.as_ref(),
            class: self.class.as_ref().map(ClassName::as_str),
            rule: self.rule,
            device: self.device.as_ref(),
            units: self.units.as_ref(),
            severity: self.severity,
            ..Wanted::default()
        }
    }
}

/// The rules that have lines on this board.
fn on_the_board(rule: Rule) -> bool {
    !rule.is_ground_protection() || ground::is_shown(rule)
}

/// How much one occurrence matters, as the schedules weigh it: 1 is ordinary, starting 3, the ground relay 5.
const SEVERITIES: [(&str, &str); 3] = [("2", "2 and over"), ("3", "3 and over"), ("5", "5 and over")];

impl TriageForm {
    pub fn read(&self, world: &World) -> Filter {
        let mut filter =
            Filter { unit: naming::unit(&self.unit, world), new: self.new == "yes", ..Filter::default() };
        let class = Some(self.class.trim()).filter(|c| !c.is_empty()).map(ClassName::from);
        match class {
            Some(class) if !world.roster.classes.contains_key(&class) => {
                filter.class_says = Some("There is no such class. Choose one of the list.".into());
            }
            known => filter.class = known,
        }
        match Rule::parse(&self.rule).filter(|rule| on_the_board(*rule)) {
            None if !self.rule.is_empty() => {
                filter.rule_says =
                    Some("No such rule has lines on this board. Choose one of the list.".into());
            }
            known => filter.rule = known,
        }
        self.read_device(world, &mut filter);
        self.read_shop(world, &mut filter);
        let severity = SEVERITIES.iter().find(|(value, _)| *value == self.severity);
        match severity.and_then(|(value, _)| value.parse().ok()) {
            None if !self.severity.is_empty() => {
                filter.severity_says =
                    Some("Choose one of the list: what is less severe is not told apart.".into());
            }
            known => filter.severity = known,
        }
        filter
    }

    /// A tag of any class's schedule, however it is written, or one of the two that are on none.
    fn read_device(&self, world: &World, filter: &mut Filter) {
        let typed = self.device.trim();
        if typed.is_empty() {
            return;
        }
        let same = |tag: &&Tag| tag.as_str().eq_ignore_ascii_case(typed);
        let known = tags(world);
        filter.device = known.iter().find(same).cloned();
        if filter.device.is_none() {
            let near = text::nearest(typed, known.iter().map(Tag::as_str));
            let near = near.map(|tag| format!(" Did you mean {tag}?")).unwrap_or_default();
            filter.device_says = Some(format!("No schedule has a device {}.{near}", text::quoted(typed)));
        }
    }

    fn read_shop(&self, world: &World, filter: &mut Filter) {
        if self.shop.is_empty() {
            return;
        }
        let at_home = world.roster.units.values().filter(|card| card.home_shop.as_ref() == Some(&self.shop));
        let units: BTreeSet<UnitName> = at_home.map(|card| card.unit.clone()).collect();
        if units.is_empty() {
            filter.shop_says = Some("No unit of the roster is at home there. Choose one of the list.".into());
        } else {
            filter.units = Some(units);
        }
    }

    pub fn is_narrow(&self) -> bool {
        [&self.unit, &self.class, &self.device, &self.rule, &self.shop, &self.severity, &self.new]
            .into_iter()
            .any(|typed| !typed.is_empty())
    }

    pub fn link(&self, page: usize, day: usize) -> String {
        let number = |n: usize| if n == 1 { String::new() } else { n.to_string() };
        let (page, day) = (number(page), number(day));
        paths::Triage.with(&[
            ("unit", &self.unit),
            ("class", &self.class),
            ("device", &self.device),
            ("rule", &self.rule),
            ("shop", &self.shop),
            ("severity", &self.severity),
            ("new", &self.new),
            ("page", &page),
            ("day", &day),
        ])
    }

    /// The same with another rule, from its first page.
    pub fn with_rule(&self, rule: Rule) -> String {
        Self { rule: rule.to_string(), ..self.clone() }.link(1, 1)
    }

    /// The same with what is new only, or with everything again.
    pub fn with_new(&self, only: bool) -> String {
        Self { new: if only { "yes".into() } else { String::new() }, ..self.clone() }.link(1, 1)
    }
}

fn tags(world: &World) -> BTreeSet<Tag> {
    let schedules = world.roster.classes.values().flat_map(|class| &class.schedules);
    let scheduled = schedules.flat_map(|s| &s.devices).map(|d| d.tag.clone());
    scheduled.chain([Tag::GROUND_RELAY, Tag::ENGINE_START].map(Tag::from)).collect()
}

/// One of a list, or all.
pub struct Select {
    pub name: &'static str,
    pub label: &'static str,
    pub says: Option<String>,
    pub options: Vec<Pick>,
}

pub struct Pick {
    pub value: String,
    pub text: String,
    pub chosen: bool,
}

/// The form above the board: unit and device to type, the rest to choose.
pub fn fields(form: &TriageForm, asked: &Filter) -> [Field; 2] {
    let field = |name: &str, label: &str, value: &str, says: &Option<String>| Field {
        input: "search",
        ..Field::text(name, label, value).says(says.clone())
    };
    [
        field("unit", "Unit", &form.unit, &asked.unit.says),
        field("device", "Device, by its tag", &form.device, &asked.device_says),
    ]
}

pub fn selects(form: &TriageForm, asked: &Filter, world: &World) -> [Select; 4] {
    let pick = |value: &str, text: &str, typed: &str| Pick {
        value: value.to_owned(),
        text: text.to_owned(),
        chosen: value == typed,
    };
    let classes = world.roster.classes.keys().map(|name| pick(name.as_str(), name.as_str(), &form.class));
    let shops: BTreeSet<&str> =
        world.roster.units.values().filter_map(|card| card.home_shop.as_deref()).collect();
    let of_equipment = Rule::ALL.iter().filter(|rule| !rule.is_ground_protection());
    let all_rules = ground::RULES.iter().chain(of_equipment);
    let select =
        |name, label, says: &Option<String>, options| Select { name, label, says: says.clone(), options };
    [
        select("class", "Class", &asked.class_says, classes.collect()),
        select(
            "rule",
            "Rule",
            &asked.rule_says,
            all_rules.map(|rule| pick(rule.as_str(), rules::name(*rule), &form.rule)).collect(),
        ),
        select(
            "shop",
            "Home shop",
            &asked.shop_says,
            shops.into_iter().map(|shop| pick(shop, shop, &form.shop)).collect(),
        ),
        select(
            "severity",
            "How much one matters",
            &asked.severity_says,
            SEVERITIES.iter().map(|(value, text)| pick(value, text, &form.severity)).collect(),
        ),
    ]
}
