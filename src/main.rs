//! The one binary. Everything it can do is in `breakerbook::cli`.
use std::process::ExitCode;

fn main() -> ExitCode {
    breakerbook::cli::main()
}
