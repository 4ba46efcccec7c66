//! The page of one person over a season: own measures and whether they rise or fall, and nobody else's.

use super::measure::Units;
use super::{SCREEN, document, foot, table, words};
use crate::view::{number, stopwatch, word};
use firnbook_core::insight::season::person::{PersonStats, Trend};
use maud::html;

/// The page; `asked` is the name that was asked for.
#[must_use]
pub fn page(person: &PersonStats, asked: &str, units: Units) -> String {
    let names = if person.call_signs.is_empty() { asked.to_owned() } else { person.call_signs.join(", ") };
    let title = words::person_title(&names, person.n_days);
    let rows: Vec<Vec<String>> = person.trends.iter().map(|t| row(t, units)).collect();
    let whys =
        person.trends.iter().flat_map(|t| t.why.0.values().map(|why| words::no_figure(&named(t).0, why)));
    let fews = person.trends.iter().filter_map(|t| Some(words::no_figure(&named(t).0, t.few.as_ref()?)));
    let body = html! {
        a.skip href="#content" { (words::TO_CONTENT) }
        header { h1 { (title) } p { (words::ONLY_OWN) } }
        main id="content" {
            section aria-labelledby="trends" {
                h2 id="trends" { (words::SEASON_TRENDS) }
                @if rows.is_empty() { p { (words::NO_FIGURES) } } @else { (table(&title, &words::TREND_HEADS, &rows)) }
                ul { @for line in whys.chain(fews) { li { (line) } } }
            }
        }
        (foot(&person.footing.left_out, person.footing.assumed_twins, &person.footing.cautions, &person.footing.made))
    };
    document(&title, &SCREEN, &body)
}

/// The name of a measure without its unit, and that unit.
fn named(trend: &Trend) -> (String, &'static str) {
    let measure = word(&trend.what);
    let unit = match measure.rsplit(' ').next() {
        Some("s") => "s",
        Some("cm") => "cm",
        _ => "",
    };
    (measure.strip_suffix(unit).unwrap_or(&measure).trim_end().to_owned(), unit)
}

fn row(trend: &Trend, units: Units) -> Vec<String> {
    let (name, unit) = named(trend);
    let change = |v: f64| match unit {
        "s" => format!("{v:+.2} s"),
        "cm" => format!("{:+.2} {}", units.depth_value(v), units.depth_unit()),
        _ => format!("{v:+.2}"),
    };
    let median = trend.median.map(|m| match unit {
        "s" => stopwatch(Some(m)),
        "cm" => units.depth(m),
        _ => number(m),
    });
    let slope = trend.slope_per_day.map(|s| {
        let ends = trend.slope_ci95.map(|i| format!(" ({} to {})", change(i.lower), change(i.upper)));
        format!("{}{}", change(s), ends.unwrap_or_default())
    });
    let or_none = |text: Option<String>| text.unwrap_or_else(|| words::NONE.to_owned());
    vec![name, trend.n.to_string(), trend.n_days.to_string(), or_none(median), or_none(slope)]
}
