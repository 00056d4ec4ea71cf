//! A plan's file, opened and asked through a process that reads it.
use super::{
    child::{Ended, Run, heard},
    error::{Error, Limit},
    request::{Answer, LONGEST_ANSWER, Note, Refusal, TASK, Task, Wanted},
    settings::PLAN,
};
use crate::{
    drawing::encode_png_at,
    images::{self, Found},
    job::open_input,
};
use image::RgbImage;
use std::{
    fs::File,
    io::{Read, Seek, SeekFrom},
    path::{Path, PathBuf},
    time::Duration,
};

/// Millimetres of a point, the unit of a page.
///
/// # Source
/// ISO 32000-1, 8.3.2.3: 1/72 in.
const MM_PER_POINT: f64 = 25.4 / 72.0;

/// What reading a plan may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Seconds for each of the two processes that read it.
    pub seconds: u64,
    /// Bytes of memory, besides the file and the picture.
    pub memory: u64,
}

impl Default for Bounds {
    fn default() -> Self {
        Self {
            seconds: PLAN.most_seconds.get() as u64,
            memory: (PLAN.most_memory.get() as u64) << 20,
        }
    }
}

/// A page of a document.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Page {
    /// Its number, from 1.
    pub number: u64,
    /// Width and height as it is seen, millimetres; `None` where it has no area.
    pub size_mm: Option<[f64; 2]>,
}

/// Pages of a document.
#[derive(Clone, Debug, PartialEq)]
pub struct Pages {
    /// How many it has.
    pub count: u64,
    /// Those that were asked for.
    pub listed: Vec<Page>,
}

/// A page that was drawn.
#[derive(Clone, Debug)]
pub struct DrawnPage {
    /// The picture, which says its resolution.
    pub png: Vec<u8>,
    /// Width and height, pixels.
    pub size: [u32; 2],
    /// What a reader has to know of it.
    pub notes: Vec<Note>,
}

/// A PDF that was opened. Nothing of it is parsed in this process.
#[derive(Debug)]
pub struct PdfFile {
    path: PathBuf,
    program: PathBuf,
    file: File,
    length: u64,
    bounds: Bounds,
}

impl PdfFile {
    /// Opens a PDF. `program` is this program, `tickstrip`, which is started again to read it.
    ///
    /// # Errors
    /// [`Error::Input`], [`Error::Empty`] and [`Error::NotAPdf`].
    pub fn open(path: &Path, program: &Path, bounds: Bounds) -> Result<Self, Error> {
        let most = PLAN.longest_file.get() as u64 * 1_000_000;
        let input = open_input(path, most).map_err(|source| Error::Input {
            path: path.to_owned(),
            source,
        })?;
        let length = input.length();
        let mut head = Vec::new();
        let mut file = input.into_file();
        let taken = (&mut file).take(images::HEAD_BYTES.min(length));
        { taken }
            .read_to_end(&mut head)
            .map_err(|source| Error::of_io(path, source))?;
        let path = path.to_owned();
        match images::what_is(&head) {
            _ if head.is_empty() => Err(Error::Empty { path }),
            Found::Pdf => Ok(Self {
                path,
                program: program.to_owned(),
                file,
                length,
                bounds,
            }),
            Found::Other(found, advice) => Err(Error::NotAPdf {
                path,
                found,
                advice,
            }),
        }
    }

    /// How many pages there are and how large they are: one, by its number from 1, or those that a list has room for.
    ///
    /// # Errors
    /// [`Error::NoSuchPage`] and those of a document that cannot be read.
    pub fn pages(&self, one: Option<u64>) -> Result<Pages, Error> {
        let (first, most) = match one {
            Some(number) => (number.saturating_sub(1), 1),
            None => (0, PLAN.most_listed.count() as u64),
        };
        let (answer, _) = self.ask(Wanted::Sizes { first, most }, 0)?;
        let Answer::Sizes { count, sizes } = answer else {
            return Err(self.unheard("its answer is another one"));
        };
        if sizes.is_empty() {
            return Err(Error::NoSuchPage {
                path: self.path.clone(),
                page: first + 1,
                count,
            });
        }
        let page = |(number, size): (u64, [f64; 2])| Page {
            number,
            size_mm: (size != [0.0; 2]).then(|| size.map(|points| points * MM_PER_POINT)),
        };
        let listed = (first + 1..).zip(sizes).map(page).collect();
        Ok(Pages { count, listed })
    }

    /// Draws a page.
    ///
    /// # Errors
    /// [`Error::NoArea`], [`Error::TooLarge`] and [`Error::TooSmall`]; those of a document that cannot be read.
    pub fn draw(&self, page: &Page, dpi: u32) -> Result<DrawnPage, Error> {
        let size = self.size_in_pixels(page, dpi)?;
        let wanted = Wanted::Picture {
            page: page.number - 1,
            dpi: dpi.into(),
            size,
        };
        let size = size.map(u32::from);
        let bytes = size[0] as usize * size[1] as usize * 3;
        let (answer, pixels) = self.ask(wanted, bytes)?;
        let picture = RgbImage::from_raw(size[0], size[1], pixels);
        match (answer, picture) {
            (Answer::Picture(notes), Some(picture)) => Ok(DrawnPage {
                png: encode_png_at(&picture, dpi.into())?,
                size,
                notes: notes.into_iter().collect(),
            }),
            _ => Err(self.unheard("its picture has another size")),
        }
    }

    fn size_in_pixels(&self, page: &Page, dpi: u32) -> Result<[u16; 2], Error> {
        let (path, number) = (self.path.clone(), page.number);
        let Some(size_mm) = page.size_mm else {
            return Err(Error::NoArea { path, page: number });
        };
        let at = |dpi: u32| size_mm.map(|mm| (mm / 25.4 * f64::from(dpi)).round());
        let (most, longest) = (PLAN.most_pixels.get(), PLAN.longest_side.get());
        let is_drawn = |[w, h]: [f64; 2]| w * h <= most * 1e6 && w <= longest && h <= longest;
        let size = at(dpi);
        if size.contains(&0.0) {
            return Err(Error::TooSmall {
                path,
                page: number,
                size_mm,
                dpi,
            });
        }
        if is_drawn(size) {
            return Ok(size.map(|pixels| pixels as u16));
        }
        let least = PLAN.least_dpi.get() as u32;
        Err(Error::TooLarge {
            path,
            page: number,
            size_mm,
            size_px: size,
            dpi,
            most: (most, longest),
            fits: (least..dpi).rev().find(|dpi| is_drawn(at(*dpi))),
        })
    }

    /// Asks the process that reads the plan; returns its answer and what stands behind it.
    fn ask(&self, wanted: Wanted, picture: usize) -> Result<(Answer, Vec<u8>), Error> {
        let again = |file: &File| -> std::io::Result<File> {
            let mut file = file.try_clone()?;
            file.seek(SeekFrom::Start(0))?;
            Ok(file)
        };
        let input = again(&self.file).map_err(|source| Error::of_io(&self.path, source))?;
        let Bounds { seconds, memory } = self.bounds;
        let task = Task {
            length: self.length,
            // The picture once with its opacity, and as much again while it is put together.
            memory: memory.saturating_add(self.length + 8 * picture as u64 / 3),
            seconds,
            wanted,
        };
        let said = heard(Run {
            program: &self.program,
            words: [vec![TASK.to_owned()], task.to_words()].concat(),
            input,
            time: Duration::from_secs(seconds),
            most: LONGEST_ANSWER + picture,
        });
        let mut said = said.map_err(|ended| self.of_ended(ended))?;
        let (answer, rest) = Answer::of_bytes(&said)
            .ok_or_else(|| self.unheard("it answers as another program would"))?;
        let refusal = match answer {
            Answer::Refused(refusal) => refusal,
            answer => {
                let begin = said.len() - rest.len();
                said.drain(..begin);
                return Ok((answer, said));
            }
        };
        let path = self.path.clone();
        Err(match refusal {
            Refusal::Broken => Error::Broken { path },
            Refusal::Password => Error::Password { path },
            Refusal::Encryption => Error::Encryption { path },
            Refusal::Memory => self.of_ended(Ended::OutOfMemory),
            Refusal::Failed => self.of_ended(Ended::Failed),
            Refusal::Unbounded => self.unheard("its memory and its time cannot be limited"),
        })
    }

    fn of_ended(&self, ended: Ended) -> Error {
        let path = self.path.clone();
        let limit = match ended {
            Ended::OutOfTime => Limit::Seconds(self.bounds.seconds),
            Ended::OutOfMemory => Limit::Memory(self.bounds.memory),
            Ended::Failed => return Error::Failed { path },
            Ended::NotStarted(source) => return self.unheard(&source.to_string()),
        };
        Error::Limit { path, limit }
    }

    fn unheard(&self, reason: &str) -> Error {
        Error::Process {
            path: self.path.clone(),
            program: self.program.clone(),
            reason: reason.to_owned(),
        }
    }
}
