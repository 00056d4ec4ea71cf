//! What makes good marks look wrong: a mirrored picture, and a stated focal length that is not that of the photo.
use super::{
    error::Error,
    figures::Basis,
    looked::{Looked, looked_at},
    photo::{KnownFocal, Photo, SpaceMark},
    settings::SPACE,
    solving::Plan,
    told::Told,
};
use crate::{frame::ModelPoint, registration::checks::settings::CHECKS, statistics::t_quantile};

/// Refuses marks of which many contradict the others, where hardly any does once the places are mirrored.
pub(super) fn refuse_mirrored(
    photo: &Photo,
    marks: &[SpaceMark],
    looked: &Looked,
) -> Result<(), Error> {
    let (wrong, all) = (looked.wrong(), looked.datum.len());
    let most = SPACE.most_wrong_share.get() * all as f64;
    if (wrong as f64) < most {
        return Ok(());
    }
    let mirrored: Vec<SpaceMark> = marks
        .iter()
        .map(|mark| {
            let [x, y, z] = mark.place.0;
            SpaceMark {
                place: ModelPoint([-x, y, z]),
                ..mark.clone()
            }
        })
        .collect();
    let Ok(other) = looked_at(photo, &mirrored) else {
        return Ok(());
    };
    let left = other.wrong();
    if left < wrong && (left as f64) < most && !other.is_reversed() {
        return Err(Error::MirrorImage { wrong, all, left });
    }
    Ok(())
}

/// Refuses a stated focal length that the marks contradict: they would be blamed for it.
pub(super) fn refuse_focal(
    photo: &Photo,
    marks: &[SpaceMark],
    looked: &Looked,
) -> Result<(), Error> {
    let KnownFocal::Length { px, deviation } = photo.focal else {
        return Ok(());
    };
    let Some(freed) = Freed::of(photo, marks, looked) else {
        return Ok(());
    };
    if !freed.contradicts(CHECKS.mark_level.get()) {
        return Ok(());
    }
    let Freed {
        photo: free,
        alone,
        deviations,
    } = &freed;
    let basis = Basis {
        photo: free,
        units: &alone.units,
        is_flat: alone.is_flat,
        freedom: alone.cleaned.freedom,
    };
    let solved = &alone.cleaned.solved;
    let found = match basis.focal(solved).times(alone.units.picture_radius) {
        Told::Figure(f) => format!("{:.0} to {:.0} px", f.low(), f.high()),
        Told::AtLeast { low, .. } => format!("at least {low:.0} px"),
        Told::Not(_) => "another one".to_owned(),
    };
    Err(Error::FocalContradicts {
        px,
        percent: 100.0 * deviation,
        found,
        deviations: *deviations,
    })
}

/// Whether the marks contradict what is taken for known of the focal length or the perspective, by a test that is wrong as often as
/// `level` says.
pub(crate) fn contradicts_focal(photo: &Photo, marks: &[SpaceMark], level: f64) -> bool {
    let looked = looked_at(photo, marks).ok();
    let freed = looked.and_then(|looked| Freed::of(photo, marks, &looked));
    freed.is_some_and(|freed| freed.contradicts(level))
}

/// A photo without what is known of its focal length.
struct Freed {
    photo: Photo,
    alone: Looked,
    /// What it costs the same marks to have what is known, in standard deviations.
    deviations: f64,
}

impl Freed {
    /// `None` where the marks are too few to tell a focal length, or tell none that is better.
    fn of(photo: &Photo, marks: &[SpaceMark], looked: &Looked) -> Option<Self> {
        let free = Photo {
            focal: KnownFocal::Unknown,
            ..*photo
        };
        let alone = looked_at(&free, marks).ok()?;
        let solved = &alone.cleaned.solved;
        if alone.wrong() > looked.wrong() || alone.is_reversed() {
            return None;
        }
        let mut problem = alone.cleaned.problem.clone();
        problem.known = looked.cleaned.problem.known.clone();
        let plan = Plan::least_squares(&alone.cleaned.kept, alone.cleaned.factor);
        let stated = problem.solve(&looked.cleaned.solved.camera, &plan)?;
        Some(Self {
            photo: free,
            deviations: (stated.cost - solved.cost).max(0.0).sqrt(),
            alone,
        })
    }

    fn contradicts(&self, level: f64) -> bool {
        self.deviations > t_quantile(1.0 - level / 2.0, self.alone.cleaned.freedom)
    }
}
