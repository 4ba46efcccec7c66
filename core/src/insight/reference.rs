//! Marks of one published survival curve, to stand beside time lines. They describe past populations; nothing is ever computed from them for a
//! run or a person.

use crate::field::curves::{SURVIVAL_CURVES, SurvivalCurve, survival_curve};
use crate::field::source::Source;
use schemars::JsonSchema;
use serde::Serialize;

/// The marks of a named published curve.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Reference {
    /// The name of the curve; it is printed with every mark
    pub curve: String,
    /// Buried people behind it, where the source says
    pub n: Option<u32>,
    /// Where it comes from, and how far that was verified
    pub source: Source,
    /// The points that the source gives, in the order of time
    pub marks: Vec<Mark>,
    /// What the marks are, and what not
    pub says: String,
}

/// One point of a published curve.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Mark {
    /// Time buried, s
    pub t_s: f64,
    /// Of those completely buried for so long, how many were alive, %
    pub alive_pct: f64,
}

const SAYS: &str = "points of a published curve of people who were completely buried: past accidents, counted from the stop of the avalanche; \
                    no figure for a run or a person of this day";

impl Reference {
    /// The marks of the curve of that name.
    ///
    /// # Errors
    /// An unknown name; the message lists those that are known.
    pub fn named(name: &str) -> Result<Reference, String> {
        let known = || SURVIVAL_CURVES.map(|c| format!("\"{}\"", c.name)).join(", ");
        let curve = survival_curve(name.trim())
            .ok_or_else(|| format!("no published curve is called \"{name:.80}\"; there are {}", known()))?;
        let SurvivalCurve { name, nodes, n, source, .. } = *curve;
        let later = nodes.iter().filter(|(minutes, _)| *minutes > 0.0);
        let marks = later.map(|(minutes, alive_pct)| Mark { t_s: minutes * 60.0, alive_pct: *alive_pct });
        Ok(Reference { curve: name.to_owned(), n, source, marks: marks.collect(), says: SAYS.to_owned() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_the_points_of_the_source_and_nothing_between() {
        let reference = Reference::named(" Switzerland 1981-2020 ").unwrap();
        let marks: Vec<_> = reference.marks.iter().map(|m| (m.t_s, m.alive_pct)).collect();
        assert_eq!(marks, [(600.0, 91.0), (1_800.0, 31.0)]);
        assert_eq!(reference.n, Some(1643));
        let refused = Reference::named("Atlantis").unwrap_err();
        assert!(SURVIVAL_CURVES.iter().all(|c| refused.contains(c.name)), "{refused}");
    }
}
