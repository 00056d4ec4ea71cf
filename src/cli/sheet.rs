//! `tickstrip sheet`: sheets for the workbench and the folder.
use super::{
    Status,
    compare::{PaperSize, date, default_date, megapixels},
    memory::Memory,
    messages::{Failure, Terminal, shown_path},
    new::write_file,
    progress::Progress,
};
use crate::{
    drawing::{DrawingScale, Paper, TiledPicture},
    job,
    pipeline::{self, SheetRequest, SheetSort},
    service,
};
use clap::ValueEnum;
use std::path::{Path, PathBuf};

/// Draw sheets of a job as PDF: all views, one view, side by side, a part in detail, before and after, to scale over pages
///
/// The views are compared anew, so that the sheets show the images as they are now; results are neither read nor written, but for
/// those that --before names. Print at 100 %, without fitting to the page.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:
  tickstrip demo
  tickstrip sheet fire-pump-demo/pump.json --view side --paper a3
  tickstrip sheet fire-pump-demo/pump.json --plain --out side-by-side.pdf
  tickstrip sheet fire-pump-demo/pump.json --strip --out marks.pdf
  tickstrip sheet fire-pump-demo/pump.json --part lantern --portrait --out lantern.pdf
  tickstrip sheet fire-pump-demo/pump-carried.json --before fire-pump-demo/pump-results --out revision.pdf
  tickstrip sheet fire-pump-demo/pump.json --view side --tiled reference --scale 2:1 --out template.pdf

Exit status:
  0  the sheets were drawn, whatever they show
  2  the job or the command line cannot be used
  3  some views could not be compared or drawn (the others were), or none, and then nothing is written
  130  it was stopped by Ctrl-C or a termination signal")]
pub(super) struct Arguments {
    /// The job file
    job: PathBuf,
    /// The document to write [default: JOB without its extension, and -sheet.pdf]
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Draw this view only; may be repeated
    #[arg(long = "view", value_name = "NAME")]
    views: Vec<String>,
    /// Draw this part (a region) alone, in every view that has it
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Render and reference beside each other, without figures, as large as they fit
    #[arg(long, conflicts_with_all = ["before", "tiled"])]
    plain: bool,
    /// What both images show at each landmark, beside each other, with how far both marks lie apart
    #[arg(long, conflicts_with_all = ["plain", "before", "tiled"])]
    strip: bool,
    /// The render of these earlier results beside that of now, and what became better or worse
    #[arg(long, value_name = "RESULTS", conflicts_with = "tiled")]
    before: Option<PathBuf>,
    /// Print this picture at true model scale, over as many pages as it takes, with register marks
    #[arg(long, value_enum, value_name = "PICTURE")]
    tiled: Option<Tiled>,
    /// Print it at this scale of the model instead: one of ISO 5455, such as 2:1 or 1:2
    #[arg(long, value_name = "SCALE", requires = "tiled", value_parser = scale)]
    scale: Option<DrawingScale>,
    /// Paper
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    paper: PaperSize,
    /// Short side up
    #[arg(long)]
    portrait: bool,
    /// Date of issue [default: the day of SOURCE_DATE_EPOCH if set, else today in UTC]
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = date)]
    date: Option<String>,
    /// Refuse images larger than this, megapixels
    #[arg(long, value_name = "N", default_value = super::compare::MOST_MEGAPIXELS, value_parser = megapixels)]
    max_megapixels: f64,
    #[command(flatten)]
    memory: Memory,
    /// Overwrite the document if it is there
    #[arg(long)]
    force: bool,
    /// Show no progress
    #[arg(long)]
    quiet: bool,
}

/// A picture that is printed to scale, as the command line names it.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum Tiled {
    /// The model
    Render,
    /// The full-size object, laid over the render
    Reference,
    /// The edges of both
    Edges,
}

impl From<Tiled> for TiledPicture {
    fn from(picture: Tiled) -> Self {
        match picture {
            Tiled::Render => Self::Render,
            Tiled::Reference => Self::Reference,
            Tiled::Edges => Self::Edges,
        }
    }
}

const ADVICE: &str = "name another with --out, or say --force";

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Status, Failure> {
    let out = arguments.out_file();
    if !out
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("pdf"))
    {
        return Err(Failure::OtherKind {
            path: out,
            kind: "pdf",
        });
    }
    // Before the work: nobody waits for a document that cannot be written.
    if out.exists() && !arguments.force {
        return Err(Failure::Exists {
            path: out,
            advice: ADVICE,
        });
    }
    let job = job::read(&arguments.job)?;
    let request = arguments.request()?;
    let count = match request.views.len() {
        0 => job.views.len(),
        some => some,
    };
    let progress = if arguments.quiet || !terminal.is_watched() {
        Progress::hidden(count)
    } else {
        Progress::shown(count)
    };
    let stop = service::stop_on_signal().map_err(|source| Failure::Signals { source })?;
    let sheets = pipeline::draw_sheets(&job, &request, &|event| progress.take(event), &stop);
    progress.clear();
    let sheets = sheets?;
    for (view, why) in &sheets.failed {
        terminal.fault(&format!("{view}: {why}"));
    }
    write_file(&out, &sheets.pdf, (arguments.force, ADVICE))?;
    let pages = match sheets.count {
        1 => "1 sheet".to_owned(),
        count => format!("{count} sheets"),
    };
    let paper = arguments.paper().name();
    terminal.result(&format!("wrote {} ({pages}, {paper})\n", shown_path(&out)))?;
    Ok(match sheets.failed.is_empty() {
        true => Status::NothingOut,
        false => Status::ViewsFailed,
    })
}

impl Arguments {
    fn out_file(&self) -> PathBuf {
        self.out.clone().unwrap_or_else(|| sheet_of(&self.job))
    }

    fn paper(&self) -> Paper {
        self.paper.on(self.portrait)
    }

    fn request(&self) -> Result<SheetRequest, Failure> {
        let scale = self.scale.unwrap_or(DrawingScale::FULL_SIZE);
        let sort = match (&self.before, self.tiled) {
            (Some(before), _) => SheetSort::Revision(Box::new(pipeline::results_at(before)?)),
            (None, Some(picture)) => SheetSort::Tiled(picture.into(), scale),
            (None, None) if self.plain => SheetSort::Plain,
            (None, None) if self.strip => SheetSort::Strip,
            (None, None) => SheetSort::Whole,
        };
        Ok(SheetRequest {
            views: self.views.clone(),
            part: self.part.clone(),
            sort,
            paper: self.paper(),
            date: match &self.date {
                Some(date) => date.clone(),
                None => default_date(std::env::var_os("SOURCE_DATE_EPOCH"))?,
            },
            max_megapixels: self.max_megapixels,
            memory: self.memory.budget(),
        })
    }
}

/// The document of a job where none is named.
fn sheet_of(job: &Path) -> PathBuf {
    let mut name = job.with_extension("").into_os_string();
    name.push("-sheet.pdf");
    name.into()
}

fn scale(text: &str) -> Result<DrawingScale, String> {
    DrawingScale::named(text).ok_or_else(|| {
        let all: Vec<String> = DrawingScale::ALL.iter().map(ToString::to_string).collect();
        format!("it must be a scale of ISO 5455: {}", all.join(", "))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_scales_of_the_standard_are_taken() {
        assert_eq!(scale("1:1"), Ok(DrawingScale::FULL_SIZE));
        let told = scale("1:3").expect_err("none of the standard");
        assert!(told.contains("1:2, 1:5"), "{told}");
    }

    #[test]
    fn the_document_lies_beside_the_job() {
        assert_eq!(
            sheet_of(Path::new("a/pump.json")),
            Path::new("a/pump-sheet.pdf")
        );
    }
}
