//! An invented training day, played through the same door that phones use: who is there, what they do, how wrong their clocks are. The command
//! `demo` tells it.

mod chance;
mod phone;
mod script;

use crate::commands::pack::name;
use crate::failure::Failure;
use crate::file::{make_folder, write_whole};
use crate::settings::Settings;
use chance::Chance;
use chrono::{FixedOffset, NaiveDate, NaiveTime, TimeZone};
use firnbook_core::day::DayId;
use firnbook_core::logbook::{Logbook, Merged};
use phone::{Phone, StoryClock, TrueTime};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicI64;

/// Where the story plays.
pub const AREA: &str = "Quillhorn East";

/// Who holds the phones, the patrol lead first. The holder of the last phone comes down late.
const HOLDERS: [&str; 12] = [
    "Larch", "Alder", "Birch", "Cedar", "Hazel", "Rowan", "Aspen", "Elder", "Maple", "Olive", "Poplar",
    "Willow",
];

/// How far each clock is ahead, milliseconds: within 3 s, as of phones that were without a network for some days.
const OFF_MS: [i64; 12] = [0, 1_900, -2_400, 700, -1_100, 2_600, -300, 1_200, -1_700, 2_100, -2_800, 400];

/// With how many phones the story can be played.
pub const PHONES: RangeInclusive<usize> = 5..=HOLDERS.len();

/// What is asked for.
pub struct Wanted {
    /// The folder, empty or not there yet.
    pub dir: PathBuf,
    /// How many phones, within [`PHONES`].
    pub phones: usize,
    /// The same seed plays the same story.
    pub seed: u64,
    /// The date.
    pub date: NaiveDate,
    /// The offset of the place from UTC.
    pub offset: FixedOffset,
}

/// What was played.
pub struct Played {
    /// The day.
    pub day: DayId,
    /// The store of the base laptop.
    pub base_store: PathBuf,
    /// Who handed in, their pack, what merging it did.
    pub packs: Vec<(&'static str, PathBuf, Merged)>,
    /// Who is still on the hill, and their pack.
    pub late: (&'static str, PathBuf),
    /// Who holds a phone and how far its clock is ahead, seconds.
    pub clocks: Vec<(&'static str, f64)>,
}

/// Plays the day and leaves stores and packs in the folder.
///
/// # Errors
/// What the disk says.
pub fn play(wanted: &Wanted) -> Result<Played, Failure> {
    let [phones_dir, packs_dir, late_dir] = ["phones", "packs", "late"].map(|d| wanted.dir.join(d));
    for dir in [&phones_dir, &packs_dir, &late_dir] {
        make_folder(dir)?;
    }
    let midnight = wanted.offset.from_local_datetime(&wanted.date.and_time(NaiveTime::MIN)).single();
    let midnight_ms = midnight.map_or(0, |t| t.timestamp_millis());
    let true_ms: TrueTime = Arc::new(AtomicI64::new(midnight_ms));
    let utc_offset_min = wanted.offset.local_minus_utc() / 60;
    let mut phones = Vec::new();
    for (i, (holder, off_ms)) in (1..).zip(HOLDERS.into_iter().zip(OFF_MS).take(wanted.phones)) {
        let path = phones_dir.join(format!("{}.firnstore", holder.to_lowercase()));
        let clock = || StoryClock::new(true_ms.clone(), off_ms, utc_offset_min);
        phones.push(Phone::new(&path, holder, clock, (wanted.date, AREA), Chance::new(wanted.seed, i))?);
    }
    script::play(&mut phones, midnight_ms)?;

    let at_one = Arc::new(AtomicI64::new(midnight_ms + 13 * 3_600_000));
    let base_store = wanted.dir.join("base.firnstore");
    let mut base = Logbook::open(&base_store, Box::new(StoryClock::new(at_one, 0, utc_offset_min)))?;
    let day = base.begin_day(wanted.date, AREA, HOLDERS[0])?.day;
    Settings::beside(&base_store)?.set("me", Some(HOLDERS[0].into()))?;

    let mut packs = Vec::new();
    let in_time = phones.len() - 1;
    for phone in &phones[..in_time] {
        let file = hand_in(phone, &packs_dir)?;
        let bytes = std::fs::read(&file).map_err(|e| Failure::file(&file, &e))?;
        packs.push((phone.call_sign, file, base.merge(&bytes, false)?));
    }
    let late = (phones[in_time].call_sign, hand_in(&phones[in_time], &late_dir)?);
    let clocks = HOLDERS.into_iter().zip(OFF_MS.map(|ms| ms as f64 / 1000.0)).take(wanted.phones).collect();
    Ok(Played { day, base_store, packs, late, clocks })
}

/// Leaves a phone's pack in a folder.
fn hand_in(phone: &Phone, folder: &Path) -> Result<PathBuf, Failure> {
    let file = folder.join(name(&phone.logbook.days()?, phone.call_sign));
    write_whole(&file, &phone.pack()?)?;
    Ok(file)
}
