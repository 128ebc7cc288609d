//! The numbers of a picture as CSV at an address of their own: each mark of the picture is a row, and the other way round.
use axum::{
    http::{HeaderValue, header},
    response::IntoResponse,
};

use crate::{
    base::text,
    web::{Answer, Oops},
};

/// A header and rows, every cell as it is to stand there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// `QHB-412-timeline`: what the file is called.
    pub name: String,
    pub columns: &'static [&'static str],
    pub rows: Vec<Vec<String>>,
}

impl Sheet {
    pub fn csv(&self) -> Result<String, csv::Error> {
        let mut out = csv::Writer::from_writer(Vec::new());
        out.write_record(self.columns)?;
        for row in &self.rows {
            out.write_record(row.iter().map(|cell| harmless(cell)))?;
        }
        let bytes = out.into_inner().map_err(|why| csv::Error::from(why.into_error()))?;
        Ok(String::from_utf8(bytes).unwrap_or_default())
    }

    /// To look at or to keep.
    pub fn answer(&self) -> Answer {
        let text = self.csv().map_err(|why| Oops::machine(&why))?;
        let plain = |c: char| if c.is_ascii_alphanumeric() || c == '-' { c } else { '-' };
        let name: String = self.name.chars().map(plain).collect();
        let kept = HeaderValue::from_str(&format!("attachment; filename=\"{name}.csv\""))
            .map_err(|why| Oops::machine(&why))?;
        let kind = HeaderValue::from_static("text/csv; charset=utf-8");
        Ok(([(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, kept)], text).into_response())
    }
}

/// A number is no formula, whatever its sign.
fn harmless(cell: &str) -> String {
    if cell.parse::<f64>().is_ok() { cell.to_owned() } else { text::defused(cell) }
}

/// A number without what nobody can know of it: at most three places behind the point.
pub fn plain(x: f64) -> String {
    let told = format!("{x:.3}");
    let told = told.trim_end_matches('0').trim_end_matches('.');
    if told == "-0" { "0".to_owned() } else { told.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_that_a_spreadsheet_would_run_are_defused_and_numbers_are_plain() {
        let rows = vec![vec!["=1+1".to_owned(), "a, b".to_owned()], vec!["-1.5".to_owned(), "-x".to_owned()]];
        let sheet = Sheet { name: "x".into(), columns: &["one", "two"], rows };
        assert_eq!(sheet.csv().unwrap(), "one,two\n'=1+1,\"a, b\"\n-1.5,'-x\n");
        assert_eq!([1.0, 0.25, -0.0001, 1.0 / 3.0].map(plain), ["1", "0.25", "0", "0.333"]);
    }
}
