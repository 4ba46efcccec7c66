//! `stats times`: when steps are reached, and whether drills pass a test.

use super::{Ran, RunGroups, Span, by, one_of, tell_fews, tell_footing, tell_share, tell_whys};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::{HEADING, Ui, styled};
use crate::view::forest::{self, Line};
use crate::view::{self, steps, stopwatch, table::Table, word};
use firnbook_core::entry::Step;
use firnbook_core::insight::season::footing::Why;
use firnbook_core::insight::season::passed::{Passed, TestDefinition};
use firnbook_core::insight::season::times::{StepTimes, Times, TimesAsk, TimesFigures};
use firnbook_core::insight::timeline::STEPS;
use firnbook_core::units::{Unit, read_quantity};
use std::path::{Path, PathBuf};

/// When steps are reached, from the start of a drill
///
/// Curves of 'not yet reached' (Kaplan-Meier): a run that ended before a step counts until then and is never dropped. `--step` draws the curve of
/// one step. Drills are judged by their own limit, or by a test in a file, JSON or TOML.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook stats times\n  firnbook stats times --step strike --group-by form --horizon 10min\n  firnbook stats times --test test.toml\n\nA test, as TOML:\n  name = \"two in seven minutes\"\n  limit_s = 420\n  stops_at = \"strike\"      # or \"airway\"\n  inclusive = true         # the limit itself still passes\n  transmitters = 2         # drills with another number of targets are not judged"
)]
pub struct TimesArgs {
    #[command(flatten)]
    pub(super) span: Span,
    #[command(flatten)]
    groups: RunGroups,
    /// Only this step, with its curve
    #[arg(long, value_name = "STEP", value_parser = step)]
    step: Option<Step>,
    /// Up to when means are restricted [default: the smallest over the groups of their longest time]
    #[arg(long, value_name = "TIME", value_parser = horizon)]
    horizon: Option<f64>,
    /// Judge drills by this test
    #[arg(long, value_name = "FILE")]
    test: Option<PathBuf>,
}

pub(super) fn step(text: &str) -> Result<Step, String> {
    let known = || STEPS.map(|s| word(&s)).join(", ");
    one_of::<Step>(text).ok().filter(|s| STEPS.contains(s)).ok_or_else(|| format!("write one of {}", known()))
}

fn horizon(text: &str) -> Result<f64, String> {
    read_quantity(text, Unit::Second).map_err(|e| e.to_string())
}

/// Runs `stats times`.
pub fn run(desk: &mut Desk, args: &TimesArgs) -> Ran {
    let ask = TimesAsk {
        group_by: args.groups.group_by,
        horizon_s: args.horizon,
        test: args.test.as_deref().map(test).transpose()?,
        thresholds: desk.settings.thresholds()?,
    };
    let mut times = desk.logbook.times(&args.span.season(), &ask)?;
    if let Some(step) = args.step {
        times.steps.retain(|s| s.step == step);
        times.footing.made.filters.insert("step".to_owned(), step.word());
    }
    if let Some(horizon_s) = args.horizon {
        times.footing.made.filters.insert("horizon_s".to_owned(), horizon_s.to_string());
    }
    let columns = desk.ui.columns();
    desk.ui.answer(&times, |times| tell(times, columns))?;
    if args.step.is_none() {
        advise(&mut desk.ui, &times);
    }
    Ok(())
}

fn advise(ui: &mut Ui, times: &Times) {
    if let Some(last) = times.steps.iter().rev().find(|s| s.figures.events > 0) {
        ui.advise(format!("the curve of a step: firnbook stats times --step {}", word(&last.step)));
    }
}

/// A test definition out of a file.
fn test(path: &Path) -> Result<TestDefinition, Failure> {
    let text = std::fs::read_to_string(path).map_err(|e| Failure::file(path, &e))?;
    let read = if text.trim_start().starts_with('{') {
        serde_json::from_str(&text).map_err(|e| e.to_string())
    } else {
        toml::from_str(&text).map_err(|e| e.to_string().trim_end().to_owned())
    };
    read.map_err(|why| {
        Failure::refused(format!(
            "{} is no test definition: {why}\nIt needs name, limit_s, stops_at and inclusive; `firnbook stats times --help` shows one.",
            path.display()
        ))
    })
}

fn tell(times: &Times, columns: usize) -> String {
    let mut text = format!("{}\n", styled(HEADING, "Time from start until a step is reached"));
    let mut table =
        Table::new(["step", "runs", "reached", "ended", "median", "95 %", "mean", "up to", "not told"])
            .right([1, 2, 3, 4, 5, 6, 7, 8]);
    for step in &times.steps {
        let f = &step.figures;
        let untold = f.open + f.unwritten;
        table.row([
            word(&step.step),
            f.n.to_string(),
            f.events.to_string(),
            f.censored.to_string(),
            stopwatch(f.median_s),
            interval(f),
            stopwatch(f.restricted_mean_s),
            f.horizon_s.map(|h| stopwatch(Some(h))).unwrap_or_default(),
            if untold > 0 { untold.to_string() } else { String::new() },
        ]);
    }
    text.push_str(&table.draw(columns));
    if let [only] = times.steps.as_slice() {
        text.push_str(&tell_curve(only, columns));
    }
    for step in times.steps.iter().filter(|s| !s.groups.is_empty() && s.figures.n > 0) {
        text.push_str(&tell_groups(step, &by(times.group_by), columns));
    }
    text.push_str(&tell_passed(&times.passed, columns));
    let legend = "ended: before the step, they count until then; mean: without having reached it, up to the horizon; not told: runs of which \
                  nobody wrote it, and no end or a later step";
    text.push_str(&format!("\n{}", super::faint(legend, columns)));
    let whys: Vec<(String, Why)> = times.steps.iter().map(|s| (word(&s.step), whys(s))).collect();
    text.push_str(&tell_whys(whys.iter().map(|(step, why)| (step.clone(), why)), columns));
    let fews = times.steps.iter().map(|s| (word(&s.step), s.figures.n, &s.figures.few));
    text.push_str(&tell_fews(fews, columns));
    text + &tell_footing(&times.footing, columns)
}

/// Why figures of a step are null, without what follows from there being no runs or no groups.
fn whys(step: &StepTimes) -> Why {
    let mut why = step.figures.why.clone();
    why.0.retain(|figure, _| match figure.as_str() {
        "curve" => true,
        "logrank" => !step.groups.is_empty() && step.figures.n > 0,
        _ => step.figures.n > 0,
    });
    why
}

fn interval(figures: &TimesFigures) -> String {
    let bounds = figures.median_ci95;
    match (bounds.lower, bounds.upper) {
        (None, None) => "–".to_owned(),
        (lower, upper) => format!("{} to {}", stopwatch(lower), stopwatch(upper)),
    }
}

fn tell_curve(step: &StepTimes, columns: usize) -> String {
    let curve = &step.figures.curve;
    let Some(last) = curve.last() else { return String::new() };
    format!(
        "\nShare of {} runs that has not reached {}\n░ the 95 % band (Greenwood, log-log)\n{}",
        step.figures.n,
        word(&step.step),
        steps::draw(curve, last.t_s, columns)
    )
}

fn tell_groups(step: &StepTimes, by: &str, columns: usize) -> String {
    let lines: Vec<Line> = step
        .groups
        .iter()
        .map(|g| Line {
            name: g.group.clone(),
            n: g.figures.n,
            figure: g.figures.median_s,
            ends: [g.figures.median_ci95.lower, g.figures.median_ci95.upper],
        })
        .collect();
    let mut text = format!("\n{}\n", styled(HEADING, format!("Median to {} {by}", word(&step.step))));
    let drawn = forest::draw(&lines, |s| stopwatch(Some(s)), columns);
    text.push_str(if drawn.is_empty() { "  no group has a median\n" } else { &drawn });
    if let Some(test) = &step.logrank {
        text.push_str(&format!(
            "  log-rank test: chi2 {:.2}, df {}, p {}\n",
            test.chi2,
            test.df,
            if test.p < 0.001 { "below 0.001".to_owned() } else { format!("{:.3}", test.p) }
        ));
    }
    text
}

fn tell_passed(passed: &Passed, columns: usize) -> String {
    let rule = match &passed.test {
        None => "Drills by their own limit".to_owned(),
        Some(test) => {
            let own = if test.inclusive { "still passes" } else { "is too late" };
            format!(
                "Test \"{}\": {} stops the clock, limit {}, which itself {own}",
                test.name,
                word(&test.stops_at),
                stopwatch(Some(test.limit_s)),
            )
        }
    };
    let mut text = format!("\n{}\n", styled(HEADING, textwrap::fill(&rule, columns)));
    let told = tell_share(passed.k, passed.n, passed.share, passed.ci95);
    text.push_str(&format!("  passed {told}\n"));
    for group in &passed.groups {
        text.push_str(&format!(
            "  {}: {}\n",
            group.group,
            tell_share(group.k, group.n, group.share, group.ci95)
        ));
    }
    for unjudged in &passed.not_judged {
        text.push_str(&super::faint(&format!("  {} not judged: {}", unjudged.n, unjudged.reason), columns));
    }
    if let Some(few) = passed.few.as_ref().filter(|_| passed.n > 0) {
        text.push_str(&super::faint(&format!("  {few}"), columns));
    }
    if let Some(test) = &passed.test {
        let printed = [
            test.transmitters.map(|n| view::counted(n as usize, "transmitter", "transmitters")),
            test.depth_cm.map(|cm| format!("{} cm deep", view::number(cm))),
            test.area_m.map(|[a, b]| format!("a field of {} x {} m", view::number(a), view::number(b))),
            test.target_cm
                .map(|[a, b]| format!("targets at most {} x {} cm", view::number(a), view::number(b))),
            test.found_stay_on
                .map(|on| if on { "found ones stay on" } else { "found ones go off" }.to_owned()),
            test.attempts.map(|n| view::counted(n as usize, "attempt", "attempts")),
        ];
        let printed: Vec<String> = printed.into_iter().flatten().collect();
        if !printed.is_empty() {
            text.push_str(&super::faint(&format!("  of its rules: {}", printed.join(", ")), columns));
        }
        if let Some(source) = &test.source {
            text.push_str(&super::faint(&format!("  source: {source}"), columns));
        }
    }
    text
}
