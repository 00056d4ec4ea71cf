//! Which marks take part in what way.

/// Which marks take part in what way. All vectors have one entry a pair.
#[derive(Clone, Debug)]
pub(crate) struct Roles {
    /// Carries the registration.
    pub(crate) datum: Vec<bool>,
    /// Takes part in the adjustment: datum marks, and check marks that lie on a region.
    pub(crate) takes_part: Vec<bool>,
    /// The region that a mark lies on, be it datum or check.
    pub(crate) part: Vec<Option<usize>>,
    /// Was to carry the registration and was put on its part, which is altered.
    pub(crate) off_with_part: Vec<bool>,
    /// Its place on the model contradicts the render, and the camera's shift would need it: takes no part.
    pub(crate) wrong_place: Vec<bool>,
    /// Contradicts this mark of its part, and nothing tells which of the two is wrong: neither takes part any more.
    pub(crate) contradicts: Vec<Option<usize>>,
    /// Whether the deviation of a mark in the render is stated.
    pub(crate) render_stated: bool,
    /// Whether the deviation of a mark in the reference is stated.
    pub(crate) reference_stated: bool,
}

impl Roles {
    /// These datum marks belong to an altered part: from now on they carry nothing.
    pub(crate) fn put_on_their_part(&mut self, marks: &[usize]) {
        for &i in marks {
            self.datum[i] = false;
            self.off_with_part[i] = true;
        }
    }
}
