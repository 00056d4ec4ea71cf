//! Copies of the images that marks were set on, kept in a folder beside the job: when an image has been written over since, its marks
//! are carried over from the copy.
//!
//! A copy is named after the checksum of its bytes, so that what stands under a name never changes: nothing is written over, nothing is
//! removed, and a file that does not have the content that its name says is no copy.
use crate::{
    images::{self, Limits},
    job::{self, Job, MarkedOn, Side},
};
use std::{
    ffi::OsString,
    fs, io,
    path::{Path, PathBuf},
};

use super::{
    results_folder::Counted,
    whole_file::{There, write_whole_by},
};

/// The longest image that is kept.
const MOST_BYTES: u64 = 1 << 30;
/// The longest ending of a name that is taken over.
const LONGEST_ENDING: usize = 5;

/// The copies of one job.
#[derive(Clone, Debug)]
pub struct MarkedCopies {
    folder: PathBuf,
}

impl MarkedCopies {
    /// Those beside a job file, in the folder that has its name without extension and `-marked`. Nothing is made or looked at.
    pub fn of(job: &Path) -> Self {
        let mut name = job.with_extension("").into_os_string();
        name.push("-marked");
        Self {
            folder: name.into(),
        }
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Keeps an image that has this content; one that is kept already is not written again.
    ///
    /// # Errors
    /// Those of the disk, and [`io::ErrorKind::InvalidData`] where the image does not have the content any more.
    pub fn keep(&self, image: &Path, content: &MarkedOn) -> io::Result<()> {
        if self.find(content).is_some() {
            return Ok(());
        }
        match fs::create_dir(&self.folder) {
            Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(error),
            _ => {}
        }
        let mut from = job::open_input(image, MOST_BYTES).map_err(io::Error::from)?;
        let copy = self.folder.join(name(image, content));
        write_whole_by(&copy, There::IsReplaced, |file| {
            let mut counted = Counted::new(file);
            io::copy(&mut from, &mut counted)?;
            match counted.checksum() == content.blake3 {
                true => Ok(()),
                false => Err(io::ErrorKind::InvalidData.into()),
            }
        })
    }

    /// Keeps all images of a job that still have the content that was marked. Images that cannot be read are told where they are needed.
    ///
    /// # Errors
    /// Those of the disk, of the folder of the copies.
    pub fn keep_marked(&self, job: &Job) -> io::Result<()> {
        for view in &job.views {
            for side in Side::BOTH {
                let (Some(content), Some(image)) = (view.marked_on(side), view.image(side)) else {
                    continue;
                };
                let now = images::content(image, &Limits::default());
                if now.is_ok_and(|now| now == *content) {
                    self.keep(image, content)?;
                }
            }
        }
        Ok(())
    }

    /// Whether a file has the name of the copy with this content; whether it is one, [`Self::find`] tells.
    pub fn is_named(&self, content: &MarkedOn) -> bool {
        self.named(content).next().is_some()
    }

    fn named(&self, content: &MarkedOn) -> impl Iterator<Item = PathBuf> {
        let entries = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        let stem = content.blake3.clone();
        entries
            .map(|entry| entry.path())
            .filter(move |path| path.file_stem().is_some_and(|s| *s == *stem))
    }

    /// The copy that has this content.
    pub fn find(&self, content: &MarkedOn) -> Option<PathBuf> {
        self.named(content).find(|path| {
            let found = images::content(path, &Limits::default());
            found.is_ok_and(|found| found == *content)
        })
    }
}

/// Its checksum, with the ending of the image's name where that is one.
fn name(image: &Path, content: &MarkedOn) -> OsString {
    let ending = image.extension().and_then(|e| e.to_str());
    let is_plain =
        |e: &&str| e.len() <= LONGEST_ENDING && e.chars().all(|c| c.is_ascii_alphanumeric());
    match ending.filter(is_plain) {
        Some(ending) => format!("{}.{}", content.blake3, ending.to_ascii_lowercase()).into(),
        None => content.blake3.clone().into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(path: &Path, grey: u8) -> MarkedOn {
        let image = image::RgbImage::from_pixel(8, 6, image::Rgb([grey; 3]));
        image.save(path).expect("written");
        images::content(path, &Limits::default()).expect("readable")
    }

    #[test]
    fn a_copy_is_found_by_its_content_when_the_image_is_written_over() {
        let folder = tempfile::tempdir().expect("a folder");
        let (job, image) = (folder.path().join("pump.json"), folder.path().join("a.PNG"));
        let copies = MarkedCopies::of(&job);
        assert_eq!(copies.folder(), folder.path().join("pump-marked"));
        let first = picture(&image, 10);
        assert_eq!(copies.find(&first), None);
        copies.keep(&image, &first).expect("kept");
        let second = picture(&image, 20);
        let copy = copies.find(&first).expect("kept");
        assert_eq!(copy.extension().and_then(|e| e.to_str()), Some("png"));
        assert_eq!(
            images::content(&copy, &Limits::default()).expect("readable"),
            first
        );
        assert_eq!(copies.find(&second), None);
        // Kept once, however often.
        copies.keep(&image, &first).expect("there already");
        assert_eq!(fs::read_dir(copies.folder()).expect("a folder").count(), 1);
    }

    #[test]
    fn what_has_another_content_than_its_name_says_is_no_copy() {
        let folder = tempfile::tempdir().expect("a folder");
        let (job, image) = (folder.path().join("pump.json"), folder.path().join("a.png"));
        let copies = MarkedCopies::of(&job);
        let first = picture(&image, 10);
        let second = picture(&image, 20);
        // The image has changed since its content was looked at.
        let error = copies.keep(&image, &first).expect_err("not that content");
        assert_eq!(error.kind(), io::ErrorKind::InvalidData);
        assert_eq!(fs::read_dir(copies.folder()).expect("a folder").count(), 0);
        fs::copy(
            &image,
            copies.folder().join(format!("{}.png", first.blake3)),
        )
        .expect("copied");
        assert_eq!(copies.find(&first), None);
        copies.keep(&image, &second).expect("kept");
        assert!(copies.find(&second).is_some());
    }
}
