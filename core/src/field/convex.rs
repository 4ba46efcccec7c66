//! Cutting convex polygons with one another: what `probing` folds bodies with. Polygons are lists of corners in
//! counter-clockwise order; cutting keeps them convex, so nothing here can tangle.

/// A corner.
pub(crate) type Corner = [f64; 2];

/// Twice the signed area left of the line from `a` to `b` seen from `p`: positive on the left.
fn side(a: Corner, b: Corner, p: Corner) -> f64 {
    (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])
}

/// Area, positive for counter-clockwise corners.
pub(crate) fn area(corners: &[Corner]) -> f64 {
    let Some(first) = corners.first() else { return 0.0 };
    corners.windows(2).map(|pair| 0.5 * side(*first, pair[0], pair[1])).sum()
}

/// Cuts `polygon` along the line from `a` to `b`: (what lies to its left, what lies to its right).
fn split(polygon: &[Corner], a: Corner, b: Corner) -> (Vec<Corner>, Vec<Corner>) {
    let (mut left, mut right) =
        (Vec::with_capacity(polygon.len() + 2), Vec::with_capacity(polygon.len() + 2));
    for (index, &start) in polygon.iter().enumerate() {
        let end = polygon[(index + 1) % polygon.len()];
        let (from, to) = (side(a, b, start), side(a, b, end));
        if from >= 0.0 {
            left.push(start);
        }
        if from <= 0.0 {
            right.push(start);
        }
        if from * to < 0.0 {
            let share = from / (from - to);
            let at = [start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])];
            left.push(at);
            right.push(at);
        }
    }
    (left, right)
}

/// What is left of the convex `pieces` when the convex `cutter` is taken away, again as convex pieces. Crumbs of less
/// than `crumb` area are dropped.
pub(crate) fn take_away(pieces: Vec<Vec<Corner>>, cutter: &[Corner], crumb: f64) -> Vec<Vec<Corner>> {
    let mut rest = Vec::with_capacity(pieces.len());
    for piece in pieces {
        if misses(&piece, cutter) {
            rest.push(piece);
            continue;
        }
        let mut inside = piece;
        for (index, &a) in cutter.iter().enumerate() {
            let (left, right) = split(&inside, a, cutter[(index + 1) % cutter.len()]);
            if area(&right) > crumb {
                rest.push(right);
            }
            inside = left;
            if inside.len() < 3 {
                break;
            }
        }
    }
    rest
}

/// Whether an edge of `cutter` has all of `piece` on its outer side.
fn misses(piece: &[Corner], cutter: &[Corner]) -> bool {
    cutter.iter().enumerate().any(|(index, &a)| {
        let b = cutter[(index + 1) % cutter.len()];
        piece.iter().all(|&p| side(a, b, p) <= 0.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn square(x: f64, y: f64, size: f64) -> Vec<Corner> {
        vec![[x, y], [x + size, y], [x + size, y + size], [x, y + size]]
    }

    fn left_over(cutters: &[Vec<Corner>]) -> f64 {
        let whole = vec![square(0.0, 0.0, 1.0)];
        let rest = cutters.iter().fold(whole, |rest, cutter| take_away(rest, cutter, 0.0));
        rest.iter().map(|piece| area(piece)).sum()
    }

    #[test]
    fn areas_of_what_is_left() {
        near(left_over(&[square(0.25, 0.25, 0.5)]), 0.75, 1e-15);
        near(left_over(&[square(0.25, 0.25, 0.5), square(0.5, 0.5, 0.5)]), 1.0 - 0.5 + 0.0625, 1e-15);
        near(left_over(&[square(-1.0, -1.0, 3.0)]), 0.0, 0.0);
        near(left_over(&[square(1.0, 0.0, 1.0)]), 1.0, 0.0);
        near(left_over(&[vec![[0.5, 0.0], [1.0, 0.5], [0.5, 1.0], [0.0, 0.5]]]), 0.5, 1e-15);
    }
}
