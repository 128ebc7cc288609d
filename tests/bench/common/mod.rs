//! What the benchmarks share: a filled demo book, made-up reports on its schedules, light clients, one table.
#![expect(dead_code, reason = "each benchmark uses a part of it")]
pub mod book;
pub mod client;
pub mod limit;
pub mod reports;
pub mod server;
pub mod table;

/// The middle one; of an even number the higher of the two.
pub fn median(values: &[f64]) -> f64 {
    percentile(values, 0.5)
}

pub fn percentile(values: &[f64], part: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in the list")]
    let place = (sorted.len() as f64 * part) as usize;
    sorted.get(place).copied().unwrap_or(f64::NAN)
}

/// `cargo test --benches` and `cargo bench -- --list` only want to see that it starts.
pub fn only_looking() -> bool {
    std::env::args().any(|arg| arg == "--test" || arg == "--list")
        || !std::env::args().any(|arg| arg == "--bench")
}

/// `cargo bench --bench filing -- import` runs only that part.
pub fn wanted(part: &str) -> bool {
    let mut named = std::env::args().skip(1).filter(|arg| !arg.starts_with("--")).peekable();
    named.peek().is_none() || named.any(|name| name == part)
}
