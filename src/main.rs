//! The `tickstrip` command; all it does is in [`tickstrip::cli`].
use std::process::ExitCode;

fn main() -> ExitCode {
    tickstrip::cli::run(std::env::args_os()).into()
}
