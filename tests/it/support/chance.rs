//! How many figures must hold the truth, of those that claim to hold it 19 times in 20.
use statrs::distribution::{Binomial, DiscreteCDF};

/// The least number of `given` figures that hold the truth: fewer hold in less than one of 300 runs (binomial with
/// probability 0.95, the figures taken as independent). Of 96 it is 85.
pub fn least_that_hold(given: usize) -> usize {
    let held = Binomial::new(0.95, given as u64).expect("a probability");
    let is_rarer = |least: &usize| *least > 0 && held.cdf(*least as u64 - 1) < 1.0 / 300.0;
    (0..=given)
        .take_while(|k| *k == 0 || is_rarer(k))
        .last()
        .expect("zero at least")
}

#[test]
fn the_least_number_that_holds_is_that_of_the_binomial_distribution() {
    // By sums of exact terms in Python: 84 or fewer of 96 with probability 0.00305, 85 or fewer with 0.00854; 340 or fewer
    // of 372 with 0.00228; of nine 0.95^9 = 0.63 hold all, six or fewer with 0.0084, five or fewer with 0.00064.
    assert_eq!([0, 1, 9, 96, 372].map(least_that_hold), [0, 0, 6, 85, 341]);
}
