//! The page of a season: how deep targets lay, how long runs took, how far ways of measuring agree, and the medians of groups in the order
//! of time.

use super::day::depth_figure;
use super::draw::{self, estimates::Estimate, patterns};
use super::figure::Figure;
use super::measure::Units;
use super::{SCREEN, document, foot, table, words};
use crate::view::{number, stopwatch};
use firnbook_core::entry::Step;
use firnbook_core::insight::season::depth::DepthStats;
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::insight::season::methods::{Methods, Pair};
use firnbook_core::insight::season::times::{StepTimes, Times};
use maud::{Markup, html};

/// What a season's page is made from.
pub struct Seasonal<'a> {
    /// Which days, in words; empty for all.
    pub span: String,
    /// How many days.
    pub days: usize,
    /// Depths, in groups of [`Seasonal::by`].
    pub depth: &'a DepthStats,
    /// Times, in groups of [`Seasonal::by`].
    pub times: &'a Times,
    /// Ways of measuring.
    pub methods: &'a Methods,
    /// By what time is cut for the trends.
    pub by: GroupBy,
    /// The units to show.
    pub units: Units,
}

/// The steps of which a curve is drawn.
const CURVES: [Step; 4] = [Step::Signal, Step::Fine, Step::Strike, Step::Airway];

/// The page.
#[must_use]
pub fn page(season: &Seasonal<'_>) -> String {
    let title = words::season_title(&season.span);
    let body = html! {
        a.skip href="#content" { (words::TO_CONTENT) }
        (patterns())
        header { h1 { (title) } p { (words::days(season.days)) } }
        main id="content" {
            (section("depth", words::SEASON_DEPTH, depth_figure(&season.depth.figures, season.units)))
            (section("times", words::SEASON_TIMES, times(season.times)))
            (section("methods", words::SEASON_METHODS, methods(season)))
            (section("trends", words::SEASON_TRENDS, trends(season)))
        }
        (foot(&season.times.footing.left_out, season.times.footing.assumed_twins, &season.depth.cautions, &season.times.footing.made))
    };
    document(&title, &SCREEN, &body)
}

fn section(id: &str, name: &str, inside: Option<Markup>) -> Markup {
    html! {
        section aria-labelledby=(id) {
            h2 id=(id) { (name) }
            @match inside { Some(inside) => (inside), None => p { (words::NO_FIGURES) } }
        }
    }
}

fn interval(ends: [Option<f64>; 2], show: impl Fn(f64) -> String) -> String {
    if ends == [None, None] {
        return words::NONE.to_owned();
    }
    let [from, to] = ends.map(|e| e.map_or_else(|| words::NONE.to_owned(), &show));
    words::from_to(&from, &to)
}

fn clock(s: f64) -> String {
    stopwatch(Some(s))
}

fn times(times: &Times) -> Option<Markup> {
    let told: Vec<&StepTimes> = times.steps.iter().filter(|s| s.figures.n > 0).collect();
    if told.is_empty() {
        return None;
    }
    let rows: Vec<Vec<String>> = told
        .iter()
        .map(|s| {
            let f = &s.figures;
            let ends = [f.median_ci95.lower, f.median_ci95.upper];
            vec![
                words::step(s.step),
                stopwatch(f.median_s),
                interval(ends, clock),
                f.n.to_string(),
                f.events.to_string(),
                f.censored.to_string(),
            ]
        })
        .collect();
    let passed = &times.passed;
    Some(html! {
        @if passed.n > 0 { p { (words::passed(passed.k, passed.n, passed.ci95)) } }
        (table(words::STEPS_REACHED, &words::STEP_SEASON_HEADS, &rows))
        @for step in told.iter().filter(|s| CURVES.contains(&s.step)) { (curve(step)) }
    })
}

fn curve(step: &StepTimes) -> Markup {
    let figures = &step.figures;
    let title = words::curve(step.step, figures.n, figures.events);
    let Some(drawing) = draw::steps::draw(figures, &title) else { return html! {} };
    let share = |s: f64| format!("{} %", number(s * 100.0));
    let rows: Vec<Vec<String>> = figures
        .curve
        .iter()
        .map(|c| {
            vec![
                clock(c.t_s),
                c.at_risk.to_string(),
                c.events.to_string(),
                share(c.not_yet),
                interval([c.lo, c.hi], share),
            ]
        })
        .collect();
    let table = table(&title, &words::CURVE_HEADS, &rows);
    let mut remarks = vec![words::CURVE_REMARK.to_owned()];
    remarks.extend(figures.few.clone());
    Figure { title, remarks, drawing, table }.show()
}

fn methods(season: &Seasonal<'_>) -> Option<Markup> {
    let units = season.units;
    let pairs: Vec<&Pair> = season.methods.pairs.iter().filter(|p| p.n > 0).collect();
    let estimates: Vec<Estimate> = pairs
        .iter()
        .map(|p| Estimate {
            name: words::pair(p.a, p.b),
            n: p.n,
            value: p.bias_cm.map(|b| units.depth_value(b)),
            ends: [p.lower_cm, p.upper_cm].map(|e| e.map(|e| units.depth_value(e))),
        })
        .collect();
    let title = words::METHODS_TITLE.to_owned();
    let axis = words::difference_axis(units);
    let drawing = draw::estimates::draw(&estimates, false, true, &axis, number, &title)?;
    let depth = |cm: f64| units.depth(cm);
    let rows: Vec<Vec<String>> = pairs
        .iter()
        .map(|p| {
            vec![
                words::pair(p.a, p.b),
                p.n.to_string(),
                p.bias_cm.map_or_else(|| words::NONE.to_owned(), depth),
                interval([p.bias_ci95.map(|i| i.lower), p.bias_ci95.map(|i| i.upper)], depth),
                interval([p.lower_cm, p.upper_cm], depth),
                p.concordance.map_or_else(|| words::NONE.to_owned(), |c| format!("{c:.2}")),
                p.ratio.median.map_or_else(|| words::NONE.to_owned(), |r| format!("{r:.2}")),
            ]
        })
        .collect();
    let table = table(&title, &words::PAIR_HEADS, &rows);
    let remarks = vec![words::METHODS_REMARK.to_owned()];
    Some(Figure { title, remarks, drawing, table }.show())
}

fn trends(season: &Seasonal<'_>) -> Option<Markup> {
    let units = season.units;
    let depths = season.depth.groups.iter().map(|g| Estimate {
        name: g.group.clone(),
        n: g.figures.n,
        value: g.figures.median_cm.map(|m| units.depth_value(m)),
        ends: [g.figures.median_ci95.map(|i| i.lower), g.figures.median_ci95.map(|i| i.upper)]
            .map(|e| e.map(|e| units.depth_value(e))),
    });
    let axis = words::depth_axis(units);
    let of_depth = words::trend_title(words::MEDIAN_DEPTH, season.by);
    let mut figures: Vec<Markup> =
        trend(of_depth, &depths.collect::<Vec<_>>(), false, &axis, number).into_iter().collect();
    for step in season.times.steps.iter().filter(|s| [Step::Strike, Step::Airway].contains(&s.step)) {
        let medians = step.groups.iter().map(|g| Estimate {
            name: g.group.clone(),
            n: g.figures.n,
            value: g.figures.median_s,
            ends: [g.figures.median_ci95.lower, g.figures.median_ci95.upper],
        });
        let title = words::trend_title(&words::median_time(step.step), season.by);
        figures.extend(trend(title, &medians.collect::<Vec<_>>(), true, words::FROM_START, clock));
    }
    (!figures.is_empty()).then(|| html! { @for figure in &figures { (figure) } })
}

fn trend(
    title: String,
    groups: &[Estimate],
    times: bool,
    axis: &str,
    show: fn(f64) -> String,
) -> Option<Markup> {
    let drawing = draw::estimates::draw(groups, times, false, axis, show, &title)?;
    let rows: Vec<Vec<String>> = groups
        .iter()
        .map(|g| {
            let value = g.value.map_or_else(|| words::NONE.to_owned(), show);
            vec![g.name.clone(), g.n.to_string(), value, interval(g.ends, show)]
        })
        .collect();
    let table = table(&title, &words::GROUP_HEADS, &rows);
    let remarks = vec![words::TREND_REMARK.to_owned()];
    Some(Figure { title, remarks, drawing, table }.show())
}
