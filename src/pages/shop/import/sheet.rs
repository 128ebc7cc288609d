//! A spreadsheet as somebody already has it: CSV, or the first sheet of an XLSX.
use std::io::Cursor;

use calamine::{Data, Reader as _};

use crate::base::text;

/// A header and its rows, each with the line it stood on.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    pub header: Vec<String>,
    pub rows: Vec<(u64, Vec<String>)>,
}

pub const MOST_ROWS: usize = 2_000;
/// Unpacked, a file that says it is larger is not opened.
const MOST_UNPACKED: u64 = 50_000_000;

pub fn read(bytes: &[u8]) -> Result<Grid, String> {
    let grid = if bytes.starts_with(b"PK\x03\x04") { xlsx(bytes)? } else { csv(bytes)? };
    if grid.header.iter().all(String::is_empty) {
        return Err("The first line is empty: it has to name the columns.".to_owned());
    }
    if grid.rows.is_empty() {
        return Err("There is no row below the names of the columns.".to_owned());
    }
    if grid.rows.len() > MOST_ROWS {
        return Err(format!("More than {MOST_ROWS} rows: bring them in parts."));
    }
    Ok(grid)
}

impl Grid {
    /// As it is carried from one step to the next.
    pub fn to_csv(&self) -> String {
        let mut out = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        let written = out.write_record(&self.header).is_ok()
            && self.rows.iter().all(|(line, row)| {
                out.write_record(row.iter().chain(std::iter::once(&format!("line {line}")))).is_ok()
            });
        let bytes = out.into_inner().unwrap_or_default();
        if written { String::from_utf8(bytes).unwrap_or_default() } else { String::new() }
    }

    /// Back from there: the last cell of each row is its line.
    pub fn carried(csv: &str) -> Result<Self, String> {
        let mut grid = parted(csv, b',')?;
        for (line, row) in &mut grid.rows {
            let told = row.pop().and_then(|cell| cell.strip_prefix("line ").and_then(|n| n.parse().ok()));
            *line = told.unwrap_or(*line);
        }
        if grid.rows.len() > MOST_ROWS { Err("There are too many rows.".to_owned()) } else { Ok(grid) }
    }
}

fn csv(bytes: &[u8]) -> Result<Grid, String> {
    let file = std::str::from_utf8(bytes).map_err(|_| {
        "This file is neither a spreadsheet (XLSX) nor UTF-8 text. Save it again as 'CSV UTF-8'.".to_owned()
    })?;
    let file = file.strip_prefix('\u{feff}').unwrap_or(file);
    let first = file.lines().next().unwrap_or_default();
    // What stands between quotation marks parts nothing.
    let open = first.split('"').step_by(2);
    let count = |c: u8| open.clone().flat_map(str::bytes).filter(|b| *b == c).count();
    let delimiter = *[b',', b';', b'\t'].iter().max_by_key(|c| (count(**c), **c == b',')).unwrap_or(&b',');
    parted(file, delimiter)
}

fn parted(file: &str, delimiter: u8) -> Result<Grid, String> {
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .has_headers(false)
        .delimiter(delimiter)
        .from_reader(file.as_bytes());
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|why| format!("This file is not CSV: {why}."))?;
        let line = record.position().map_or(0, csv::Position::line);
        rows.push((line, record.iter().map(tidy).collect::<Vec<_>>()));
        if rows.len() > MOST_ROWS + 1 {
            break;
        }
    }
    of(rows)
}

fn xlsx(bytes: &[u8]) -> Result<Grid, String> {
    let broken = |why: &dyn std::fmt::Display| format!("This spreadsheet cannot be read: {why}.");
    let mut packed = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|why| broken(&why))?;
    let mut size = 0u64;
    for n in 0..packed.len() {
        size = size.saturating_add(packed.by_index_raw(n).map_err(|why| broken(&why))?.size());
    }
    if size > MOST_UNPACKED {
        return Err("This spreadsheet is too large: take out what is not wanted, or save the sheet as CSV."
            .to_owned());
    }
    let mut book = calamine::Xlsx::new(Cursor::new(bytes)).map_err(|why| broken(&why))?;
    let range = book
        .worksheet_range_at(0)
        .ok_or_else(|| "This spreadsheet has no sheet.".to_owned())?
        .map_err(|why| broken(&why))?;
    let first = u64::from(range.start().map_or(0, |(row, _)| row)) + 1;
    of((first..).zip(range.rows().map(|row| row.iter().map(cell).collect())).take(MOST_ROWS + 2).collect())
}

fn cell(data: &Data) -> String {
    match data {
        Data::DateTime(at) if at.is_datetime() => {
            let (year, month, day, hour, minute, ..) = at.to_ymd_hms_milli();
            // A time of day alone counts from the year nought of the sheet.
            if year < 1901 {
                format!("{hour:02}:{minute:02}")
            } else if (hour, minute) == (0, 0) {
                format!("{year:04}-{month:02}-{day:02}")
            } else {
                format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}")
            }
        }
        other => tidy(&other.to_string()),
    }
}

fn tidy(cell: &str) -> String {
    text::tidy(cell).unwrap_or_default()
}

/// Rows of nothing are left out; each is as long as the header.
fn of(rows: Vec<(u64, Vec<String>)>) -> Result<Grid, String> {
    let mut rows = rows.into_iter().filter(|(_, row)| row.iter().any(|cell| !cell.is_empty()));
    let Some((_, header)) = rows.next() else { return Err("This file is empty.".to_owned()) };
    Ok(Grid { header, rows: rows.collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spreadsheets_are_read_by_any_mark_between_cells() {
        for file in [
            "Unit,When\nQHB 412,today\n",
            "\u{feff}Unit;When\r\n\r\nQHB 412;today\r\n",
            "Unit\tWhen\nQHB 412\ttoday",
        ] {
            let grid = read(file.as_bytes()).unwrap();
            assert_eq!(grid.header, ["Unit", "When"], "{file:?}");
            assert_eq!(grid.rows[0].1, ["QHB 412", "today"], "{file:?}");
            assert_eq!(Grid::carried(&grid.to_csv()).unwrap(), grid, "{file:?}");
        }
        // Its heading has more semicolons than commas, and what is carried is parted by commas all the same.
        let grid = read(b"Unit,\"What; where; how\"\nQHB 412,\"trip; cab\"\nQHB 413,none\n").unwrap();
        assert_eq!(grid.header, ["Unit", "What; where; how"]);
        assert_eq!(Grid::carried(&grid.to_csv()).unwrap(), grid);
        for (bad, why) in [
            (&b""[..], "empty"),
            (b"\xff\xfe", "CSV UTF-8"),
            (b"PK\x03\x04rubbish", "cannot be read"),
            (b"Unit\n", "no row"),
        ] {
            let says = read(bad).unwrap_err();
            assert!(says.contains(why), "{says}");
        }
    }

    #[test]
    fn a_sheet_written_by_a_spreadsheet_is_read() {
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet();
        sheet.write_string(2, 0, "Unit").unwrap();
        sheet.write_string(2, 1, "When").unwrap();
        sheet.write_string(4, 0, "QHB 412").unwrap();
        let at = rust_xlsxwriter::ExcelDateTime::parse_from_str("2026-03-01T14:05:00").unwrap();
        let format = rust_xlsxwriter::Format::new().set_num_format("yyyy-mm-dd hh:mm");
        sheet.write_datetime_with_format(4, 1, &at, &format).unwrap();
        sheet.write_string(5, 0, "QHB 413").unwrap();
        let time = rust_xlsxwriter::ExcelDateTime::from_hms(14, 5, 0.0).unwrap();
        let hours = rust_xlsxwriter::Format::new().set_num_format("hh:mm");
        sheet.write_datetime_with_format(5, 1, &time, &hours).unwrap();
        let grid = read(&book.save_to_buffer().unwrap()).unwrap();
        let row = |unit: &str, when: &str| vec![unit.to_owned(), when.to_owned()];
        assert_eq!(grid.rows, [(5, row("QHB 412", "2026-03-01 14:05")), (6, row("QHB 413", "14:05"))]);
    }
}
