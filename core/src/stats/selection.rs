//! Order statistics of numbers that come from pairs, and so are too many to keep: found in several passes that store
//! next to nothing, and exact to the last bit.

/// Difference of the given rank, from 1, among all of a value of `a` less one of `b`, both sorted: halving the range of
/// numbers until one is left, counting the differences up to it along the two lists.
pub(crate) fn nth_difference(a: &[f64], b: &[f64], rank: usize) -> f64 {
    let up_to = |limit: f64| {
        let mut from = 0;
        a.iter()
            .map(|value| {
                while from < b.len() && value - b[from] > limit {
                    from += 1;
                }
                b.len() - from
            })
            .sum::<usize>()
    };
    let (mut low, mut high) = (to_key(a[0] - b[b.len() - 1]), to_key(a[a.len() - 1] - b[0]));
    while low < high {
        let middle = low + (high - low) / 2;
        if up_to(from_key(middle)) >= rank {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    // Adding 0 turns a negative zero into a plain one.
    from_key(low) + 0.0
}

/// Shows every number to the visitor it is given, the same ones each time.
pub(crate) type Each<'a> = &'a dyn Fn(&mut dyn FnMut(f64));

/// Most numbers that `select` keeps at a time.
const KEPT: usize = 1 << 20;

/// Bits by which one pass of `select` narrows the range.
const DIGIT: u32 = 11;

/// The number of the given rank, from 0, among the `count` numbers that `each` shows: as many passes as it takes until
/// those that share its leading bits can be kept.
pub(crate) fn select(rank: usize, count: usize, each: Each) -> f64 {
    let (mut rank, mut within, mut prefix, mut shift) = (rank, count, 0, u64::BITS);
    let leads = |key: u64, shift: u32, prefix: u64| key.checked_shr(shift).unwrap_or(0) == prefix;
    while within > KEPT && shift > 0 {
        let narrower = shift.saturating_sub(DIGIT);
        let digit = |key: u64| (key >> narrower) as usize & ((1 << (shift - narrower)) - 1);
        let mut counts = vec![0_usize; 1 << (shift - narrower)];
        each(&mut |number| {
            let key = to_key(number);
            if leads(key, shift, prefix) {
                counts[digit(key)] += 1;
            }
        });
        let mut next = 0;
        while next + 1 < counts.len() && counts[next] <= rank {
            rank -= counts[next];
            next += 1;
        }
        within = counts[next];
        prefix = prefix << (shift - narrower) | next as u64;
        shift = narrower;
    }
    if shift == 0 {
        return from_key(prefix);
    }
    let mut kept = Vec::with_capacity(within);
    each(&mut |number| {
        if leads(to_key(number), shift, prefix) {
            kept.push(number);
        }
    });
    *kept.select_nth_unstable_by(rank, f64::total_cmp).1
}

/// A whole number that rises with the number it stands for.
fn to_key(number: f64) -> u64 {
    let bits = number.to_bits();
    if number.is_sign_negative() { !bits } else { bits | 1 << 63 }
}

fn from_key(key: u64) -> f64 {
    f64::from_bits(if key >> 63 == 1 { key & !(1 << 63) } else { !key })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_rise_with_their_numbers() {
        let numbers = [-1e99, -2.5, -1e-300, -0.0, 0.0, 1e-300, 7.0, 1e99];
        let keys = numbers.map(to_key);
        assert!(keys.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!(keys.map(from_key).map(f64::to_bits), numbers.map(f64::to_bits));
    }

    #[test]
    fn selecting_in_passes_is_sorting() {
        let numbers: Vec<f64> = (0..3_000_000_u64)
            .map(|k| (k.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40) as f64 / 4096.0 - 1000.0)
            .collect();
        let mut sorted = numbers.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        for rank in [0, 1, 1_499_999, 2_999_999] {
            assert_eq!(
                select(rank, numbers.len(), &|visit| numbers.iter().copied().for_each(visit)),
                sorted[rank]
            );
        }
        let same = |visit: &mut dyn FnMut(f64)| (0..2_000_000).for_each(|_| visit(-3.5));
        assert_eq!(select(1_000_000, 2_000_000, &same), -3.5);
    }
}
