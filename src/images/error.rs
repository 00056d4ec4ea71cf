//! Why a picture cannot be read: which file, what was found, what to do.
use super::{budget::BudgetError, format::Format};
use crate::{
    job::{InputError, RenderImage, View, no_file_in_words},
    printable::shortened,
    stop::Stopped,
};
use std::path::{Path, PathBuf};

/// What the messages list as readable.
const READABLE: &str = "PNG, JPEG, WebP, TIFF and BMP can be read";

/// Why a picture or a mask cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The run was asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// A render without a file.
    #[error(
        "the render of \"{}\" is drawn from the model's mesh, so there is no image to read; only a comparison draws it",
        shortened(view)
    )]
    Drawn {
        /// The view's name.
        view: String,
    },
    /// A view without a render.
    #[error(
        "the view \"{}\" has no render to compare; name its image as \"render\", or measure the reference alone with \"tickstrip measure\"",
        shortened(view)
    )]
    NoRender {
        /// The view's name.
        view: String,
    },
    /// There is no such file.
    #[error("{}: there is no such file; check the name and the folder it is relative to", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// There is no such file, and a view names it.
    #[error("{}", no_file_in_words(path, named))]
    MissingOfView {
        /// The file.
        path: PathBuf,
        /// What names it.
        named: String,
    },
    /// The path names a folder.
    #[error("{}: is a folder; name an image file in it", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// The path names a pipe, a device or the like.
    #[error("{}: is {found}; name an image file", path.display())]
    NotAFile {
        /// The path.
        path: PathBuf,
        /// What it is, such as "a pipe".
        found: &'static str,
    },
    /// The file is longer than an image of the allowed size can be.
    #[error(
        "{}: the file has {} MB, {} MB are allowed for an image of the largest size; export it again or raise the limit of megapixels",
        path.display(), megabytes(*length), megabytes(*most)
    )]
    FileTooLong {
        /// The file.
        path: PathBuf,
        /// Its length in bytes.
        length: u64,
        /// How many are allowed.
        most: u64,
    },
    /// The operating system does not hand the file out.
    #[error("{}: cannot be opened or read ({source}); check its permissions and its drive", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the operating system says.
        source: std::io::Error,
    },
    /// The file has no bytes.
    #[error("{}: is empty (0 bytes); copy or export it again", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The content is no picture that is read here.
    #[error("{}: holds {found}; {READABLE}; {advice}", path.display())]
    NotReadable {
        /// The file.
        path: PathBuf,
        /// What the content looks like.
        found: String,
        /// What to do about it.
        advice: &'static str,
    },
    /// The picture has no pixels.
    #[error("{}: is a {format} image of {width} x {height} pixels; it needs at least one; export it again", path.display())]
    NoPixels {
        /// The file.
        path: PathBuf,
        /// What the content is.
        format: Format,
        /// Width in the file.
        width: u32,
        /// Height in the file.
        height: u32,
    },
    /// The picture has more pixels than allowed.
    #[error(
        "{}: has {width} x {height} = {} million pixels, {} million are allowed; reduce the image or raise the limit",
        path.display(), megapixels(u64::from(*width) * u64::from(*height)), megapixels(*max_pixels)
    )]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Width in the file.
        width: u32,
        /// Height in the file.
        height: u32,
        /// How many pixels are allowed.
        max_pixels: u64,
    },
    /// There is not enough memory for the pixels.
    #[error("{}: its {width} x {height} pixels do not fit into the memory; reduce the image", path.display())]
    OutOfMemory {
        /// The file.
        path: PathBuf,
        /// Width in the file.
        width: u32,
        /// Height in the file.
        height: u32,
    },
    /// There is too little of the memory that all images share.
    #[error("{}: {error}", path.display())]
    Memory {
        /// The file.
        path: PathBuf,
        /// Why.
        error: BudgetError,
    },
    /// The file ends before its last pixel.
    #[error("{}: the {format} file ends before its last pixel; copy or export it again", path.display())]
    Truncated {
        /// The file.
        path: PathBuf,
        /// What the content is.
        format: Format,
    },
    /// The content contradicts its format.
    #[error("{}: the {format} file is damaged ({}); copy or export it again", path.display(), shortened(&source.to_string()))]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What the content is.
        format: Format,
        /// What the decoder says.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// A kind of picture that the format allows but that is not read here.
    #[error("{}: is a {format} file of a rare kind that cannot be read ({}); save it as 8-bit PNG", path.display(), shortened(found))]
    RareKind {
        /// The file.
        path: PathBuf,
        /// What the content is.
        format: Format,
        /// Which kind.
        found: String,
    },
    /// The file changed between two looks at it.
    #[error("{}: the file changed while it was being read; run it again when it is written", path.display())]
    Changed {
        /// The file.
        path: PathBuf,
    },
    /// Several shots of a scene, none of which goes with the first.
    #[error(
        "{}: none of the other shots can be laid over it ({}); take all shots of the same scene, from the same place, or name this one alone \
         as \"image\"",
        path.display(), listed(reasons)
    )]
    NoShotAligns {
        /// The first shot.
        path: PathBuf,
        /// Each of the others, and why.
        reasons: Vec<String>,
    },
    /// A further picture of a view does not have the render's size.
    #[error(
        "{}: has {} x {} pixels, the render {} x {}; write both from the same camera in the same size",
        path.display(), found.0, found.1, expected.0, expected.1
    )]
    ShapeSize {
        /// The further picture.
        path: PathBuf,
        /// Its upright width and height.
        found: (u32, u32),
        /// Upright width and height of the render.
        expected: (u32, u32),
    },
    /// A mask does not have the size of its picture.
    #[error(
        "{}: the mask has {} x {} pixels, its picture {} x {}; make both the same size",
        path.display(), found.0, found.1, expected.0, expected.1
    )]
    MaskSize {
        /// The mask.
        path: PathBuf,
        /// Upright width and height of the mask.
        found: (u32, u32),
        /// Upright width and height of the picture.
        expected: (u32, u32),
    },
}

/// The first few of them.
fn listed(reasons: &[String]) -> String {
    const MOST: usize = 4;
    let mut shown: Vec<&str> = reasons.iter().take(MOST).map(String::as_str).collect();
    shown.extend((reasons.len() > MOST).then_some("..."));
    shown.join("; ")
}

/// Millions of pixels to one decimal, rounded up so that a number above the limit never reads as the limit itself.
fn megapixels(pixels: u64) -> f64 {
    pixels.div_ceil(100_000) as f64 / 10.0
}

/// Millions of bytes, rounded up as [`megapixels`] is.
fn megabytes(bytes: u64) -> u64 {
    bytes.div_ceil(1_000_000)
}

impl Error {
    /// The error of a render that has no file: it is drawn, or not there.
    pub(super) fn without_file(view: &View) -> Self {
        let name = view.name.clone();
        match view.render.image {
            RenderImage::Absent => Self::NoRender { view: name },
            RenderImage::Drawn | RenderImage::File(_) => Self::Drawn { view: name },
        }
    }

    /// The error of a file that could not be opened.
    pub(super) fn of_input(path: &Path, error: InputError) -> Self {
        let path = path.to_owned();
        match error {
            InputError::Missing => Self::Missing { path },
            InputError::NotAFile { found: "a folder" } => Self::Folder { path },
            InputError::NotAFile { found } => Self::NotAFile { path, found },
            InputError::TooLong { length, most } => Self::FileTooLong { path, length, most },
            error => Self::Unreadable {
                path,
                source: error.into(),
            },
        }
    }

    /// The same as said of a view: a file that is not there with what names it.
    #[must_use]
    pub fn of_view(self, view: &View) -> Self {
        match self {
            Self::Missing { path } => match view.who_names(&path) {
                Some(named) => Self::MissingOfView { path, named },
                None => Self::Missing { path },
            },
            error => error,
        }
    }

    /// A short name of the fault that stays the same from version to version.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Stopped(_) => "stopped",
            Self::Drawn { .. } => "render-is-drawn",
            Self::NoRender { .. } => "no-render",
            Self::Missing { .. } | Self::MissingOfView { .. } => "image-missing",
            Self::Folder { .. } => "image-is-a-folder",
            Self::NotAFile { .. } => "image-no-file",
            Self::FileTooLong { .. } => "image-file-too-long",
            Self::Unreadable { .. } => "image-unreadable",
            Self::Empty { .. } => "image-empty",
            Self::NotReadable { .. } => "image-format",
            Self::NoPixels { .. } => "image-no-pixels",
            Self::TooLarge { .. } => "image-too-large",
            Self::OutOfMemory { .. } => "image-out-of-memory",
            Self::Memory { error, .. } => error.code(),
            Self::Truncated { .. } => "image-truncated",
            Self::Damaged { .. } => "image-damaged",
            Self::RareKind { .. } => "image-rare-kind",
            Self::Changed { .. } => "image-changed",
            Self::NoShotAligns { .. } => "no-shot-aligns",
            Self::ShapeSize { .. } => "shape-size",
            Self::MaskSize { .. } => "mask-size",
        }
    }
}
