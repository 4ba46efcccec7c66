//! The numbers of trade practice by which answers judge, in one table with unit, range and source beside each. A team may set its own; every
//! answer that used one says which.

use crate::field::source::Source;
use crate::field::{digging, lanes};
use schemars::JsonSchema;
use serde::Serialize;

/// One number by which answers judge.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Threshold {
    /// The name under which it is set
    pub key: &'static str,
    /// The value where a team sets none, in `unit`
    pub default: f64,
    /// Its unit
    pub unit: &'static str,
    /// Smallest value accepted
    pub min: f64,
    /// Largest value accepted
    pub max: f64,
    /// What it decides
    pub text: &'static str,
    /// Where the default comes from, and how far that was verified
    pub source: Source,
}

/// A value that is not accepted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ThresholdError {
    /// No such name.
    #[error("\"{0:.80}\" is no threshold; there are: {1}")]
    Unknown(String, String),
    /// Outside its range.
    #[error("{key} is {value} {unit}; it must be between {min} and {max} {unit}")]
    OutOfRange {
        /// The name.
        key: &'static str,
        /// The value given.
        value: f64,
        /// The unit.
        unit: &'static str,
        /// Smallest value accepted.
        min: f64,
        /// Largest value accepted.
        max: f64,
    },
}

macro_rules! thresholds {
    ($($key:ident = $default:expr, $unit:literal, $min:literal to $max:literal, $text:literal, $source:expr;)+) => {
        /// Every threshold, in the order in which they are listed.
        pub const TABLE: &[Threshold] = &[$(Threshold {
            key: stringify!($key), default: $default, unit: $unit, min: $min, max: $max, text: $text, source: $source,
        }),+];

        /// The thresholds in force; [`TABLE`] says what each is.
        #[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
        #[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
        pub struct Thresholds {
            $(#[doc = $text] pub $key: f64,)+
        }

        impl Default for Thresholds {
            fn default() -> Self {
                Thresholds { $($key: $default),+ }
            }
        }

        impl Thresholds {
            /// The value in force of a threshold; `None` for a name that is none.
            #[must_use]
            pub fn get(&self, key: &str) -> Option<f64> {
                match key {
                    $(stringify!($key) => Some(self.$key),)+
                    _ => None,
                }
            }

            fn slot(&mut self, key: &str) -> Option<&mut f64> {
                match key {
                    $(stringify!($key) => Some(&mut self.$key),)+
                    _ => None,
                }
            }
        }
    };
}

thresholds! {
    battery_pct = 40.0, "%", 0.0 to 100.0,
        "A battery below this is named in the checks",
        Source::common_practice("replace at 40 %; other teams use 50 or 60 %");
    rotation_interval_s = digging::TURN_INTERVAL_S, "s", 10.0 to 3600.0,
        "A turn at the head strictly longer than this is overdue",
        digging::TURN_INTERVAL_SOURCE;
    head_gap_s = 10.0, "s", 0.0 to 600.0,
        "A stretch without anyone at the head longer than this is a gap",
        Source::common_practice("10 s are enough to change places");
    strip_width_m = lanes::SPACING_M, "m", 1.0 to 200.0,
        "Width of the strip that a searcher covers, half to each side of the track",
        lanes::SPACING_SOURCE;
    electronics_send_cm = 20.0, "cm", 0.0 to 500.0,
        "Electronics nearer than this to a sending transceiver are named in the checks",
        Source::quoted("UIAA position statement on electromagnetic interference, 2023");
    electronics_search_cm = 50.0, "cm", 0.0 to 500.0,
        "Electronics nearer than this to a searching transceiver are named in the checks",
        Source::from_memory("UIAA position statement on electromagnetic interference, 2023");
    snow_kg_m3 = 400.0, "kg/m3", 50.0 to 900.0,
        "Density of the snow where the drill does not say it",
        Source::from_memory("middle of 300 to 500 kg/m3 for avalanche debris, wet higher");
    hole_width_cm = 100.0, "cm", 50.0 to 500.0,
        "Width of the hole where the rotations do not say it",
        Source::common_practice("1 m, one person's width at the shovel");
    hole_length_flat_pct = 200.0, "%", 50.0 to 500.0,
        "Length of the hole below the steep slope, in per cent of the depth",
        Source::from_memory("Genswein and Eide, V-shaped snow conveyor, ISSW 2008: twice the depth on flat ground");
    hole_length_steep_pct = 100.0, "%", 50.0 to 500.0,
        "Length of the hole from the steep slope on, in per cent of the depth",
        Source::from_memory("Genswein and Eide, V-shaped snow conveyor, ISSW 2008: once the depth on steep ground");
    steep_from_deg = digging::STEEP_FROM_DEG, "deg", 0.0 to 60.0,
        "Slope from which the hole is taken as on steep ground",
        Source::quoted("Edgerly and Atkins, Strategic Shoveling, ISSW 2006, for where digging starts; borrowed here for the length");
    season_start_month = 9.0, "month", 1.0 to 12.0,
        "The month with which a season begins",
        Source::common_practice("September, before the first snow of the northern winter");
    smallest_n = 3.0, "runs", 1.0 to 100.0,
        "The fewest earlier runs of a team against which a phase is compared",
        Source::common_practice("a median of fewer says nothing about a habit");
}

impl Thresholds {
    /// Length of a hole along the slope, cm, for a depth square to it.
    #[must_use]
    pub fn hole_length_cm(&self, depth_cm: f64, slope_deg: f64) -> f64 {
        let steep = slope_deg >= self.steep_from_deg;
        depth_cm * if steep { self.hole_length_steep_pct } else { self.hole_length_flat_pct } / 100.0
    }

    /// Sets one threshold.
    ///
    /// # Errors
    /// A name that is none and a value outside its range; both say what is accepted.
    pub fn set(&mut self, key: &str, value: f64) -> Result<(), ThresholdError> {
        let known = || TABLE.iter().map(|t| t.key).collect::<Vec<_>>().join(", ");
        let unknown = || ThresholdError::Unknown(key.to_owned(), known());
        let row = TABLE.iter().find(|t| t.key == key).ok_or_else(unknown)?;
        if !(row.min..=row.max).contains(&value) {
            let Threshold { key, unit, min, max, .. } = *row;
            return Err(ThresholdError::OutOfRange { key, value, unit, min, max });
        }
        *self.slot(key).ok_or_else(unknown)? = value;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_default_is_in_force_and_in_its_range() {
        let mut thresholds = Thresholds::default();
        for row in TABLE {
            assert_eq!(thresholds.get(row.key), Some(row.default), "{}", row.key);
            assert!(thresholds.set(row.key, row.default).is_ok(), "{}", row.key);
            assert!(!row.source.text.is_empty() && !row.text.is_empty());
        }
    }

    #[test]
    fn a_team_sets_its_own_within_the_range() {
        let mut thresholds = Thresholds::default();
        thresholds.set("battery_pct", 60.0).unwrap();
        assert_eq!(thresholds.battery_pct, 60.0);
        let refused = thresholds.set("battery_pct", f64::NAN).unwrap_err();
        assert!(refused.to_string().contains("between 0 and 100 %"), "{refused}");
        assert!(thresholds.set("batery_pct", 60.0).unwrap_err().to_string().contains("battery_pct"));
    }
}
