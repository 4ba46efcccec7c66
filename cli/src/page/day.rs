//! The page of a day: its debrief in the order in which a team should hear it, kit in the snow and what took longest first.

use super::draw::{self, patterns, readings::Point};
use super::figure::Figure;
use super::measure::Units;
use super::{SCREEN, document, drill, foot, longest, table, words};
use crate::view::{number, word};
use firnbook_core::entry::Topic;
use firnbook_core::insight::debrief::Debrief;
use firnbook_core::insight::notes::NoteLine;
use firnbook_core::insight::season::depth::{DepthFigures, DepthStats};
use firnbook_core::insight::site::Site;
use firnbook_core::review::Item;
use maud::{Markup, html};

/// What a day's page is made from.
pub struct Day<'a> {
    /// The answers of the day.
    pub debrief: &'a Debrief,
    /// The sites of its drills, in the same order.
    pub sites: &'a [Site],
    /// The depths of its targets; `None` where the page is of one drill.
    pub depths: Option<&'a DepthStats>,
    /// The units to show.
    pub units: Units,
}

/// What a page is kept below, bytes: it is handed from phone to phone.
const LARGEST: usize = 1_000_000;

/// The page; of a day with more turns and walks than a page can carry, with less of them in each drill, which it says.
#[must_use]
pub fn page(day: &Day<'_>) -> String {
    let at = |detail| page_with(day, detail);
    let fits = |page: &String| page.len() < LARGEST;
    let more = [Detail::All, Detail::Sums].into_iter().map(at).find(fits);
    more.unwrap_or_else(|| at(Detail::Times))
}

/// How much of each drill stands on a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Detail {
    /// The time of each step and what was found.
    Times,
    /// The drawings too, and what each person's turns and walks sum to.
    Sums,
    /// Each turn too.
    All,
}

fn page_with(day: &Day<'_>, detail: Detail) -> String {
    let debrief = day.debrief;
    let title = words::day_title(debrief.date, &debrief.area);
    let only = debrief.made.filters.get("drill");
    let body = html! {
        a.skip href="#content" { (words::TO_CONTENT) }
        (patterns())
        header {
            h1 { (title) }
            @if let Some(drill) = only { p { (words::only_drill(drill)) } }
        }
        main id="content" data-all=(words::ALL_DRILLS) data-show=(words::SHOW_ONLY) data-point=(words::POINT) {
            div.first { (snow(day)) (longest::panel(debrief)) }
            div.first { (safety(debrief)) }
            (contents(debrief))
            @if let Some(says) = words::less_than_all(detail) { p.remark { (says) } }
            @for (n, answer) in debrief.drills.iter().enumerate() {
                (drill::section(day, detail, n, answer, day.sites.iter().find(|s| s.drill == answer.label)))
            }
            @if let Some(depths) = day.depths { (depths_of_the_day(day, &depths.figures)) }
            (checks(day))
            (interference(day))
            (missing(debrief))
            (to_settle(debrief))
            (notes(&debrief.notes))
            (clocks(debrief))
        }
        (foot(&debrief.left_out, debrief.assumed_twins, &debrief.cautions, &debrief.made))
    };
    document(&title, &SCREEN, &body)
}

fn snow(day: &Day<'_>) -> Markup {
    let out = &day.debrief.kit_out;
    html! {
        section.panel.out[!out.is_empty()] aria-labelledby="snow" {
            h2 id="snow" { (words::STILL_IN_THE_SNOW) }
            p.big { b { @if out.is_empty() { (words::NOTHING_KNOWN_OUT) } @else { (words::pieces(out.len())) } } }
            ul {
                @for item in out {
                    li { b { (words::kit_name(item)) } " " (words::kit_place(item, day.units)) br; small { (words::kit_since(item)) } }
                }
            }
            p { (day.debrief.kit_says) }
        }
    }
}

fn safety(debrief: &Debrief) -> Markup {
    let awaited: Vec<String> = debrief
        .awaited
        .iter()
        .map(|a| words::awaited(a.call_sign.as_deref(), a.device.map(|d| d.to_string()), a.last_at))
        .collect();
    html! {
        @if !debrief.safety.is_empty() {
            section.alarm-box aria-labelledby="safety" {
                h2 id="safety" { (words::SAFETY) }
                ul { @for note in &debrief.safety { (note_line(note)) } }
            }
        }
        @if !awaited.is_empty() {
            section.alarm-box aria-labelledby="awaited" {
                h2 id="awaited" { (words::NOT_HANDED_IN) }
                p.names { (awaited.join(", ")) }
            }
        }
    }
}

/// Links to the drills, by the numbers of their sections.
fn contents(debrief: &Debrief) -> Markup {
    html! {
        @if !debrief.drills.is_empty() {
            nav aria-label=(words::ON_THIS_PAGE) {
                ul {
                    @for (n, answer) in debrief.drills.iter().enumerate() {
                        li { a href=(format!("#drill-{n}")) { (words::drill(&answer.label)) } }
                    }
                }
            }
        }
    }
}

fn depths_of_the_day(day: &Day<'_>, figures: &DepthFigures) -> Markup {
    let drawn = depth_figure(figures, day.units);
    let points: Vec<Point> = day
        .debrief
        .drills
        .iter()
        .flat_map(|d| d.targets.iter().map(move |t| (d, t)))
        .filter_map(|(d, t)| {
            let reading = t.depth.reading?;
            // Reading over depth is what core worked out from the slope-normal depth: no other depth is compared.
            let depth_cm = 100.0 * reading.median_m / reading.ratio.filter(|r| *r > 0.0)?;
            let name = words::run(&d.label, &t.times.label);
            let short = format!("{} {}", d.label, t.times.label);
            Some(Point { name, short, depth_cm, reading_m: reading.median_m })
        })
        .collect();
    html! {
        @if drawn.is_some() || !points.is_empty() {
            section aria-labelledby="depths" {
                h2 id="depths" { (words::DEPTHS) }
                @if let Some(drawn) = drawn { (drawn) }
                (reading_figure(&points, day.units))
            }
        }
    }
}

/// The figure of depths; `None` without values.
pub(super) fn depth_figure(figures: &DepthFigures, units: Units) -> Option<Markup> {
    let depth = |cm: Option<f64>| cm.map(|cm| units.depth(cm));
    let says =
        words::depth_says(figures.n, depth(figures.median_cm), depth(figures.min_cm), depth(figures.max_cm));
    let drawing = draw::depths::draw(figures, units, &says)?;
    let histogram = figures.histogram.as_ref()?;
    let value = |cm: f64| number(units.depth_value(cm));
    let rows = histogram.counts.iter().zip(histogram.edges.windows(2));
    let rows: Vec<Vec<String>> = rows
        .map(|(n, edge)| vec![format!("{} – {}", value(edge[0]), value(edge[1])), n.to_string()])
        .collect();
    let title = words::depth_title(figures.n);
    let heads = words::depth_heads(units);
    let table = table(&title, &[&heads[0], &heads[1]], &rows);
    let remarks = vec![says, words::DEPTH_REMARK.to_owned()];
    Some(Figure { title, remarks, drawing, table }.show())
}

fn reading_figure(points: &[Point], units: Units) -> Markup {
    let title = words::readings_title(points.len());
    let Some(drawing) = draw::readings::draw(points, units, &title) else { return html! {} };
    let rows: Vec<Vec<String>> = points
        .iter()
        .map(|q| {
            vec![
                q.name.clone(),
                units.depth(q.reading_m * 100.0),
                units.depth(q.depth_cm),
                format!("{:.2}", q.reading_m * 100.0 / q.depth_cm),
            ]
        })
        .collect();
    let table = table(&title, &words::READING_HEADS, &rows);
    let remarks = vec![words::READINGS_REMARK.to_owned()];
    Figure { title, remarks, drawing, table }.show()
}

fn checks(day: &Day<'_>) -> Markup {
    let checks = &day.debrief.checks;
    if checks.n == 0 {
        return html! {};
    }
    let mut lines: Vec<(&str, String)> = Vec::new();
    lines.extend(
        checks.failed.iter().map(|f| {
            (f.call_sign.as_str(), words::failed(&word(&f.what), f.fault.as_deref(), f.passed_later))
        }),
    );
    let not_tested = checks.not_tested.iter().map(|part| {
        let what = words::not_tested(&word(&part.what));
        (what, part.call_signs.join(", "))
    });
    let not_tested: Vec<(String, String)> = not_tested.collect();
    lines.extend(checks.battery_below.iter().map(|b| (b.call_sign.as_str(), words::battery(b.pct))));
    let near = checks.electronics.iter().filter(|e| e.too_near_to_send || e.too_near_to_search);
    lines.extend(
        near.map(|e| {
            (e.call_sign.as_str(), words::electronics(e.distance_cm, day.units, e.too_near_to_send))
        }),
    );
    html! {
        section aria-labelledby="checks" {
            h2 id="checks" { (words::CHECKS) }
            p { (words::checks(checks.n, checks.people)) }
            @if lines.is_empty() && not_tested.is_empty() { p { (words::ALL_IN_ORDER) } }
            @else if !lines.is_empty() { ul { @for (who, says) in lines.iter().take(LINES) { li { b { (who) } ": " (says) } } (rest(lines.len())) } }
            @for (what, of) in &not_tested { p { b { (what) } ": " (of) } }
            @if !checks.not_checked.is_empty() { p { b { (words::NOT_CHECKED) } ": " (checks.not_checked.join(", ")) } }
        }
    }
}

fn interference(day: &Day<'_>) -> Markup {
    let events = &day.debrief.interference.events;
    html! {
        @if !events.is_empty() {
            section aria-labelledby="interference" {
                h2 id="interference" { (words::INTERFERENCE) }
                ul {
                    @for event in events.iter().take(LINES) {
                        @let parts = [
                            event.person.clone(),
                            event.distance_cm.map(|d| words::away(d, day.units)),
                            event.effect.map(|e| word(&e)),
                            event.lost_s.map(words::lost),
                            event.remedy.clone(),
                        ];
                        li {
                            b { (word(&event.source)) }
                            @for part in parts.into_iter().flatten() { ", " (part) }
                            @if let Some(drill) = &event.drill { " (" (words::drill(drill)) ")" }
                        }
                    }
                    (rest(events.len()))
                }
            }
        }
    }
}

fn missing(debrief: &Debrief) -> Markup {
    let missing: Vec<&Item> = debrief.missing.iter().filter(|i| !i.is_kit()).collect();
    html! {
        @if !missing.is_empty() {
            section aria-labelledby="missing" {
                h2 id="missing" { (words::MISSING) }
                ul {
                    @for item in missing.iter().take(LINES) {
                        li { (item.says) @if !item.ask.is_empty() { " — " b { (words::ask(&item.ask)) } } }
                    }
                    (rest(missing.len()))
                }
            }
        }
    }
}

fn to_settle(debrief: &Debrief) -> Markup {
    let settle = &debrief.to_settle;
    let open = words::open(settle.conflicts, settle.doubts, settle.twins);
    html! {
        section aria-labelledby="settle" {
            h2 id="settle" { (words::TO_SETTLE) }
            @if open.is_empty() { p { (words::NOTHING_TO_SETTLE) } }
            @else { ul { @for line in &open { li { (line) } } } p { (words::SETTLE) } }
        }
    }
}

fn notes(notes: &[NoteLine]) -> Markup {
    let mut topics: Vec<Topic> = notes.iter().map(|n| n.topic).collect();
    topics.dedup();
    html! {
        @if !notes.is_empty() {
            section aria-labelledby="notes" {
                h2 id="notes" { (words::NOTES) }
                @for topic in topics {
                    @let of_topic: Vec<&NoteLine> = notes.iter().filter(|n| n.topic == topic).collect();
                    h3 { (words::topic(topic)) }
                    ul { @for note in of_topic.iter().take(LINES) { (note_line(note)) } (rest(of_topic.len())) }
                }
            }
        }
    }
}

/// How many lines of a list stand on the page.
const LINES: usize = 300;

/// The last line of a list of so many.
fn rest(n: usize) -> Markup {
    html! { @if n > LINES { li { (words::lines_more(n - LINES)) } } }
}

fn note_line(note: &NoteLine) -> Markup {
    html! {
        li {
            bdi { (note.text) } " "
            small { (words::noted(&note.by, note.at, note.drill.as_deref(), note.target.as_deref())) }
        }
    }
}

fn clocks(debrief: &Debrief) -> Markup {
    let says = debrief.clocks.why.as_deref();
    let says = says.or_else(|| debrief.clocks.corrected.then_some(words::CLOCKS_CORRECTED));
    html! {
        @if let Some(says) = says.filter(|_| !debrief.drills.is_empty()) {
            section aria-labelledby="clocks" { h2 id="clocks" { (words::CLOCKS) } p { (says) } }
        }
    }
}
