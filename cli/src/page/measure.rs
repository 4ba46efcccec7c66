//! The units that a page shows: metric, or feet and inches. Everything is computed in metric; here it is only said otherwise.

use crate::view::number;
use firnbook_core::units::{CM_PER_FOOT, CM_PER_INCH};

/// The units of a page.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Units {
    /// centimetres and metres
    #[default]
    Metric,
    /// inches and feet
    Feet,
}

impl Units {
    /// The words under which they are set.
    pub const WORDS: [&str; 2] = ["metric", "feet"];

    /// The units that a word names.
    #[must_use]
    pub fn of(word: &str) -> Option<Units> {
        match word {
            "metric" => Some(Units::Metric),
            "feet" => Some(Units::Feet),
            _ => None,
        }
    }

    /// A depth in the unit of depths.
    #[must_use]
    pub fn depth_value(self, cm: f64) -> f64 {
        match self {
            Units::Metric => cm,
            Units::Feet => cm / CM_PER_INCH,
        }
    }

    /// The unit of depths.
    #[must_use]
    pub fn depth_unit(self) -> &'static str {
        match self {
            Units::Metric => "cm",
            Units::Feet => "in",
        }
    }

    /// A depth with its unit.
    #[must_use]
    pub fn depth(self, cm: f64) -> String {
        format!("{} {}", number(self.depth_value(cm)), self.depth_unit())
    }

    /// A distance in the unit of distances.
    #[must_use]
    pub fn distance_value(self, m: f64) -> f64 {
        match self {
            Units::Metric => m,
            Units::Feet => m * 100.0 / CM_PER_FOOT,
        }
    }

    /// The unit of distances.
    #[must_use]
    pub fn distance_unit(self) -> &'static str {
        match self {
            Units::Metric => "m",
            Units::Feet => "ft",
        }
    }

    /// A distance with its unit.
    #[must_use]
    pub fn distance(self, m: f64) -> String {
        format!("{} {}", number(self.distance_value(m)), self.distance_unit())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_in_both() {
        assert_eq!(Units::Metric.depth(110.0), "110 cm");
        // An inch is 2.54 cm and a foot 30.48 cm exactly (international yard and pound agreement, 1959).
        assert_eq!(Units::Feet.depth(254.0), "100 in");
        assert_eq!(Units::Feet.distance(30.48), "100 ft");
        for word in Units::WORDS {
            assert!(Units::of(word).is_some());
        }
    }
}
