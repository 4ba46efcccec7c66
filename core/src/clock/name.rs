//! Which clock a time was read from. A device has its first clock and, after that was moved, a second and so on; a watch belongs to no device;
//! a stopwatch is another one on every sheet.

use crate::day::{ClockName, DeviceId, Noted};
use crate::entry::{Body, fold};
use std::borrow::Cow;

/// What no device wrote: the word `base`, and watches.
const NO_DEVICE: DeviceId = DeviceId([0; 16]);
/// Typed or amended at base.
const BASE: &str = "base";
/// Since the start of a sheet.
pub(super) const STOPWATCH: &str = "stopwatch";

/// The clock of an entry's `at`.
pub(super) fn of(noted: &Noted) -> Cow<'_, ClockName> {
    let name = &noted.at_clock;
    // Beside a watch that is read by hand stands the device's own time.
    if is_reading(noted)
        && noted.entry.as_ref().is_some_and(|e| e.common.clock.as_deref() == Some(&name.clock))
    {
        return Cow::Owned(own(noted.device, ""));
    }
    if name.clock.is_empty() || (name.clock != "1" && is_number(&name.clock)) {
        return Cow::Borrowed(name);
    }
    if fold(&name.clock) == STOPWATCH {
        let common = noted.entry.as_ref().map(|e| &e.common);
        let by = common.map(|c| fold(&c.by.0)).unwrap_or_default();
        let drill = common.and_then(|c| c.drill.as_ref()).map(|d| fold(&d.0)).unwrap_or_default();
        let clock = format!("{STOPWATCH} of {by}, drill {drill}");
        return Cow::Owned(ClockName { device: name.device, clock });
    }
    Cow::Owned(labelled(name.device, &name.clock))
}

/// The clock that a label names, written on `device`: its own by number, base's, another device's (`9f31c0de00aa41b7`, or its second clock
/// `9f31c0de00aa41b7:2`), else a watch.
pub(super) fn labelled(device: DeviceId, label: &str) -> ClockName {
    let label = fold(label);
    if label.is_empty() || is_number(&label) {
        return own(device, &label);
    }
    let (id, number) = label.split_once(':').unwrap_or((&label, ""));
    match id.parse::<DeviceId>() {
        Ok(other) if number.is_empty() || is_number(number) => own(other, number),
        _ => ClockName { device: NO_DEVICE, clock: label },
    }
}

/// A device's own clock of this number; 1 and nothing are its first.
pub(super) fn own(device: DeviceId, number: &str) -> ClockName {
    let clock = if number == "1" { String::new() } else { number.to_owned() };
    ClockName { device, clock }
}

/// What is typed at base is base time.
pub(super) fn is_base(name: &ClockName) -> bool {
    name.device == NO_DEVICE && name.clock == BASE
}

/// Whether it is a device's own clock, and no watch.
pub(super) fn is_own(name: &ClockName) -> bool {
    name.clock.is_empty() || is_number(&name.clock)
}

/// The device that a clock belongs to; `None` for a watch.
pub(super) fn device(name: &ClockName) -> Option<DeviceId> {
    Some(name.device).filter(|d| *d != NO_DEVICE)
}

/// Whether an entry says what a watch showed.
pub(super) fn is_reading(noted: &Noted) -> bool {
    let body = noted.entry.as_ref().map(|e| &e.body);
    matches!(body, Some(Body::ClockMark(mark)) if mark.shows.is_some())
}

/// The place of a device's own clock in the order of its numbers.
pub(super) fn number(name: &ClockName) -> u64 {
    if name.clock.is_empty() { 1 } else { name.clock.parse().unwrap_or(u64::MAX) }
}

fn is_number(text: &str) -> bool {
    !text.is_empty() && text.len() <= 6 && text.bytes().all(|b| b.is_ascii_digit())
}
