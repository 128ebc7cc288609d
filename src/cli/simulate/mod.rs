//! `simulate`: a fleet of our own invention with everything that is true of it, as files that `import` reads.
//! What is in here writes to no book.
mod dice;
pub mod filing;
pub mod fleet;
pub mod lists;
mod options;
mod truth;
mod written;

use std::{
    fmt::Write as _,
    path::{Path, PathBuf},
    process::ExitCode,
};

pub use filing::{Filed, reports};
pub use fleet::Fleet;
pub use lists::lists;
pub use options::{Options, USUAL};
pub use truth::truth;

use super::{Failed, Outcome, say};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    options: Options,
    /// The folder to write to; it is made, and what it holds of these names is written anew.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

pub fn run(args: &Args) -> Outcome {
    args.options.check().map_err(Failed::from)?;
    std::fs::create_dir_all(&args.out)
        .map_err(|why| Failed::from(format!("{} cannot be made: {why}", args.out.display())))?;
    for (name, text) in files(&args.options) {
        write(&args.out.join(name), &text)?;
    }
    say(&format!("written to {}", args.out.display()));
    say("Import them in this order: people, schedules, units, authorisations, reports.");
    Ok(ExitCode::SUCCESS)
}

fn write(path: &Path, text: &str) -> Result<(), Failed> {
    std::fs::write(path, text)
        .map_err(|why| Failed::from(format!("{} cannot be written: {why}", path.display())))
}

/// The names of the files and what is in them.
pub fn files(options: &Options) -> [(&'static str, String); 6] {
    let fleet = Fleet::of(options);
    let filed = reports(&fleet);
    let lists = lists(&fleet);
    let truth = truth(&fleet, &filed);
    [
        ("people.csv", lists.people),
        ("schedules.csv", lists.schedules),
        ("units.csv", lists.units),
        ("authorisations.csv", lists.authorisations),
        ("reports.jsonl", lines(&filed)),
        ("truth.json", format!("{truth:#}\n")),
    ]
}

/// One report a line, in the order in which they come in; what is lost is not there.
pub fn lines(filed: &[Filed]) -> String {
    let mut lines = String::new();
    for one in filed.iter().filter(|one| one.arrives.at().is_some()) {
        let _ = writeln!(lines, "{}", serde_json::json!(one.report));
    }
    lines
}

#[cfg(test)]
mod tests;
