//! `plan probes`: what a probe grid finds and takes, and the holes around a lowest reading.

use super::{Ran, besides, centimetres, seconds, source};
use crate::failure::Failure;
use crate::ui::{HEADING, Ui, styled};
use crate::view::{self, canvas::Canvas, counted, table::Table};
use firnbook_core::field::probing::{Body, RingHole};
use firnbook_core::insight::plan::{self, Effort, ProbesAnswer, ProbesAsk, Rings};
use firnbook_core::insight::probing::BODIES;

/// Spacing both ways where none is given, cm: the slalom among the taught grids.
const SPACING_CM: f64 = 50.0;
/// How far out rings go where nothing else is said, cm.
const OUT_TO_CM: f64 = 100.0;
/// Spacing of rings where none is given, as a person types it.
const RING_SPACING: &str = "25cm";

/// Tell what a probe grid finds and how long it takes
///
/// Chances come from plane geometry: a body lies anywhere with equal chance and is found if a hole falls within it. They are upper bounds, and
/// not comparable with published figures. Lengths take units: 50cm, 0.5m, 20in.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook plan probes --across 50cm --along 50cm --body 170x45 --passes 2\n  firnbook plan probes --area 400 --probers 8 --seconds-a-hole 6\n  firnbook plan probes --spiral 25cm --out-to 75cm"
)]
pub struct ProbesArgs {
    /// Spacing of the holes square to the way the line walks [default: 50 cm]
    #[arg(long, value_name = "CM", value_parser = centimetres, allow_negative_numbers = true)]
    across: Option<f64>,
    /// Spacing of the holes along the way it walks [default: 50 cm]
    #[arg(long, value_name = "CM", value_parser = centimetres, allow_negative_numbers = true)]
    along: Option<f64>,
    /// Bodies: length x width, or r and the radius of a round one [default: 170x45,170x30,50x30]
    #[arg(long, value_name = "CMxCM|rCM", value_parser = body, value_delimiter = ',')]
    body: Vec<Body>,
    /// Passes over the area
    #[arg(long, value_name = "NUMBER", default_value_t = 2)]
    passes: u32,
    /// Area to probe, m2
    #[arg(long, value_name = "M2", value_parser = square_metres, allow_negative_numbers = true, requires_all = ["probers", "seconds_a_hole"])]
    area: Option<f64>,
    /// People in the line
    #[arg(long, value_name = "NUMBER", requires = "area")]
    probers: Option<u32>,
    /// Time one prober takes for a hole, as you measured it
    #[arg(long, value_name = "S", value_parser = seconds, allow_negative_numbers = true, requires = "area")]
    seconds_a_hole: Option<f64>,
    /// Holes in rings around a lowest reading, so far apart [25 cm if not said]
    #[arg(long, value_name = "CM", value_parser = centimetres, num_args = 0..=1, default_missing_value = RING_SPACING)]
    spiral: Option<f64>,
    /// Radius within which the rings lie [default: 100 cm]
    #[arg(long, value_name = "CM", value_parser = centimetres, allow_negative_numbers = true, requires = "spiral")]
    out_to: Option<f64>,
}

fn body(text: &str) -> Result<Body, String> {
    let text = text.trim();
    if let Some(radius) = text.strip_prefix('r') {
        return Ok(Body::Circle { radius_cm: centimetres(radius)? });
    }
    let (length, width) =
        text.split_once('x').ok_or("write length x width, for example 170x45, or r20 for a round one")?;
    Ok(Body::Rectangle { length_cm: centimetres(length)?, width_cm: centimetres(width)? })
}

fn square_metres(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches("m2").trim_end_matches("m²").trim();
    let read = number.parse::<f64>().ok().filter(|n| n.is_finite());
    read.ok_or_else(|| format!("\"{text}\" is no area; write square metres, for example 400"))
}

/// Runs `plan probes`.
pub fn run(ui: &mut Ui, args: &ProbesArgs) -> Ran {
    let effort = args.area.zip(args.probers).zip(args.seconds_a_hole);
    let ask = ProbesAsk {
        across_cm: args.across.unwrap_or(SPACING_CM),
        along_cm: args.along.unwrap_or(SPACING_CM),
        bodies: if args.body.is_empty() { BODIES.to_vec() } else { args.body.clone() },
        passes: args.passes,
        effort: effort.map(|((area_m2, probers), seconds_a_hole)| Effort {
            area_m2,
            probers,
            seconds_a_hole,
        }),
        rings: args
            .spiral
            .map(|spacing_cm| Rings { spacing_cm, out_to_cm: args.out_to.unwrap_or(OUT_TO_CM) }),
    };
    let answer = plan::probes(&ask).map_err(Failure::refused)?;
    let columns = ui.columns();
    ui.answer(&answer, |answer| tell(answer, &ask, columns))
}

fn tell(answer: &ProbesAnswer, ask: &ProbesAsk, columns: usize) -> String {
    let title = format!(
        "Probe grid, {} cm across and {} cm along: {} to the m2",
        view::number(answer.across_cm),
        view::number(answer.along_cm),
        if answer.holes_per_m2 == 1.0 {
            "1 hole".to_owned()
        } else {
            format!("{} holes", view::number(answer.holes_per_m2))
        }
    );
    let mut text =
        format!("{}\n\nChance that a hole falls within a body, in one pass\n", styled(HEADING, title));
    let mut table = Table::new(["  body", "lying along", "lying across", "at any angle"]).right([1, 2, 3]);
    for found in &answer.bodies {
        table.row([
            format!("  {}", body_name(found.body)),
            chance(found.aligned.length_along),
            chance(found.aligned.length_across),
            chance(found.any_orientation),
        ]);
    }
    text.push_str(&table.draw(columns));
    if ask.passes > 1 {
        text.push_str("\nAfter several passes, at any angle\n");
        let mut table =
            Table::new(["  body", "passes", "each moved across", "laid without regard"]).right([1, 2, 3]);
        for found in &answer.bodies {
            for passes in found.passes.iter().skip(1) {
                table.row([
                    format!("  {}", body_name(found.body)),
                    passes.k.to_string(),
                    chance(passes.shifted),
                    chance(passes.independent),
                ]);
            }
        }
        text.push_str(&table.draw(columns));
    }
    if let Some(((effort, holes), minutes)) = ask.effort.zip(answer.holes).zip(answer.minutes) {
        text.push_str(&format!(
            "\n{} m2: {} holes a pass; {} by {} at {} s a hole: {} min\n",
            view::number(effort.area_m2),
            holes.round(),
            counted(ask.passes as usize, "pass", "passes"),
            counted(effort.probers as usize, "prober", "probers"),
            view::number(effort.seconds_a_hole),
            view::number(minutes)
        ));
    }
    if let Some(rings) = ask.rings {
        text.push_str(&tell_spiral(&answer.spiral, rings));
    }
    text.push_str("\nGrids that are taught\n");
    let mut taught = Table::new(["  grid", "across", "along", "source"]).right([1, 2]);
    for grid in &answer.taught {
        taught.row([
            format!("  {}", grid.name),
            format!("{} cm", view::number(grid.across_cm)),
            format!("{} cm", view::number(grid.along_cm)),
            source(&grid.source),
        ]);
    }
    text.push_str(&taught.draw(columns));
    let mut lines = vec![
        "Chances are upper bounds from plane geometry, for bodies within the reach of the probe; published figures rest on other bodies and can't be \
         compared with them."
            .to_owned(),
    ];
    lines.extend(answer.cautions.iter().cloned());
    text + &besides(&lines, columns)
}

fn body_name(body: Body) -> String {
    match body {
        Body::Rectangle { length_cm, width_cm } => {
            format!("{} x {} cm", view::number(length_cm), view::number(width_cm))
        }
        Body::Circle { radius_cm } => format!("round, {} cm across", view::number(2.0 * radius_cm)),
    }
}

/// A chance in per cent; never rounded up to certainty.
fn chance(share: f64) -> String {
    if share < 1.0 && share > 0.9995 { "over 99.9 %".to_owned() } else { format!("{:.1} %", share * 100.0) }
}

fn tell_spiral(holes: &[RingHole], rings: Rings) -> String {
    let mut text = format!(
        "\n{} around the lowest reading, rings {} cm apart\n(common practice, no source)\n",
        counted(holes.len(), "hole", "holes"),
        view::number(rings.spacing_cm)
    );
    let last = holes.iter().map(|h| h.ring).max().unwrap_or(0);
    let radius_cm = f64::from(last) * rings.spacing_cm;
    // Three rows from ring to ring keep holes apart, as long as that fits on a screen.
    let rows = (3 * last as usize).clamp(1, 12);
    let cell_cm = radius_cm / rows as f64;
    let mut canvas = Canvas::new(4 * rows + 1, 2 * rows + 1);
    for hole in holes {
        let cells = |cm: f64, of: f64| if cell_cm > 0.0 { (cm / cell_cm * of).round() } else { 0.0 };
        let column = 2.0 * rows as f64 + cells(hole.x_cm, 2.0);
        let row = rows as f64 - cells(hole.y_cm, 1.0);
        canvas.put(column as usize, row as usize, if hole.ring == 0 { '×' } else { '•' });
    }
    if last <= 4 {
        text.extend(canvas.lines().map(|line| format!("  {line}").trim_end().to_owned() + "\n"));
    }
    for ring in 0..=last {
        let n = holes.iter().filter(|h| h.ring == ring).count();
        let at = if ring == 0 {
            "on the lowest reading".to_owned()
        } else {
            format!("{} cm from it", view::number(f64::from(ring) * rings.spacing_cm))
        };
        text.push_str(&format!("  {:>3}  {at}\n", n));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bodies_as_they_are_typed() {
        assert_eq!(body("170x45"), Ok(Body::Rectangle { length_cm: 170.0, width_cm: 45.0 }));
        assert_eq!(body("1.7m x 45cm"), Ok(Body::Rectangle { length_cm: 170.0, width_cm: 45.0 }));
        assert_eq!(body("r20"), Ok(Body::Circle { radius_cm: 20.0 }));
        assert!(body("170").unwrap_err().contains("170x45"));
        assert!(body("170x").is_err());
        assert_eq!((square_metres("400 m2"), square_metres("400")), (Ok(400.0), Ok(400.0)));
        assert!(square_metres("big").is_err());
    }

    #[test]
    fn a_chance_below_one_is_never_told_as_certain() {
        assert_eq!([chance(1.0), chance(0.99996), chance(0.99723)], ["100.0 %", "over 99.9 %", "99.7 %"]);
    }
}
