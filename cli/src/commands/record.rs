//! `record`: the full-screen recorder.

use super::Ran;
use crate::args::{DayChoice, Writer};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::record::{Look, Post, terminal};

/// Write a drill down as it happens, on a full screen
///
/// One key a step, with the time of the press: s start, g signal, c coarse, f fine, p probing, h hit, d digging, r rotation, a airway, e end. The
/// space bar is the step that is expected next. Digits and Enter are the depth of the target in focus; u takes the last press back; ? shows every
/// key. What is pressed is on the disk at once; after a crash the recorder stands where it stood. It never needs a network.
///
/// Without --drill it opens the drill that you sat at last, or shows the drills to choose from; a drill can be set up there. The bell rings when a
/// rotation is due (setting rotation_interval_s).
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  firnbook record\n  firnbook record --as Obs1 --drill 1")]
pub struct RecordArgs {
    /// Your call sign [default: the setting `me`]
    #[arg(long = "as", alias = "by", value_name = "CALL SIGN")]
    writer: Option<String>,
    /// The drill, by its label
    #[arg(long, value_name = "DRILL")]
    drill: Option<String>,
    #[command(flatten)]
    day: DayChoice,
}

/// Runs `record`.
pub fn run(desk: &mut Desk, args: &RecordArgs) -> Ran {
    if desk.ui.json() {
        return Err(Failure::Usage(
            "the recorder is a screen and has no JSON; `firnbook log` writes without one".to_owned(),
        ));
    }
    if !desk.ui.may_ask() {
        return Err(Failure::refused(
            "the recorder needs a terminal to stand on; `firnbook log` writes without one",
        ));
    }
    let me = desk.writer(&Writer { by: args.writer.clone() })?;
    let day = desk.day_to_write(&args.day)?;
    let interval_s = desk.settings.thresholds()?.rotation_interval_s;
    let look = Look { colour: desk.ui.coloured() };
    let clock = desk.clock.clone();
    let mut post = Post::new(&mut desk.logbook, clock, day.id, &me, args.drill.as_deref(), interval_s)?;
    terminal::show(&mut post, look)?;
    drop(post);
    desk.ui.say(format!("all is kept in the day {} {}", day.date, day.area));
    desk.ui.advise("`firnbook review` asks what needs a person, `firnbook pack` hands the day over");
    Ok(())
}
