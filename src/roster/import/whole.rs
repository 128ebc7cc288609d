//! What only a whole schedule shows: panels told in several rows, tags twice, feeds, places taken.
use std::collections::{BTreeMap, BTreeSet};

use super::Bad;
use crate::{
    base::{Tag, table::Cells},
    roster::{
        Device, Panel, Place,
        schedule::{StartLimits, StartMotors},
    },
};

type Rows<'t> = [(Cells<'t>, Device)];

/// Panels in the order of the file. Each thing about a panel is said on one of its rows at least, and the same
/// wherever it is said. Rows and columns said nowhere are as many as its devices need.
pub fn panels(rows: &Rows, bad: &mut Bad) -> Vec<Panel> {
    let mut panels: Vec<Panel> = Vec::new();
    for (cells, device) in rows {
        let Place::OnPanel { panel, .. } = &device.place else { continue };
        let place = panels.iter().position(|known| known.name == *panel);
        let place = place.unwrap_or_else(|| {
            let (name, blank) = (panel.clone(), String::new);
            panels.push(Panel { name, title: blank(), at: blank(), rows: 0, columns: 0 });
            panels.len() - 1
        });
        if let Some(known) = panels.get_mut(place)
            && let Err(reason) = add_to(known, *cells)
        {
            bad.entry(cells.row.line).or_insert(reason);
        }
    }
    for panel in &mut panels {
        fill_in(panel, rows);
    }
    panels
}

fn add_to(panel: &mut Panel, cells: Cells) -> Result<(), String> {
    let name = panel.name.clone();
    let differs = move |column: &str, before: &str, now: &str| {
        Err(format!("{column} of panel {name} is {now} here and {before} further up. Make them the same."))
    };
    for (column, known) in [("panel_title", &mut panel.title), ("panel_where", &mut panel.at)] {
        match cells.text(column)? {
            Some(now) if known.is_empty() => *known = now,
            Some(now) if now != *known => return differs(column, known, &now),
            _ => {}
        }
    }
    for (column, known) in [("rows", &mut panel.rows), ("columns", &mut panel.columns)] {
        match cells.count(column, 1, 100)? {
            Some(now) if *known == 0 => *known = now,
            Some(now) if now != *known => return differs(column, &known.to_string(), &now.to_string()),
            _ => {}
        }
    }
    Ok(())
}

fn fill_in(panel: &mut Panel, rows: &Rows) {
    let places = || {
        rows.iter().filter_map(|(_, device)| match &device.place {
            Place::OnPanel { panel: on, row, column } if *on == panel.name => Some((*row, *column)),
            _ => None,
        })
    };
    let (most_rows, most_columns) =
        places().fold((0, 0), |(r, c), (row, column)| (r.max(row), c.max(column)));
    if panel.rows == 0 {
        panel.rows = most_rows;
    }
    if panel.columns == 0 {
        panel.columns = most_columns;
    }
    if panel.title.is_empty() {
        panel.title.clone_from(&panel.name);
    }
}

/// Limits of the class: on any of its rows, the same wherever they are said.
pub fn start_limits(rows: &Rows, bad: &mut Bad) -> StartLimits {
    let mut limits = StartLimits::default();
    for (cells, _) in rows {
        if let Err(reason) = add_limits(&mut limits, *cells) {
            bad.entry(cells.row.line).or_insert(reason);
        }
    }
    limits
}

fn add_limits(limits: &mut StartLimits, cells: Cells) -> Result<(), String> {
    let number = |column, most| cells.number(column, 0.0, most);
    same("control_min_v", &mut limits.control_min_v, number("control_min_v", 200.0)?)?;
    same("cranking_min_v", &mut limits.cranking_min_v, number("cranking_min_v", 200.0)?)?;
    same("air_min_psi", &mut limits.air_min_psi, number("air_min_psi", 250.0)?)?;
    let motors = cells.word("motors", StartMotors::parse, &StartMotors::spellings())?;
    same("motors", &mut limits.motors, motors)?;
    let count = |column, most| cells.count(column, 1, most);
    same("crank_seconds_max", &mut limits.crank_seconds_max, count("crank_seconds_max", 600)?)?;
    same("crank_rest_s", &mut limits.crank_rest_s, cells.count("crank_rest_s", 0, 86_400)?)?;
    same("crank_attempts", &mut limits.crank_attempts, count("crank_attempts", 100)?)?;
    let hours = cells.number("long_shutdown_h", 0.1, 8_760.0)?;
    same("long_shutdown_h", &mut limits.long_shutdown_h, hours)
}

/// Takes over what a row says, unless a row above said otherwise.
fn same<T: PartialEq + std::fmt::Display + Copy>(
    column: &str,
    known: &mut Option<T>,
    now: Option<T>,
) -> Result<(), String> {
    match (*known, now) {
        (Some(before), Some(now)) if before != now => Err(format!(
            "{column} is {now} here and {before} further up; it is one figure for the class. Make them the same."
        )),
        _ => {
            *known = known.or(now);
            Ok(())
        }
    }
}

pub fn devices(rows: &Rows, panels: &[Panel], bad: &mut Bad) {
    let mut lines: BTreeMap<String, u64> = BTreeMap::new();
    let mut places: BTreeMap<(&str, u32, u32), &Tag> = BTreeMap::new();
    let feeds: BTreeMap<&Tag, Option<&Tag>> = rows.iter().map(|(_, d)| (&d.tag, d.feed.as_ref())).collect();
    for (cells, device) in rows {
        let line = cells.row.line;
        // Two tags that differ only in capitals would be confused by everybody who reads them aloud.
        let twice = lines.insert(device.tag.as_str().to_lowercase(), line).map(|before| {
            format!(
                "tag {} is on line {before} of this class already. Each device has a tag of its own.",
                device.tag
            )
        });
        let reason =
            twice.or_else(|| misplaced(device, panels, &mut places)).or_else(|| misfed(device, &feeds));
        if let Some(reason) = reason {
            bad.insert(line, reason);
        }
    }
}

fn misplaced<'d>(
    device: &'d Device,
    panels: &[Panel],
    places: &mut BTreeMap<(&'d str, u32, u32), &'d Tag>,
) -> Option<String> {
    let Place::OnPanel { panel, row, column } = &device.place else { return None };
    let (row, column) = (*row, *column);
    let known = panels.iter().find(|known| known.name == *panel)?;
    if row > known.rows || column > known.columns {
        return Some(format!(
            "row {row}, column {column} is not on panel {panel}, which has {} rows and {} columns. Put one or the other right.",
            known.rows, known.columns
        ));
    }
    let before = places.insert((panel, row, column), &device.tag)?;
    Some(format!(
        "row {row}, column {column} of panel {panel} is taken by {before} already. Two devices cannot be in one place."
    ))
}

fn misfed(device: &Device, feeds: &BTreeMap<&Tag, Option<&Tag>>) -> Option<String> {
    let feed = device.feed.as_ref()?;
    if !feeds.contains_key(feed) {
        let near = crate::base::text::nearest(feed.as_str(), feeds.keys().map(|tag| tag.as_str()));
        let near = near.map(|tag| format!(" Did you mean {tag}?")).unwrap_or_default();
        return Some(format!(
            "feed is {feed}, and this class has no such tag.{near} Add its row, or leave feed blank."
        ));
    }
    let mut passed = BTreeSet::from([&device.tag]);
    let mut upstream = Some(feed);
    while let Some(tag) = upstream {
        if *tag == device.tag {
            return Some(format!(
                "{} feeds itself: its feeds go in a circle. Put one of them right.",
                device.tag
            ));
        }
        if !passed.insert(tag) {
            // A circle further up, told on the rows that are in it.
            return None;
        }
        upstream = feeds.get(tag).copied().flatten();
    }
    None
}
