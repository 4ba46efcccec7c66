//! `plan lanes`: who walks where in the signal search, on screen and as files to carry.

use super::field::{Field, Place};
use super::{Ran, besides, degrees, metres, source};
use crate::failure::Failure;
use crate::file::write_whole;
use crate::ui::{HEADING, Ui, styled};
use crate::view::{self, counted, table::Table};
use firnbook_core::field::lanes::{EDGE_M, LaneSettings, SPACING_M, WALK_M_PER_MIN};
use firnbook_core::insight::plan::{self, LanesAnswer};
use std::path::PathBuf;

/// Lay search lanes over a field: where they lie, who walks which, how far and how long
///
/// Lanes run along the fall line. A field is a width and a length along it, measured on the surface, or an outline in a file: a JSON list of
/// corners [x, y] in metres, x to the right looking uphill and y uphill, or GeoJSON with one polygon. Lengths take units: 40m, 130ft.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook plan lanes --width 100 --length 150 --searchers 3\n  firnbook plan lanes --width 80 --length 120 --origin 47.1,10.3 --downhill 180 --slope 30 --gpx lanes.gpx"
)]
pub struct LanesArgs {
    /// The outline of the field, in a file
    #[arg(long, value_name = "FILE", conflicts_with_all = ["width", "length"])]
    outline: Option<PathBuf>,
    /// Width of the field, across the fall line
    #[arg(long, value_name = "M", requires = "length", value_parser = metres, allow_negative_numbers = true)]
    width: Option<f64>,
    /// Length of the field, along the fall line
    #[arg(long, value_name = "M", requires = "width", value_parser = metres, allow_negative_numbers = true)]
    length: Option<f64>,
    /// Largest distance between lanes [default: 40 m, common practice]
    #[arg(long, value_name = "M", value_parser = metres, allow_negative_numbers = true)]
    spacing: Option<f64>,
    /// Distance of the outer lanes from the flanks [default: 20 m, common practice]
    #[arg(long, value_name = "M", value_parser = metres, allow_negative_numbers = true)]
    edge: Option<f64>,
    /// People who walk side by side
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    searchers: u32,
    /// How far they walk in a minute [default: 50 m, common practice]
    #[arg(long, value_name = "M", value_parser = metres, allow_negative_numbers = true)]
    pace: Option<f64>,
    /// Latitude and longitude of the grid's origin: the field's lower left corner, looking uphill
    #[arg(long, value_name = "LAT,LON", value_parser = position, allow_hyphen_values = true)]
    origin: Option<[f64; 2]>,
    /// Compass bearing of the fall line
    #[arg(long, value_name = "DEG", value_parser = degrees, allow_negative_numbers = true)]
    downhill: Option<f64>,
    /// Steepness of the field; latitudes and longitudes are level, lanes lie on the slope
    #[arg(long, value_name = "DEG", value_parser = degrees, allow_negative_numbers = true)]
    slope: Option<f64>,
    /// Write the lanes as GeoJSON
    #[arg(long, value_name = "FILE")]
    geojson: Option<PathBuf>,
    /// Write the lanes as GPX routes, to carry on a device
    #[arg(long, value_name = "FILE")]
    gpx: Option<PathBuf>,
}

fn position(text: &str) -> Result<[f64; 2], String> {
    let number = |part: &str| part.trim().parse::<f64>().ok().filter(|n| n.is_finite());
    let both = text.split_once(',').and_then(|(lat, lon)| Some([number(lat)?, number(lon)?]));
    both.ok_or_else(|| "write latitude and longitude in degrees, for example 47.1,10.3".to_owned())
}

/// Runs `plan lanes`.
pub fn run(ui: &mut Ui, args: &LanesArgs) -> Ran {
    let slope_deg = args.slope.unwrap_or(0.0);
    let place = Place { origin: args.origin, downhill_deg: args.downhill, slope_deg };
    let field = match (&args.outline, args.width.zip(args.length)) {
        (Some(file), _) => Field::of_file(file, place)?,
        (None, Some((width_m, length_m))) => Field::rectangle(width_m, length_m, place)?,
        (None, None) => {
            return Err(Failure::Usage(
                "no field was given; add --width M and --length M, or --outline FILE".to_owned(),
            ));
        }
    };
    let settings = LaneSettings {
        spacing_m: args.spacing.unwrap_or(SPACING_M),
        edge_m: args.edge.unwrap_or(EDGE_M),
        searchers: args.searchers,
        walk_m_per_min: args.pace.unwrap_or(WALK_M_PER_MIN),
    };
    let answer = plan::lanes(&field.outline, settings).map_err(Failure::refused)?;
    for (path, geojson) in [(&args.geojson, true), (&args.gpx, false)] {
        let Some(path) = path else { continue };
        let grid = field.grid.as_ref().ok_or_else(|| {
            Failure::Usage(format!(
                "{} needs to know where the field lies; give the outline as GeoJSON with --downhill DEG, or --width, --length, --origin LAT,LON \
                 and --downhill DEG",
                path.display()
            ))
        })?;
        let text =
            if geojson { answer.geojson(grid).map(|json| format!("{json:#}\n")) } else { answer.gpx(grid) };
        write_whole(path, text.map_err(Failure::refused)?.as_bytes())?;
        ui.say(format!("lanes written to {}", path.display()));
    }
    if field.grid.is_some() && args.slope.is_none() {
        ui.advise("no --slope was given, so the field is taken as level");
    }
    let columns = ui.columns();
    ui.answer(&answer, |answer| tell(answer, &field, args, columns))
}

fn tell(answer: &LanesAnswer, field: &Field, args: &LanesArgs, columns: usize) -> String {
    let plan = &answer.plan;
    let ([left, right], [bottom, top]) = field.outline.extent_m();
    let title = format!(
        "{} for a field of {} x {} m, {} m2",
        counted(plan.lanes.len(), "lane", "lanes"),
        view::number(right - left),
        view::number(top - bottom),
        field.outline.area_m2().round()
    );
    let mut text = format!("{}\n", styled(HEADING, title));
    let mut table = Table::new(["lane", "from the left", "to search", "outside", "searcher", "pass", ""])
        .right([0, 1, 2, 3, 4, 5]);
    for lane in &plan.lanes {
        table.row([
            lane.n.to_string(),
            format!("{} m", view::number(lane.offset_m)),
            format!("{} m", view::number(lane.length_m)),
            if plan.outside_m >= 0.05 {
                format!("{} m", view::number(lane.outside_m))
            } else {
                String::new()
            },
            lane.searcher.to_string(),
            lane.pass.to_string(),
            if lane.pass % 2 == 1 { "uphill" } else { "downhill" }.to_owned(),
        ]);
    }
    text.push_str(&table.draw(columns));
    text.push_str(&format!("\n{}\n", view::lanes::draw(&field.ring_m, &plan.lanes, columns)));
    let apart = plan.spacing_walked_m.map_or_else(String::new, |m| format!("{} m apart, ", view::number(m)));
    text.push_str(&format!(
        "{apart}{} by {}; longest walk {} m, {} min at {} m/min\n",
        counted(plan.passes as usize, "pass", "passes"),
        counted(answer.searchers as usize, "searcher", "searchers"),
        view::number(plan.longest_walk_m),
        view::number(plan.minutes),
        view::number(answer.walk_m_per_min),
    ));
    let mut lines = Vec::new();
    if args.spacing.is_none() || args.edge.is_none() {
        lines.push(source(&answer.spacing_source));
    }
    if args.pace.is_none() {
        lines.push(source(&answer.walk_source));
    }
    if plan.outside_m >= 0.05 {
        lines.push(
            "outside: metres of a lane beyond the outline, walked because a part of the lane's strip lies in it".to_owned(),
        );
    }
    lines.extend(answer.cautions.iter().cloned());
    text + &besides(&lines, columns)
}
