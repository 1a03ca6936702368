//! The program: the command line in, one call, the exit code out.

use std::process::ExitCode;

fn main() -> ExitCode {
    // What is no text is none of ours.
    let text = |word: std::ffi::OsString| word.into_string().ok();
    let pairs = std::env::vars_os().filter_map(|(name, value)| Some((text(name)?, text(value)?)));
    rimeward::cli::run(std::env::args_os(), &pairs.collect())
}
