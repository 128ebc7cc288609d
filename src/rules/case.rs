//! One judgement in the making: the dossier with what it is judged against, and the blank form of a finding.
use super::{
    DossierKey, Ground,
    earlier::Earlier,
    fact::{Fact, RunFact, Told},
    finding::{Finding, Rule},
    outline::{Mending, Outline},
    rests::Rests,
    service_days::ServiceDays,
    weather::WeatherDays,
};
use crate::{
    base::{ClassName, Day, EntryId, Instant, Tag, UnitName},
    roster::Device,
};

#[derive(Clone, Copy, Debug)]
pub struct Case<'a> {
    pub key: &'a DossierKey,
    pub facts: &'a [Fact],
    /// Of a device: its facts' outlines, each in the fact's place. They may be all there is in hand.
    pub outlines: &'a [Outline],
    pub days: &'a ServiceDays,
    pub weather: &'a WeatherDays,
    pub runs: &'a [RunFact],
    /// Of a device: the lives on other units of parts that were put in.
    pub earlier: &'a [Earlier],
    pub ground: &'a Ground<'a>,
}

impl<'a> Case<'a> {
    pub fn unit(&self) -> &'a UnitName {
        &self.key.unit
    }

    pub fn class(&self) -> Option<&'a ClassName> {
        self.ground.roster.unit(&self.key.unit).map(|card| &card.class)
    }

    /// The device's row on the schedule that was in force then.
    pub fn device(&self, tag: &Tag, at: Instant) -> Option<&'a Device> {
        self.ground.roster.device_at(&self.key.unit, tag, at)
    }

    /// Facts that stand: those an amendment replaced are for the register only.
    pub fn standing(&self) -> impl Iterator<Item = &'a Fact> + use<'a> {
        self.facts.iter().filter(|f| f.withdrawn.is_none())
    }

    /// When repairs were closed, oldest first.
    pub fn repairs(&self) -> Vec<Instant> {
        let closed = self.standing().filter(|f| matches!(f.told, Told::RepairClosed { .. }));
        closed.map(|f| f.at).collect()
    }

    /// Repairs of a device that were closed, oldest first.
    pub fn mended(&self) -> impl Iterator<Item = (Instant, &'a Mending)> + use<'a> {
        let standing = self.outlines.iter().filter(|f| f.stands);
        standing.filter_map(|f| Some((f.at, f.repaired.as_deref()?)))
    }

    /// When so many service days after a day are over, with what that rests on; `None` while so many are not known.
    pub fn after_days(&self, day: Day, n: i64) -> (Option<Instant>, Rests) {
        let over = |day: Day| self.ground.zone.start_of(day.plus(1));
        match self.days.nth_after(day, n) {
            Some(last) => (Some(over(last)), Rests::on(over(last))),
            None => {
                (None, Rests { waits_for: Some(self.days.up_to(day) + n.max(1)), ..Rests::on(over(day)) })
            }
        }
    }

    /// `TC2 (traction control)`, or the tag alone when the schedule does not have it.
    pub fn named(&self, tag: &Tag, at: Instant) -> String {
        match (tag.as_str(), self.device(tag, at)) {
            (Tag::GROUND_RELAY, _) => "The ground relay".to_owned(),
            (Tag::ENGINE_START, _) => "Starting the engine".to_owned(),
            (_, Some(device)) if device.legend != tag.as_str() => format!("{tag} ({})", device.legend),
            _ => tag.to_string(),
        }
    }

    pub fn when(&self, at: Instant) -> String {
        self.ground.zone.in_words(at)
    }

    /// A finding about this unit, with everything but its words and figures. `mark` is what tells this matter
    /// from others of the same rule and device: an entry or a day, never a count or a place in a list.
    pub fn finding(&self, rule: Rule, device: Option<&Tag>, mark: &str, since: Instant) -> Finding {
        let unit = self.unit().clone();
        let about = device.map_or("-", Tag::as_str);
        Finding {
            rule,
            key: format!("{rule}:{unit}:{about}:{mark}"),
            units: vec![unit.clone()],
            unit: Some(unit),
            devices: device.cloned().into_iter().collect(),
            device: device.cloned(),
            class: self.class().cloned(),
            since,
            until: None,
            severity: 1.0,
            rank: None,
            sentence: String::new(),
            entries: Vec::new(),
            figures: serde_json::Map::new(),
        }
    }
}

impl Finding {
    pub(super) fn says(mut self, sentence: String) -> Self {
        self.sentence = sentence;
        self
    }

    pub(super) fn until(mut self, until: Option<Instant>) -> Self {
        self.until = until;
        self
    }

    pub(super) fn weighs(mut self, severity: f64) -> Self {
        self.severity = severity;
        self
    }

    /// Each entry once, in the order given.
    pub(super) fn rests_on(mut self, entries: impl IntoIterator<Item = EntryId>) -> Self {
        for entry in entries {
            if !self.entries.contains(&entry) {
                self.entries.push(entry);
            }
        }
        self
    }

    pub(super) fn figure(mut self, name: &str, value: impl Into<serde_json::Value>) -> Self {
        self.figures.insert(name.to_owned(), value.into());
        self
    }
}
