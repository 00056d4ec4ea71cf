//! The way from the marks of a view to its registration: rectify, start, adjust, check, judge.
use super::{
    Convergence, Error, RegionFit, Registration,
    adjustment::Adjustment,
    checks::{self, altered_datum::AlteredDatum},
    lens_by_marks::Marks,
    problem, regions,
    roles::Roles,
    start,
    summary::summarise,
};
use crate::{
    job::{Expected, RegistrationKind, View},
    printable::shortened,
    rectification::{self, BezelLook, Rectification},
};

/// A registration with the adjustment that it comes from.
#[derive(Clone, Debug)]
pub struct Registered {
    /// The figures.
    pub registration: Registration,
    /// What further figures are propagated from.
    pub adjustment: Adjustment,
    /// One for each region of the view, in its order; `None` where its marks say nothing that the registration does
    /// not take for granted.
    pub regions: Vec<Option<RegionFit>>,
    /// Datum parts that contradict the other datum landmarks, those of which nothing tells which is altered last.
    pub altered_datum: Vec<AlteredDatum>,
    roles: Roles,
    swapped: Vec<(usize, usize)>,
}

impl Registered {
    pub(super) fn marks(&self) -> Marks<'_> {
        Marks {
            adjustment: &self.adjustment,
            landmarks: &self.registration.landmarks,
            is_datum: &self.roles.datum,
        }
    }

    /// The registration's figures by another adjustment of the same marks; `None` where they are not finite.
    pub(crate) fn summary(&self, view: &View, adjustment: &Adjustment) -> Option<Registration> {
        let landmarks = checks::landmarks::judge(adjustment, &self.roles, &self.swapped).ok()?;
        summarise(view, adjustment, &self.roles, landmarks)
    }
}

/// A reference laid over its render, and how it was rectified before.
#[derive(Clone, Debug)]
pub struct LaidOver {
    /// `None` where nothing is rectified.
    pub rectification: Option<Rectification>,
    /// The rest of the way.
    pub registered: Registered,
}

/// Lays the reference of a view over its render: rectifies it as the job says, then registers it.
///
/// `sizes` are width and height of the render and of the reference in pixels, upright. `bezel` is what was found across the
/// sides of a screen, where the picture was looked at.
///
/// # Errors
/// Those of [`rectification::of_view`] and of [`register`].
pub fn lay_over(
    view: &View,
    expected: Expected,
    sizes: [(u32, u32); 2],
    bezel: Option<&BezelLook>,
) -> Result<LaidOver, Error> {
    let [render, reference] = sizes;
    let rectification = rectification::of_view(view, reference, bezel)?;
    let registered = register(view, expected, render, rectification.as_ref())?;
    let plain = LaidOver {
        rectification,
        registered,
    };
    if !plain.registered.marks().may_be_bent(reference) {
        return Ok(plain);
    }
    Ok(unbent(view, expected, sizes, &plain).unwrap_or(plain))
}

/// The same with a lens that the marks tell; `None` where they tell none.
fn unbent(
    view: &View,
    expected: Expected,
    [render, reference]: [(u32, u32); 2],
    plain: &LaidOver,
) -> Option<LaidOver> {
    let mut rectification = Rectification::with_unknown_lens(&plain.rectification, reference);
    let trial = register(view, expected, render, Some(&rectification)).ok()?;
    let lens = trial.marks().lens_told(&plain.registered.marks())?;
    rectification.tell_lens(lens);
    let registered = register(view, expected, render, Some(&rectification)).ok()?;
    Some(LaidOver {
        rectification: Some(rectification),
        registered,
    })
}

/// Registers a reference that is rectified already.
///
/// `render_size` is the render's width and height in pixels: what is expected of offsets is stated in parts of it.
/// `rectification` is what [`rectification::of_view`](crate::rectification::of_view) makes of the view.
///
/// # Errors
/// Too few datum landmarks, or such that lie on one point or line, or that give no usable map; a landmark that the map
/// takes nowhere.
pub fn register(
    view: &View,
    expected: Expected,
    render_size: (u32, u32),
    rectification: Option<&Rectification>,
) -> Result<Registered, Error> {
    let (problem, roles, rectified) = problem::build(view, expected, render_size, rectification)?;
    let no_map = || Error::NoMap {
        kind: view.registration,
        names: problem::datum_names(view),
    };
    let start = start::robust_start(&problem, &roles, &rectified).ok_or_else(no_map)?;
    let cleaned = checks::clean(problem, roles, &start).ok_or_else(no_map)?;
    let roles = cleaned.roles;
    let adjustment = cleaned.adjustment;
    let beyond = |i: usize| Error::BeyondHorizon {
        name: shortened(&view.landmarks[i].name),
    };
    let landmarks =
        checks::landmarks::judge(&adjustment, &roles, &cleaned.swapped).map_err(beyond)?;
    refuse_unsettled(view.registration, adjustment.convergence())?;
    let regions = regions::fit_all(view, &adjustment, &roles);
    let registration = summarise(view, &adjustment, &roles, landmarks).ok_or_else(no_map)?;
    Ok(Registered {
        registration,
        adjustment,
        regions,
        altered_datum: cleaned.altered_datum,
        roles,
        swapped: cleaned.swapped,
    })
}

/// A solution that still moves by more than a mark can be placed is none.
fn refuse_unsettled(kind: RegistrationKind, end: Convergence) -> Result<(), Error> {
    /// Render pixels at the marks' extent; what still moves by less is told with a warning (a judgement).
    const FARTHEST_PX: f64 = 0.1;
    if end.is_reached || end.last_step_px < FARTHEST_PX {
        return Ok(());
    }
    Err(Error::NotConverged { kind, end })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end(is_reached: bool, last_step_px: f64) -> Convergence {
        Convergence {
            is_reached,
            steps: 100,
            last_step_px,
        }
    }

    #[test]
    fn a_solution_that_still_moves_is_refused_in_words() {
        let kind = RegistrationKind::Projective;
        assert_eq!(refuse_unsettled(kind, end(true, 5.0)), Ok(()));
        assert_eq!(refuse_unsettled(kind, end(false, 0.05)), Ok(()));
        let refused = refuse_unsettled(kind, end(false, 3.25)).expect_err("it moves");
        assert_eq!(refused.code(), "not-converged");
        let words = refused.to_string();
        assert!(
            words.contains("after 100 steps the last moved by 3.25 px"),
            "{words}"
        );
        for nowhere in [f64::INFINITY, 1e300] {
            let refused = refuse_unsettled(kind, end(false, nowhere)).expect_err("it moves");
            let words = refused.to_string();
            assert!(
                words.contains("after 100 steps no further one leads anywhere"),
                "{words}"
            );
        }
    }
}
