//! Text as people type it: trimmed, one kind of white space, bounded.
use std::borrow::Cow;

/// Trims, turns control characters into spaces. `None` when nothing is left.
pub fn tidy(typed: &str) -> Option<String> {
    if !typed.contains(char::is_control) {
        let clean = typed.trim();
        return (!clean.is_empty()).then(|| clean.to_owned());
    }
    let clean: String = typed.chars().map(|c| if c.is_control() && c != '\n' { ' ' } else { c }).collect();
    let clean = clean.trim();
    (!clean.is_empty()).then(|| clean.to_owned())
}

/// What somebody has to say in words. `None` also where no letter of it shows: a reason that nobody can see is none.
pub fn words(typed: &str) -> Option<String> {
    tidy(typed).filter(|words| words.contains(shows))
}

/// Not white space, and none of the characters that Unicode draws as nothing (`Default_Ignorable_Code_Point`, and the
/// pattern without dots).
fn shows(c: char) -> bool {
    let hidden = matches!(c, '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
        | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{2800}'
        | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{ffa0}' | '\u{fff0}'..='\u{fff8}' | '\u{1bca0}'..='\u{1bca3}'
        | '\u{1d173}'..='\u{1d17a}' | '\u{e0000}'..='\u{e0fff}');
    !hidden && !c.is_whitespace() && !c.is_control()
}

/// `1 trip`, `3 trips`.
pub fn count(n: u64, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

/// To one decimal, and never `-0.0`.
pub fn tenths(x: f64) -> String {
    let told = format!("{x:.1}");
    if told == "-0.0" { "0.0".to_owned() } else { told }
}

/// How long, as exactly as it matters: `45 min`, `1 h 45 min`, `31 h 40 min`, `12 days`.
pub fn span(micros: i64) -> String {
    use super::instant::{DAY, HOUR, MINUTE};
    let micros = micros.max(0);
    if micros < HOUR {
        format!("{} min", micros / MINUTE)
    } else if micros < 3 * DAY {
        match micros % HOUR / MINUTE {
            0 => format!("{} h", micros / HOUR),
            minutes => format!("{} h {minutes} min", micros / HOUR),
        }
    } else {
        format!("{} days", micros / DAY)
    }
}

/// With a capital and an end mark, if it has none.
pub fn sentence(says: &str) -> String {
    let mut letters = says.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
    let end = if says.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

/// A cell that a spreadsheet would run as a formula gets an apostrophe in front (ASVS 5.0 1.2.10).
pub fn defused(cell: &str) -> String {
    if cell.starts_with(['=', '+', '-', '@', '\t', '\0', '\r']) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// What somebody typed, in quotes and cut short, so that a sentence about it stays a sentence.
pub fn quoted(typed: &str) -> String {
    const MOST: usize = 40;
    match typed.char_indices().nth(MOST) {
        Some((end, _)) => format!("\"{}…\"", typed.get(..end).unwrap_or_default()),
        None => format!("\"{typed}\""),
    }
}

/// Free text inside a sentence of the book: it can turn no word round but its own. Marks of direction are taken
/// out (the entry keeps them), and what is written from right to left is isolated from what stands around it.
pub fn own_words(typed: &str) -> Cow<'_, str> {
    let turns = |c: char| matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let leftward = |c: char| {
        matches!(c, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{fefe}'
            | '\u{10800}'..='\u{10fff}' | '\u{1e800}'..='\u{1efff}')
    };
    if !typed.contains(|c| turns(c) || leftward(c)) {
        return Cow::Borrowed(typed);
    }
    let plain: String = typed.chars().filter(|c| !turns(*c)).collect();
    Cow::Owned(format!("\u{2068}{plain}\u{2069}"))
}

/// The known word that somebody most likely meant: at most two slips, and fewer than half of its letters.
pub fn nearest<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Longer than any word of ours: not worth the work, and nobody can make us do it.
    if typed.len() > 40 {
        return None;
    }
    let typed = typed.to_lowercase();
    let slips = |word: &str| slips_between(&typed, &word.to_lowercase());
    let close = known.into_iter().map(|word| (slips(word), word));
    let close = close.filter(|(slips, word)| *slips <= 2 && slips * 2 < word.chars().count().max(1));
    close.min_by_key(|(slips, _)| *slips).map(|(_, word)| word)
}

/// Letters to put in, take out, change, or swap with their neighbour.
pub fn slips_between(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let a: Vec<char> = a.chars().collect();
    let width = b.len() + 1;
    let mut cost = vec![0; (a.len() + 1) * width];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            let here = |di: usize, dj: usize| cost[(i - di) * width + (j - dj)];
            let best = match (i, j) {
                (0, n) | (n, 0) => n,
                _ => {
                    let changed = here(1, 1) + usize::from(a[i - 1] != b[j - 1]);
                    let swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
                    let swap = if swapped { here(2, 2) + 1 } else { usize::MAX };
                    changed.min(here(1, 0) + 1).min(here(0, 1) + 1).min(swap)
                }
            };
            cost[i * width + j] = best;
        }
    }
    cost.last().copied().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_sign() {
        let told: Vec<String> = [-0.041, 0.04, -0.06, 2.25].map(tenths).into();
        assert_eq!(told, ["0.0", "0.0", "-0.1", "2.2"]);
    }

    #[test]
    fn the_nearest_word_is_offered_only_when_it_is_near() {
        for (typed, want) in [
            ("devise", Some("device")),
            ("DEVICE", Some("device")),
            ("dveice", Some("device")),
            ("d", None),
            ("speed", None),
            ("", None),
            ("tc1", Some("tc2")),
        ] {
            assert_eq!(nearest(typed, ["device", "speed_mph", "at", "tc2"]), want, "{typed}");
        }
        assert_eq!(nearest(&"x".repeat(1_000_000), ["device"]), None);
    }

    #[test]
    fn a_span_is_told_as_exactly_as_it_matters() {
        use super::super::instant::{DAY, HOUR, MINUTE};
        for (micros, want) in [
            (-5, "0 min"),
            (59 * MINUTE, "59 min"),
            (HOUR, "1 h"),
            (105 * MINUTE, "1 h 45 min"),
            (23 * HOUR + 59 * MINUTE, "23 h 59 min"),
            (31 * HOUR + 40 * MINUTE, "31 h 40 min"),
            (71 * HOUR + 59 * MINUTE, "71 h 59 min"),
            (3 * DAY, "3 days"),
            (12 * DAY + HOUR, "12 days"),
        ] {
            assert_eq!(span(micros), want);
        }
    }

    #[test]
    fn nobodys_words_turn_the_sentence_round() {
        for (typed, want) in [
            ("cab signal dead, 40 %", "cab signal dead, 40 %"),
            ("Überstrom, naïve", "Überstrom, naïve"),
            ("dead\u{202e}evil", "\u{2068}deadevil\u{2069}"),
            ("a\u{2069}\u{202e}b\u{200f}", "\u{2068}ab\u{2069}"),
            ("תקלה", "\u{2068}תקלה\u{2069}"),
        ] {
            assert_eq!(own_words(typed), want);
        }
    }

    #[test]
    fn text_is_tidied_the_same_by_either_way() {
        assert_eq!(tidy("  a b "), Some("a b".to_owned()));
        assert_eq!(tidy("\ta\u{0}b\r\nc\n"), Some("a b \nc".to_owned()));
        assert_eq!(tidy(" \t\n "), None);
        assert_eq!(words(" a "), Some("a".to_owned()));
        assert_eq!(words("\u{200d}\u{5d0}"), Some("\u{200d}\u{5d0}".to_owned()));
        for unseen in ["\u{200b}", "\u{ad}\u{2800}", "\u{202e} \u{202c}", "\u{3164}\n\u{feff}", "\u{e0041}"] {
            assert_eq!(words(unseen), None, "{unseen:?}");
        }
        assert_eq!(quoted("short"), "\"short\"");
        assert_eq!(quoted(&"é".repeat(50)).chars().count(), 43);
    }
}
