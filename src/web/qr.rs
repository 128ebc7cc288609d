//! A text as a drawn square that a telephone reads. Dark and light come from the stylesheet.
use std::fmt::Write as _;

use qrcode::{Color, EcLevel, QrCode};

/// Ready to print: an SVG's side in modules, the quiet edge with them, and the path of the dark ones.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Square {
    pub side: usize,
    pub path: String,
}

/// What readers need around it.
const EDGE: usize = 4;

/// `None`: the text is longer than such a square holds.
pub fn square(text: &str) -> Option<Square> {
    // Paper is folded and gets dirty: a quarter of it may be lost.
    let code = QrCode::with_error_correction_level(text, EcLevel::Q).ok()?;
    let (width, modules) = (code.width(), code.to_colors());
    let mut path = String::new();
    for (row, line) in modules.chunks(width).enumerate() {
        let mut at = 0;
        for run in line.chunk_by(|a, b| a == b) {
            if run.first() == Some(&Color::Dark) {
                let _ = write!(path, "M{} {}h{}v1h-{}z", at + EDGE, row + EDGE, run.len(), run.len());
            }
            at += run.len();
        }
    }
    Some(Square { side: width + 2 * EDGE, path })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_dark_module_is_drawn_once_and_no_light_one() {
        let text = "breakerbook/0198f3a2\n7\nAAAA\n\n\u{2014} x y\n";
        let square = square(text).unwrap();
        let code = QrCode::with_error_correction_level(text, EcLevel::Q).unwrap();
        let dark = code.to_colors().iter().filter(|c| **c == Color::Dark).count();
        let drawn: usize = square
            .path
            .split('M')
            .skip(1)
            .map(|run| {
                let width = run.split(['h', 'v']).nth(1).unwrap();
                width.parse::<usize>().unwrap()
            })
            .sum();
        assert_eq!(drawn, dark);
        assert_eq!(square.side, code.width() + 8);
        assert!(super::square(&"x".repeat(4_000)).is_none());
    }
}
