//! `plan reading`: what a transceiver shows above a transmitter, as a magnetic dipole makes it.

use super::{Ran, besides, centimetres, degrees};
use crate::commands::stats::one_of;
use crate::failure::Failure;
use crate::ui::{HEADING, Ui, styled};
use crate::view::{self, histogram::bar, table::Table};
use firnbook_core::entry::Orientation;
use firnbook_core::field::FieldError;
use firnbook_core::field::dipole::BuriedTransmitter;
use firnbook_core::insight::plan::{self, ReadingAnswer};

/// Tell what a transceiver shows above a transmitter, and where it shows least
///
/// A magnetic dipole in empty space and an ideal device: a lowest reading is not a depth, and devices differ.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook plan reading --depth 150cm\n  firnbook plan reading --depth 1.5m --orientation tilted --tilt 30"
)]
pub struct ReadingArgs {
    /// Depth of the transmitter, square to the surface
    #[arg(long, value_name = "CM", value_parser = centimetres, allow_negative_numbers = true)]
    depth: f64,
    /// How it lies [default: flat]
    #[arg(long, value_name = "flat|upright|tilted", value_parser = one_of::<Orientation>)]
    orientation: Option<Orientation>,
    /// Tilt of its long axis against the surface: 0 lies flat, 90 stands upright
    #[arg(long, value_name = "DEG", value_parser = degrees, allow_negative_numbers = true)]
    tilt: Option<f64>,
}

/// Runs `plan reading`.
pub fn run(ui: &mut Ui, args: &ReadingArgs) -> Ran {
    let answer = plan::reading(args.depth, args.orientation, args.tilt).map_err(Failure::refused)?;
    let profile = profile(&answer).map_err(Failure::refused)?;
    let columns = ui.columns();
    ui.answer(&answer, |answer| tell(answer, &profile, columns))
}

/// Places from twice the depth before the transmitter to twice the depth behind it, along its axis, with the readings there, m.
fn profile(answer: &ReadingAnswer) -> Result<Vec<[f64; 2]>, FieldError> {
    const STEPS: i32 = 8;
    let transmitter = BuriedTransmitter::new(answer.depth_cm, answer.tilt_deg)?;
    let at = |step: i32| 2.0 * answer.depth_cm / 100.0 * f64::from(step) / f64::from(STEPS);
    (-STEPS..=STEPS).map(|step| Ok([at(step), transmitter.reading_m(at(step), 0.0)?])).collect()
}

fn tell(answer: &ReadingAnswer, profile: &[[f64; 2]], columns: usize) -> String {
    let reading = &answer.reading;
    let lies = match answer.tilt_deg {
        0.0 => "lying flat".to_owned(),
        90.0 => "standing upright".to_owned(),
        tilt => format!("tilted by {}°", view::number(tilt)),
    };
    let title = format!("A transmitter {} cm deep, {lies}", view::number(answer.depth_cm));
    let mut text = format!("{}\n", styled(HEADING, title));
    let mut table = Table::new(["", "", ""]);
    table.row(["straight above it".into(), format!("{:.2} m", reading.above_m), String::new()]);
    table.row([
        "lowest on the surface".into(),
        format!("{:.2} m", reading.lowest_m),
        format!("{:.2} times the depth", reading.ratio),
    ]);
    for place in reading.maxima.iter().filter(|m| m.x_m.abs() >= 0.005) {
        let says = "from straight above, towards the raised end".to_owned();
        table.row(["strongest field".into(), format!("{:.2} m", place.x_m), says]);
    }
    if let Some(ring_m) = reading.surface_only_ring_m {
        let says = "around: strongest there for a receiver that senses only along the surface".to_owned();
        table.row(["a ring".into(), format!("{ring_m:.2} m"), says]);
    }
    text.push_str(&table.draw(columns));
    text.push_str("\nAlong the transmitter's axis, on the surface\n");
    let most = profile.iter().map(|[_, m]| *m).fold(0.0, f64::max);
    let room = columns.saturating_sub(22).clamp(10, 56);
    for [x_m, reading_m] in profile {
        text.push_str(&format!("  {x_m:>6.2} m  {reading_m:>6.2} m {}\n", bar(reading_m / most, room)));
    }
    let mut lines = vec![
        "Positive: towards the raised end. A magnetic dipole in empty space (standard physics) and an ideal device calibrated on the field along the \
         axis; devices differ, and a lowest reading is not a depth."
            .to_owned(),
    ];
    lines.extend(answer.cautions.iter().cloned());
    text + &besides(&lines, columns)
}
