//! A class's electrical schedule: a row per device. Blank is never permission.
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::Check;
use crate::base::{ClassName, Instant, Tag, words::words};

words! { pub enum DeviceKind { Breaker = "breaker", Fuse = "fuse", Switch = "switch", Relay = "relay", } }
words! { pub enum RightPosition { On = "on", Off = "off", Any = "any", } }
words! {
    /// What the unit may not do while the device is off.
    pub enum Restriction { NoLead = "no_lead", DoNotLoad = "do_not_load", ReducedLoad = "reduced_load", NoDynamicBrake = "no_dynamic_brake", ShutDown = "shut_down", Hold = "hold", None = "none", }
}

words! {
    /// How fast a fuse opens. The contract's example has `slow`; the trade knows three.
    pub enum FuseSpeed { Slow = "slow", Normal = "normal", Fast = "fast", NotKnown = "not_known", }
}

/// Units built alike. Versions of the schedule in the order they took effect.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Class {
    pub name: ClassName,
    pub schedules: Vec<Arc<Schedule>>,
}

impl Class {
    /// The version in force at a moment; the first version serves for everything earlier.
    pub fn at(&self, at: Instant) -> Option<&Schedule> {
        let later = self.schedules.partition_point(|s| s.effective <= at);
        self.schedules.get(later.saturating_sub(1)).map(Arc::as_ref)
    }

    pub fn latest(&self) -> Option<&Schedule> {
        self.schedules.last().map(Arc::as_ref)
    }
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Schedule {
    pub class: ClassName,
    #[serde(with = "crate::base::instant::as_text")]
    pub effective: Instant,
    pub start: StartLimits,
    pub panels: Vec<Panel>,
    /// In the order of the file; tags are unique.
    pub devices: Vec<Device>,
    /// In walking order. Pages of before there were any have none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub checks: Vec<Check>,
}

impl Schedule {
    pub fn device(&self, tag: &Tag) -> Option<&Device> {
        self.devices.iter().find(|d| d.tag == *tag)
    }

    /// Identical content makes no new version, whenever it is to take effect.
    pub fn same_content(&self, other: &Self) -> bool {
        (&self.class, &self.start, &self.panels, &self.devices, &self.checks)
            == (&other.class, &other.start, &other.panels, &other.devices, &other.checks)
    }

    /// With the checks of an earlier version: they come as a list of their own. A device that is gone is no longer
    /// named by its check; what to look at stays.
    pub fn with_checks_of(mut self, earlier: &Self) -> Self {
        let still = |check: &Check| Check {
            device: check.device.clone().filter(|tag| self.device(tag).is_some()),
            ..check.clone()
        };
        self.checks = earlier.checks.iter().map(still).collect();
        self
    }

    /// The devices upstream of one, nearest first. Ends even if a loop slipped in.
    pub fn feeds_of<'a>(&'a self, device: &'a Device) -> impl Iterator<Item = &'a Device> {
        let next = |d: &&'a Device| d.feed.as_ref().and_then(|feed| self.device(feed));
        std::iter::successors(next(&device), next).take(self.devices.len())
    }

    /// The ground-relay cutouts: opening one of these is a bypass.
    pub fn cutouts(&self) -> impl Iterator<Item = &Device> {
        self.devices.iter().filter(|d| d.ground_protection)
    }
}

words! {
    /// What turns the engine: electric motors, air motors, or either.
    pub enum StartMotors { Both = "both", Electric = "electric", Air = "air", }
}

/// What starting this class takes; blank is 'the schedule does not say'.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct StartLimits {
    pub control_min_v: Option<f64>,
    pub cranking_min_v: Option<f64>,
    pub air_min_psi: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub motors: Option<StartMotors>,
    /// Longest cranking, and the rest after it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank_seconds_max: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank_rest_s: Option<u32>,
    /// So many attempts, then the shop.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank_attempts: Option<u32>,
    /// Shut down for so long or longer, it is started as a cold engine.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub long_shutdown_h: Option<f64>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Panel {
    /// Short name, as in the file's `panel` column.
    pub name: String,
    pub title: String,
    /// Where on the unit: `cab, behind the engineer`.
    pub at: String,
    pub rows: u32,
    pub columns: u32,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Panel name, row and column from 1.
    OnPanel { panel: String, row: u32, column: u32 },
    /// Not on a panel, and where instead.
    Outside { at: String },
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Device {
    pub tag: Tag,
    pub legend: String,
    pub kind: DeviceKind,
    pub place: Place,
    pub rating_a: Option<f64>,
    pub rating_v: Option<f64>,
    pub speed: Option<FuseSpeed>,
    pub body: Option<String>,
    /// The device upstream that supplies it.
    pub feed: Option<Tag>,
    /// Must be on for a start.
    pub start_group: bool,
    pub normal_lead: Option<RightPosition>,
    pub normal_trail: Option<RightPosition>,
    pub normal_dead: Option<RightPosition>,
    pub normal_shut_down: Option<RightPosition>,
    pub keep_on_running: bool,
    pub keep_on_after_shutdown_min: Option<u32>,
    pub crew_resets: CrewResets,
    /// May be closed again after an overload without an examination.
    pub overload_by_design: bool,
    pub before_closing: Option<String>,
    pub after_closing: Option<String>,
    pub if_left_off: Option<String>,
    /// What the unit loses.
    pub off_effect: Option<String>,
    /// Empty is 'not stated', never 'none'.
    pub restricts_off: Vec<Restriction>,
    /// Opening it is a bypass.
    pub ground_protection: bool,
    /// 49 CFR 218 D: alerter, event recorder, cab signal cutouts.
    pub safety_device: bool,
    /// Weight of an occurrence in the ranking; `None` is the rule's own default.
    pub severity: Option<f64>,
}

/// How often a crew may close a tripped device again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CrewResets {
    /// `None`: the schedule does not say, ask. `Some(0)`: shop only.
    pub times: Option<u32>,
    /// Within so many hours.
    pub hours: Option<f64>,
    pub wait_s: Option<u32>,
}
