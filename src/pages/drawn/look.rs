//! Holds the stylesheet to its promises: contrast in both palettes, size, nothing from elsewhere.
use std::collections::BTreeMap;

const CSS: &str = include_str!("../../../static/book.css");

fn blocks(css: &str) -> Vec<BTreeMap<String, String>> {
    let parts = css.split(":root").skip(1).filter_map(|part| {
        let body = part.split_once('{')?.1.split_once('}')?.0;
        let colours = body.split(';').filter_map(|line| {
            let (name, value) = line.trim().split_once(':')?;
            name.trim().starts_with("--").then(|| (name.trim().to_owned(), value.trim().to_owned()))
        });
        let block: BTreeMap<_, _> = colours.collect();
        (!block.is_empty()).then_some(block)
    });
    parts.collect()
}

/// Relative luminance and contrast as WCAG 2 defines them.
fn luminance(hex: &str) -> f64 {
    let channel = |at: usize| {
        let c = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
}

fn contrast(a: &str, b: &str) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn text_has_a_contrast_of_seven_in_both_palettes() {
    let blocks = blocks(CSS);
    assert_eq!(blocks.len(), 3, "day, night as chosen, night as the device has it");
    assert_eq!(blocks[1], blocks[2], "the two night palettes are one");
    for (palette, block) in ["day", "night"].iter().zip(&blocks) {
        for ink in ["--ink", "--quiet", "--accent", "--alarm"] {
            for ground in ["--ground", "--sheet", "--panel"] {
                let c = contrast(&block[ink], &block[ground]);
                assert!(c >= 7.0, "{palette}: {ink} on {ground} is {c:.2}");
            }
        }
        for name in ["accent", "alarm", "plate"] {
            let c = contrast(&block[&format!("--on-{name}")], &block[&format!("--{name}")]);
            assert!(c >= 7.0, "{palette}: --on-{name} is {c:.2}");
        }
    }
}

#[test]
fn colours_are_named_only_in_the_palettes_and_nothing_comes_from_elsewhere() {
    let after = CSS.split("*, *::before").nth(1).unwrap();
    let named = after
        .split(['#', ' ', ';', ':'])
        .filter(|w| w.len() == 6 && w.bytes().all(|b| b.is_ascii_hexdigit()));
    assert_eq!(named.count(), 0);
    for bad in ["url(", "@import", "http"] {
        assert!(!CSS.contains(bad), "{bad}");
    }
}
