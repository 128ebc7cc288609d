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

/// Declarations of every rule after the palettes: what is painted with what.
fn rules(css: &str) -> Vec<(String, BTreeMap<String, String>)> {
    let mut text = css.split_once("*, *::before").unwrap().1.to_owned();
    while let (Some(from), Some(to)) = (text.find("/*"), text.find("*/")) {
        text.replace_range(from..to + 2, "");
    }
    let rule = |part: &str| {
        let (before, body) = part.rsplit_once('{')?;
        let selector = before.rsplit(['{', '}']).next().unwrap_or_default().trim().to_owned();
        let pair = |line: &str| {
            line.split_once(':').map(|(name, value)| (name.trim().to_owned(), value.trim().to_owned()))
        };
        Some((selector, body.split(';').filter_map(pair).collect()))
    };
    text.split('}').filter_map(rule).collect()
}

/// The palette's name in a value that is one.
fn variable(value: &str) -> Option<&str> {
    value.strip_prefix("var(")?.split_once(')').filter(|(_, rest)| rest.is_empty()).map(|(name, _)| name)
}

/// Whatever ink a rule of the stylesheet sets stands against every ground it can stand on: the rule's own, if it has
/// one, or else each of the page's. So a colour that nobody reckoned cannot come into use.
#[test]
fn every_rule_that_sets_an_ink_or_a_ground_has_a_contrast_of_seven() {
    const GROUNDS: [&str; 3] = ["--ground", "--sheet", "--panel"];
    let (palettes, mut looked_at) = (blocks(CSS), 0);
    for (selector, rule) in rules(CSS) {
        let painted = rule.get("background").or_else(|| rule.get("background-color"));
        let own = painted.and_then(|value| variable(value));
        // A ground that is no ground of the page needs an ink of its own; strokes of an input's mark have no words.
        let marks = selector.contains("::before") || selector.contains("::after");
        let inks = ["color", "fill"].iter().filter_map(|name| rule.get(*name));
        let inks: Vec<&str> = inks.filter_map(|value| variable(value)).collect();
        if let Some(ground) = own.filter(|ground| !GROUNDS.contains(ground) && !marks) {
            assert!(!inks.is_empty(), "{selector} is painted with {ground} and sets no ink");
        }
        for ink in inks {
            let grounds = own.map_or(GROUNDS.to_vec(), |ground| vec![ground]);
            for (ground, palette) in
                grounds.iter().flat_map(|ground| palettes.iter().map(move |p| (ground, p)))
            {
                let c = contrast(&palette[ink], &palette[*ground]);
                assert!(c >= 7.0, "{selector}: {ink} on {ground} is {c:.2}");
                looked_at += 1;
            }
        }
        for (name, value) in &rule {
            let mixed = value.contains("color-mix") || value.contains("rgb") || value.contains("hsl");
            assert!(!mixed, "{selector}: {name} is a colour that this test cannot reckon");
            let pale = name == "opacity" && value.parse::<f64>().is_ok_and(|n| n > 0.0 && n < 1.0);
            assert!(!pale, "{selector} makes its words paler than their ink");
        }
    }
    assert!(looked_at > 100, "only {looked_at} pairs were found in the stylesheet");
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
