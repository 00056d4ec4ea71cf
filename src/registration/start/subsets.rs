//! Subsets of marks that a robust start is tried from.

/// Subsets tried at most.
const MOST_SUBSETS: usize = 400;

/// Subsets that are counted through at most: where there are more, some are drawn.
const MOST_COUNTED: f64 = 20_000.0;

/// All subsets of `size`, or a fixed selection of [`MOST_SUBSETS`] where there are more.
pub(crate) fn subsets(of: &[usize], size: usize) -> Vec<Vec<usize>> {
    if of.len() < size {
        return Vec::new();
    }
    let count = (0..size).fold(1.0, |c, k| c * (of.len() - k) as f64 / (k + 1) as f64);
    if count > MOST_COUNTED {
        return random_subsets(of, size);
    }
    let count = choose(of.len(), size);
    let step = step_through(count);
    (0..count.min(MOST_SUBSETS))
        .map(|k| subset(of, size, k * step % count))
        .collect()
}

/// A step that comes by every one of `count` places, so that no mark is favoured by the order.
fn step_through(count: usize) -> usize {
    let stride = count.div_ceil(MOST_SUBSETS);
    // Every second number from there, the odd ones where the count is even. One is coprime to the count: with an odd
    // count these numbers meet every remainder, with an even one `count + 1` is among them or a number before it.
    let first = if count.is_multiple_of(2) {
        stride | 1
    } else {
        stride
    };
    let mut steps = (first..=first + 2 * count).step_by(2);
    steps.find(|&s| gcd(s, count) == 1).unwrap_or(1)
}

/// The subset number `rank` in lexicographic order.
fn subset(of: &[usize], size: usize, mut rank: usize) -> Vec<usize> {
    let mut chosen = Vec::with_capacity(size);
    for (k, &member) in of.iter().enumerate() {
        let missing = size - chosen.len();
        if missing == 0 {
            break;
        }
        // As many subsets that begin as chosen so far go on with this member.
        let with = choose(of.len() - k - 1, missing - 1);
        if rank < with {
            chosen.push(member);
        } else {
            rank -= with;
        }
    }
    chosen
}

/// How many subsets of `size` there are of `n`.
fn choose(n: usize, size: usize) -> usize {
    (0..size).fold(1, |c, k| c * n.saturating_sub(k) / (k + 1))
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn random_subsets(of: &[usize], size: usize) -> Vec<Vec<usize>> {
    let mut seed = 0x9E37_79B9_7F4A_7C15_u64;
    let mut next = |below: usize| {
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (seed >> 33) as usize % below
    };
    (0..MOST_SUBSETS)
        .map(|_| {
            let mut pool = of.to_vec();
            (0..size)
                .map(|_| pool.swap_remove(next(pool.len())))
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All subsets one after the other, the slow and obvious way.
    fn listed(of: &[usize], size: usize) -> Vec<Vec<usize>> {
        match of.split_first() {
            _ if size == 0 => vec![Vec::new()],
            None => Vec::new(),
            Some((&first, rest)) => {
                let with = listed(rest, size - 1).into_iter();
                let with = with.map(|s| [vec![first], s].concat());
                with.chain(listed(rest, size)).collect()
            }
        }
    }

    #[test]
    fn few_marks_give_every_subset_once() {
        let mut all = subsets(&[3, 5, 8, 9, 11], 2);
        all.iter_mut().for_each(|s| s.sort_unstable());
        all.sort();
        all.dedup();
        assert_eq!(all.len(), 10);
    }

    #[test]
    fn every_number_of_marks_gives_as_many_subsets_as_asked_for() {
        for size in 2..=4 {
            assert!(subsets(&vec![7; size - 1], size).is_empty());
            for count in size..=200 {
                let of: Vec<usize> = (0..count).collect();
                let mut selection = subsets(&of, size);
                let possible = choose(count, size);
                assert_eq!(
                    selection.len(),
                    possible.min(MOST_SUBSETS),
                    "{count} {size}"
                );
                assert_eq!(selection, subsets(&of, size));
                for subset in &mut selection {
                    subset.sort_unstable();
                    subset.dedup();
                    assert_eq!(subset.len(), size, "{count} {size}");
                }
                selection.sort();
                selection.dedup();
                if possible as f64 <= MOST_COUNTED {
                    assert_eq!(
                        selection.len(),
                        possible.min(MOST_SUBSETS),
                        "{count} {size}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_selection_steps_through_the_list_of_all_subsets() {
        for (count, size) in [
            (30, 2),
            (35, 2),
            (14, 3),
            (23, 3),
            (16, 4),
            (17, 4),
            (20, 4),
        ] {
            let of: Vec<usize> = (0..count).map(|k| 3 * k + 1).collect();
            let all = listed(&of, size);
            let step = step_through(all.len());
            let stepped: Vec<_> = (0..all.len().min(MOST_SUBSETS))
                .map(|k| all[k * step % all.len()].clone())
                .collect();
            assert_eq!(subsets(&of, size), stepped, "{count} {size}");
        }
    }

    #[test]
    fn the_step_is_the_least_that_comes_by_every_place() {
        // 17 of 4, 25 of 3, 29 of 2: stride and count are both even.
        for (count, step) in [(2380, 9), (2300, 7), (406, 3)] {
            assert_eq!(step_through(count), step, "{count}");
        }
        // Stride or count is odd.
        for (count, step) in [(1, 1), (400, 1), (816, 5), (2600, 7), (4845, 13), (435, 2)] {
            assert_eq!(step_through(count), step, "{count}");
        }
    }

    #[test]
    fn many_marks_give_a_fixed_selection() {
        let of: Vec<usize> = (0..60).collect();
        let selection = subsets(&of, 4);
        assert_eq!(selection.len(), MOST_SUBSETS);
        assert_eq!(selection, subsets(&of, 4));
        let of: Vec<usize> = (0..20).collect();
        let mut selection = subsets(&of, 4);
        assert_eq!(selection.len(), MOST_SUBSETS);
        selection.sort();
        selection.dedup();
        assert_eq!(selection.len(), MOST_SUBSETS, "no subset twice");
    }
}
