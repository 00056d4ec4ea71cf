//! Which content of an image its marks belong to: marks say nothing of a picture that they were not set on, and fit it as well as
//! the right one.
use super::{Fault, FaultKind, Side, View, raw::RawMarkedOn};
use crate::printable::on_one_line;
use std::path::Path;

/// The content of an image.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MarkedOn {
    /// Upright width and height, pixels.
    pub size: [u32; 2],
    /// BLAKE3 checksum of the file's bytes: 64 lower-case hexadecimal digits.
    pub blake3: String,
}

impl MarkedOn {
    pub(super) fn resolved(raw: &RawMarkedOn) -> Result<Self, FaultKind> {
        let is_checksum =
            raw.blake3.len() == 64 && raw.blake3.bytes().all(|b| b.is_ascii_hexdigit());
        if !is_checksum {
            return Err(FaultKind::BadChecksum {
                found: raw.blake3.clone(),
            });
        }
        Ok(Self {
            size: raw.size,
            blake3: raw.blake3.to_ascii_lowercase(),
        })
    }
}

impl View {
    /// The file of one of its images; a render that is drawn, or is not there, has none.
    pub fn image(&self, side: Side) -> Option<&Path> {
        match side {
            Side::Render => self.render.image.file(),
            Side::Reference => Some(&self.reference.image),
        }
    }

    /// The content of one of its images that was marked, where the job states it.
    pub fn marked_on(&self, side: Side) -> Option<&MarkedOn> {
        match side {
            Side::Render => self.render.marked_on.as_ref(),
            Side::Reference => self.reference.marked_on.as_ref(),
        }
    }

    /// What is told of an image that has the size of the one that was marked and other bytes: a sentence without its full stop.
    pub fn changed_image_in_words(&self, side: Side) -> String {
        let name = side.name();
        let file = self.image(side).and_then(Path::file_name);
        let file = file.unwrap_or_default();
        format!(
            "the {name} ({}) has changed since it was marked: look at its marks again; where they fit, confirm them in \"tickstrip mark\", or \
             take \"marked_on\" out of the job; where they do not, \"tickstrip carry\" takes them over from the earlier picture",
            on_one_line(&file.to_string_lossy())
        )
    }

    /// A fault where an image has another size than the one that was marked; `at` is the view's pointer.
    pub(super) fn other_size(&self, side: Side, size: (u32, u32), at: &str) -> Option<Fault> {
        let marked = self.marked_on(side)?.size;
        let found = [size.0, size.1];
        (marked != found).then(|| Fault {
            pointer: format!("{at}/{}/marked_on/size", side.name()),
            kind: FaultKind::MarkedOnOtherSize {
                view: self.name.clone(),
                image: side.name(),
                file: self.image(side).unwrap_or(Path::new("")).to_owned(),
                found,
                marked,
            },
        })
    }
}
