//! `plan dig`: what the published schools of digging ask for, side by side, and what the snow weighs.

use super::{Ran, besides, centimetres, degrees, source};
use crate::failure::Failure;
use crate::settings::Settings;
use crate::ui::{HEADING, Ui, styled};
use crate::view::{self, counted, table::Table};
use firnbook_core::entry::DigManner;
use firnbook_core::insight::plan::{self, DigAnswer};

/// Tell how to dig: where the published schools start, how long a row, how many people, and how much snow
///
/// The schools disagree. Each stands with its source, and none is judged.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook plan dig --depth 150cm --slope 30 --people 5")]
pub struct DigArgs {
    /// Depth of the target, square to the slope
    #[arg(long, value_name = "CM", value_parser = centimetres, allow_negative_numbers = true)]
    depth: f64,
    /// Steepness of the slope
    #[arg(long, value_name = "DEG", default_value = "0", value_parser = degrees, allow_negative_numbers = true)]
    slope: f64,
    /// People at hand
    #[arg(long, value_name = "NUMBER")]
    people: u32,
    /// Only the schools of this manner
    #[arg(long, value_name = "conveyor|step_down", value_parser = manner)]
    manner: Option<DigManner>,
}

fn manner(text: &str) -> Result<DigManner, String> {
    match text.trim().to_lowercase().replace(['-', ' '], "_").as_str() {
        "conveyor" => Ok(DigManner::Conveyor),
        "step_down" => Ok(DigManner::StepDown),
        _ => Err("write `conveyor` or `step_down`".to_owned()),
    }
}

/// Runs `plan dig`.
pub fn run(ui: &mut Ui, args: &DigArgs, settings: &Settings) -> Ran {
    let thresholds = settings.thresholds()?;
    let answer =
        plan::dig(args.depth, args.slope, args.people, args.manner, &thresholds).map_err(Failure::refused)?;
    let columns = ui.columns();
    ui.answer(&answer, |answer| tell(answer, args, columns))
}

fn tell(answer: &DigAnswer, args: &DigArgs, columns: usize) -> String {
    let title = format!(
        "Digging to {} cm square to a slope of {}°, {} at hand",
        view::number(args.depth),
        view::number(args.slope),
        counted(args.people as usize, "person", "people")
    );
    let mut text = format!("{}\n\n", styled(HEADING, title));
    let mut schools = Table::new(["school", "start", "row", "people", "source"]).right([3]);
    let cm = |cm: Option<u32>| cm.map_or_else(|| "not set".to_owned(), |cm| format!("{cm} cm"));
    for school in &answer.schools {
        let start = match school.start_downhill_cm {
            0 => "at the probe".to_owned(),
            start => format!("{start} cm down"),
        };
        schools.row([
            school.school.to_owned(),
            start,
            cm(school.length_cm),
            school.people_needed.map_or_else(|| "–".to_owned(), |n| n.to_string()),
            source(&school.source),
        ]);
    }
    text.push_str(&schools.draw(columns));
    let snow = format!(
        "Snow, modelled: a wedge of {:.2} m3, {} kg; at least {} for {} if it were loose",
        answer.wedge_m3,
        answer.snow_kg.round(),
        view::stopwatch(Some(answer.least_s)),
        counted(args.people as usize, "person", "people")
    );
    text.push_str(&format!("\n{}\n", textwrap::fill(&snow, columns)));
    let mut rates = Table::new(["  rate of one person", "", "source"]).right([1]);
    let one_source = answer.rates.windows(2).all(|two| two[0].source == two[1].source);
    for (i, rate) in answer.rates.iter().enumerate() {
        rates.row([
            format!("  {}", rate.how),
            format!("{:.2} kg/s", rate.kg_per_s),
            if i > 0 && one_source { String::new() } else { source(&rate.source) },
        ]);
    }
    text.push_str(&rates.draw(columns));
    text.push_str("\nTurns at the head, changing places on command\n");
    let mut turns = Table::new(["  person", "from", "to"]).right([1, 2]);
    for turn in answer.turns.iter().take(MOST_TURNS) {
        turns.row([
            format!("  {}", turn.person),
            view::stopwatch(Some(turn.from_s)),
            view::stopwatch(Some(turn.to_s)),
        ]);
    }
    text.push_str(&turns.draw(columns));
    if answer.turns.len() > MOST_TURNS {
        text.push_str(&format!("  and {} more in the same order\n", answer.turns.len() - MOST_TURNS));
    }
    let setting =
        |(key, value): (&String, &f64)| format!("{} {}", key.replace('_', " "), view::number(*value));
    let settings: Vec<String> = answer.made.settings.iter().map(setting).collect();
    let mut lines = vec![
        format!(
            "Settings behind snow and turns, to change with `firnbook settings`: {}.",
            settings.join(", ")
        ),
        "Avalanche debris takes longer than loose snow.".to_owned(),
    ];
    lines.extend(answer.cautions.iter().cloned());
    text + &besides(&lines, columns)
}

/// Turns on one screen.
const MOST_TURNS: usize = 12;
