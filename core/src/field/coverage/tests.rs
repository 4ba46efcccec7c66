//! Areas that are known, and ways that bundles and squares must not change.

use std::f64::consts::PI;

use super::*;
use crate::field::tests::near;

fn searched(outline: &Outline, tracks: &[Vec<[f64; 2]>], strip_width_m: f64) -> Coverage {
    coverage(outline, tracks, strip_width_m).unwrap()
}

fn field() -> Outline {
    Outline::rectangle(300.0, 400.0).unwrap()
}

/// Numbers between 0 and 1 by a linear congruence, the same ones for a seed.
fn chances(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    }
}

#[test]
fn nothing_walked_is_one_gap() {
    let none = searched(&field(), &[], 40.0);
    assert_eq!((none.share, none.gaps.len()), (0.0, 1));
    near(none.gaps[0].area_m2, 120_000.0, 1e-3);
    assert_eq!(none.gaps[0].ring.len(), 4);
}

#[test]
fn a_point_and_a_way_have_exact_areas() {
    let still = searched(&field(), &[vec![[150.0, 200.0]]], 40.0);
    near(still.covered_m2, 400.0 * PI, 1e-3);
    assert_eq!((still.gaps.len(), still.gaps[0].holes.len()), (1, 1));
    let way = searched(&field(), &[vec![[150.0, 100.0], [150.0, 300.0], [150.0, 100.0]]], 40.0);
    near(way.covered_m2, 200.0 * 40.0 + 400.0 * PI, 1e-3);
    let through = searched(&field(), &vec![vec![[150.0, -50.0], [150.0, 450.0]]; 3], 40.0);
    near(through.covered_m2, 16_000.0, 1e-3);
    near(through.gaps.iter().map(|gap| gap.area_m2).sum(), 104_000.0, 0.1);
    assert_eq!(through.gaps.len(), 2);
}

#[test]
fn lanes_cover_all() {
    let lanes: Vec<Vec<[f64; 2]>> =
        [20.0, 60.0, 100.0, 140.0, 180.0, 220.0, 260.0, 280.0].map(|x| vec![[x, 0.0], [x, 400.0]]).to_vec();
    let all = searched(&field(), &lanes, 40.0);
    near(all.share, 1.0, 1e-9);
    assert!(all.gaps.is_empty());
}

#[test]
fn steps_in_bundles_search_what_they_search_one_by_one() {
    let mut chance = chances(11);
    // Five points a second at walking pace, each read with noise; now and then the receiver loses 30 m of the way.
    let mut way = |x: f64| {
        let (mut y, mut heading) = (0.0, 1.5);
        let point = |n: usize| {
            heading += 0.15 * (chance() - 0.5);
            y += if n % 211 == 210 { 30.0 } else { 0.25 * f64::sin(heading) };
            [x + 6.0 * f64::cos(heading) + 0.3 * (chance() - 0.5), y + 0.3 * (chance() - 0.5)]
        };
        (0..700).map(point).collect::<Vec<_>>()
    };
    let tracks: Vec<Vec<[f64; 2]>> = [40.0, 75.0, 130.0, 210.0].map(&mut way).to_vec();
    let field = field();
    for strip_width_m in [20.0, 40.0] {
        let (mut one_by_one, root, edges) = ground(&field, &tracks, strip_width_m);
        assert!(bundles(&one_by_one.swaths, 0.5 * strip_width_m).len() < one_by_one.swaths.len() / 2);
        let all: Vec<u32> = (0..one_by_one.swaths.len() as u32).collect();
        one_by_one.search(root, &all, &edges);
        let bundled = searched_ground(&field, &tracks, strip_width_m);
        near(bundled.bare_m2, one_by_one.bare_m2, 1e-3);
        assert!(bundled.bare_m2 > 10_000.0 && bundled.bare_m2 < 119_000.0);
    }
}

#[test]
fn gaps_joined_along_their_edge_are_those_of_the_squares() {
    let mut chance = chances(7);
    for strip_width_m in [6.0, 15.0] {
        let mut way = || {
            let (mut at, mut heading) = ([300.0 * chance(), 400.0 * chance()], 6.3 * chance());
            let step = |_| {
                heading += chance() - 0.5;
                at = [at[0] + 3.0 * f64::cos(heading), at[1] + 3.0 * f64::sin(heading)];
                at
            };
            (0..200).map(step).collect::<Vec<_>>()
        };
        let tracks: Vec<Vec<[f64; 2]>> = (0..8).map(|_| way()).collect();
        let field = field();
        let ground = searched_ground(&field, &tracks, strip_width_m);
        let joined = gaps(&joined(&ground.edge, ground.bare_m2).unwrap());
        let united = gaps(&unary_union(&ground.bare));
        assert!(joined.len() > 5 && joined.len() == united.len());
        for (one, other) in joined.iter().zip(&united) {
            near(one.area_m2, other.area_m2, 0.1);
            assert_eq!(one.holes.len(), other.holes.len());
        }
        near(joined.iter().map(|gap| gap.area_m2).sum(), ground.bare_m2, 20.0);
    }
}

#[test]
fn an_outline_with_a_hole_loses_what_lies_in_it() {
    let ring = [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]];
    let hole = vec![[40.0, 40.0], [60.0, 40.0], [60.0, 60.0], [40.0, 60.0]];
    let outline = Outline::new(&ring, &[hole]).unwrap();
    let across = searched(&outline, &[vec![[-50.0, 50.0], [150.0, 50.0]]], 10.0);
    near(across.covered_m2, 80.0 * 10.0, 1e-3);
    near(across.outline_m2, 9_600.0, 1e-9);
    assert_eq!(across.gaps.len(), 2);
}

#[test]
fn straightness_of_a_path() {
    assert_eq!(path_efficiency(&[[0.0, 0.0], [3.0, 4.0]]), Ok(Some(1.0)));
    near(path_efficiency(&[[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]]).unwrap().unwrap(), 1.4, 1e-12);
    assert_eq!(path_efficiency(&[[0.0, 0.0], [3.0, 0.0], [0.0, 0.0]]), Ok(None));
    assert_eq!(path_efficiency(&[]), Ok(None));
    assert!(path_efficiency(&[[f64::NAN, 0.0]]).is_err());
}

#[test]
fn refuses_what_has_no_meaning() {
    assert!(coverage(&field(), &[], 0.0).is_err());
    assert!(coverage(&field(), &[vec![[f64::INFINITY, 0.0]]], 40.0).is_err());
}
