//! The slopes between all pairs of many points, any of them by its rank: counted along the order of the points, so that
//! no more than some tens of thousands of them are ever listed.

use super::selection::{from_key, to_key};

/// Most slopes that are listed at a time.
const LISTED: u64 = 1 << 16;

/// Every slope between two points that differ in x. Points that are the same are one point with a weight.
pub(crate) struct Slopes {
    /// In the order of x, then y.
    points: Vec<Point>,
    /// Number of slopes, each as often as there are pairs that have it.
    pub count: u64,
    /// Number of pairs of points that are not the same.
    pairs: u64,
}

#[derive(Clone, Copy)]
struct Point {
    x: f64,
    y: f64,
    weight: u64,
}

/// A point where it meets the y axis along lines of one slope.
#[derive(Clone, Copy)]
struct Shade {
    y: f64,
    point: usize,
    weight: u64,
}

impl Slopes {
    /// Of finite points (x, y).
    pub fn of(points: impl Iterator<Item = (f64, f64)>) -> Slopes {
        let mut all: Vec<Point> = points.map(|(x, y)| Point { x, y, weight: 1 }).collect();
        all.sort_unstable_by(|p, q| p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y)));
        all.dedup_by(|next, one| {
            let same = next.x == one.x && next.y == one.y;
            one.weight += if same { next.weight } else { 0 };
            same
        });
        let mut slopes = Slopes { points: all, count: 0, pairs: 0 };
        let (mut weight, mut points) = (0, 0);
        for group in slopes.points.chunk_by(|p, q| p.x == q.x) {
            let of_group: u64 = group.iter().map(|p| p.weight).sum();
            slopes.count += of_group * weight;
            slopes.pairs += group.len() as u64 * points;
            weight += of_group;
            points += group.len() as u64;
        }
        slopes
    }

    /// The slope of this rank, from 0; infinite where x differ by less than numbers resolve. `rank` is below `count`.
    ///
    /// The range of numbers is halved by counting, until the slopes within can be listed, or are one number.
    pub fn nth(&self, rank: u64) -> f64 {
        let (least, most) = self.ends();
        if least == most {
            return least;
        }
        let (mut low, mut high) = around(least, most);
        let (mut below, mut beside) = (Counted::default(), self.pairs);
        while beside - below.pairs > LISTED && high - low > 1 {
            let middle = low + (high - low) / 2;
            let counted = self.up_to(from_key(middle));
            if counted.slopes > rank {
                (high, beside) = (middle, counted.pairs.max(below.pairs));
            } else {
                (low, below) = (middle, counted);
            }
        }
        let mut listed = self.between(from_key(low), from_key(high), beside - below.pairs <= LISTED);
        listed.sort_unstable_by(|(one, _), (other, _)| one.total_cmp(other));
        let mut passed = below.slopes;
        let reaches = |(_, weight): &&(f64, u64)| {
            passed += weight;
            passed > rank
        };
        let found = match listed.iter().find(reaches) {
            None if most.is_infinite() => f64::INFINITY,
            found => found.or(listed.last()).map_or(from_key(high), |(slope, _)| *slope),
        };
        // Adding 0 turns a negative zero into a plain one.
        found + 0.0
    }

    /// The least and the greatest slope: both lie between neighbours in x.
    fn ends(&self) -> (f64, f64) {
        let groups: Vec<&[Point]> = self.points.chunk_by(|p, q| p.x == q.x).collect();
        groups.windows(2).fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), pair| {
            let ([first, .., last] | [first @ last]) = pair[0] else { return (least, most) };
            let ([next, .., far] | [next @ far]) = pair[1] else { return (least, most) };
            let run = next.x - first.x;
            (least.min((next.y - last.y) / run), most.max((far.y - first.y) / run))
        })
    }

    fn shades(&self, slope: f64) -> Vec<Shade> {
        let shade = |(point, p): (usize, &Point)| Shade { y: p.y - slope * p.x, point, weight: p.weight };
        self.points.iter().enumerate().map(shade).collect()
    }

    /// How many slopes are `slope` or less: of two points the one further on lies no higher once the slope is taken off.
    fn up_to(&self, slope: f64) -> Counted {
        let mut shades = self.shades(slope);
        let mut ends = Vec::new();
        for group in self.points.chunk_by(|p, q| p.x == q.x) {
            let from = ends.last().copied().unwrap_or(0);
            ends.push(from + group.len());
            shades[from..from + group.len()].sort_unstable_by(|a, b| a.y.total_cmp(&b.y));
        }
        let mut counted = Counted::default();
        falls(shades, ends, &mut |higher, weight, lower| {
            counted.slopes += weight * lower.weight;
            counted.pairs += higher.len() as u64;
        });
        counted
    }

    /// The slopes above `low` up to `high`, with how often each is there: all of them, or just one.
    fn between(&self, low: f64, high: f64, all: bool) -> Vec<(f64, u64)> {
        let by_low = self.shades(low);
        let mut shades = self.shades(high);
        shades.sort_unstable_by(|a, b| {
            by_low[a.point].y.total_cmp(&by_low[b.point].y).then(b.point.cmp(&a.point))
        });
        let ends = (1..=shades.len()).collect();
        let mut found = Vec::new();
        falls(shades, ends, &mut |higher, _, lower| {
            for one in higher {
                if !(all || found.is_empty()) {
                    break;
                }
                let (p, q) = (self.points[one.point], self.points[lower.point]);
                if p.x < q.x {
                    found.push(((q.y - p.y) / (q.x - p.x), p.weight * q.weight));
                }
            }
        });
        found
    }
}

/// The keys of numbers a little below `least` and above `most`, so that rounding puts no slope outside.
fn around(least: f64, most: f64) -> (u64, u64) {
    let margin = 1e-9 * (least.abs() + most.abs());
    (to_key((least - margin).max(f64::MIN)), to_key((most + margin).min(f64::MAX)))
}

/// How many slopes, and between how many pairs of points.
#[derive(Clone, Copy, Default)]
struct Counted {
    slopes: u64,
    pairs: u64,
}

/// Sorts runs that each are sorted already into one, and shows each shade that lies no higher than some of the runs before its own: those,
/// their weight, and it.
fn falls(mut shades: Vec<Shade>, mut ends: Vec<usize>, meet: &mut dyn FnMut(&[Shade], u64, Shade)) {
    let mut merged = Vec::with_capacity(shades.len());
    while ends.len() > 1 {
        merged.clear();
        let mut from = 0;
        for pair in ends.chunks(2) {
            let (middle, end) = (pair[0], *pair.last().unwrap_or(&pair[0]));
            let (mut left, mut right) = (&shades[from..middle], &shades[middle..end]);
            let mut weight: u64 = left.iter().map(|s| s.weight).sum();
            while let ([one, after @ ..], [other, further @ ..]) = (left, right) {
                if other.y <= one.y {
                    meet(left, weight, *other);
                    merged.push(*other);
                    right = further;
                } else {
                    weight -= one.weight;
                    merged.push(*one);
                    left = after;
                }
            }
            merged.extend_from_slice(left);
            merged.extend_from_slice(right);
            from = end;
        }
        std::mem::swap(&mut shades, &mut merged);
        ends = ends.chunks(2).map(|pair| *pair.last().unwrap_or(&pair[0])).collect();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn listed(points: &[(f64, f64)]) -> Vec<f64> {
        let mut slopes = Vec::new();
        for (i, p) in points.iter().enumerate() {
            for q in &points[i + 1..] {
                let (p, q) = if p.0 < q.0 { (p, q) } else { (q, p) };
                if p.0 < q.0 {
                    slopes.push((q.1 - p.1) / (q.0 - p.0) + 0.0);
                }
            }
        }
        slopes.sort_unstable_by(f64::total_cmp);
        slopes
    }

    /// Some numbers below 1, by a generator of Marsaglia (2003).
    fn chances(seed: u64) -> impl Iterator<Item = f64> {
        let mut state = seed | 1;
        std::iter::repeat_with(move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64
        })
    }

    #[test]
    fn more_slopes_than_are_listed_are_as_if_they_all_were() {
        // Points apart from one another, and on a lattice, as centimetres against tenths of a metre are.
        let mut any = chances(7);
        let apart: Vec<(f64, f64)> =
            any.by_ref().zip(chances(11)).take(500).map(|(x, y)| (x * 300.0, y + 2.0 * x)).collect();
        let lattice: Vec<(f64, f64)> = any
            .by_ref()
            .zip(chances(13))
            .take(800)
            .map(|(x, y)| ((x * 20.0).floor() / 10.0, (y * 150.0).floor()))
            .collect();
        for points in [apart, lattice] {
            let all = listed(&points);
            let slopes = Slopes::of(points.iter().copied());
            assert_eq!(slopes.count, all.len() as u64);
            assert!(all.len() as u64 > LISTED);
            for part in [0, 25, 500, 501, 975, 999] {
                let rank = all.len() * part / 1_000;
                assert_eq!(slopes.nth(rank as u64), all[rank], "rank {rank}");
            }
            assert_eq!(slopes.nth(slopes.count - 1), all[all.len() - 1]);
        }
    }

    #[test]
    fn the_ranks_at_which_the_range_is_halved_are_right() {
        let points: Vec<(f64, f64)> = chances(17)
            .zip(chances(19))
            .take(900)
            .map(|(x, y)| ((x * 20.0).floor(), (y * 150.0).floor()))
            .collect();
        let all = listed(&points);
        let slopes = Slopes::of(points.into_iter());
        let (least, most) = slopes.ends();
        let (low, high) = around(least, most);
        let halved = slopes.up_to(from_key(low + (high - low) / 2)).slopes;
        assert!(halved > 0 && halved < slopes.count);
        for rank in [halved - 1, halved] {
            assert_eq!(slopes.nth(rank), all[rank as usize], "rank {rank}");
        }
    }

    #[test]
    fn slopes_that_are_all_one_number_are_that_number() {
        let line: Vec<(f64, f64)> = (0..3_000).map(|n| (f64::from(n), f64::from(n) / 3.0)).collect();
        let slopes = Slopes::of(line.into_iter());
        assert!((slopes.nth(slopes.count / 2) - 1.0 / 3.0).abs() < 1e-15);
        let flat = Slopes::of((0..3_000).map(|n| (f64::from(n), 5.0)));
        assert_eq!(flat.nth(17).to_bits(), 0.0_f64.to_bits());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn few_slopes_by_rank_are_sorted_slopes(points in prop::collection::vec((-9_i32..9, -9_i32..9), 2..25)) {
            let points: Vec<(f64, f64)> =
                points.into_iter().map(|(x, y)| (f64::from(x) / 7.0, f64::from(y))).collect();
            let all = listed(&points);
            let slopes = Slopes::of(points.into_iter());
            prop_assert_eq!(slopes.count, all.len() as u64);
            for (rank, want) in all.iter().enumerate() {
                prop_assert_eq!(slopes.nth(rank as u64), *want);
            }
        }
    }
}
