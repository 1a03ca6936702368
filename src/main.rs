//! The program: the command line in, one call, the exit code out.

use std::process::ExitCode;

#[expect(clippy::disallowed_methods, reason = "the one place where the environment enters")]
fn main() -> ExitCode {
    let environment = std::env::vars().collect();
    rimeward::cli::run(std::env::args_os(), &environment)
}
