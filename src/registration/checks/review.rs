//! The marks judged again once edges have told more.
use super::mark_test::MarkTest;
use crate::registration::adjustment::Adjustment;

impl Adjustment {
    /// The test of single marks by what all of them say of the noise.
    pub(super) fn mark_test(&self) -> MarkTest {
        let noise = (self.noise, self.noise_freedom.is_infinite());
        MarkTest::new(&self.problem, &self.solved, &self.active, noise)
    }

    /// Judges the marks again now that edges have refined what is predicted of them: marks that fit are taken back,
    /// those that do not are left out. `is_sharp` tells of a region whether its edges can be trusted. Says whether
    /// anything changed.
    pub(crate) fn review_marks(&mut self, is_sharp: &dyn Fn(usize) -> bool) -> bool {
        if self.problem.layout.parallax.is_some() {
            // The depth of a part's edges is guessed: that must not accuse a mark.
            return false;
        }
        let test = self.mark_test();
        let mut changed = false;
        for i in 0..self.active.len() {
            let may_change =
                self.takes_part[i] && self.problem.pairs[i].region.is_none_or(is_sharp);
            if !may_change {
                continue;
            }
            let square = self.solved.test_square(&self.problem, i, self.active[i]);
            let took_part = self.active[i];
            let fits = test.square(square, took_part) < test.critical(took_part);
            if fits != self.active[i] {
                self.active[i] = fits;
                changed = true;
            }
        }
        changed
    }
}
