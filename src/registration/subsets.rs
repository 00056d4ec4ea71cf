//! Subsets of marks that a robust start is tried from.

/// Subsets tried at most.
const MOST_SUBSETS: usize = 400;

/// All subsets of `size`, or a fixed selection of [`MOST_SUBSETS`] where there are more.
pub(super) fn subsets(of: &[usize], size: usize) -> Vec<Vec<usize>> {
    let mut all = Vec::new();
    let mut indices: Vec<usize> = (0..size).collect();
    if of.len() < size {
        return all;
    }
    let count = (0..size).fold(1.0, |c, k| c * (of.len() - k) as f64 / (k + 1) as f64);
    if count > 20_000.0 {
        return random_subsets(of, size);
    }
    loop {
        all.push(indices.iter().map(|&k| of[k]).collect());
        let Some(k) = (0..size).rev().find(|&k| indices[k] < of.len() - size + k) else {
            break;
        };
        indices[k] += 1;
        for later in k + 1..size {
            indices[later] = indices[later - 1] + 1;
        }
    }
    let stride = all.len().div_ceil(MOST_SUBSETS);
    // An odd step through the list, so that no mark is favoured by the order.
    let step = (0..)
        .map(|k| k + stride)
        .find(|s| gcd(*s, all.len()) == 1)
        .unwrap_or(1);
    (0..all.len().min(MOST_SUBSETS))
        .map(|k| all[k * step % all.len()].clone())
        .collect()
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

    #[test]
    fn few_marks_give_every_subset_once() {
        let mut all = subsets(&[3, 5, 8, 9, 11], 2);
        all.iter_mut().for_each(|s| s.sort_unstable());
        all.sort();
        all.dedup();
        assert_eq!(all.len(), 10);
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
