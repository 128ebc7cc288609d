//! The panels of a unit as they hang in the cabinet: rows and columns of devices, and those outside.
use super::state::{Face, Known, face_of};
use crate::{
    base::{Instant, text},
    roster::{Device, Place, Schedule},
};

#[derive(Clone, Debug)]
pub struct Drawing {
    pub panels: Vec<PanelView>,
    /// Devices that hang on no panel, each with where it is instead.
    pub outside: Vec<DeviceView>,
}

#[derive(Clone, Debug)]
pub struct PanelView {
    pub title: String,
    pub at: String,
    /// Row by row; `None` is an empty place.
    pub rows: Vec<Vec<Option<DeviceView>>>,
}

#[derive(Clone, Debug)]
pub struct DeviceView {
    pub tag: String,
    pub legend: String,
    /// `400 A`, or nothing.
    pub rating: String,
    /// Where it is, for devices outside the panels.
    pub at: String,
    pub face: Face,
    /// How old that is: `3 h`; empty when nothing is written.
    pub age: String,
    /// Where tapping it leads; a drawing to look at has none.
    pub href: Option<String>,
    pub here: bool,
}

impl DeviceView {
    pub fn of(device: &Device, known: Option<Known>, now: Instant) -> Self {
        Self {
            tag: device.tag.to_string(),
            legend: device.legend.clone(),
            rating: rating(device),
            at: match &device.place {
                Place::Outside { at } => at.clone(),
                Place::OnPanel { .. } => String::new(),
            },
            face: face_of(device, known.map(|k| k.state)),
            age: known.map(|k| text::span(now.since(k.at))).unwrap_or_default(),
            href: None,
            here: false,
        }
    }

    /// What a screen reader says, beginning with what is to be seen, so that it can be spoken to as well:
    /// `Cooling fan 2, CF2 · 30 A, tripped, 3 h ago`.
    pub fn aloud(&self) -> String {
        let tag = if self.rating.is_empty() {
            self.tag.clone()
        } else {
            format!("{} · {}", self.tag, self.rating)
        };
        let seen = [self.legend.as_str(), &tag, self.face.word, &self.age, &self.at];
        let mut says = seen.iter().filter(|part| !part.is_empty()).copied().collect::<Vec<_>>().join(", ");
        match (self.face.word.is_empty(), self.at.is_empty()) {
            (true, _) => says.push_str(", nothing written"),
            (false, true) => says.push_str(" ago"),
            (false, false) => {}
        }
        says
    }
}

/// `400 A`, `400 A 250 V` for a fuse, or nothing.
pub fn rating(device: &Device) -> String {
    let amps = device.rating_a.map(|a| format!("{a} A"));
    let volts = device.rating_v.filter(|_| device.kind == crate::roster::DeviceKind::Fuse);
    [amps, volts.map(|v| format!("{v} V"))].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Draws a class's panels. `known` says how a device was last written down, `link` where tapping it leads.
pub fn draw(
    schedule: &Schedule,
    now: Instant,
    known: impl Fn(&Device) -> Option<Known>,
    link: impl Fn(&Device) -> Option<String>,
) -> Drawing {
    let view =
        |device: &Device| DeviceView { href: link(device), ..DeviceView::of(device, known(device), now) };
    let panels = schedule.panels.iter().map(|panel| {
        let mut rows = vec![vec![None; index(panel.columns)]; index(panel.rows)];
        for device in &schedule.devices {
            if let Place::OnPanel { panel: name, row, column } = &device.place
                && *name == panel.name
            {
                put(&mut rows, *row, *column, view(device));
            }
        }
        PanelView { title: panel.title.clone(), at: panel.at.clone(), rows }
    });
    let on_a_panel = |device: &&Device| match &device.place {
        Place::OnPanel { panel, .. } => schedule.panels.iter().any(|p| p.name == *panel),
        Place::Outside { .. } => false,
    };
    Drawing {
        panels: panels.collect(),
        outside: schedule.devices.iter().filter(|d| !on_a_panel(d)).map(view).collect(),
    }
}

/// A schedule with a place beyond its own rows and columns is drawn with the panel made larger: no device
/// may vanish because an office list is wrong.
fn put(rows: &mut Vec<Vec<Option<DeviceView>>>, row: u32, column: u32, device: DeviceView) {
    let (row, column) = (index(row.max(1)) - 1, index(column.max(1)) - 1);
    if rows.len() <= row {
        rows.resize(row + 1, Vec::new());
    }
    let width = rows.iter().map(Vec::len).max().unwrap_or(0).max(column + 1);
    for line in &mut *rows {
        line.resize(width, None);
    }
    match rows.get_mut(row).and_then(|line| line.get_mut(column)) {
        Some(place @ None) => *place = Some(device),
        // Two devices in one place: the second gets a row of its own below.
        _ => {
            let mut line = vec![None; width];
            if let Some(place) = line.get_mut(column) {
                *place = Some(device);
            }
            rows.push(line);
        }
    }
}

/// Panels are small; a file that says otherwise is drawn as 64.
fn index(n: u32) -> usize {
    usize::try_from(n.min(64)).unwrap_or(64)
}
