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

/// A whole number that rises with the number it stands for.
pub(super) fn to_key(number: f64) -> u64 {
    let bits = number.to_bits();
    if number.is_sign_negative() { !bits } else { bits | 1 << 63 }
}

pub(super) fn from_key(key: u64) -> f64 {
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
}
