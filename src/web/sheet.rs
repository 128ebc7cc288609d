//! Any list as a file to take away: CSV in which no cell runs as a formula, or XLSX, whose cells are text or numbers.
use axum::{
    http::{HeaderValue, header},
    response::IntoResponse,
};

use super::{Answer, Oops};
use crate::base::text;

#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    Text(String),
    Number(f64),
    Blank,
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        if text.is_empty() { Self::Blank } else { Self::Text(text) }
    }
}
impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}
impl From<Option<String>> for Cell {
    fn from(text: Option<String>) -> Self {
        text.map_or(Self::Blank, Into::into)
    }
}
impl From<i64> for Cell {
    #[expect(clippy::cast_precision_loss, reason = "page numbers and counts, far below 2^53")]
    fn from(n: i64) -> Self {
        Self::Number(n as f64)
    }
}

#[derive(Clone, Debug)]
pub struct Sheet {
    /// Of the file, without its ending.
    pub name: String,
    pub header: Vec<String>,
    pub rows: Vec<Vec<Cell>>,
}

/// What stands in `?format=`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    Csv,
    Xlsx,
}

impl Format {
    pub fn asked(typed: &str) -> Result<Option<Self>, Oops> {
        match typed {
            "" | "page" => Ok(None),
            "csv" => Ok(Some(Self::Csv)),
            "xlsx" => Ok(Some(Self::Xlsx)),
            _ => Err(Oops::Unreadable("A list comes as csv or xlsx.".to_owned())),
        }
    }
}

impl Sheet {
    pub fn of(name: &str, header: &[&str]) -> Self {
        Self {
            name: name.to_owned(),
            header: header.iter().map(|h| (*h).to_owned()).collect(),
            rows: Vec::new(),
        }
    }

    pub fn to_csv(&self) -> Result<String, csv::Error> {
        let mut out = csv::Writer::from_writer(Vec::new());
        out.write_record(&self.header)?;
        for row in &self.rows {
            out.write_record(row.iter().map(in_csv))?;
        }
        let bytes = out.into_inner().map_err(|why| csv::Error::from(why.into_error()))?;
        Ok(String::from_utf8(bytes).unwrap_or_default())
    }

    pub fn to_xlsx(&self) -> Result<Vec<u8>, rust_xlsxwriter::XlsxError> {
        let mut book = rust_xlsxwriter::Workbook::new();
        let sheet = book.add_worksheet();
        let bold = rust_xlsxwriter::Format::new().set_bold();
        for (column, name) in (0u16..).zip(&self.header) {
            sheet.write_string_with_format(0, column, name, &bold)?;
        }
        sheet.set_freeze_panes(1, 0)?;
        for (line, row) in (1u32..).zip(&self.rows) {
            for (column, cell) in (0u16..).zip(row) {
                match cell {
                    Cell::Text(text) => drop(sheet.write_string(line, column, short(text))?),
                    Cell::Number(n) => drop(sheet.write_number(line, column, *n)?),
                    Cell::Blank => {}
                }
            }
        }
        book.save_to_buffer()
    }

    pub fn answer(&self, format: Format) -> Answer {
        let (kind, end, bytes) = match format {
            Format::Csv => {
                let text = self.to_csv().map_err(|why| Oops::machine(&why))?;
                ("text/csv; charset=utf-8", "csv", text.into_bytes())
            }
            Format::Xlsx => {
                let kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
                (kind, "xlsx", self.to_xlsx().map_err(|why| Oops::machine(&why))?)
            }
        };
        let plain: String =
            self.name.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
        let named = HeaderValue::try_from(format!("attachment; filename=\"{plain}.{end}\""))
            .map_err(|why| Oops::machine(&why))?;
        let headers =
            [(header::CONTENT_TYPE, HeaderValue::from_static(kind)), (header::CONTENT_DISPOSITION, named)];
        Ok((headers, bytes).into_response())
    }
}

fn in_csv(cell: &Cell) -> String {
    match cell {
        Cell::Text(said) => text::defused(said),
        Cell::Number(n) => n.to_string(),
        Cell::Blank => String::new(),
    }
}

/// A cell of a spreadsheet holds so much, and no more.
fn short(text: &str) -> String {
    const MOST: usize = 32_767;
    if text.chars().count() <= MOST {
        text.to_owned()
    } else {
        text.chars().take(MOST - 1).chain(['…']).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet() -> Sheet {
        let mut sheet = Sheet::of("list", &["what", "n"]);
        for text in ["=1+1", "+2", "-3", "@x", "\tx", "plain, with comma"] {
            sheet.rows.push(vec![text.into(), Cell::Number(-3.5)]);
        }
        sheet
    }

    #[test]
    fn no_cell_of_a_csv_runs() {
        // Vector V62 of the standards notes.
        let csv = sheet().to_csv().unwrap();
        let want =
            "what,n\n'=1+1,-3.5\n'+2,-3.5\n'-3,-3.5\n'@x,-3.5\n'\tx,-3.5\n\"plain, with comma\",-3.5\n";
        assert_eq!(csv, want);
    }

    #[test]
    fn a_spreadsheet_reads_back_what_was_written_as_text() {
        use calamine::{Data, Reader as _};
        let bytes = sheet().to_xlsx().unwrap();
        let mut book = calamine::Xlsx::new(std::io::Cursor::new(bytes)).unwrap();
        let range = book.worksheet_range_at(0).unwrap().unwrap();
        assert_eq!(range.get_value((1, 0)), Some(&Data::String("=1+1".into())), "text, not a formula");
        assert_eq!(range.get_value((1, 1)), Some(&Data::Float(-3.5)));
        assert_eq!(range.get_size(), (7, 2));
        let long = Sheet { rows: vec![vec![Cell::Text("x".repeat(40_000))]], ..sheet() };
        assert!(long.to_xlsx().is_ok());
    }
}
