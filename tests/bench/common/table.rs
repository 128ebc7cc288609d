//! One table a run: what, measured, target, met or not.
#![expect(clippy::print_stdout, reason = "a benchmark's result is what it prints")]

pub struct Table {
    title: &'static str,
    lines: Vec<[String; 4]>,
}

impl Table {
    pub fn new(title: &'static str) -> Self {
        Self { title, lines: vec![["what".into(), "measured".into(), "target".into(), "met".into()]] }
    }

    /// A figure to know, without a target.
    pub fn figure(&mut self, what: &str, measured: String) {
        self.lines.push([what.into(), measured, String::new(), String::new()]);
    }

    pub fn at_least(&mut self, what: &str, measured: f64, target: f64, unit: &str) {
        self.judged(what, measured, &format!("at least {target}{unit}"), measured >= target, unit);
    }

    pub fn at_most(&mut self, what: &str, measured: f64, target: f64, unit: &str) {
        self.judged(what, measured, &format!("at most {target}{unit}"), measured <= target, unit);
    }

    fn judged(&mut self, what: &str, measured: f64, target: &str, met: bool, unit: &str) {
        let met = if met { "yes" } else { "NO" };
        self.lines.push([what.into(), format!("{measured:.2}{unit}"), target.into(), met.into()]);
    }

    pub fn print(&self) {
        let wide =
            |column: usize| self.lines.iter().map(|line| line[column].chars().count()).max().unwrap_or(0);
        let (a, b, c) = (wide(0), wide(1), wide(2));
        println!("\n{}", self.title);
        for [what, measured, target, met] in &self.lines {
            println!("  {what:<a$}  {measured:>b$}  {target:<c$}  {met}");
        }
    }
}

/// Something under way, for whoever watches.
pub fn note(words: &str) {
    println!("  … {words}");
}
