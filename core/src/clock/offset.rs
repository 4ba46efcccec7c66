//! How far two clocks stand apart, from messages that went there and back with four instants on them; and the entry that tells it. Who sends
//! the messages is not known here.

use crate::day::DeviceId;
use crate::entry::ClockOffset;
use crate::units::Milliseconds;
use serde::Serialize;
use serde_json::{Map, Value};

/// Exchanges of one session that are looked at, the first ones. The one of least delay counts; more than these hardly find a quicker one.
pub const EXCHANGES_MAX: usize = 8;
/// No offset is known better than this: instants are whole milliseconds, and a busy phone answers late.
pub const FLOOR_MS: f64 = 10.0;
/// How fast two clocks drift apart at the most: quartz of phones in the cold. Common practice, no source.
pub const DRIFT_PPM: f64 = 50.0;

/// A message and its answer, each stamped as it left and as it came; milliseconds since 1970 UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Exchange {
    /// The question leaves, by the clock of who asks.
    pub t1_ms: i64,
    /// It comes in, by the clock of who answers.
    pub t2_ms: i64,
    /// The answer leaves, by the same clock.
    pub t3_ms: i64,
    /// It comes in, by the clock of who asked.
    pub t4_ms: i64,
}

/// What an exchange tells of the clock of who asks.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record), uniffi(name = "MeasuredOffset"))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Offset {
    /// What is added to the time of who asks to get the time of who answers, milliseconds.
    pub offset_ms: f64,
    /// How long the two messages were on their way, milliseconds.
    pub delay_ms: f64,
    /// Half width within which the true offset lies, milliseconds: half the delay, at least [`FLOOR_MS`].
    pub uncertainty_ms: f64,
}

impl Exchange {
    /// Offset ((t2 - t1) + (t3 - t4)) / 2 and delay (t4 - t1) - (t3 - t2), as RFC 5905, section 8, has them.
    ///
    /// `None` where the delay comes out negative: a clock was moved meanwhile.
    #[must_use]
    pub fn offset(&self) -> Option<Offset> {
        let apart = |a: i64, b: i64| a.checked_sub(b);
        let (there, back) = (apart(self.t2_ms, self.t1_ms)?, apart(self.t3_ms, self.t4_ms)?);
        let (round_trip, within) = (apart(self.t4_ms, self.t1_ms)?, apart(self.t3_ms, self.t2_ms)?);
        let delay = round_trip.checked_sub(within).filter(|d| *d >= 0 && within >= 0)?;
        let delay_ms = delay as f64;
        Some(Offset {
            offset_ms: there.checked_add(back)? as f64 / 2.0,
            delay_ms,
            uncertainty_ms: (delay_ms / 2.0).max(FLOOR_MS),
        })
    }
}

impl Offset {
    /// Of the first [`EXCHANGES_MAX`] exchanges the one of least delay, the earliest of equals; `None` where none tells anything.
    #[must_use]
    pub fn best(exchanges: &[Exchange]) -> Option<Offset> {
        let told = exchanges.iter().take(EXCHANGES_MAX).filter_map(Exchange::offset);
        told.min_by(|a, b| a.delay_ms.total_cmp(&b.delay_ms))
    }

    /// The same, told of the clock of who answered: base asks a phone with this, where a phone asks base without.
    #[must_use]
    pub fn of_who_answers(self) -> Offset {
        Offset { offset_ms: 0.0 - self.offset_ms, ..self }
    }

    /// The fields of the entry of kind `clock` that says so: `number` is which of `device`'s clocks it is (1 is its first), and the time of
    /// `base` is what the offset leads to. [`Logbook::log`](crate::logbook) adds the rest; its `at` is base's time of the exchange.
    #[must_use]
    pub fn entry(&self, device: DeviceId, number: u32, base: DeviceId) -> Map<String, Value> {
        let measured = ClockOffset {
            device: device.to_string(),
            of: number.max(1).to_string(),
            base: base.to_string(),
            offset_ms: Milliseconds(self.offset_ms),
            uncertainty_ms: Milliseconds(self.uncertainty_ms),
        };
        let mut fields = Map::from_iter([("kind".to_owned(), Value::from("clock"))]);
        if let Ok(Value::Object(own)) = serde_json::to_value(measured) {
            fields.extend(own);
        }
        fields
    }
}

/// Half width of an offset of this half width after so many milliseconds, before or since.
#[must_use]
pub fn drifted(uncertainty_ms: f64, apart_ms: f64) -> f64 {
    (uncertainty_ms + apart_ms.abs() * DRIFT_PPM / 1e6).max(FLOOR_MS)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Body;
    use proptest::prelude::*;

    fn exchange(t1_ms: i64, t2_ms: i64, t3_ms: i64, t4_ms: i64) -> Exchange {
        Exchange { t1_ms, t2_ms, t3_ms, t4_ms }
    }

    #[test]
    fn a_clock_ahead_gets_a_negative_offset() {
        // The phone is 7,100 ms ahead; 40 ms there, 5 ms at base, 60 ms back.
        let seen = exchange(7_100, 40, 45, 7_205).offset().unwrap();
        assert_eq!((seen.offset_ms, seen.delay_ms, seen.uncertainty_ms), (-7_110.0, 100.0, 50.0));
        assert_eq!(seen.of_who_answers().offset_ms, 7_110.0);
    }

    #[test]
    fn a_clock_moved_on_the_way_tells_nothing() {
        assert_eq!(exchange(0, 10, 11, -5_000).offset(), None);
        assert_eq!(exchange(0, 10, -4_000, 20).offset(), None);
        assert_eq!(exchange(i64::MIN, 10, 11, i64::MAX).offset(), None);
    }

    #[test]
    fn the_quickest_of_the_first_eight_counts() {
        let mut all: Vec<Exchange> = [90, 30, 70, 30].map(|d| exchange(0, 1_000 + d / 3, 1_000, d)).to_vec();
        all[1] = exchange(0, 1_000, 1_000, 30);
        all[3] = exchange(0, 1_030, 1_030, 30);
        assert_eq!(Offset::best(&all).unwrap().offset_ms, 985.0);
        let mut late = vec![exchange(0, 50, 50, 100); EXCHANGES_MAX];
        late.push(exchange(0, 500, 500, 0));
        assert_eq!(Offset::best(&late).unwrap().delay_ms, 100.0);
        assert_eq!(Offset::best(&[]), None);
    }

    #[test]
    fn eight_hours_are_another_second_and_a_half() {
        assert_eq!(drifted(10.0, 8.0 * 3_600_000.0), 1_450.0);
        assert_eq!(drifted(0.0, -1.0), FLOOR_MS);
    }

    #[test]
    fn the_entry_is_one_that_can_be_read() {
        let offset = Offset { offset_ms: -7_100.0, delay_ms: 100.0, uncertainty_ms: 50.0 };
        let mut json = offset.entry(DeviceId([1; 16]), 0, DeviceId([2; 16]));
        for (key, value) in
            [("id", "01KGR0000000000000000000AA"), ("at", "2027-02-06T10:00:00.000+01:00"), ("by", "Base")]
        {
            json.insert(key.to_owned(), value.into());
        }
        let Body::ClockOffset(read) = crate::entry::Entry::from_json(&json).unwrap().body else { panic!() };
        assert_eq!((read.device.as_str(), read.of.as_str()), ("01010101010101010101010101010101", "1"));
        assert_eq!((read.base.as_str(), read.offset_ms.0), ("02020202020202020202020202020202", -7_100.0));
    }

    proptest! {
        /// Whatever the two ways took, the true offset lies within half the delay.
        #[test]
        fn the_truth_lies_within_half_the_delay(
            ahead in -4_000_000_000_000_i64..4_000_000_000_000, at in 0_i64..4_000_000_000_000,
            there in 0_i64..90_000, within in 0_i64..90_000, back in 0_i64..90_000,
        ) {
            let (t2, t3) = (at + there, at + there + within);
            let seen = exchange(at + ahead, t2, t3, t3 + back + ahead).offset().unwrap();
            prop_assert!((seen.offset_ms + ahead as f64).abs() <= seen.uncertainty_ms);
            prop_assert_eq!(seen.delay_ms, (there + back) as f64);
        }
    }
}
