//! One drill on a day's page: its time line, what is known of each target, how the field was walked and probed, who dug.

use super::day::{Day, Detail};
use super::draw::{
    self,
    timeline::{Bar, Mark},
};
use super::figure::Figure;
use super::{longest, table, words};
use crate::view::{number, stopwatch};
use firnbook_core::field::probing::Body;
use firnbook_core::insight::debrief::{DrillAnswer, TargetAnswer};
use firnbook_core::insight::digging::Head;
use firnbook_core::insight::site::Site;
use firnbook_core::insight::slowest::Phase;
use maud::{Markup, html};

/// The section; `n` is its number on the page.
pub(super) fn section(
    day: &Day<'_>,
    detail: Detail,
    n: usize,
    drill: &DrillAnswer,
    site: Option<&Site>,
) -> Markup {
    let id = format!("drill-{n}");
    html! {
        section.drill id=(id) aria-labelledby=(format!("{id}-name")) data-name=(words::drill(&drill.label)) {
            h2 id=(format!("{id}-name")) { (words::drill(&drill.label)) }
            p.facts { (facts(drill).join(" · ")) }
            (timeline(day, drill))
            ul.findings { @for target in &drill.targets { (finding(day, target)) } }
            (several(drill))
            @if detail >= Detail::Sums {
                @if let Some(site) = site { (plan(day, drill, site)) }
                (walks(day, drill))
                (probing(day, drill))
            }
            (digging(day, detail, drill))
        }
    }
}

fn facts(drill: &DrillAnswer) -> Vec<String> {
    let mut facts = Vec::new();
    facts.extend(drill.form.map(words::form));
    facts.extend(drill.team.as_deref().map(words::team));
    facts.extend(drill.slope_deg.map(words::slope));
    facts.extend(drill.limit_s.map(words::limit));
    facts.extend(drill.started_at.map(words::started));
    facts.extend(drill.ended.map(|e| words::ended(e.t_s, e.why)));
    facts
}

fn timeline(day: &Day<'_>, drill: &DrillAnswer) -> Markup {
    let title = words::timeline(&drill.label);
    let heads = words::STEP_HEADS;
    let table = table(&title, &heads, &step_rows(drill));
    let longest = longest::of_drill(drill);
    let bars: Vec<Bar> = drill
        .targets
        .iter()
        .enumerate()
        .map(|(i, target)| bar(target, longest.filter(|(of, _)| *of == i).map(|(_, phase)| phase)))
        .collect();
    let shown_until =
        bars.iter().flat_map(|b| b.ends_s.into_iter().chain([b.ended_s])).flatten().fold(0.0, f64::max);
    let reference = day.debrief.reference.as_ref();
    let mut marks: Vec<Mark> =
        drill.limit_s.map(|t_s| Mark { t_s, says: words::limit(t_s) }).into_iter().collect();
    if let Some(reference) = reference {
        // A mark far beyond the runs would squeeze them; those within half as much again are drawn, all are named below.
        let near = reference.marks.iter().filter(|m| m.t_s <= 1.5 * shown_until);
        marks.extend(
            near.map(|m| Mark { t_s: m.t_s, says: words::reference_mark(&reference.curve, m.alive_pct) }),
        );
    }
    let says = says(drill);
    let Some(drawing) = draw::timeline::draw(&bars, &marks, &says) else {
        return html! {};
    };
    let mut remarks = Vec::new();
    let times = || drill.targets.iter().map(|t| &t.times);
    remarks.extend(times().filter_map(|t| t.uncertainty_s).reduce(f64::max).map(words::uncertainty));
    if times().all(|t| t.uncertainty_s.is_none()) {
        remarks.extend(times().find_map(|t| t.uncertainty_why.as_deref()).map(words::uncertainty_unknown));
    }
    remarks
        .extend(times().filter_map(|t| t.spread_s).filter(|s| *s > 0.0).reduce(f64::max).map(words::spread));
    remarks.extend(times().map(|t| t.paused_s).filter(|s| *s > 0.0).reduce(f64::max).map(words::paused));
    remarks.extend(reference.map(words::reference));
    Figure { title, remarks, drawing, table }.with_open_table()
}

fn bar(target: &TargetAnswer, longest: Option<Phase>) -> Bar {
    let t = &target.times;
    Bar {
        name: t.label.clone(),
        ends_s: [t.t_signal_s, t.t_coarse_s, t.t_fine_s, t.t_strike_s, t.t_airway_s],
        uncertainty_s: t.uncertainty_s,
        ended_s: t.ended.and_then(|e| e.t_s),
        longest,
    }
}

/// The time line in words.
fn says(drill: &DrillAnswer) -> String {
    let run = |t: &TargetAnswer| {
        let (name, times) = (words::target(&t.times.label), &t.times);
        let steps = words::STEP_HEADS[1..].iter().zip([
            times.t_signal_s,
            times.t_coarse_s,
            times.t_fine_s,
            times.t_probing_s,
            times.t_strike_s,
            times.t_digging_s,
            times.t_airway_s,
        ]);
        let told: Vec<String> =
            steps.filter_map(|(step, at)| Some(format!("{step} {}", stopwatch(Some(at?))))).collect();
        format!("{name}: {}", told.join(", "))
    };
    drill.targets.iter().map(run).collect::<Vec<_>>().join(". ")
}

fn step_rows(drill: &DrillAnswer) -> Vec<Vec<String>> {
    let row = |target: &TargetAnswer| {
        let t = &target.times;
        let seconds =
            |s: Option<f64>, none: &str| s.map_or_else(|| none.to_owned(), |s| format!("{} s", number(s)));
        let mut row = vec![words::target(&t.label)];
        row.extend(
            [
                t.t_signal_s,
                t.t_coarse_s,
                t.t_fine_s,
                t.t_probing_s,
                t.t_strike_s,
                t.t_digging_s,
                t.t_airway_s,
                t.t_extricated_s,
            ]
            .map(stopwatch),
        );
        row.push(seconds(t.uncertainty_s, words::UNKNOWN));
        row.push(seconds(t.spread_s, words::NONE));
        row
    };
    drill.targets.iter().map(row).collect()
}

fn finding(day: &Day<'_>, target: &TargetAnswer) -> Markup {
    let mut parts = words::depth(&target.depth, day.units);
    parts.extend(target.reading_ratio.map(words::ratio));
    let holes: Vec<u32> = target.strikes.iter().filter_map(|s| s.holes).collect();
    if !holes.is_empty() {
        parts.push(words::holes(&holes));
    }
    parts
        .extend(target.strikes.iter().find_map(|s| s.from_mark_cm).map(|cm| words::from_mark(cm, day.units)));
    parts.extend(target.slowest.as_ref().map(words::slowest));
    html! {
        @if !parts.is_empty() { li { b { (words::target(&target.times.label)) } ": " (parts.join("; ")) } }
    }
}

fn several(drill: &DrillAnswer) -> Markup {
    let Some(several) = &drill.several else { return html! {} };
    let order: Vec<&str> =
        several.order.iter().filter(|o| o.t_strike_s.is_some()).map(|o| o.target.as_str()).collect();
    let mut lines = Vec::new();
    if !order.is_empty() {
        lines.push(words::found_in_order(&order));
    }
    let sending = several.order.iter().filter(|o| o.silenced_before_next == Some(false));
    lines.extend(sending.map(|o| words::still_sending(&o.target)));
    lines.extend(
        several.led_to_one.iter().map(|l| words::led_to_one(&l.people, &l.target, l.since_s, &l.unattended)),
    );
    if !several.not_written_of.is_empty() {
        lines.push(words::not_written_of(&several.not_written_of));
    }
    html! {
        @if !lines.is_empty() {
            h3 { (words::SEVERAL) }
            ul { @for line in &lines { li { (line) } } }
        }
    }
}

fn plan(day: &Day<'_>, drill: &DrillAnswer, site: &Site) -> Markup {
    let (units, search) = (day.units, &drill.search);
    let title = words::site(&drill.label);
    let covered = match (search.coverage, &search.coverage_why) {
        (Some(share), _) => {
            let field = words::area(units, search.field_m2.unwrap_or_default());
            words::coverage(share, &field, search.gaps.len())
        }
        (None, Some(why)) => words::coverage_unknown(why),
        (None, None) => String::new(),
    };
    let says = format!("{title}. {covered}");
    let Some(drawing) = draw::site::draw(site, &search.gaps, units, &says) else { return html! {} };
    let row = |what: String, at: [f64; 2]| vec![what, units.distance(at[0]), units.distance(at[1])];
    let mut rows: Vec<Vec<String>> =
        site.targets.iter().map(|t| row(words::target(&t.label), t.at_m)).collect();
    rows.extend(site.strikes.iter().map(|s| row(words::strike_at(s.target.as_deref(), s.outcome), s.at_m)));
    rows.extend(site.outline_m.iter().enumerate().map(|(i, at)| row(words::corner(i + 1), *at)));
    let table = table(&title, &words::SITE_HEADS, &rows);
    let mut remarks = vec![covered];
    if !site.tracks.is_empty() {
        remarks.push(words::site_lines(&units.distance(search.strip_width_m)));
    }
    Figure { title, remarks, drawing, table }.show()
}

fn walks(day: &Day<'_>, drill: &DrillAnswer) -> Markup {
    let walks = &drill.search.walks;
    let row = |w: &firnbook_core::insight::search::WalkLine| {
        vec![
            w.call_sign.clone(),
            stopwatch(Some(w.from_s)),
            stopwatch(Some(w.to_s)),
            day.units.distance(w.path_m),
            w.path_over_straight.map_or_else(|| words::NONE.to_owned(), |r| format!("{r:.2}")),
        ]
    };
    let title = words::walks(&drill.label);
    html! {
        @if !walks.is_empty() {
            h3 { (title) }
            (table(&title, &words::WALK_HEADS, &walks.iter().map(row).collect::<Vec<_>>()))
        }
    }
}

fn probing(day: &Day<'_>, drill: &DrillAnswer) -> Markup {
    let units = day.units;
    let rows: Vec<Vec<String>> = drill
        .probing
        .iter()
        .map(|pass| {
            let chances: Vec<String> = pass
                .bodies
                .iter()
                .filter_map(|b| {
                    let Body::Rectangle { length_cm, width_cm } = b.body else { return None };
                    Some(words::chance(length_cm, width_cm, b.any_orientation, units))
                })
                .collect();
            vec![
                words::spacing(pass.across_cm, pass.along_cm, units),
                pass.holes.map_or_else(|| words::NONE.to_owned(), |h| h.to_string()),
                pass.area_m2.map_or_else(|| words::NONE.to_owned(), |a| words::area(units, a)),
                chances.join(", "),
            ]
        })
        .collect();
    html! {
        @if !rows.is_empty() { h3 { (words::PROBE_LINE) } (table(words::PROBE_LINE, &words::PASS_HEADS, &rows)) }
    }
}

fn digging(day: &Day<'_>, detail: Detail, drill: &DrillAnswer) -> Markup {
    let digging = &drill.digging;
    if digging.people.is_empty() {
        return html! {};
    }
    let interval_s = day.debrief.made.settings.get("rotation_interval_s").copied();
    let rows: Vec<Vec<String>> = digging
        .people
        .iter()
        .map(|d| {
            let time = |s: f64| stopwatch(Some(s));
            vec![
                d.call_sign.clone(),
                time(d.work_s),
                time(d.head_s),
                d.turns.to_string(),
                time(d.longest_turn_s),
            ]
        })
        .collect();
    let title = words::work(&drill.label);
    html! {
        @if detail >= Detail::All { @for head in &digging.heads { (hole(drill, head, interval_s)) } }
        h3 { (title) }
        (table(&title, &words::DIGGER_HEADS, &rows))
        @if let Some(share) = digging.idle_share { p.remark { (words::idle(share)) } }
    }
}

fn hole(drill: &DrillAnswer, head: &Head, interval_s: Option<f64>) -> Markup {
    let title = words::turns(&drill.label, &head.target);
    let says = words::turns_say(head.turns.len(), head.people);
    let Some(drawing) = draw::turns::draw(head, interval_s, &format!("{title}. {says}")) else {
        return html! {};
    };
    let rows: Vec<Vec<String>> = head
        .turns
        .iter()
        .map(|t| {
            vec![
                t.front.clone().unwrap_or_else(|| words::UNKNOWN.to_owned()),
                stopwatch(Some(t.from_s)),
                stopwatch(t.to_s),
                stopwatch(t.to_s.map(|to| to - t.from_s)),
                t.shovellers.join(", "),
            ]
        })
        .collect();
    let table = table(&title, &words::TURN_HEADS, &rows);
    let mut remarks = vec![says.clone()];
    if let Some(interval_s) = interval_s.filter(|_| head.overdue > 0) {
        remarks.push(words::overdue(head.overdue, interval_s));
    }
    remarks.extend(head.snow.as_ref().map(|s| words::snow(s.snow_kg, s.kg_per_s, s.assumed)));
    Figure { title, remarks, drawing, table }.show()
}
