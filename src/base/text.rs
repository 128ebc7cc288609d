//! Text as people type it: trimmed, one kind of white space, bounded.

/// Trims, turns control characters into spaces. `None` when nothing is left.
pub fn tidy(typed: &str) -> Option<String> {
    let clean: String = typed.chars().map(|c| if c.is_control() && c != '\n' { ' ' } else { c }).collect();
    let clean = clean.trim();
    (!clean.is_empty()).then(|| clean.to_owned())
}

/// `1 trip`, `3 trips`.
pub fn count(n: u64, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

/// How long, in the largest unit that says something: `4 minutes`, `31 h`, `12 days`.
pub fn span(micros: i64) -> String {
    use super::instant::{DAY, HOUR, MINUTE};
    let micros = micros.max(0);
    if micros < HOUR {
        format!("{} min", micros / MINUTE)
    } else if micros < 3 * DAY {
        format!("{} h", micros / HOUR)
    } else {
        format!("{} days", micros / DAY)
    }
}

/// A cell that a spreadsheet would run as a formula gets an apostrophe in front (ASVS 5.0 1.2.10).
pub fn defused(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\0', '\r']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}
