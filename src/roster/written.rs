//! A schedule as the rows that its list would have, and what differs between two of them.
use std::collections::BTreeMap;

use super::{Device, Panel, Place, Schedule, import::SCHEDULE_COLUMNS};

type Cells = BTreeMap<&'static str, String>;

/// The list from which [`super::import::schedules`] reads this schedule again; columns that are all blank are left out.
///
/// # Errors
/// Where a cell cannot be written.
pub fn csv(schedule: &Schedule) -> Result<String, csv::Error> {
    let rows: Vec<Cells> = schedule.devices.iter().map(|device| row(schedule, device)).collect();
    let always = ["class", "panel", "tag", "legend", "kind", "row", "column"];
    let stated =
        |column: &&str| always.contains(column) || rows.iter().any(|row| !cell(row, column).is_empty());
    let columns: Vec<&str> = SCHEDULE_COLUMNS.iter().copied().filter(stated).collect();
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(&columns)?;
    for row in &rows {
        out.write_record(columns.iter().map(|column| cell(row, column)))?;
    }
    let bytes = out.into_inner().map_err(|why| csv::Error::from(why.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn cell<'r>(row: &'r Cells, column: &str) -> &'r str {
    row.get(column).map_or("", String::as_str)
}

fn said<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn flag(is_so: bool) -> String {
    if is_so { "yes".to_owned() } else { String::new() }
}

fn row(schedule: &Schedule, device: &Device) -> Cells {
    let mut row = of_device(device);
    row.insert("class", schedule.class.to_string());
    if let Place::OnPanel { panel, .. } = &device.place
        && let Some(panel) = schedule.panels.iter().find(|known| known.name == *panel)
    {
        row.extend(of_panel(panel));
    }
    row.extend(of_class(schedule));
    row
}

fn of_panel(panel: &Panel) -> Cells {
    Cells::from([
        ("panel_title", panel.title.clone()),
        ("panel_where", panel.at.clone()),
        ("rows", panel.rows.to_string()),
        ("columns", panel.columns.to_string()),
    ])
}

fn of_class(schedule: &Schedule) -> Cells {
    let start = &schedule.start;
    Cells::from([
        ("control_min_v", said(start.control_min_v)),
        ("cranking_min_v", said(start.cranking_min_v)),
        ("air_min_psi", said(start.air_min_psi)),
        ("motors", said(start.motors)),
        ("crank_seconds_max", said(start.crank_seconds_max)),
        ("crank_rest_s", said(start.crank_rest_s)),
        ("crank_attempts", said(start.crank_attempts)),
        ("long_shutdown_h", said(start.long_shutdown_h)),
    ])
}

fn of_device(device: &Device) -> Cells {
    let mut cells = place(&device.place);
    let text = |text: &Option<String>| text.clone().unwrap_or_default();
    let restricts: Vec<String> = device.restricts_off.iter().map(ToString::to_string).collect();
    cells.extend([
        ("tag", device.tag.to_string()),
        ("legend", device.legend.clone()),
        ("kind", device.kind.to_string()),
        ("rating_a", said(device.rating_a)),
        ("rating_v", said(device.rating_v)),
        ("speed", said(device.speed)),
        ("body", text(&device.body)),
        ("feed", said(device.feed.as_ref())),
        ("start_group", flag(device.start_group)),
        ("normal_lead", said(device.normal_lead)),
        ("normal_trail", said(device.normal_trail)),
        ("normal_dead", said(device.normal_dead)),
        ("normal_shut_down", said(device.normal_shut_down)),
        ("keep_on_running", flag(device.keep_on_running)),
        ("keep_on_after_shutdown_min", said(device.keep_on_after_shutdown_min)),
        ("crew_resets", said(device.crew_resets.times)),
        ("crew_resets_hours", said(device.crew_resets.hours)),
        ("crew_reset_wait_s", said(device.crew_resets.wait_s)),
        ("overload_by_design", flag(device.overload_by_design)),
        ("before_closing", text(&device.before_closing)),
        ("after_closing", text(&device.after_closing)),
        ("if_left_off", text(&device.if_left_off)),
        ("off_effect", text(&device.off_effect)),
        ("restricts_off", restricts.join(" ")),
        ("ground_protection", flag(device.ground_protection)),
        ("safety_device", flag(device.safety_device)),
        ("severity", said(device.severity)),
    ]);
    cells
}

fn place(place: &Place) -> Cells {
    match place {
        Place::OnPanel { panel, row, column } => {
            Cells::from([("panel", panel.clone()), ("row", row.to_string()), ("column", column.to_string())])
        }
        Place::Outside { at } => Cells::from([("panel", "outside".to_owned()), ("panel_where", at.clone())]),
    }
}

/// What a new version changes, a line each: devices new, gone, renamed and otherwise changed, panels, and the class itself.
pub fn differences(old: &Schedule, new: &Schedule) -> Vec<String> {
    let lacks = |schedule: &Schedule, device: &Device| schedule.device(&device.tag).is_none();
    let gone: Vec<&Device> = old.devices.iter().filter(|device| lacks(new, device)).collect();
    let come: Vec<&Device> = new.devices.iter().filter(|device| lacks(old, device)).collect();
    let renamed = |device: &Device| {
        let same = |other: &&&Device| other.place == device.place && other.kind == device.kind;
        gone.iter().find(same).copied().filter(|_| matches!(device.place, Place::OnPanel { .. }))
    };
    let mut lines = Vec::new();
    let mut became = Vec::new();
    for device in &come {
        match renamed(device) {
            Some(before) => {
                became.push(&before.tag);
                lines.push(format!("{} is now called {}: same place, same kind.", before.tag, device.tag));
                lines.extend(changed(device.tag.as_str(), &of_device(before), &of_device(device), &["tag"]));
            }
            None => lines.push(format!("{} is new: {}, {}.", device.tag, device.legend, device.kind)),
        }
    }
    let really = gone.iter().filter(|device| !became.contains(&&device.tag));
    lines.extend(really.map(|device| format!("{} is gone: {}, {}.", device.tag, device.legend, device.kind)));
    for device in &new.devices {
        if let Some(before) = old.device(&device.tag) {
            lines.extend(changed(device.tag.as_str(), &of_device(before), &of_device(device), &[]));
        }
    }
    lines.extend(panels(old, new));
    lines.extend(changed("The class", &of_class(old), &of_class(new), &[]));
    if lines.is_empty() && old.devices != new.devices {
        lines.push("The devices stand in another order.".to_owned());
    }
    lines
}

fn panels(old: &Schedule, new: &Schedule) -> Vec<String> {
    let find =
        |schedule: &Schedule, name: &str| schedule.panels.iter().find(|panel| panel.name == name).cloned();
    let mut lines = Vec::new();
    for panel in &new.panels {
        match find(old, &panel.name) {
            Some(before) => {
                lines.extend(changed(
                    &format!("Panel {}", panel.name),
                    &of_panel(&before),
                    &of_panel(panel),
                    &[],
                ));
            }
            None => lines.push(format!("Panel {} is new.", panel.name)),
        }
    }
    let gone = old.panels.iter().filter(|panel| find(new, &panel.name).is_none());
    lines.extend(gone.map(|panel| format!("Panel {} is gone.", panel.name)));
    lines
}

/// `TC2: rating_a 30 becomes 40; severity blank becomes 2.`
fn changed(what: &str, old: &Cells, new: &Cells, but: &[&str]) -> Option<String> {
    let blank = |cell: &str| if cell.is_empty() { "blank".to_owned() } else { cell.to_owned() };
    let differ = |column: &&&str| !but.contains(*column) && cell(old, column) != cell(new, column);
    let says =
        |column: &&str| format!("{column} {} becomes {}", blank(cell(old, column)), blank(cell(new, column)));
    let all: Vec<String> = SCHEDULE_COLUMNS.iter().filter(differ).map(says).collect();
    (!all.is_empty()).then(|| format!("{what}: {}.", all.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        base::{Instant, Tag},
        roster::import::schedules,
    };

    const LIST: &str = "class,panel,panel_title,panel_where,tag,legend,kind,row,column,rating_a,crew_resets,crew_resets_hours,restricts_off,ground_protection,start_group,motors,control_min_v\n\
        QA6,A,\"Cab, rear wall\",behind the seat,TC1,Traction \"1\",breaker,1,1,30,1,24,no_lead do_not_load,,yes,both,64.5\n\
        QA6,A,,,GRC,Ground cutout,switch,1,2,,,,,yes,,,\n\
        QA6,outside,,battery box,SF,Start fuse,fuse,,,400.5,,,,,,,\n";

    fn read(list: &str) -> Schedule {
        let import = schedules(list.as_bytes(), Instant(0)).unwrap();
        assert_eq!(import.rejects, []);
        import.good.into_iter().next().unwrap()
    }

    #[test]
    fn a_schedule_is_read_again_from_its_own_list() {
        let schedule = read(LIST);
        assert_eq!(read(&csv(&schedule).unwrap()), schedule);
    }

    #[test]
    fn differences_are_named_by_device_and_column() {
        let old = read(LIST);
        let mut new = read(&LIST.replace(",TC1,", ",T1,").replace("400.5", "400"));
        new.devices.retain(|device| device.tag != Tag::from("GRC"));
        assert_eq!(
            differences(&old, &new),
            [
                "TC1 is now called T1: same place, same kind.",
                "GRC is gone: Ground cutout, switch.",
                "SF: rating_a 400.5 becomes 400.",
            ]
        );
        assert!(differences(&old, &old).is_empty());
    }
}
