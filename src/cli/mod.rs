//! The terminal shell: one file a command.
mod archive;
mod backdrop;
mod batch;
mod camera;
mod carry;
mod check;
mod compare;
mod completions;
mod demo;
mod draw;
mod man;
mod mark;
mod measure;
mod memory;
mod merge;
mod messages;
mod new;
mod new_files;
mod page;
mod progress;
mod rectify;
mod scale;
mod schema;
mod serve;
mod sheet;
mod status;
mod trend;
mod watch;

pub use status::Status;

use crate::{images, plan};
use clap::{CommandFactory, Parser, Subcommand};
use messages::{Failure, Terminal};
use std::{ffi::OsString, panic};

/// Measures a scale model's render against a picture of the full-size object.
#[derive(Debug, Parser)]
#[command(name = "tickstrip", version, after_help = EXIT_STATUSES)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

const EXIT_STATUSES: &str = "\
Begin with:
  tickstrip demo

Exit status:
  0  no measure is out of tolerance
  1  something is out of tolerance (with --strict also where it cannot be told)
  2  the job or the command line cannot be used
  3  some views could not be compared (the others were), or none
  4  something is worse than in the results that --against names, whether in tolerance or not
  130  it was stopped by Ctrl-C or a termination signal
Of several jobs 130, 2, 3, 4, 1 or 0: the first of these that any of them has.";

#[derive(Debug, Subcommand)]
enum Command {
    Compare(compare::Arguments),
    Merge(merge::Arguments),
    Check(check::Arguments),
    New(new::Arguments),
    Mark(mark::Arguments),
    Watch(watch::Arguments),
    Serve(serve::Arguments),
    Schema(schema::Arguments),
    Scale(scale::Arguments),
    Demo(demo::Arguments),
    Rectify(rectify::Arguments),
    Page(page::Arguments),
    Camera(camera::Arguments),
    Measure(measure::Arguments),
    Backdrop(backdrop::Arguments),
    Carry(carry::Arguments),
    Completions(completions::Arguments),
    Draw(draw::Arguments),
    Trend(trend::Arguments),
    Archive(archive::Arguments),
    Sheet(sheet::Arguments),
    Man(man::Arguments),
}

/// Runs the command that the arguments ask for (the first one is the program's name), prints what it has to say, and
/// returns the status to exit with.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Status {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    if let Some(task) = plan::task(&arguments) {
        return match plan::serve(&task) {
            true => Status::NothingOut,
            false => Status::Unusable,
        };
    }
    leave_out_panics_of_decoders();
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(asked) => {
            Terminal::new().help(&asked);
            return if asked.use_stderr() {
                Status::Unusable
            } else {
                Status::NothingOut
            };
        }
    };
    let terminal = Terminal::new();
    let result = match &arguments.command {
        Command::Compare(arguments) => compare::run(arguments, &terminal),
        Command::Merge(arguments) => merge::run(arguments, &terminal),
        Command::Check(arguments) => check::run(arguments, &terminal),
        Command::New(arguments) => new::run(arguments, &terminal),
        Command::Mark(arguments) => mark::run(arguments, &terminal),
        Command::Watch(arguments) => watch::run(arguments, &terminal),
        Command::Serve(arguments) => serve::run(arguments, &terminal),
        Command::Schema(arguments) => schema::run(arguments, &terminal),
        Command::Scale(arguments) => scale::run(arguments, &terminal),
        Command::Demo(arguments) => demo::run(arguments, &terminal),
        Command::Rectify(arguments) => rectify::run(arguments, &terminal),
        Command::Page(arguments) => page::run(arguments, &terminal),
        Command::Camera(arguments) => camera::run(arguments, &terminal),
        Command::Measure(arguments) => measure::run(arguments, &terminal),
        Command::Backdrop(arguments) => backdrop::run(arguments, &terminal),
        Command::Carry(arguments) => carry::run(arguments, &terminal),
        Command::Completions(arguments) => {
            completions::run(arguments, Arguments::command(), &terminal)
        }
        Command::Man(arguments) => man::run(arguments, Arguments::command(), &terminal),
        Command::Draw(arguments) => draw::run(arguments, &terminal),
        Command::Trend(arguments) => trend::run(arguments, &terminal),
        Command::Archive(arguments) => archive::run(arguments, &terminal),
        Command::Sheet(arguments) => sheet::run(arguments, &terminal),
    };
    result.unwrap_or_else(|failure: Failure| {
        terminal.failure(&failure);
        failure.status()
    })
}

/// A panic inside a decoder becomes the error of a damaged file: the error is printed, not the panic.
fn leave_out_panics_of_decoders() {
    let printing = panic::take_hook();
    panic::set_hook(Box::new(move |info| {
        if !images::is_decoding() {
            printing(info);
        }
    }));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn every_command_has_an_example() {
        for command in Arguments::command().get_subcommands_mut() {
            let help = command.render_long_help().to_string();
            let example = format!("  tickstrip {}", command.get_name());
            assert!(
                help.contains("Example") && help.contains(&example),
                "{help}"
            );
        }
    }
}
