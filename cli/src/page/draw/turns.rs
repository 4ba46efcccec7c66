//! Turns at the shovels of one hole: a row a person, dark at the head and hatched behind, with stretches in which nobody was at the head.

use super::{Scale, WIDTH, axis_below, drawing, p};
use crate::page::words;
use crate::view::{shortened, stopwatch};
use firnbook_core::insight::digging::Head;
use maud::{Markup, html};

const ROW: f64 = 22.0;
const LEFT: f64 = 96.0;

/// The hole; `None` where no turn has a length.
pub(in crate::page) fn draw(head: &Head, interval_s: Option<f64>, says: &str) -> Option<Markup> {
    let ends = head.turns.iter().filter_map(|t| Some((t.from_s, t.to_s?)));
    let (from, to) = ends.fold((f64::INFINITY, 0.0_f64), |(a, b), (from, to)| (a.min(from), b.max(to)));
    if from >= to {
        return None;
    }
    let people = people(head);
    let scale = Scale::new(from, to, [LEFT, WIDTH - 14.0]);
    let bottom = 26.0 + ROW * people.len() as f64;
    let ticks: Vec<(f64, String)> =
        scale.time_ticks(6).into_iter().map(|t| (t, stopwatch(Some(t)))).collect();
    let bar = |(from, to): (f64, f64), y: f64| {
        let (x, w) = (scale.at(from).round(), (scale.at(to) - scale.at(from)).round().max(1.0));
        format!("M{x} {y}h{w}v13h-{w}z")
    };
    let bars = |of: fn(&Digger) -> &[(f64, f64)]| {
        let row = |(i, digger)| (22.0 + ROW * i as f64, of(digger));
        people
            .iter()
            .enumerate()
            .map(row)
            .flat_map(|(y, spans)| spans.iter().map(move |s| bar(*s, y)))
            .collect::<String>()
    };
    let inside = html! {
        (axis_below(scale, bottom, 18.0, &ticks, words::FROM_START))
        @for gap in &head.gaps {
            path.alarm d=(format!("M{} 4v10m0-5H{}m0-5v10", p(scale.at(gap.from_s)), p(scale.at(gap.to_s)))) {
                title { (words::nobody_at_the_head(gap.from_s, gap.to_s)) }
            }
        }
        path.f6 d=(bars(|d| &d.behind)) {}
        path.f5 d=(bars(|d| &d.front)) {}
        @for (i, person) in people.iter().enumerate() {
            @let y = 22.0 + ROW * i as f64;
            text.name x="0" y=(p(y + 12.0)) { (shortened(&person.name, 11)) }
            @if let Some(most) = interval_s {
                @for span in person.front.iter().filter(|(a, b)| b - a > most) {
                    text.over x=(p(scale.at(span.1) - 4.0)) y=(p(y + 12.0)) { "!" }
                }
            }
        }
        use href="#key-turns" y=(p(bottom + 52.0)) {}
    };
    Some(drawing(bottom + 62.0, says, &inside))
}

/// What the bars mean, once a page.
pub(super) fn key() -> Markup {
    html! {
        g id="key-turns" {
            rect.f5 x="0.5" y="-11" width="20" height="13" {}
            text x="26" y="0" { (words::AT_THE_HEAD) }
            rect.f6 x="116.5" y="-11" width="20" height="13" {}
            text x="142" y="0" { (words::BEHIND) }
            path.alarm d="M216-10v10m0-5h20m0-5v10" {}
            text x="244" y="0" { (words::NOBODY) }
        }
    }
}

/// What one person did at a hole, spans in s from start.
struct Digger {
    name: String,
    front: Vec<(f64, f64)>,
    behind: Vec<(f64, f64)>,
}

/// Everyone with a turn of known length, in the order of their first.
fn people(head: &Head) -> Vec<Digger> {
    let mut people: Vec<Digger> = Vec::new();
    let mut slot = |name: &str| -> usize {
        people.iter().position(|d| d.name == name).unwrap_or_else(|| {
            people.push(Digger { name: name.to_owned(), front: Vec::new(), behind: Vec::new() });
            people.len() - 1
        })
    };
    let mut spans: Vec<(usize, bool, (f64, f64))> = Vec::new();
    for turn in &head.turns {
        let Some(to) = turn.to_s else { continue };
        let span = (turn.from_s, to);
        spans.extend(turn.front.as_deref().map(|who| (slot(who), true, span)));
        spans.extend(turn.shovellers.iter().map(|who| (slot(who), false, span)));
    }
    for (who, front, span) in spans {
        let digger = &mut people[who];
        if front { digger.front.push(span) } else { digger.behind.push(span) }
    }
    people
}
