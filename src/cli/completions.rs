//! `tickstrip completions`: what a shell needs to complete the commands.
use super::{
    Status,
    messages::{Failure, Terminal},
};
use clap_complete::Shell;

/// Print what a shell needs to complete the commands and their options
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  tickstrip completions bash > ~/.local/share/bash-completion/completions/tickstrip")]
pub(super) struct Arguments {
    /// The shell
    shell: Shell,
}

pub(super) fn run(
    arguments: &Arguments,
    mut command: clap::Command,
    terminal: &Terminal,
) -> Result<Status, Failure> {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, "tickstrip", &mut text);
    terminal.result(&String::from_utf8_lossy(&text))?;
    Ok(Status::NothingOut)
}
