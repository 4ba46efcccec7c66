//! The sheet that one person takes home from a day: an A5 page with own figures and nobody else's, to be signed.

use super::measure::Units;
use super::{Sort, document, table, words};
use crate::view::{clock_time, stopwatch, word};
use firnbook_core::insight::sheets::Sheet;
use maud::{Markup, html};

const SHEET: Sort = Sort { style: include_str!("sheet.css"), script: false };

/// The sheet.
#[must_use]
pub fn page(sheet: &Sheet, units: Units) -> String {
    let title = words::sheet_title(&sheet.call_sign, sheet.date, &sheet.area);
    let body = html! {
        header {
            h1 { (sheet.call_sign) }
            p { (sheet.date) ", " (sheet.area) @if let Some(team) = &sheet.team { ", " (words::team(team)) } }
            @if sheet.joined_at.is_some() || sheet.left_at.is_some() {
                p { (words::present(sheet.joined_at, sheet.left_at, sheet.hours)) }
            }
        }
        main {
            (roles(sheet))
            (part(words::SHEET_TIMES, &words::SHEET_HEADS, &times(sheet)))
            (part(words::SHEET_STRIKES, &words::SHEET_STRIKE_HEADS, &strikes(sheet, units)))
            (part(words::SHEET_TURNS, &words::SHEET_TURN_HEADS, &turns(sheet)))
            (part(words::SHEET_WALKS, &words::SHEET_WALK_HEADS, &walks(sheet, units)))
            (checks(sheet, units))
            @if !sheet.feedback.is_empty() {
                section aria-labelledby="feedback" {
                    h2 id="feedback" { (words::SHEET_FEEDBACK) }
                    ul { @for note in &sheet.feedback { li { bdi { (note.text) } " " small { (words::noted(&note.by, note.at, note.drill.as_deref(), note.target.as_deref())) } } } }
                }
            }
        }
        footer {
            p.signature { (words::SIGNATURE) }
            @for caution in &sheet.cautions { p.caution { (caution) } }
        }
    };
    document(&title, &SHEET, &body)
}

fn roles(sheet: &Sheet) -> Markup {
    let roles: Vec<String> =
        sheet.roles.iter().map(|r| words::role(&word(&r.role), r.drill.as_deref())).collect();
    html! { @if !roles.is_empty() { p { b { (words::SHEET_ROLES) } ": " (roles.join("; ")) } } }
}

fn part(name: &str, heads: &[&str], rows: &[Vec<String>]) -> Markup {
    html! { @if !rows.is_empty() { section { h2 { (name) } (table(name, heads, rows)) } } }
}

fn run(drill: &str, target: Option<&str>) -> String {
    words::run(drill, target.unwrap_or_default())
}

fn times(sheet: &Sheet) -> Vec<Vec<String>> {
    let row = |t: &firnbook_core::insight::sheets::OwnTime| {
        vec![run(&t.drill, t.target.as_deref()), words::step(t.step), stopwatch(t.t_s)]
    };
    sheet.times.iter().map(row).collect()
}

fn strikes(sheet: &Sheet, units: Units) -> Vec<Vec<String>> {
    let depth = |cm: Option<f64>| cm.map_or_else(|| words::NONE.to_owned(), |cm| units.depth(cm));
    let row = |s: &firnbook_core::insight::sheets::OwnStrike| {
        vec![
            run(&s.drill, Some(&s.target)),
            stopwatch(s.strike.t_s),
            s.strike.outcome.map_or_else(|| words::NONE.to_owned(), |o| word(&o)),
            depth(s.strike.depth_cm),
            depth(s.strike.from_mark_cm),
        ]
    };
    sheet.strikes.iter().map(row).collect()
}

fn turns(sheet: &Sheet) -> Vec<Vec<String>> {
    let time = |s: f64| stopwatch(Some(s));
    let row = |t: &firnbook_core::insight::sheets::OwnTurns| {
        let t = (&t.drill, &t.turns);
        vec![
            words::drill(t.0),
            time(t.1.work_s),
            time(t.1.head_s),
            t.1.turns.to_string(),
            time(t.1.longest_turn_s),
        ]
    };
    sheet.turns.iter().map(row).collect()
}

fn walks(sheet: &Sheet, units: Units) -> Vec<Vec<String>> {
    let row = |w: &firnbook_core::insight::sheets::OwnWalk| {
        let ratio = w.walk.path_over_straight.map_or_else(|| words::NONE.to_owned(), |r| format!("{r:.2}"));
        vec![words::drill(&w.drill), units.distance(w.walk.path_m), ratio]
    };
    sheet.walks.iter().map(row).collect()
}

fn checks(sheet: &Sheet, units: Units) -> Markup {
    html! {
        @if !sheet.checks.is_empty() {
            section {
                h2 { (words::SHEET_CHECKS) }
                ul {
                    @for check in &sheet.checks {
                        li {
                            (clock_time(check.at)) ": "
                            @let failed = check.failed.iter().map(|p| words::failed(&word(p), check.fault.as_deref(), false));
                            @let not_tested = check.not_tested.iter().map(|p| words::not_tested(&word(p)));
                            @let found: Vec<String> = failed.chain(not_tested).collect();
                            @if found.is_empty() { (words::IN_ORDER) } @else { (found.join(", ")) }
                            @if let Some(pct) = check.battery_pct { ", " (words::battery(pct)) }
                            @if let Some(cm) = check.nearest_electronics_cm { ", " (words::nearest_electronics(cm, units)) }
                        }
                    }
                }
            }
        }
    }
}
