//! Bytes that somebody sent, damaged as bytes and as text: what a door has to stand without panic and without growing.
use std::time::Duration;

use rand::{RngExt as _, rngs::StdRng};

/// What readers stumble over.
const WORDS: &[&str] = &[
    "",
    "null",
    "true",
    "-0",
    "1e309",
    "-1e309",
    "NaN",
    "0.1e-400",
    "18446744073709551616",
    "-9223372036854775809",
    "[",
    "]",
    "{",
    "}",
    "\"",
    "\\",
    "\\u0000",
    "\\ud800",
    "\u{0}",
    "\u{feff}",
    "\u{202e}",
    "\u{1f6a8}",
    ",",
    ";",
    "\t",
    "\n",
    "\r\n",
    "\"\"",
    ":",
    "2026-02-30",
    "2026-06-01T25:61:61Z",
    "0000-00-00T00:00:00+99:99",
    "9999-12-31T23:59:59-23:59",
    "QHB 1",
    "TC1",
    "../..",
    "=1+1",
    "*",
    " ",
    "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[",
];

/// A few of them at once.
pub fn bitten(bytes: &[u8], dice: &mut StdRng) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..dice.random_range(1..5_u8) {
        bite(&mut bytes, dice);
    }
    bytes
}

fn bite(bytes: &mut Vec<u8>, dice: &mut StdRng) {
    if bytes.is_empty() {
        return bytes.push(dice.random());
    }
    let at = dice.random_range(0..bytes.len());
    let to = (at + dice.random_range(0..40_usize)).min(bytes.len());
    match dice.random_range(0..10_u8) {
        0 => bytes.truncate(at),
        1 => drop(bytes.drain(at..to)),
        2 => bytes.insert(at, dice.random()),
        3 => bytes[at] ^= 1 << dice.random_range(0..8_u8),
        // A part once more, where it is or elsewhere.
        4 | 5 => {
            let part = bytes[at..to].to_vec();
            let place = dice.random_range(0..=bytes.len());
            drop(bytes.splice(place..place, part));
        }
        6 => {
            let many = vec![bytes[at]; dice.random_range(1..2_000)];
            drop(bytes.splice(at..at, many));
        }
        7 => drop(bytes.splice(at..to, a_word(dice))),
        // In place of a whole number, word or name.
        _ => {
            let is_word = |byte: &u8| byte.is_ascii_alphanumeric() || b"_-.+".contains(byte);
            let end = at + bytes[at..].iter().take_while(|byte| is_word(byte)).count();
            let begin = at - bytes[..at].iter().rev().take_while(|byte| is_word(byte)).count();
            drop(bytes.splice(begin..end, a_word(dice)));
        }
    }
}

fn a_word(dice: &mut StdRng) -> Vec<u8> {
    WORDS[dice.random_range(0..WORDS.len())].as_bytes().to_vec()
}

/// So many inputs, if nothing else is asked for by `INPUTS`.
pub fn inputs(usual: u64) -> u64 {
    std::env::var("INPUTS").ok().and_then(|n| n.parse().ok()).unwrap_or(usual)
}

/// Whoever asks for many has nothing else run beside it.
pub fn alone() -> bool {
    std::env::var_os("INPUTS").is_some()
}

/// The most memory this process ever had, in megabytes.
pub fn peak_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or_default();
    line.trim().trim_end_matches(" kB").parse::<u64>().map_or(0, |kb| kb / 1_024)
}

pub fn told(what: &str, (inputs, taken): (u64, u64), took: Duration, before: u64) {
    eprintln!(
        "{what}: {inputs} inputs in {took:.1?}, {taken} of them taken; most memory {before} MB before, {} MB after",
        peak_mb()
    );
}
