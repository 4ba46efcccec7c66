//! The clock that a logbook is given at opening, so that tests and simulations own time; and the counter beside it that nobody can set.

use crate::entry::Time;
use chrono::{Datelike, Local};

/// Where "now" comes from.
pub trait Clock: Send + Sync {
    /// The present instant, with the offset of the place.
    fn now(&self) -> Time;

    /// How long the machine has been running, by a counter that no setting of the clock moves. `None` where there is none: a moved clock is
    /// not noticed then.
    fn since_boot(&self) -> Option<SinceBoot> {
        None
    }
}

/// A reading of the counter that runs from the machine's start, also while it sleeps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SinceBoot {
    /// Milliseconds since the machine's start.
    pub ms: i64,
    /// Which start: another word after every one. `None` where the machine does not say; readings are then compared within one opening only.
    pub boot: Option<String>,
}

/// The clock of the machine, in its time zone.
#[derive(Clone, Copy, Debug, Default)]
pub struct MachineClock;

impl Clock for MachineClock {
    fn now(&self) -> Time {
        Time::new(Local::now().fixed_offset())
    }

    fn since_boot(&self) -> Option<SinceBoot> {
        machine_since_boot()
    }
}

#[cfg(unix)]
fn machine_since_boot() -> Option<SinceBoot> {
    use rustix::time::{ClockId, clock_gettime};
    use std::time::Duration;
    // On Apple's systems the monotonic clock itself runs on while the machine sleeps.
    #[cfg(any(target_os = "linux", target_os = "android"))]
    let id = ClockId::Boottime;
    #[cfg(not(any(target_os = "linux", target_os = "android")))]
    let id = ClockId::Monotonic;
    let at = clock_gettime(id);
    let ms = i64::try_from(Duration::try_from(at).ok()?.as_millis()).ok()?;
    let boot = std::fs::read_to_string("/proc/sys/kernel/random/boot_id").ok();
    Some(SinceBoot { ms, boot: boot.map(|id| id.trim().to_owned()).filter(|id| !id.is_empty()) })
}

#[cfg(not(unix))]
fn machine_since_boot() -> Option<SinceBoot> {
    None
}

/// Years that a clock can show in earnest: from before this program was written until its days have five digits no phone will see.
const YEARS: std::ops::RangeInclusive<i32> = 2024..=2089;

/// One sentence for a person whose clock shows a time that can't be, as a device does that lost its battery; `None` where it may be right.
#[must_use]
pub fn implausible(now: Time) -> Option<String> {
    let shown = now.datetime();
    (!YEARS.contains(&shown.year())).then(|| {
        format!(
            "this device's clock shows {}, which can't be: set it, or its times can only be put right by comparing clocks",
            shown.format("%Y-%m-%d %H:%M")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clocks_of_1970_and_2099_are_told() {
        let says = |at: &str| implausible(Time::parse(at).unwrap());
        assert!(says("1970-01-01T01:00:12.000+01:00").unwrap().contains("shows 1970-01-01 01:00,"));
        assert!(says("2099-12-31T23:59:59.000Z").is_some());
        assert_eq!(says("2027-02-06T10:00:00.000+01:00"), None);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn the_counter_of_this_machine_runs_and_names_its_start() {
        let (one, other) = (MachineClock.since_boot().unwrap(), MachineClock.since_boot().unwrap());
        assert!(one.ms > 0 && other.ms >= one.ms && other.ms - one.ms < 60_000);
        assert_eq!(one.boot, other.boot);
        assert!(one.boot.is_some());
    }
}
