//! How the field of a drill was searched and probed, in the terminal: coverage with its gaps, each way, each pass of a probe line.

use super::{counted, number, stopwatch};
use firnbook_core::field::probing::Body;
use firnbook_core::insight::probing::Pass;
use firnbook_core::insight::search::Search;

/// The ways that searchers took and what of the field they covered; empty where nothing of it was written.
#[must_use]
pub fn search(search: &Search, columns: usize) -> String {
    if search.walks.is_empty() {
        return String::new();
    }
    let mut text = String::new();
    match (search.coverage, &search.coverage_why) {
        (Some(share), _) => {
            let mut says = format!(
                "searched: {} % of {} m2, {} m to each side of {}",
                number(share * 100.0),
                number(search.field_m2.unwrap_or_default()),
                number(search.strip_width_m / 2.0),
                counted(search.walks.len(), "way", "ways")
            );
            if !search.gaps.is_empty() {
                let gaps: Vec<String> = search.gaps.iter().take(3).map(|g| gap(&g.ring, g.area_m2)).collect();
                let more = search.gaps.len() - gaps.len();
                let more = if more > 0 { format!(" and {more} smaller") } else { String::new() };
                says.push_str(&format!(
                    "; {}: {}{more}",
                    counted(search.gaps.len(), "gap", "gaps"),
                    gaps.join(", ")
                ));
            }
            text.push_str(&line(&says, columns));
        }
        (None, Some(why)) => text.push_str(&line(&format!("searched: unknown, {why}"), columns)),
        (None, None) => {}
    }
    for walk in &search.walks {
        let straight =
            walk.path_over_straight.map(|r| format!(", {r:.2} times the straight line")).unwrap_or_default();
        let says = format!(
            "{} walked {} m from {} to {}{straight}",
            walk.call_sign,
            number(walk.path_m),
            stopwatch(Some(walk.from_s)),
            stopwatch(Some(walk.to_s))
        );
        text.push_str(&line(&says, columns));
    }
    text
}

/// A gap by its area and the corner of the grid that it reaches from and to.
fn gap(ring: &[[f64; 2]], area_m2: f64) -> String {
    let reach = |axis: usize| {
        let values = ring.iter().map(|p| p[axis]);
        let (low, high) =
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        format!("{} to {}", number(low), number(high))
    };
    format!("{} m2 at x {} m, y {} m", number(area_m2), reach(0), reach(1))
}

/// The passes of probe lines, each with its chance to strike stated bodies.
#[must_use]
pub fn probing(passes: &[Pass], columns: usize) -> String {
    let mut text = String::new();
    for pass in passes {
        let mut parts = vec![format!(
            "probed {} x {} cm (across x along)",
            number(pass.across_cm),
            number(pass.along_cm)
        )];
        parts.extend(pass.area_m2.map(|a| format!("{} m2", number(a))));
        parts.extend(pass.depth_cm.map(|d| format!("to {} cm", number(d))));
        parts.extend(pass.holes.map(|h| match pass.holes_by_spacing {
            Some(by) => format!("{h} holes (the spacing takes {})", number(by)),
            None => format!("{h} holes"),
        }));
        parts.extend(
            pass.seconds_a_hole.map(|s| format!("{} s a hole for each prober (modelled)", number(s))),
        );
        text.push_str(&line(&parts.join("; "), columns));
        let chances: Vec<String> = pass
            .bodies
            .iter()
            .filter_map(|pod| {
                let Body::Rectangle { length_cm, width_cm } = pod.body else { return None };
                let chance = number(pod.any_orientation * 100.0);
                Some(format!("{} x {} cm {chance} %", number(length_cm), number(width_cm)))
            })
            .collect();
        if !chances.is_empty() {
            let says =
                format!("chance to strike a body lying at any angle: {} (at best)", chances.join(", "));
            text.push_str(&line(&says, columns));
        }
    }
    text
}

fn line(says: &str, columns: usize) -> String {
    let options = textwrap::Options::new(columns).initial_indent("  ").subsequent_indent("    ");
    format!("{}\n", textwrap::fill(says, options))
}
