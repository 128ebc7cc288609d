//! One row of a schedule: one device.
use crate::{
    base::{Tag, table::Cells, text},
    roster::schedule::FuseSpeed,
    roster::{
        Device, DeviceKind, Place, RightPosition,
        schedule::{CrewResets, Restriction},
    },
};

/// The panel name of a device that is on none.
pub const OUTSIDE: &str = "outside";

pub fn read(cells: Cells) -> Result<Device, String> {
    let kind = cells.word("kind", DeviceKind::parse, &DeviceKind::spellings())?;
    let right = |column| cells.word(column, RightPosition::parse, &RightPosition::spellings());
    Ok(Device {
        tag: tag(cells)?,
        legend: cells.text("legend")?.unwrap_or_default(),
        kind: kind.ok_or_else(|| format!("kind is blank. It can be: {}.", DeviceKind::spellings()))?,
        place: place(cells)?,
        rating_a: cells.number("rating_a", 0.01, 10_000.0)?,
        rating_v: cells.number("rating_v", 1.0, 10_000.0)?,
        speed: cells.word("speed", FuseSpeed::parse, &FuseSpeed::spellings())?,
        body: cells.text("body")?,
        feed: cells.stated("feed").map(Tag::from),
        start_group: cells.flag("start_group")?,
        normal_lead: right("normal_lead")?,
        normal_trail: right("normal_trail")?,
        normal_dead: right("normal_dead")?,
        normal_shut_down: right("normal_shut_down")?,
        keep_on_running: cells.flag("keep_on_running")?,
        keep_on_after_shutdown_min: cells.count("keep_on_after_shutdown_min", 0, 10_080)?,
        crew_resets: crew_resets(cells)?,
        overload_by_design: cells.flag("overload_by_design")?,
        before_closing: cells.text("before_closing")?,
        after_closing: cells.text("after_closing")?,
        if_left_off: cells.text("if_left_off")?,
        off_effect: cells.text("off_effect")?,
        restricts_off: restrictions(cells)?,
        ground_protection: cells.flag("ground_protection")?,
        safety_device: cells.flag("safety_device")?,
        severity: cells.number("severity", 0.0, 1_000.0)?,
    })
}

fn tag(cells: Cells) -> Result<Tag, String> {
    let tag = cells.needed("tag")?;
    if tag.chars().count() > 40 {
        return Err("tag is longer than 40 characters. Shorten it.".to_owned());
    }
    // In lower or upper case: the book's own names must not even look like a device's.
    if [Tag::GROUND_RELAY, Tag::ENGINE_START, "not_known"].iter().any(|own| tag.eq_ignore_ascii_case(own)) {
        return Err(format!("tag is {tag}, a name that the book itself uses. Write the tag on the plate."));
    }
    Ok(Tag::from(tag))
}

fn place(cells: Cells) -> Result<Place, String> {
    let panel = cells
        .stated("panel")
        .ok_or("panel is blank. Name the panel, or write outside, and where in panel_where.")?;
    let (row, column) = (cells.count("row", 1, 100)?, cells.count("column", 1, 100)?);
    if panel.eq_ignore_ascii_case(OUTSIDE) {
        let at = cells.text("panel_where")?;
        return at.map(|at| Place::Outside { at }).ok_or_else(|| {
            "panel is outside, and panel_where is blank. Write where on the unit the device is.".to_owned()
        });
    }
    match (row, column) {
        (Some(row), Some(column)) => Ok(Place::OnPanel { panel: panel.to_owned(), row, column }),
        (None, _) => Err(format!("row is blank. Write in which row of panel {panel} the device is.")),
        (_, None) => Err(format!("column is blank. Write in which column of panel {panel} the device is.")),
    }
}

fn crew_resets(cells: Cells) -> Result<CrewResets, String> {
    Ok(CrewResets {
        times: cells.count("crew_resets", 0, 100)?,
        hours: cells.number("crew_resets_hours", 0.1, 8_760.0)?,
        wait_s: cells.count("crew_reset_wait_s", 0, 86_400)?,
    })
}

fn restrictions(cells: Cells) -> Result<Vec<Restriction>, String> {
    let mut restrictions = Vec::new();
    for word in cells.of("restricts_off").split_whitespace() {
        let Some(restriction) = Restriction::parse(&word.to_lowercase()) else {
            return Err(crate::base::table::not_a_word("restricts_off", word, &Restriction::spellings()));
        };
        if !restrictions.contains(&restriction) {
            restrictions.push(restriction);
        }
    }
    if restrictions.len() > 1 && restrictions.contains(&Restriction::None) {
        let typed = text::quoted(cells.of("restricts_off"));
        return Err(format!("restricts_off is {typed}. Either none, or what it restricts, not both."));
    }
    Ok(restrictions)
}
