//! A class's checks: a row each, in walking order.
use super::{Bad, by_class, class_name};
use crate::{
    base::{
        ClassName, Tag,
        table::{Cells, Import, Row, Table, Unusable, not_a_word},
        text,
    },
    roster::{
        Schedule,
        check::{AppliesWhen, Check, Prevents},
    },
};

/// `order` a whole number, else the file's order · `place` where one stands · `text` what to look at · `right` how it has to
/// be · `applies_when` start (also if blank), cold_start, brake_set_up, parking · `device` a tag of the class or blank ·
/// `prevents` start, lead, load, move, parted by spaces; blank is 'not stated'.
pub const CHECK_COLUMNS: &[&str] =
    &["class", "order", "place", "text", "right", "applies_when", "device", "prevents"];

/// The next version of each class's schedule, with the file's checks in place of those it had. A class's checks
/// are whole: one bad row rejects the class. `next`: the version they are put in, or why there is none.
pub fn checks(
    bytes: &[u8],
    next: impl Fn(&ClassName) -> Result<Schedule, String>,
) -> Result<Import<Schedule>, Unusable> {
    let table = Table::read(bytes, CHECK_COLUMNS, &["class", "place", "text", "right"])?;
    Ok(by_class(&table, |name, rows| of_class(&table, name, rows, &next)))
}

fn of_class(
    table: &Table,
    name: &str,
    rows: &[&Row],
    next: impl Fn(&ClassName) -> Result<Schedule, String>,
) -> Result<Schedule, Bad> {
    let schedule = class_name(name).and_then(|class| next(&class));
    let mut bad = Bad::new();
    let mut sound: Vec<(u32, u64, Check)> = Vec::with_capacity(rows.len());
    for row in rows {
        let read = || {
            let schedule = schedule.as_ref().map_err(String::clone)?;
            let cells = table.cells(row)?;
            Ok((cells.count("order", 1, 10_000)?.unwrap_or(u32::MAX), row.line, read(cells, schedule)?))
        };
        match read() {
            Ok(read) => sound.push(read),
            Err(reason) => drop(bad.insert(row.line, reason)),
        }
    }
    // Those without an order come after the others, in the order of the file.
    sound.sort_by_key(|(order, line, _)| (*order, *line));
    match schedule {
        Ok(schedule) if bad.is_empty() => {
            Ok(Schedule { checks: sound.into_iter().map(|(.., check)| check).collect(), ..schedule })
        }
        _ => Err(bad),
    }
}

fn read(cells: Cells, schedule: &Schedule) -> Result<Check, String> {
    let blank = |column: &str| format!("{column} is blank. Fill it in.");
    let words = |column: &str| cells.text(column)?.ok_or_else(|| blank(column));
    let applies_when = cells.word("applies_when", AppliesWhen::parse, &AppliesWhen::spellings())?;
    Ok(Check {
        place: words("place")?,
        text: words("text")?,
        right: words("right")?,
        applies_when: applies_when.unwrap_or(AppliesWhen::Start),
        device: device(cells, schedule)?,
        prevents: prevents(cells)?,
    })
}

fn device(cells: Cells, schedule: &Schedule) -> Result<Option<Tag>, String> {
    let Some(tag) = cells.stated("device").map(Tag::from) else { return Ok(None) };
    if schedule.device(&tag).is_some() {
        return Ok(Some(tag));
    }
    let near = text::nearest(tag.as_str(), schedule.devices.iter().map(|d| d.tag.as_str()));
    let near = near.map(|tag| format!(" Did you mean {tag}?")).unwrap_or_default();
    Err(format!("device is {tag}, and class {} has no such tag.{near} Put it right.", schedule.class))
}

fn prevents(cells: Cells) -> Result<Vec<Prevents>, String> {
    let mut all = Vec::new();
    for word in cells.of("prevents").split_whitespace() {
        let prevents = Prevents::parse(&word.to_lowercase())
            .ok_or_else(|| not_a_word("prevents", word, &Prevents::spellings()))?;
        if !all.contains(&prevents) {
            all.push(prevents);
        }
    }
    Ok(all)
}
