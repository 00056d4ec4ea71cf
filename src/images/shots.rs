//! Several shots of one scene as one picture.
use super::{
    Error, Limits, Picture,
    decode::read_as_seen,
    header::{self, Header},
};
use crate::{
    shots::{Average, BYTES_A_PIXEL, BYTES_TO_ALIGN, Noise, Unaligned},
    stop,
};
use std::path::{Path, PathBuf};

/// What became of the shots of a reference.
#[derive(Clone, Debug)]
pub struct Shots {
    /// How many there were, the first one counted.
    pub given: usize,
    /// How many the picture is the mean of.
    pub used: usize,
    /// Noise of the first and of the mean, grey levels; `None` where too little is shown by all.
    pub noise: Option<Noise>,
    /// Those that were not used.
    pub left_out: Vec<LeftOut>,
}

/// A shot that was not used.
#[derive(Clone, Debug)]
pub struct LeftOut {
    /// Its file.
    pub file: PathBuf,
    /// Why.
    pub why: Unaligned,
}

/// What was seen of further shots before a pixel was decoded.
pub(super) fn look(shots: &[PathBuf], limits: &Limits) -> Result<Vec<Header>, Error> {
    let looked = shots.iter().map(|shot| Ok(header::look(shot, limits)?.1));
    looked.collect()
}

/// Bytes that the mean takes at most, beside the first shot as it is kept.
pub(super) fn peak(first: &Header, more: &[Header]) -> u64 {
    let of_one = |shot: &Header| {
        // Resampled, and what it covers.
        let laid = 4 * first.pixels();
        let aligning = BYTES_TO_ALIGN.saturating_mul(first.pixels() + shot.pixels());
        shot.peak().max(shot.kept() + laid.max(aligning))
    };
    let largest = more.iter().map(of_one).max();
    largest.map_or(0, |largest| {
        BYTES_A_PIXEL
            .saturating_mul(first.pixels())
            .saturating_add(largest)
    })
}

/// The first shot with the mean in its place, and what became of the others.
///
/// # Errors
/// Those of [`super::read`] for each shot, and [`Error::NoShotAligns`].
pub(super) fn averaged(
    first: Picture,
    path: &Path,
    more: (&[PathBuf], &[Header]),
    limits: &Limits,
) -> Result<(Picture, Shots), Error> {
    let Picture { rgb, alpha, notes } = first;
    let mut average = Average::new(rgb);
    let mut left_out = Vec::new();
    for (file, seen) in more.0.iter().zip(more.1) {
        let shot = read_as_seen(file, limits, Some(seen))?;
        let added = average.add(shot.rgb);
        // What was left early is not whole.
        stop::check()?;
        if let Err(why) = added {
            left_out.push(LeftOut {
                file: file.clone(),
                why,
            });
        }
    }
    let used = average.shots();
    if used == 1 {
        return Err(Error::NoShotAligns {
            path: path.to_owned(),
            reasons: left_out.iter().map(LeftOut::in_words).collect(),
        });
    }
    let (rgb, noise) = average.finish();
    stop::check()?;
    let shots = Shots {
        given: 1 + more.0.len(),
        used,
        noise,
        left_out,
    };
    Ok((Picture { rgb, alpha, notes }, shots))
}

impl LeftOut {
    /// The name of its file, and why it was left out.
    pub fn in_words(&self) -> String {
        let name = self.file.file_name().unwrap_or_default();
        let name = crate::printable::on_one_line(&name.to_string_lossy());
        format!("{name}: {}", self.why)
    }
}
