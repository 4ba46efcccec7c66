//! `stats methods`: how far ways of measuring a depth agree.

use super::{Ran, RunGroups, Span, by, span, tell_fews, tell_footing, tell_whys};
use crate::desk::Desk;
use crate::ui::{HEADING, styled};
use crate::view::forest::{self, Line};
use crate::view::{counted, maybe, number, table::Table, word};
use firnbook_core::insight::season::methods::{Methods, Pair};

/// How far reading, probe, tape and the depth as set agree: each against each, one pair a target, square to the slope
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook stats methods --group-by orientation")]
pub struct MethodsArgs {
    #[command(flatten)]
    pub(super) span: Span,
    #[command(flatten)]
    groups: RunGroups,
}

/// Runs `stats methods`.
pub fn run(desk: &mut Desk, args: &MethodsArgs) -> Ran {
    let thresholds = desk.settings.thresholds()?;
    let methods = desk.logbook.methods(&args.span.season(), args.groups.group_by, &thresholds)?;
    let columns = desk.ui.columns();
    desk.ui.answer(&methods, |methods| tell(methods, columns))
}

fn tell(methods: &Methods, columns: usize) -> String {
    let title = format!("Ways of measuring against each other, {}", counted(methods.n, "target", "targets"));
    let mut text = format!("{}\n", styled(HEADING, title));
    for pair in methods.pairs.iter().filter(|p| p.n > 0) {
        text.push_str(&tell_pair(pair, columns));
        let forest = forest::draw(&bias_lines(methods, pair), number, columns);
        if !forest.is_empty() {
            text.push_str(&format!("  bias {}, cm\n{forest}", by(methods.group_by)));
        }
    }
    let none: Vec<String> = methods.pairs.iter().filter(|p| p.n == 0).map(name).collect();
    if !none.is_empty() {
        text.push_str(&format!(
            "\n{}",
            super::faint(&format!("no target has both: {}", none.join("; ")), columns)
        ));
    }
    text + &tell_footing(&methods.footing, columns)
}

fn name(pair: &Pair) -> String {
    format!("{} less {}", word(&pair.a), word(&pair.b))
}

fn tell_pair(pair: &Pair, columns: usize) -> String {
    let mut text = format!("\n{}  n {}\n", styled(HEADING, name(pair)), pair.n);
    let at_95 = |interval| match span(interval, number).as_str() {
        "–" => String::new(),
        told => format!("{told} at 95 %"),
    };
    let cm = |value: Option<f64>| format!("{} cm", maybe(value));
    let mut table = Table::new(["", "", ""]);
    if pair.bias_cm.is_some() {
        table.row(["  bias".into(), cm(pair.bias_cm), at_95(pair.bias_ci95)]);
        table.row(["  sd".into(), cm(pair.sd_cm), String::new()]);
        table.row(["  lower limit of agreement".into(), cm(pair.lower_cm), at_95(pair.lower_ci95)]);
        table.row(["  upper limit of agreement".into(), cm(pair.upper_cm), at_95(pair.upper_ci95)]);
    }
    if let Some(concordance) = pair.concordance {
        table.row(["  concordance (Lin)".into(), format!("{concordance:.3}"), String::new()]);
    }
    if let Some((slope, intercept_cm)) = pair.slope.zip(pair.intercept_cm) {
        let line = format!("{} = {} cm + {slope:.2} {}", word(&pair.a), number(intercept_cm), word(&pair.b));
        let interval = match span(pair.slope_ci95, |v| format!("{v:.2}")).as_str() {
            "–" => String::new(),
            told => format!(", slope {told} at 95 %"),
        };
        table.row(["  line (Theil, Sen)".into(), String::new(), format!("{line}{interval}")]);
    }
    if let Some(ratio) = pair.ratio.median {
        let interval = span(pair.ratio.ci95, |v| format!("{v:.2}"));
        let covers = pair.ratio.coverage.map(|c| format!("{interval} covers it with {:.1} %", c * 100.0));
        table.row([
            "  ratio, median".into(),
            format!("{ratio:.2}"),
            covers.unwrap_or_else(|| format!("n {}", pair.ratio.n)),
        ]);
    }
    text.push_str(&table.draw(columns));
    text.push_str(&tell_whys(std::iter::once((String::new(), &pair.why)), columns));
    text + &tell_fews(std::iter::once((String::new(), pair.n, &pair.few)), columns)
}

/// The bias of a pair in each group that has any.
fn bias_lines(methods: &Methods, pair: &Pair) -> Vec<Line> {
    let of_group = methods.groups.iter().flat_map(|g| {
        let same = g.pairs.iter().filter(|p| (p.a, p.b) == (pair.a, pair.b) && p.n > 0);
        same.map(|p| Line {
            name: g.group.clone(),
            n: p.n,
            figure: p.bias_cm,
            ends: [p.bias_ci95.map(|i| i.lower), p.bias_ci95.map(|i| i.upper)],
        })
    });
    of_group.collect()
}
