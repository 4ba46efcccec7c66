//! The numbers of trade practice by which answers judge, in one table with unit, range and source beside each. A team may set its own; every
//! answer that used one says which.

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
    pub source: &'static str,
}

/// A value that is not accepted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ThresholdError {
    /// No such name.
    #[error("\"{0}\" is no threshold; there are: {1}")]
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
    ($($key:ident = $default:literal $unit:literal ($min:literal to $max:literal), $text:literal, $source:literal;)+) => {
        /// Every threshold, in the order in which they are listed.
        pub const TABLE: &[Threshold] = &[$(Threshold {
            key: stringify!($key), default: $default, unit: $unit, min: $min, max: $max, text: $text, source: $source,
        }),+];

        /// The thresholds in force; [`TABLE`] says what each is.
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
    battery_pct = 40.0 "%" (0.0 to 100.0),
        "A battery below this is named in the checks",
        "common practice, no source; other teams use 50 or 60 %";
    rotation_interval_s = 240.0 "s" (10.0 to 3600.0),
        "A turn at the head strictly longer than this is overdue",
        "Genswein and Eide, ISSW 2008: rotate about every 4 min; from memory, not verified";
    head_gap_s = 10.0 "s" (0.0 to 600.0),
        "A stretch without anyone at the head longer than this is a gap",
        "common practice, no source";
    strip_width_m = 40.0 "m" (1.0 to 200.0),
        "Width of the strip that a searcher covers, half to each side of the track",
        "common practice, no source";
    edge_m = 20.0 "m" (0.0 to 100.0),
        "Distance of the outer search lanes from the flanks",
        "common practice, no source";
    electronics_send_cm = 20.0 "cm" (0.0 to 500.0),
        "Electronics nearer than this to a sending transceiver are named in the checks",
        "UIAA position statement on electromagnetic interference, 2023, read in reprints";
    electronics_search_cm = 50.0 "cm" (0.0 to 500.0),
        "Electronics nearer than this to a searching transceiver are named in the checks",
        "UIAA position statement on electromagnetic interference, 2023; from memory, not verified";
    snow_kg_m3 = 400.0 "kg/m3" (50.0 to 900.0),
        "Density of the snow where the drill does not say it",
        "middle of 300 to 500 kg/m3 for avalanche debris; from memory, not verified";
    hole_width_cm = 100.0 "cm" (50.0 to 500.0),
        "Width of the hole where the rotations do not say it",
        "common practice, no source";
    hole_length_flat_pct = 200.0 "%" (50.0 to 500.0),
        "Length of the hole below the steep slope, in per cent of the depth",
        "Genswein and Eide, ISSW 2008; from memory, not verified";
    hole_length_steep_pct = 100.0 "%" (50.0 to 500.0),
        "Length of the hole from the steep slope on, in per cent of the depth",
        "Genswein and Eide, ISSW 2008; from memory, not verified";
    steep_from_deg = 25.0 "deg" (0.0 to 60.0),
        "Slope from which the hole is taken as on steep ground",
        "Edgerly and Atkins, ISSW 2006, as told in a ski journal, for where digging starts; borrowed here for the length";
    season_start_month = 9.0 "month" (1.0 to 12.0),
        "The month with which a season begins",
        "this log's own choice for the northern winter";
}

impl Thresholds {
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
            assert!(!row.source.is_empty() && !row.text.is_empty());
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
