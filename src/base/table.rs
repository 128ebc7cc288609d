//! CSV as a railway's own spreadsheets make it: header line, UTF-8, cells trimmed, a missing column all blank. Rows
//! that cannot be taken come back with their line, a reason and the row as it stood.
use super::{Day, text};

/// A whole file that cannot be taken, in a sentence: nothing was done.
pub type Unusable = String;

/// What a file gave: rows of meaning, and the rows that had none.
#[derive(Clone, Debug, PartialEq)]
pub struct Import<T> {
    pub good: Vec<T>,
    pub rejects: Vec<Reject>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reject {
    /// Counted from 1, the header line.
    pub line: u64,
    pub reason: String,
    /// The row as it stood in the file.
    pub row: String,
}

/// The file of what was rejected, `line,reason,row`, for somebody to put right in a spreadsheet.
pub fn rejected_csv(rejects: &[Reject]) -> String {
    let mut out = String::from("line,reason,row\n");
    for Reject { line, reason, row } in rejects {
        out.push_str(&format!("{line},{},{}\n", in_quotes(reason), in_quotes(row)));
    }
    out
}

fn in_quotes(cell: &str) -> String {
    format!("\"{}\"", text::defused(cell).replace('"', "\"\""))
}

/// A header and its rows.
pub struct Table {
    known: &'static [&'static str],
    /// For each known column, where it stands in the file.
    places: Vec<Option<usize>>,
    pub rows: Vec<Row>,
}

#[derive(Clone, Debug)]
pub struct Row {
    pub line: u64,
    pub raw: String,
    /// Why nothing in the row can be relied on: its cells do not fit the header.
    fault: Option<String>,
    cells: Vec<String>,
}

impl Row {
    pub fn reject(&self, reason: impl Into<String>) -> Reject {
        Reject { line: self.line, reason: reason.into(), row: self.raw.clone() }
    }
}

impl Table {
    /// `known` are the columns that may stand there, `needed` those without which no row could be taken.
    pub fn read(bytes: &[u8], known: &'static [&'static str], needed: &[&str]) -> Result<Self, Unusable> {
        let file = std::str::from_utf8(bytes).map_err(|error| {
            let line = bytes[..error.valid_up_to()].iter().filter(|b| **b == b'\n').count() + 1;
            format!("This file is not UTF-8 (line {line}). Save it again as 'CSV UTF-8'.")
        })?;
        let file = file.strip_prefix('\u{feff}').unwrap_or(file);
        let mut reader =
            csv::ReaderBuilder::new().flexible(true).has_headers(false).from_reader(file.as_bytes());
        let mut record = csv::StringRecord::new();
        let has_header =
            reader.read_record(&mut record).map_err(|e| format!("This file is not CSV: {e}."))?;
        if !has_header {
            return Err(format!("This file is empty. Its first line must be: {}", known.join(",")));
        }
        let header: Vec<String> = record.iter().map(|cell| cell.trim().to_lowercase()).collect();
        let places = columns(&header, known, needed)?;
        let mut table = Self { known, places, rows: Vec::new() };
        table.read_rows(reader, file, header.len())?;
        Ok(table)
    }

    fn read_rows(
        &mut self,
        mut reader: csv::Reader<&[u8]>,
        file: &str,
        width: usize,
    ) -> Result<(), Unusable> {
        let mut record = csv::StringRecord::new();
        let mut here = Here { file, byte: 0, line: 1 };
        loop {
            here.move_to(reader.position().byte());
            if !reader.read_record(&mut record).map_err(|e| format!("This file is not CSV: {e}."))? {
                return Ok(());
            }
            let (line, raw) = here.row_until(reader.position().byte());
            let tidy = |cell: &str| text::tidy(&cell.replace('\n', " ")).unwrap_or_default();
            let cells: Vec<String> = record.iter().map(tidy).collect();
            // Rows of nothing but commas are what spreadsheets leave below a table.
            if cells.iter().any(|cell| !cell.is_empty()) {
                let fault = beyond(&cells, width);
                self.rows.push(Row { line, raw, fault, cells });
            }
        }
    }

    /// What stands in a column of a row; blank when there is no such column.
    pub fn cell<'r>(&self, row: &'r Row, column: &str) -> &'r str {
        let known = self.known.iter().position(|name| *name == column);
        let place = known.and_then(|known| self.places.get(known).copied().flatten());
        place.and_then(|place| row.cells.get(place)).map_or("", String::as_str)
    }

    /// Each row as `read` makes something of it, or gives the reason why not.
    pub fn import<T>(&self, mut read: impl FnMut(Cells) -> Result<T, String>) -> Import<T> {
        let mut import = Import { good: Vec::new(), rejects: Vec::new() };
        for row in &self.rows {
            match self.cells(row).and_then(&mut read) {
                Ok(good) => import.good.push(good),
                Err(reason) => import.rejects.push(row.reject(reason)),
            }
        }
        import
    }

    /// A row to be read cell by cell; `Err` when its cells do not fit the header.
    pub fn cells<'t>(&'t self, row: &'t Row) -> Result<Cells<'t>, String> {
        row.fault.clone().map_or(Ok(Cells { table: self, row }), Err)
    }
}

fn beyond(cells: &[String], width: usize) -> Option<String> {
    let count = cells.iter().rposition(|cell| !cell.is_empty()).map_or(0, |last| last + 1);
    (count > width).then(|| {
        format!("This row has {count} cells and the header {width}. A comma inside a cell needs quotes around the cell.")
    })
}

/// A place in the file and its line. The CSV reader's own count is one short after lines that end in CR LF.
struct Here<'f> {
    file: &'f str,
    byte: usize,
    line: u64,
}

impl Here<'_> {
    fn move_to(&mut self, byte: u64) {
        let byte = usize::try_from(byte).unwrap_or(usize::MAX).min(self.file.len());
        let passed = self.file.as_bytes().get(self.byte..byte).unwrap_or_default();
        self.line += passed.iter().map(|b| u64::from(*b == b'\n')).sum::<u64>();
        self.byte = byte;
    }

    /// The line on which the row from here begins, and the row without its line's end.
    fn row_until(&self, byte: u64) -> (u64, String) {
        let to = usize::try_from(byte).unwrap_or(usize::MAX).min(self.file.len());
        let rest = self.file.get(self.byte..to).unwrap_or_default();
        let row = rest.trim_start_matches(['\r', '\n']);
        let empty_lines =
            rest.bytes().take(rest.len() - row.len()).map(|b| u64::from(b == b'\n')).sum::<u64>();
        (self.line + empty_lines, row.trim_end_matches(['\r', '\n']).to_owned())
    }
}

fn columns(
    header: &[String],
    known: &'static [&'static str],
    needed: &[&str],
) -> Result<Vec<Option<usize>>, Unusable> {
    let place = |name: &str| header.iter().position(|column| column == name);
    for (at, column) in header.iter().enumerate() {
        if place(column) != Some(at) && !column.is_empty() {
            return Err(format!("The column {} is there twice. Take one out.", text::quoted(column)));
        }
        // A misspelt column must not pass for a blank one.
        if !column.is_empty() && !known.contains(&column.as_str()) {
            return Err(unknown_column(column, header, known));
        }
    }
    if let Some(missing) = needed.iter().find(|name| place(name).is_none()) {
        return Err(format!("The column \"{missing}\" is missing. The first line must name it."));
    }
    Ok(known.iter().map(|name| place(name)).collect())
}

fn unknown_column(column: &str, header: &[String], known: &[&'static str]) -> Unusable {
    if header.len() == 1 && column.contains([';', '\t']) {
        return "The cells of this file are not parted by commas. Save it again as CSV with commas."
            .to_owned();
    }
    let likely = text::nearest(column, known.iter().copied());
    let likely = likely.map(|name| format!("Did you mean \"{name}\"?"));
    let advice = likely.unwrap_or_else(|| format!("Take it out. The columns are: {}.", known.join(",")));
    format!("There is no column {} here. {advice}", text::quoted(column))
}

/// One row, cell by cell. Each reading is `Err(sentence)` when what stands there cannot be.
#[derive(Clone, Copy)]
pub struct Cells<'t> {
    table: &'t Table,
    pub row: &'t Row,
}

impl<'t> Cells<'t> {
    pub fn of(&self, column: &str) -> &'t str {
        self.table.cell(self.row, column)
    }

    pub fn stated(&self, column: &str) -> Option<&'t str> {
        Some(self.of(column)).filter(|cell| !cell.is_empty())
    }

    /// At most 2,000 characters, so that one cell cannot fill every page it is shown on.
    pub fn text(&self, column: &str) -> Result<Option<String>, String> {
        let most =
            if matches!(column, "before_closing" | "after_closing" | "if_left_off") { 2_000 } else { 300 };
        match self.stated(column) {
            Some(cell) if cell.chars().count() > most => {
                Err(format!("{column} is longer than {most} characters. Shorten it."))
            }
            cell => Ok(cell.map(str::to_owned)),
        }
    }

    pub fn needed(&self, column: &str) -> Result<&'t str, String> {
        self.stated(column).ok_or_else(|| format!("{column} is blank. Fill it in."))
    }

    /// yes or no; blank is no.
    pub fn flag(&self, column: &str) -> Result<bool, String> {
        match self.of(column).to_lowercase().as_str() {
            "" | "no" | "n" => Ok(false),
            "yes" | "y" => Ok(true),
            other => Err(format!("{column} is {}. Write yes or no.", text::quoted(other))),
        }
    }

    pub fn number(&self, column: &str, least: f64, most: f64) -> Result<Option<f64>, String> {
        let Some(cell) = self.stated(column) else { return Ok(None) };
        let number: Option<f64> = cell.parse().ok().filter(|n| (least..=most).contains(n));
        number.map(Some).ok_or_else(|| {
            format!("{column} is {}. Write a number from {least} to {most}.", text::quoted(cell))
        })
    }

    pub fn count(&self, column: &str, least: u32, most: u32) -> Result<Option<u32>, String> {
        let Some(cell) = self.stated(column) else { return Ok(None) };
        let number: Option<u32> = cell.parse().ok().filter(|n| (least..=most).contains(n));
        number.map(Some).ok_or_else(|| {
            format!("{column} is {}. Write a whole number from {least} to {most}.", text::quoted(cell))
        })
    }

    /// One of a closed list: hand in the enum's `parse` and `spellings()`.
    pub fn word<T>(
        &self,
        column: &str,
        parse: fn(&str) -> Option<T>,
        spellings: &str,
    ) -> Result<Option<T>, String> {
        let Some(cell) = self.stated(column) else { return Ok(None) };
        parse(&cell.to_lowercase()).map(Some).ok_or_else(|| not_a_word(column, cell, spellings))
    }

    pub fn day(&self, column: &str) -> Result<Option<Day>, String> {
        let Some(cell) = self.stated(column) else { return Ok(None) };
        // Ten characters, or a time of day would pass and be dropped.
        let day = Some(cell).filter(|cell| cell.len() == 10).and_then(Day::parse);
        let sound = day.filter(|day| (Day(-25_567)..Day(84_006)).contains(day));
        sound.map(Some).ok_or_else(|| {
            format!("{column} is {}. Write the day as 2026-03-03 (years 1900 to 2199).", text::quoted(cell))
        })
    }
}

pub fn not_a_word(column: &str, typed: &str, spellings: &str) -> String {
    let likely = text::nearest(typed, spellings.split(", "));
    let likely = likely.map(|word| format!(" Did you mean {word}?")).unwrap_or_default();
    format!("{column} is {}.{likely} It can be: {spellings}.", text::quoted(typed))
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: &[&str] = &["unit", "class", "in_service"];

    fn read(bytes: &[u8]) -> Result<Table, Unusable> {
        Table::read(bytes, KNOWN, &["unit"])
    }

    #[test]
    fn rows_keep_their_line_and_how_they_stood() {
        let file = "\u{feff}class , UNIT\r\n\"a\nb\" , QHB 1 \r\n\r\n,,\r\nx,QHB 2,,,\r\n\"y, z\",QHB 3,4\r\nlast,QHB 4";
        let table = read(file.as_bytes()).unwrap();
        let import =
            table.import(|cells| Ok((cells.row.line, cells.of("unit").to_owned(), cells.row.raw.clone())));
        let rows: Vec<_> =
            import.good.iter().map(|(n, unit, raw)| (*n, unit.as_str(), raw.as_str())).collect();
        assert_eq!(
            rows,
            [(2, "QHB 1", "\"a\nb\" , QHB 1 "), (6, "QHB 2", "x,QHB 2,,,"), (8, "QHB 4", "last,QHB 4")]
        );
        assert_eq!(table.cell(&table.rows[0], "class"), "a b");
        assert_eq!(table.cell(&table.rows[0], "in_service"), "", "a missing column is blank");
        let reject = &import.rejects[0];
        assert_eq!((reject.line, reject.row.as_str()), (7, "\"y, z\",QHB 3,4"));
    }

    #[test]
    fn a_file_that_cannot_be_taken_says_why() {
        for (file, part) in [
            (&b""[..], "empty"),
            (b"unit,class\nQHB 1,\xe9", "not UTF-8 (line 2)"),
            (b"unit;class;in_service\n", "with commas"),
            (b"unit,clas\n", "Did you mean \"class\"?"),
            (b"unit,shoe size\n", "The columns are: unit,class,in_service."),
            (b"unit,class,unit\n", "twice"),
            (b"class\n", "\"unit\" is missing"),
        ] {
            let says = read(file).err().unwrap();
            assert!(says.contains(part), "{says}");
        }
    }

    #[test]
    fn the_rejected_file_can_be_opened_anywhere() {
        let reject = Reject { line: 3, reason: "tag is blank.".to_owned(), row: "=1+1,\"a\"".to_owned() };
        assert_eq!(rejected_csv(&[reject]), "line,reason,row\n3,\"tag is blank.\",\"'=1+1,\"\"a\"\"\"\n");
    }

    proptest::proptest! {
        #[test]
        fn no_file_makes_it_panic(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300), text in "(unit,class\n)?[\\PC\n\",;]{0,200}") {
            let _ = read(&bytes);
            let _ = read(text.as_bytes());
        }
    }
}
