//! The one binary. Everything it can do is in `breakerbook::cli`.
use std::process::ExitCode;

/// Judging and reading histories is mostly small allocations: the system's allocator takes a quarter of an import.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    breakerbook::cli::main()
}
