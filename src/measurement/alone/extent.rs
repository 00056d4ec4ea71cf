//! How far a reference reaches in its plane.
use super::found::ReferenceAlone;
use crate::{
    frame::{Point, RectifiedPx, ReferencePx},
    rectification::{self, Error},
};

impl ReferenceAlone {
    /// Left, top, width and height of what the reference, `size` (width, height) pixels large, shows of its plane, in the plane's unit:
    /// of the rectangle or figure that it is rectified by, else of all of it. `None` where it is measured by a camera.
    ///
    /// # Errors
    /// Where the rectified picture would be far larger than what the reference can fill.
    pub(crate) fn extent(&self, size: (u32, u32)) -> Result<Option<[f64; 4]>, Error> {
        let Some(plain) = self.plain_from_reference else {
            return Ok(None);
        };
        let (shown, back) = match &self.rectification {
            None => (size, None),
            Some(rectification) => {
                let shown = rectification::shown(size, rectification)?;
                let back = rectification.rectified_from_reference().inverse();
                (shown.size, Some(back.after(&shown.rectified_from_shown)))
            }
        };
        let in_reference = |[x, y]: [f64; 2]| match &back {
            None => Point::<ReferencePx>::new(x, y),
            Some(back) => back.apply(Point::<RectifiedPx>::new(x, y)),
        };
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for place in rectification::border(shown) {
            let at = plain.apply(in_reference(place)).xy();
            for k in 0..2 {
                low[k] = f64::min(low[k], at[k]);
                high[k] = f64::max(high[k], at[k]);
            }
        }
        let extent = [low[0], low[1], high[0] - low[0], high[1] - low[1]];
        Ok(extent.iter().all(|v| v.is_finite()).then_some(extent))
    }
}
