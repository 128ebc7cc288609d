//! Class schedules and units from the railway's own spreadsheets. Pure: bytes in, rows and rejects out.
pub mod checks;
mod device;
mod whole;

use std::collections::{BTreeMap, BTreeSet};

use super::{Schedule, UnitCard};
use crate::base::{
    ClassName, Day, Instant, UnitName,
    table::{Cells, Import, Row, Table, Unusable},
    text,
};

pub const SCHEDULE_COLUMNS: &[&str] = &[
    "class",
    "panel",
    "panel_title",
    "panel_where",
    "rows",
    "columns",
    "tag",
    "legend",
    "kind",
    "row",
    "column",
    "rating_a",
    "rating_v",
    "speed",
    "body",
    "feed",
    "start_group",
    "normal_lead",
    "normal_trail",
    "normal_dead",
    "normal_shut_down",
    "keep_on_running",
    "keep_on_after_shutdown_min",
    "crew_resets",
    "crew_resets_hours",
    "crew_reset_wait_s",
    "overload_by_design",
    "before_closing",
    "after_closing",
    "if_left_off",
    "off_effect",
    "restricts_off",
    "ground_protection",
    "safety_device",
    "severity",
    // About the class, on any of its rows.
    "control_min_v",
    "cranking_min_v",
    "air_min_psi",
    "motors",
    "crank_seconds_max",
    "crank_rest_s",
    "crank_attempts",
    "long_shutdown_h",
];

pub const UNIT_COLUMNS: &[&str] = &["unit", "class", "in_service", "home_shop"];

/// A schedule for each class whose rows are all good. A schedule is whole: one bad row rejects the class.
pub fn schedules(bytes: &[u8], effective: Instant) -> Result<Import<Schedule>, Unusable> {
    let table = Table::read(bytes, SCHEDULE_COLUMNS, &["class", "tag", "kind"])?;
    Ok(by_class(&table, |name, rows| class(&table, name, rows, effective)))
}

/// What a file's classes give, each taken with all its rows or rejected with all of them.
fn by_class(table: &Table, read: impl Fn(&str, &[&Row]) -> Result<Schedule, Bad>) -> Import<Schedule> {
    let mut import = Import { good: Vec::new(), rejects: Vec::new() };
    let mut classes: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in &table.rows {
        classes.entry(table.cell(row, "class")).or_default().push(row);
    }
    for (name, rows) in classes {
        match read(name, &rows) {
            Ok(schedule) => import.good.push(schedule),
            Err(bad) => import.rejects.extend(rows.iter().map(|row| match bad.get(&row.line) {
                Some(reason) => row.reject(reason),
                None => row.reject(spoilt(name, &bad)),
            })),
        }
    }
    import.rejects.sort_by_key(|reject| reject.line);
    import
}

/// The reason of each bad row, by its line.
type Bad = BTreeMap<u64, String>;

const ONLY_WAITS: &str = "Nothing is wrong with this row";

/// Whether a reject's reason is only that other rows of its class are bad.
pub fn only_waits(reason: &str) -> bool {
    reason.starts_with(ONLY_WAITS)
}

fn spoilt(class: &str, bad: &Bad) -> String {
    let lines: Vec<String> = bad.keys().take(5).map(u64::to_string).collect();
    let more = if bad.len() > lines.len() { " and more" } else { "" };
    format!(
        "{ONLY_WAITS}, but a schedule is taken whole, and class {class} has bad rows (line {}{more}). Put those right and import again.",
        lines.join(", ")
    )
}

fn class(table: &Table, name: &str, rows: &[&Row], effective: Instant) -> Result<Schedule, Bad> {
    let mut bad = Bad::new();
    let mut sound = Vec::with_capacity(rows.len());
    let name = class_name(name);
    for row in rows {
        let read = || {
            name.as_ref().map_err(String::clone)?;
            let cells = table.cells(row)?;
            Ok((cells, device::read(cells)?))
        };
        match read() {
            Ok(read) => sound.push(read),
            Err(reason) => drop(bad.insert(row.line, reason)),
        }
    }
    let panels = whole::panels(&sound, &mut bad);
    let start = whole::start_limits(&sound, &mut bad);
    // Against rows that could not be read, feeds would be missed and places free that are not.
    if bad.is_empty() {
        whole::devices(&sound, &panels, &mut bad);
    }
    match name {
        Ok(class) if bad.is_empty() => {
            let devices = sound.into_iter().map(|(_, device)| device).collect();
            // Checks come as a list of their own: whoever issues this keeps those the class has.
            Ok(Schedule { class, effective, start, panels, devices, checks: Vec::new() })
        }
        _ => Err(bad),
    }
}

/// Authorisations list classes parted by spaces, and `*` there means all of them.
fn class_name(typed: &str) -> Result<ClassName, String> {
    if typed.is_empty() {
        return Err("class is blank. Fill it in.".to_owned());
    }
    if typed.chars().count() > 40 || typed.contains(char::is_whitespace) || typed == "*" {
        let typed = text::quoted(typed);
        return Err(format!("class is {typed}. A class is one word of at most 40 letters, without spaces."));
    }
    Ok(ClassName::from(typed))
}

/// One card for each unit, in service and not retired. `has` says which classes the book has.
pub fn units(
    bytes: &[u8],
    has: impl Fn(&ClassName) -> bool,
    today: Day,
) -> Result<Import<UnitCard>, Unusable> {
    let table = Table::read(bytes, UNIT_COLUMNS, &["unit", "class", "in_service"])?;
    let mut seen = BTreeSet::new();
    Ok(table.import(|cells| {
        let card = unit(cells)?;
        if !has(&card.class) {
            return Err(format!("There is no class {} yet: import its schedule first.", card.class));
        }
        if card.in_service > today.plus(YEARS_AHEAD) {
            return Err(format!(
                "in_service is {}, more than two years ahead. Check the year.",
                card.in_service
            ));
        }
        if !seen.insert(card.unit.clone()) {
            return Err(format!("{} is in this file already, further up. Keep the right one.", card.unit));
        }
        Ok(card)
    }))
}

/// Two years in days: a railway lists what is on order, and nothing later.
const YEARS_AHEAD: i32 = 731;

fn unit(cells: Cells) -> Result<UnitCard, String> {
    let typed = cells.needed("unit")?;
    let unit = UnitName::tidy(typed).ok_or_else(|| {
        format!(
            "unit is {}. Write its mark, a space and its road number, as in QHB 412.",
            text::quoted(typed)
        )
    })?;
    let class = class_name(cells.of("class"))?;
    cells.needed("in_service")?;
    let in_service = cells.day("in_service")?.ok_or("in_service is blank. Fill it in.")?;
    Ok(UnitCard { unit, class, in_service, retired: None, home_shop: cells.text("home_shop")? })
}

#[cfg(test)]
mod tests;
