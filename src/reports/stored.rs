//! Reports, entries and amendments as the book keeps them, read back by the very reader that took them in.
use super::{Entry, Report, amendment::Amendment, json, reading};
use crate::base::Problems;

pub fn report(text: &str) -> Result<Report, String> {
    read(text, reading::read_report)
}

pub fn entry(text: &str) -> Result<Entry, String> {
    read(text, reading::read_entry)
}

pub fn amendment(text: &str) -> Result<Amendment, String> {
    read(text, reading::read_amendment)
}

fn read<T>(text: &str, reader: impl Fn(&json::Json) -> reading::Read<T>) -> Result<T, String> {
    let tree = json::parse(text.as_bytes()).map_err(|why| why.says())?;
    let in_words = |problems: Problems| {
        problems.refusals.iter().map(|p| format!("{}: {}", p.path, p.says)).collect::<Vec<_>>().join("; ")
    };
    reader(&tree).map(|(value, _)| value).map_err(in_words)
}
