//! `debrief`: the day's answers.

use super::Ran;
use crate::args::{DayChoice, UnitsChoice};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::file::{make_folder, write_all_whole, write_whole};
use crate::page::{self, Units};
use crate::ui::{ALERT, FAINT, HEADING, styled};
use crate::view::{self, counted, table::Table};
use firnbook_core::day::DayId;
use firnbook_core::entry::{Topic, fold};
use firnbook_core::field::curves::SURVIVAL_CURVES;
use firnbook_core::insight::debrief::{Debrief, DrillAnswer, TargetAnswer};
use firnbook_core::insight::notes::NoteLine;
use firnbook_core::insight::reference::Reference;
use firnbook_core::insight::season::depth::DepthAsk;
use firnbook_core::insight::timeline::TargetTimes;
use firnbook_core::logbook::{Ask, Logbook, Season};
use firnbook_core::review::Item;
use std::collections::HashSet;
use std::path::{Path, PathBuf};

/// Tell the day's answers: kit, safety, who has not handed in, each drill, what is missing
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook debrief\n  firnbook debrief --drill 2 --day 2027-02-06\n  firnbook debrief --curve \"Switzerland 1981-2020\"\n  firnbook debrief --html debrief.html --sheets sheets"
)]
pub struct DebriefArgs {
    #[command(flatten)]
    day: DayChoice,
    /// Only this drill
    #[arg(long, value_name = "LABEL")]
    drill: Option<String>,
    /// Put the marks of this published survival curve beside the time lines, named and with its source
    #[arg(long, value_name = "NAME", value_parser = SURVIVAL_CURVES.map(|c| c.name))]
    curve: Option<String>,
    /// Write the day's page as well: one HTML file that needs no network
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write a sheet a person to take home: one A5 HTML file each
    #[arg(long, value_name = "FOLDER", conflicts_with = "drill")]
    sheets: Option<PathBuf>,
    #[command(flatten)]
    units: UnitsChoice,
}

/// Runs `debrief`.
pub fn run(desk: &mut Desk, args: &DebriefArgs) -> Ran {
    let day = desk.day_to_read(&args.day)?;
    let ask = Ask {
        drill: args.drill.as_deref(),
        curve: args.curve.as_deref(),
        thresholds: desk.settings.thresholds()?,
    };
    let debrief = desk.logbook.debrief(day.id, &ask)?;
    if let Some(drill) = args.drill.as_ref().filter(|_| debrief.drills.is_empty()) {
        return Err(Failure::refused(format!(
            "no drill is called \"{drill}\" on {} {}; `firnbook entries --kind drill` shows those that are",
            day.date, day.area
        )));
    }
    let settle = &debrief.to_settle;
    desk.awaits = !debrief.kit_out.is_empty()
        || !debrief.awaited.is_empty()
        || settle.conflicts + settle.twins + settle.doubts + settle.missing > 0;
    let units = desk.settings.units(args.units.units)?;
    if let Some(file) = &args.html {
        write_page(&desk.logbook, &debrief, &ask, units, file)?;
        desk.ui.say(format!("the day's page: {}", file.display()));
    }
    if let Some(folder) = &args.sheets {
        let n = write_sheets(&desk.logbook, day.id, &ask, units, folder)?;
        desk.ui.say(format!("{} in {}", view::counted(n, "sheet", "sheets"), folder.display()));
    }
    let columns = desk.ui.columns();
    desk.ui.answer(&debrief, |d| tell(d, columns))
}

/// Writes the page of a day whose answers are known.
///
/// # Errors
/// The store's, and those of the file.
pub(super) fn write_page(
    logbook: &Logbook,
    debrief: &Debrief,
    ask: &Ask<'_>,
    units: Units,
    file: &Path,
) -> Result<(), Failure> {
    let sites = logbook.sites(debrief.day, ask)?;
    let season = Season { day: Some(debrief.day), ..Season::default() };
    let depths = match ask.drill {
        None => Some(logbook.depth(&season, DepthAsk::default(), &ask.thresholds)?),
        Some(_) => None,
    };
    let page = page::day_page(&page::Day { debrief, sites: &sites, depths: depths.as_ref(), units });
    write_whole(file, page.as_bytes())
}

/// Writes the sheets of a day's people; returns how many.
fn write_sheets(
    logbook: &Logbook,
    day: DayId,
    ask: &Ask<'_>,
    units: Units,
    folder: &Path,
) -> Result<usize, Failure> {
    let sheets = logbook.sheets(day, &ask.thresholds)?;
    make_folder(folder)?;
    let mut taken = HashSet::new();
    let mut files = Vec::with_capacity(sheets.len());
    for sheet in &sheets {
        // Two call signs may differ only in signs that a file's name can't carry.
        let name = file_name(&sheet.call_sign);
        let free = (1..).map(|n| if n == 1 { name.clone() } else { format!("{name}-{n}") });
        let name = free.into_iter().find(|name| taken.insert(name.clone())).unwrap_or(name);
        files.push((folder.join(format!("{name}.html")), page::sheet_page(sheet, units)));
    }
    write_all_whole(&files)?;
    Ok(sheets.len())
}

/// A call sign as a file may be called on any machine: letters and digits, in lower case.
fn file_name(call_sign: &str) -> String {
    let plain: String = fold(call_sign).chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
    let plain = plain.trim_matches('-');
    if plain.is_empty() { "sheet".to_owned() } else { view::shortened(plain, 60) }
}

fn tell(debrief: &Debrief, columns: usize) -> String {
    let mut text = format!("{}\n", styled(HEADING, format!("{} {}", debrief.date, debrief.area)));
    let style = if debrief.kit_out.is_empty() { HEADING } else { ALERT };
    text.push_str(&format!("\n{}\n", styled(style, format!("Kit: {}", debrief.kit_says))));
    for item in &debrief.kit_out {
        text.push_str(&bullet(&super::kit::place(item), columns));
    }
    if !debrief.safety.is_empty() {
        text.push_str(&format!("\n{}\n", styled(ALERT, "Safety")));
        debrief.safety.iter().for_each(|n| text.push_str(&tell_note(n, columns)));
    }
    if !debrief.awaited.is_empty() {
        let names: Vec<&str> = debrief.awaited.iter().filter_map(|a| a.call_sign.as_deref()).collect();
        text.push_str(&format!("\n{}  {}\n", styled(ALERT, "Not handed in"), names.join(", ")));
    }
    debrief.drills.iter().for_each(|d| text.push_str(&tell_drill(d, debrief.reference.as_ref(), columns)));
    text.push_str(&tell_reference(debrief, columns));
    if let Some(why) = debrief.clocks.why.as_ref().filter(|_| !debrief.drills.is_empty()) {
        text.push_str(&format!("\n{}\n", styled(FAINT, textwrap::fill(why, columns))));
    }
    text.push_str(&tell_checks(debrief, columns));
    text.push_str(&tell_interference(debrief, columns));
    let missing: Vec<&Item> = debrief.missing.iter().filter(|i| !i.is_kit()).collect();
    if !missing.is_empty() {
        text.push_str(&format!("\n{}\n", styled(HEADING, "Missing: ask while they are here")));
        for item in missing {
            text.push_str(&bullet(&format!("{} ({})", item.says, item.ask.join(", ")), columns));
        }
    }
    if !debrief.notes.is_empty() {
        text.push_str(&format!("\n{}\n", styled(HEADING, "Notes")));
        debrief.notes.iter().for_each(|n| text.push_str(&tell_note(n, columns)));
    }
    text.push_str(&tell_rest(debrief, columns));
    text
}

fn bullet(says: &str, columns: usize) -> String {
    let options = textwrap::Options::new(columns).initial_indent("  ").subsequent_indent("    ");
    format!("{}\n", textwrap::fill(says, options))
}

fn tell_note(note: &NoteLine, columns: usize) -> String {
    let topic = match note.topic {
        Topic::Safety | Topic::General => String::new(),
        topic => format!("{}: ", topic.word().replace('_', " ")),
    };
    let drill = note.drill.as_ref().map(|d| format!(", drill {d}")).unwrap_or_default();
    bullet(
        &format!("{topic}{} ({} {}{drill})", note.text, note.by, note.at.datetime().format("%H:%M")),
        columns,
    )
}

fn tell_drill(drill: &DrillAnswer, reference: Option<&Reference>, columns: usize) -> String {
    let mut about: Vec<String> = Vec::new();
    about.extend(drill.form.map(|f| f.word().replace('_', " ")));
    about.extend(drill.team.as_ref().map(|t| format!("team {t}")));
    about.extend(drill.slope_deg.map(|s| format!("{}°", view::number(s))));
    about.extend(drill.limit_s.map(|l| format!("limit {}", view::stopwatch(Some(l)))));
    about.extend(drill.started_at.map(|t| format!("start {}", view::clock_time(t))));
    if let Some(ended) = &drill.ended {
        let why = ended.why.map(|w| format!(" {}", w.word())).unwrap_or_default();
        about.push(format!("end {}{why}", view::stopwatch(ended.t_s)));
    }
    let mut text = format!("\n{}  {}\n", styled(HEADING, format!("Drill {}", drill.label)), about.join(", "));
    let mut steps = Table::new([
        "  target", "signal", "coarse", "fine", "1st hole", "strike", "digging", "airway", "±", "spread",
    ])
    .right([1, 2, 3, 4, 5, 6, 7, 8, 9]);
    for target in &drill.targets {
        let t = &target.times;
        let step = |s: Option<f64>| view::stopwatch(s);
        steps.row([
            format!("  {}", t.label),
            step(t.t_signal_s),
            step(t.t_coarse_s),
            step(t.t_fine_s),
            step(t.t_probing_s),
            step(t.t_strike_s),
            step(t.t_digging_s),
            step(t.t_airway_s),
            t.uncertainty_s.map_or_else(|| "?".to_owned(), |u| format!("{} s", view::number(u))),
            t.spread_s.map(|s| format!("{} s", view::number(s))).unwrap_or_default(),
        ]);
    }
    text.push_str(&steps.draw(columns));
    let lines: Vec<TargetTimes> = drill.targets.iter().map(|t| t.times.clone()).collect();
    text.push_str(&view::timeline::draw(&lines, reference, columns));
    drill.targets.iter().for_each(|t| text.push_str(&tell_target(t, columns)));
    text.push_str(&tell_slowest_why(drill, columns));
    text.push_str(&tell_several(drill, columns));
    text.push_str(&view::field::search(&drill.search, columns));
    text.push_str(&view::field::probing(&drill.probing, columns));
    text.push_str(&tell_digging(drill, columns));
    text
}

/// Why no phase is named as the slowest, where that is so for every target.
fn tell_slowest_why(drill: &DrillAnswer, columns: usize) -> String {
    let mut whys = drill.targets.iter().map(|t| t.slowest_why.as_ref());
    match whys.next().flatten() {
        Some(first) if whys.all(|why| why == Some(first)) => {
            bullet(&format!("no phase is named as the slowest: {first}"), columns)
        }
        _ => String::new(),
    }
}

fn tell_reference(debrief: &Debrief, columns: usize) -> String {
    let Some(reference) = &debrief.reference else { return String::new() };
    let marks: Vec<String> = reference
        .marks
        .iter()
        .map(|m| format!("{} {} %", view::stopwatch(Some(m.t_s)), view::number(m.alive_pct)))
        .collect();
    let n = reference.n.map(|n| format!(", n {n}")).unwrap_or_default();
    let says = format!(
        "Marks of \"{}\"{n}: {}; {}. {} ({})",
        reference.curve,
        marks.join(", "),
        reference.says,
        reference.source.text,
        view::word(&reference.source.standing)
    );
    format!("\n{}\n", styled(FAINT, textwrap::fill(&says, columns)))
}

fn tell_target(target: &TargetAnswer, columns: usize) -> String {
    let name = if target.times.label.is_empty() {
        "the target".to_owned()
    } else {
        format!("target {}", target.times.label)
    };
    let mut parts = Vec::new();
    if let Some(found) = &target.depth.headline {
        let range = if found.n > 1 {
            format!(
                " ({} values, {} to {})",
                found.n,
                view::number(found.range_cm[0]),
                view::number(found.range_cm[1])
            )
        } else {
            " (1 value)".to_owned()
        };
        let what = if found.of_readings {
            "lowest readings, not a depth".to_owned()
        } else {
            datum(found.datum.word())
        };
        parts.push(format!("{} cm {what}{range}", view::number(found.median_cm)));
    }
    parts.extend(target.depth.set.map(|s| format!("set at {} cm", view::number(s.depth_cm))));
    parts.extend(target.reading_ratio.map(|r| format!("lowest reading / depth {r:.2}")));
    let marks: Vec<String> = target.strikes.iter().filter_map(|s| s.from_mark_cm).map(view::number).collect();
    if !marks.is_empty() {
        parts.push(format!("strike {} cm from the lowest-reading mark", marks.join(" or ")));
    }
    let holes: Vec<String> = target.strikes.iter().filter_map(|s| s.holes).map(|h| h.to_string()).collect();
    if !holes.is_empty() {
        parts.push(format!("{} probe holes", holes.join(" or ")));
    }
    if let Some(slow) = &target.slowest {
        parts.push(format!(
            "slowest against the team's own median: {} {} (usually {}, n {})",
            view::word(&slow.phase),
            view::stopwatch(Some(slow.took_s)),
            view::stopwatch(Some(slow.team_median_s)),
            slow.n
        ));
    }
    if parts.is_empty() { String::new() } else { bullet(&format!("{name}: {}", parts.join("; ")), columns) }
}

fn datum(word: String) -> String {
    match word.as_str() {
        "first_contact" => "to first contact".to_owned(),
        "airway" => "to the airway".to_owned(),
        "top" => "to the top".to_owned(),
        _ => "deep".to_owned(),
    }
}

fn tell_several(drill: &DrillAnswer, columns: usize) -> String {
    let Some(several) = &drill.several else { return String::new() };
    let mut text = String::new();
    let order: Vec<&str> = several.order.iter().map(|o| o.target.as_str()).collect();
    if !order.is_empty() {
        text.push_str(&bullet(&format!("found in the order {}", order.join(", ")), columns));
    }
    for line in several.order.iter().filter(|o| o.silenced_before_next == Some(false)) {
        let says = format!(
            "target {} was still sending when the search moved on, as far as it was written down",
            line.target
        );
        text.push_str(&bullet(&says, columns));
    }
    for led in &several.led_to_one {
        let says = format!(
            "{} were led to target {} from {} on while {} lay unattended",
            led.people.join(" and "),
            led.target,
            view::stopwatch(Some(led.since_s)),
            led.unattended.join(", ")
        );
        text.push_str(&bullet(&says, columns));
    }
    if !several.not_written_of.is_empty() {
        text.push_str(&bullet(
            &format!("nothing was written of {}", several.not_written_of.join(", ")),
            columns,
        ));
    }
    text
}

fn tell_digging(drill: &DrillAnswer, columns: usize) -> String {
    let digging = &drill.digging;
    if digging.people.is_empty() {
        return String::new();
    }
    let mut table = Table::new(["  digging", "work", "at the head", "turns", "longest"]).right([1, 2, 3, 4]);
    for digger in &digging.people {
        table.row([
            format!("  {}", digger.call_sign),
            view::stopwatch(Some(digger.work_s)),
            view::stopwatch(Some(digger.head_s)),
            digger.turns.to_string(),
            view::stopwatch(Some(digger.longest_turn_s)),
        ]);
    }
    let mut text = table.draw(columns);
    for head in &digging.heads {
        let mut parts = vec![counted(head.turns.len(), "turn", "turns")];
        if head.overdue > 0 {
            parts.push(format!("{} longer than the interval", head.overdue));
        }
        for gap in &head.gaps {
            parts.push(format!(
                "nobody at the head from {} to {}",
                view::stopwatch(Some(gap.from_s)),
                view::stopwatch(Some(gap.to_s))
            ));
        }
        parts.extend(head.snow.as_ref().map(|snow| {
            let rate = snow.kg_per_s.map(|r| format!(", {r:.1} kg/s")).unwrap_or_default();
            format!("about {} kg of snow moved{rate} (modelled)", view::number(snow.snow_kg.round()))
        }));
        text.push_str(&bullet(&format!("hole {}: {}", head.target, parts.join("; ")), columns));
    }
    if let Some(share) = digging.idle_share {
        text.push_str(&bullet(
            &format!("idle share of those with a role: {} %", view::number(share * 100.0)),
            columns,
        ));
    }
    text
}

fn tell_checks(debrief: &Debrief, columns: usize) -> String {
    let checks = &debrief.checks;
    if checks.n == 0 {
        return String::new();
    }
    let mut text = format!(
        "\n{}  {} of {}\n",
        styled(HEADING, "Group check"),
        counted(checks.n, "check", "checks"),
        counted(checks.people, "person", "people")
    );
    for failed in &checks.failed {
        let later = if failed.passed_later { ", passed later" } else { "" };
        let fault = failed.fault.as_ref().map(|f| format!(" ({f})")).unwrap_or_default();
        text.push_str(&bullet(
            &format!("{}: {} failed{fault}{later}", failed.call_sign, view::word(&failed.what)),
            columns,
        ));
    }
    for part in &checks.not_tested {
        let says = format!("{} not tested: {}", view::word(&part.what), part.call_signs.join(", "));
        text.push_str(&bullet(&says, columns));
    }
    for low in &checks.battery_below {
        text.push_str(&bullet(&format!("{}: battery {} %", low.call_sign, view::number(low.pct)), columns));
    }
    for near in checks.electronics.iter().filter(|e| e.too_near_to_send || e.too_near_to_search) {
        let to = if near.too_near_to_send { "sending and searching" } else { "searching" };
        let says = format!(
            "{}: electronics {} cm away, too near for {to}",
            near.call_sign,
            view::number(near.distance_cm)
        );
        text.push_str(&bullet(&says, columns));
    }
    if !checks.not_checked.is_empty() {
        text.push_str(&bullet(&format!("not checked: {}", checks.not_checked.join(", ")), columns));
    }
    text
}

fn tell_interference(debrief: &Debrief, columns: usize) -> String {
    let day = &debrief.interference;
    if day.n == 0 {
        return String::new();
    }
    let mut text =
        format!("\n{}  {}\n", styled(HEADING, "Interference"), counted(day.n, "disturbance", "disturbances"));
    for event in &day.events {
        let mut parts = vec![event.source.word().replace('_', " ")];
        parts.extend(event.person.iter().cloned());
        parts.extend(event.distance_cm.map(|d| format!("{} cm away", view::number(d))));
        parts.extend(event.effect.map(|e| e.word().replace('_', " ")));
        parts.extend(event.lost_s.map(|s| format!("{} s lost", view::number(s))));
        parts.extend(event.remedy.iter().cloned());
        let drill = event.drill.as_ref().map(|d| format!("drill {d}: ")).unwrap_or_default();
        text.push_str(&bullet(&format!("{drill}{}", parts.join(", ")), columns));
    }
    text
}

fn tell_rest(debrief: &Debrief, columns: usize) -> String {
    let mut text = String::new();
    let settle = &debrief.to_settle;
    let open = [
        (settle.conflicts, "conflict", "conflicts"),
        (settle.doubts, "doubt", "doubts"),
        (settle.twins, "twin", "twins"),
    ];
    let open: Vec<String> =
        open.into_iter().filter(|(n, ..)| *n > 0).map(|(n, one, more)| counted(n, one, more)).collect();
    if !open.is_empty() {
        text.push_str(&format!("\n{}  {}: firnbook settle\n", styled(HEADING, "To settle"), open.join(", ")));
    }
    let mut besides: Vec<String> =
        debrief.left_out.iter().map(|l| format!("{} left out: {}", l.n, l.reason)).collect();
    if debrief.assumed_twins > 0 {
        besides.push(format!(
            "{} counted as one event, not settled yet",
            counted(debrief.assumed_twins, "pair", "pairs")
        ));
    }
    text.push('\n');
    for line in besides.iter().chain(&debrief.cautions) {
        text.push_str(&format!("{}\n", styled(FAINT, textwrap::fill(line, columns))));
    }
    text
}
