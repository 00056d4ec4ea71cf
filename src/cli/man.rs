//! `tickstrip man`: the manual pages.
use super::{
    Status,
    messages::{Failure, Terminal, shown_path},
    new::write_file,
};
use std::path::PathBuf;

/// Write the manual pages, one a command, into a folder
///
/// Pages that are there already are replaced where they have the same names; the folder has to exist.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:
  mkdir -p ~/.local/share/man/man1
  tickstrip man ~/.local/share/man/man1
  man tickstrip-compare")]
pub(super) struct Arguments {
    /// The folder, such as ~/.local/share/man/man1
    folder: PathBuf,
}

pub(super) fn run(
    arguments: &Arguments,
    command: clap::Command,
    terminal: &Terminal,
) -> Result<Status, Failure> {
    let pages = pages(command).map_err(|source| Failure::Output { source })?;
    for (name, page) in &pages {
        write_file(&arguments.folder.join(name), page, (true, ""))?;
    }
    let folder = shown_path(&arguments.folder);
    terminal.result(&format!("{} pages in {folder}\n", pages.len()))?;
    Ok(Status::NothingOut)
}

/// The page of the program, then one for each of its commands, by file name.
fn pages(command: clap::Command) -> std::io::Result<Vec<(String, Vec<u8>)>> {
    let mut command = command.disable_help_subcommand(true);
    // Each command gets the name that it has with the program's before it.
    command.build();
    std::iter::once(&command)
        .chain(command.get_subcommands())
        .map(|command| {
            let mut page = Vec::new();
            let man = clap_mangen::Man::new(command.clone());
            man.render(&mut page)?;
            Ok((man.get_filename(), page))
        })
        .collect()
}
