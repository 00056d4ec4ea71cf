//! What goes to the terminal: results to standard output, everything else to standard error.
use super::Status;
use crate::{
    drawing, images, job, meshes, pipeline, plan,
    printable::{is_command, on_one_line},
    report::{TABLE_COLOURS, TableStyle},
    service,
    stop::Stopped,
    units,
};
use std::{
    fmt,
    io::{self, IsTerminal, Write},
    path::{Path, PathBuf},
};

/// Where the program prints.
#[derive(Debug)]
pub(super) struct Terminal;

/// Longest line of a message, characters: a judgement. Of a longer one the middle is left out: it begins with the place
/// and ends with what to do.
const LONGEST_LINE: usize = 4000;

impl Terminal {
    pub fn new() -> Self {
        Self
    }

    /// Prints a result. What would command the terminal or turn the direction of letters is marked instead.
    ///
    /// # Errors
    /// [`Failure::Output`] where it cannot be written; a reader that has gone away (`| head -1`) is no error.
    pub fn result(&self, text: &str) -> Result<(), Failure> {
        self.write(&shown(text))
    }

    /// Prints a table, in the colours of [`Terminal::table_style`].
    ///
    /// # Errors
    /// As [`Terminal::result`].
    pub fn table(&self, table: &str) -> Result<(), Failure> {
        self.write(&shown_in_colours(table))
    }

    /// Prints JSON; a reader of it gets every letter.
    ///
    /// # Errors
    /// As [`Terminal::result`].
    pub fn json(&self, json: &str) -> Result<(), Failure> {
        self.write(&shown_as_escapes(json))
    }

    fn write(&self, text: &str) -> Result<(), Failure> {
        let mut out = io::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                Err(Failure::Output { source: error })
            }
            _ => Ok(()),
        }
    }

    /// Prints what went wrong, on one line.
    pub fn fault(&self, text: &str) {
        self.write_fault(&without_middle(&on_one_line(text)));
    }

    /// Prints all that is wrong with a job, a line each, which begins with its file, so that editors find the place.
    pub fn faults(&self, error: &job::Error) {
        error.to_string().lines().for_each(|line| self.fault(line));
    }

    /// Prints a line of a log in JSON.
    pub fn log(&self, json: &str) {
        self.write_fault(&shown_as_escapes(json));
    }

    fn write_fault(&self, text: &str) {
        // Where standard error is closed there is nobody to tell.
        let _ = writeln!(io::stderr().lock(), "{text}");
    }

    /// Prints why a command failed.
    pub fn failure(&self, failure: &Failure) {
        match failure {
            Failure::Job(error) => self.faults(error),
            other => self.fault(&format!("error: {other}")),
        }
    }

    /// Prints why a job among several failed.
    pub fn failure_of(&self, job: &Path, failure: &Failure) {
        match failure {
            // Each of its lines names the file.
            Failure::Job(error) => self.faults(error),
            other => self.fault(&format!("error: {}: {other}", shown_path(job))),
        }
    }

    /// Prints the help or what is wrong with the command line.
    pub fn help(&self, help: &clap::Error) {
        let words = help.render().to_string();
        // The words may repeat an argument; those of the program itself have nothing to mark.
        if shown(&words) == words && words.lines().all(|line| without_middle(line) == line) {
            // A reader that has gone away is no reason to fail: `tickstrip --help | head -1`.
            let _ = help.print();
        } else {
            words.trim_end().lines().for_each(|line| self.fault(line));
        }
    }

    /// As wide as the terminal, 80 columns where the table goes elsewhere; colours only on a terminal that wants them.
    pub fn table_style(&self) -> TableStyle {
        let is_terminal = io::stdout().is_terminal();
        let width = terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
        TableStyle {
            width: width.filter(|_| is_terminal).unwrap_or(80),
            color: is_terminal && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty()),
        }
    }

    /// Whether somebody watches standard error.
    pub fn is_watched(&self) -> bool {
        io::stderr().is_terminal()
    }
}

/// A path as results name it: on one line.
pub(super) fn shown_path(path: &Path) -> String {
    on_one_line(&path.display().to_string())
}

/// The text with a mark in place of each character that is a command, but for line breaks.
fn shown(text: &str) -> String {
    text.replace(|c| c != '\n' && is_command(c), "\u{fffd}")
}

/// As [`shown`], with the colours that the table has itself.
fn shown_in_colours(table: &str) -> String {
    let mut text = String::with_capacity(table.len());
    let mut rest = table;
    while let Some(at) = rest.find('\u{1b}') {
        let (before, after) = rest.split_at(at);
        text.push_str(&shown(before));
        let own = TABLE_COLOURS.iter().find(|own| after.starts_with(**own));
        text.push_str(own.unwrap_or(&"\u{fffd}"));
        rest = &after[own.map_or(1, |own| own.len())..];
    }
    text + &shown(rest)
}

/// JSON with each character that is a command in the form of an escape, which means the same.
fn shown_as_escapes(json: &str) -> String {
    let mut text = String::with_capacity(json.len());
    for c in json.chars() {
        match c {
            '\n' => text.push(c),
            c if is_command(c) => {
                for unit in c.encode_utf16(&mut [0; 2]) {
                    text.push_str(&format!("\\u{unit:04x}"));
                }
            }
            c => text.push(c),
        }
    }
    text
}

/// A line with an ellipsis in place of its middle where it is too long.
fn without_middle(line: &str) -> String {
    let count = line.chars().count();
    if count <= LONGEST_LINE {
        return line.to_owned();
    }
    let half = LONGEST_LINE / 2;
    let start = line.chars().take(half);
    let end = line.chars().skip(count - half);
    start.chain(['…']).chain(end).collect()
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub(super) enum Failure {
    /// The job cannot be used.
    #[error(transparent)]
    Job(#[from] job::Error),
    /// The comparison as a whole failed.
    #[error("{0}")]
    Pipeline(#[from] pipeline::Error),
    /// A picture cannot be rectified.
    #[error("{0}")]
    Rectify(#[from] pipeline::RectifyError),
    /// A view that the job does not have.
    #[error("{}: no view \"{name}\"; the job has {known}", job.display())]
    NoSuchView {
        /// The job file.
        job: PathBuf,
        /// The name asked for.
        name: String,
        /// The views there are.
        known: String,
    },
    /// A view that says nothing about rectification.
    #[error("{}: the view \"{name}\" states no \"rectify\" for its reference", job.display())]
    NothingToRectify {
        /// The job file.
        job: PathBuf,
        /// The view's name.
        name: String,
    },
    /// Earlier results cannot be used.
    #[error("{0}")]
    Earlier(#[from] pipeline::EarlierError),
    /// Results cannot be shown over time.
    #[error("{0}")]
    Trend(#[from] pipeline::TrendError),
    /// Results cannot be kept by date.
    #[error("{0}")]
    Keep(#[from] pipeline::KeptError),
    /// A pattern that names no job.
    #[error("{}: {reason}; name job files, or a pattern such as 'jobs/*.json'", pattern.display())]
    Pattern {
        /// The pattern.
        pattern: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// Too many jobs.
    #[error("more than {most} jobs are named; compare fewer at a time")]
    TooManyJobs {
        /// How many are allowed.
        most: usize,
    },
    /// An option of one job, with several.
    #[error(
        "{option} is for one job, and several are named; leave it out, or compare them one by one"
    )]
    OfOneJob {
        /// The option.
        option: &'static str,
    },
    /// The index of a batch cannot be written.
    #[error("{}", .0.to_string().replace("--out", "--index"))]
    Index(#[source] pipeline::ResultsError),
    /// A folder that holds the results of a comparison.
    #[error("{0}")]
    Results(#[source] pipeline::ResultsError),
    /// Marks cannot be carried over.
    #[error("{0}")]
    Carry(#[from] pipeline::CarryError),
    /// There are no sheets.
    #[error("{0}")]
    Sheets(#[from] pipeline::SheetsError),
    /// A table of features cannot be read.
    #[error("{}: line {line}: {text}", path.display())]
    Features {
        /// The table.
        path: PathBuf,
        /// Which line of it, from 1.
        line: u64,
        /// What was found, and what is expected.
        text: String,
    },
    /// There is no archive, or none that can be trusted.
    #[error("{0}")]
    Archive(#[from] pipeline::ArchiveError),
    /// A job names its images by where it lies.
    #[error("{}: write it beside {}, whose other images it goes on naming", path.display(), job.display())]
    OtherFolder {
        /// The file to write.
        path: PathBuf,
        /// The old job.
        job: PathBuf,
    },
    /// A mesh cannot be used.
    #[error("{0}")]
    Mesh(#[from] meshes::Error),
    /// Nothing can be drawn with a camera.
    #[error("{}: {source}", path.display())]
    Projection {
        /// The file that states the camera.
        path: PathBuf,
        /// Why.
        source: meshes::ProjectionError,
    },
    /// Neither a camera nor a job.
    #[error(
        "nothing says where the model is seen from; name a camera with --camera FILE --size WxH, or a view that states one with \
         --job JOB --view NAME"
    )]
    NoPlaceToLookFrom,
    /// One file for two results.
    #[error("{}: --out, --svg and --pdf name one file twice; name another", path.display())]
    OneFileTwice {
        /// The file.
        path: PathBuf,
    },
    /// A file whose name does not say what would be written.
    #[error("{}: what is written there is {}; end its name in .{kind}", path.display(), kind.to_uppercase())]
    OtherKind {
        /// The file.
        path: PathBuf,
        /// The ending of what is written.
        kind: &'static str,
    },
    /// A view without a camera.
    #[error(
        "{}: the view \"{name}\" states no \"camera\" for its render; state its matrix there, or name a file with --camera",
        job.display()
    )]
    NoCamera {
        /// The job file.
        job: PathBuf,
        /// The view's name.
        name: String,
    },
    /// The camera looks past the model.
    #[error(
        "{}: nothing of the model is within {} x {} px; its middle lies {place}; check the unit, the camera's matrix and --size",
        mesh.display(), size[0], size[1]
    )]
    NothingInPicture {
        /// The mesh.
        mesh: PathBuf,
        /// Width and height of the picture.
        size: [u32; 2],
        /// Where the model's middle lies instead.
        place: String,
    },
    /// A page of a plan cannot be drawn.
    #[error("{0}")]
    Plan(#[from] plan::Error),
    /// A document of which one page has to be chosen.
    #[error("{}: has {count} pages; choose one with --page, such as --page 1", plan.display())]
    SeveralPages {
        /// The document.
        plan: PathBuf,
        /// How many pages it has.
        count: u64,
    },
    /// The program does not know where it lies itself.
    #[error("the program cannot find its own file, by which it reads PDFs: {source}")]
    OwnProgram {
        /// What the operating system says.
        source: io::Error,
    },
    /// The result would take the place of the plan.
    #[error("{}: this is the plan that is drawn, and it is not overwritten; name another with --out", path.display())]
    OwnPlan {
        /// The plan.
        path: PathBuf,
    },
    /// A picture cannot be written in its format.
    #[error("{0}")]
    Drawing(#[from] drawing::Error),
    /// The run was asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// A length cannot be used.
    #[error("{0}")]
    Length(#[from] units::LengthError),
    /// An image cannot be used.
    #[error("{0}")]
    Image(#[from] images::Error),
    /// The marking page cannot be served.
    #[error("{0}")]
    Mark(#[from] service::mark::MarkError),
    /// The service cannot be run.
    #[error("{0}")]
    Serve(#[from] service::queue::ServeError),
    /// The signals that end a command cannot be listened to.
    #[error("the program cannot listen for Ctrl-C: {source}")]
    Signals {
        /// What the operating system says.
        source: io::Error,
    },
    /// There is no job file yet.
    #[error("{}: there is no such file; make one with: tickstrip new RENDER REFERENCE --out {}", path.display(), path.display())]
    NoJob {
        /// The path.
        path: PathBuf,
    },
    /// Standard output cannot be written.
    #[error("standard output cannot be written: {source}")]
    Output {
        /// What the operating system says.
        source: io::Error,
    },
    /// A file cannot be read or written.
    #[error("{}: cannot be {action}: {}", path.display(), action.refused(source))]
    File {
        /// The file.
        path: PathBuf,
        /// Read or written.
        action: Action,
        /// What the operating system says.
        source: io::Error,
    },
    /// A file is there already.
    #[error("{} is there already and is not overwritten; move it away or {advice}", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
        /// What else to do.
        advice: &'static str,
    },
    /// The result would take the place of the picture that it is made from.
    #[error("{}: this is the picture that is rectified, and it is not overwritten; name another with --out", path.display())]
    OwnPicture {
        /// The picture.
        path: PathBuf,
    },
    /// The result would take the place of a file that it is made from.
    #[error("{}: this is a file that is drawn from, and it is not overwritten; name another with --out, --svg or --pdf", path.display())]
    OwnSource {
        /// The file.
        path: PathBuf,
    },
    /// A path that JSON cannot hold.
    #[error("{}: the path is not UTF-8, so no job file can name it; rename the file", path.display())]
    PathNotUtf8 {
        /// The path.
        path: PathBuf,
    },
    /// SOURCE_DATE_EPOCH is no time.
    #[error(
        "SOURCE_DATE_EPOCH is {found:?}; it must be a whole number of seconds since 1970, or unset; or state --date YYYY-MM-DD"
    )]
    Epoch {
        /// Its value.
        found: String,
    },
    /// The threads could not be started.
    #[error("{count} threads cannot be started: {source}; ask for fewer with --jobs")]
    Threads {
        /// How many.
        count: usize,
        /// Why.
        source: rayon::ThreadPoolBuildError,
    },
}

/// What was to be done with a file.
#[derive(Clone, Copy, Debug)]
pub(super) enum Action {
    /// Reading.
    Read,
    /// Writing.
    Written,
}

impl fmt::Display for Action {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Read => "read",
            Self::Written => "written",
        })
    }
}

impl Action {
    fn refused(self, source: &io::Error) -> String {
        match self {
            Self::Read => source.to_string(),
            Self::Written => pipeline::refused_in_words(source, "another place for it"),
        }
    }
}

impl Failure {
    /// How the program exits.
    pub fn status(&self) -> Status {
        match self {
            failure if failure.is_stop() => Status::Stopped,
            Self::Sheets(pipeline::SheetsError::NoSheet { .. }) => Status::ViewsFailed,
            _ => Status::Unusable,
        }
    }

    /// Whether it was asked to stop, so that nothing is wrong.
    pub fn is_stop(&self) -> bool {
        use pipeline::Error::{Paused, Stopped};
        matches!(
            self,
            Self::Pipeline(Stopped | Paused { .. })
                | Self::Sheets(pipeline::SheetsError::Run(Stopped | Paused { .. }))
                | Self::Stopped(_)
        )
    }

    /// A file that cannot be read or written.
    pub fn file(path: &Path, action: Action, source: io::Error) -> Self {
        Self::File {
            path: path.to_owned(),
            action,
            source,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What steers a terminal, and what turns letters around, in a name of a file or a landmark.
    const NASTY: &str = "a\u{1b}]0;own\u{7}\u{9b}2J\u{202e}gnp\r\u{8}b";

    #[test]
    fn nothing_of_a_name_commands_the_terminal() {
        for text in [
            shown(NASTY),
            shown_in_colours(NASTY),
            shown_as_escapes(NASTY),
        ] {
            assert!(!text.contains(is_command), "{text:?}");
        }
        assert_eq!(shown("two\nlines, 3' 10½\""), "two\nlines, 3' 10½\"");
        assert_eq!(shown("\u{1b}[31mred"), "\u{fffd}[31mred");
    }

    #[test]
    fn a_table_keeps_its_own_colours_and_no_others() {
        let [out, .., end] = TABLE_COLOURS;
        let table = format!("side: {out}OUT  x{end}\n");
        assert_eq!(shown_in_colours(&table), table);
        let other = shown_in_colours(&format!("{table}\u{1b}[2J\u{1b}[0"));
        assert_eq!(other, format!("{table}\u{fffd}[2J\u{fffd}[0"));
    }

    #[test]
    fn json_means_the_same_when_shown() {
        let names = format!("{NASTY}\u{e0041}\u{7f}é");
        let json = serde_json::to_string(&names).expect("a text");
        let shown = shown_as_escapes(&json);
        assert!(!shown.contains(is_command));
        assert_eq!(serde_json::from_str::<String>(&shown).expect("JSON"), names);
    }

    #[test]
    fn of_an_endless_line_both_ends_are_told() {
        let line = format!("pump.json: {}; rename it", "x".repeat(10 << 20));
        let cut = without_middle(&line);
        assert!(cut.starts_with("pump.json: xxx") && cut.ends_with("x; rename it"));
        assert_eq!(cut.chars().count(), LONGEST_LINE + 1);
        assert!(cut.contains('…'));
        assert_eq!(without_middle("short"), "short");
    }
}
