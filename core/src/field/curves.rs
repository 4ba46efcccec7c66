//! Published survival curves of completely buried people against burial time, as the nodes their sources give,
//! and the phases read off them. They describe past populations and disagree, so a value never goes without its
//! curve's name; none is a forecast for a person. Between nodes the value is linear; where the source is silent
//! it is `None`.

use schemars::JsonSchema;
use serde::Serialize;

use super::source::Source;
use super::{FieldError, within};

/// A survival curve as published.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct SurvivalCurve {
    /// The name to print with every value.
    pub name: &'static str,
    /// Minutes buried and per cent alive, in rising order of minutes; linear between them.
    pub nodes: &'static [(f64, f64)],
    /// Whether the source says that its last value holds from its last node on.
    pub last_value_holds: bool,
    /// Buried people behind it, where the source says.
    pub n: Option<u32>,
    /// Where the nodes come from.
    pub source: Source,
}

/// The curves known, in order of publication.
pub const SURVIVAL_CURVES: [SurvivalCurve; 4] = [
    SurvivalCurve {
        name: "Switzerland 1981-1991",
        nodes: &[(0.0, 100.0), (15.0, 92.0), (35.0, 30.0), (90.0, 27.0), (120.0, 20.0), (130.0, 3.0)],
        last_value_holds: true,
        n: Some(422),
        source: Source::quoted(
            "Falk, Brugger, Adler-Kastner, Nature 368:21, 1994; piecewise linear restatement (92 % at 15 min and 30 % at 35 min read at the source)",
        ),
    },
    SurvivalCurve {
        name: "Switzerland as used in 2011",
        nodes: &[(18.0, 91.0), (35.0, 34.0)],
        last_value_holds: false,
        n: Some(946),
        source: Source::quoted(
            "Haegeli et al., CMAJ 183(7):789-795, 2011: at least 91 % to 18 min, 34 % at 35 min; linear between these two",
        ),
    },
    SurvivalCurve {
        name: "Canada 1980-2005",
        nodes: &[(10.0, 77.0), (35.0, 7.0)],
        last_value_holds: false,
        n: Some(301),
        source: Source::quoted(
            "Haegeli et al., CMAJ 183(7):789-795, 2011, as quoted by Schindelwig et al., Sports 5(2):31, 2017; linear between 77 % at 10 min and 7 % at 35 min",
        ),
    },
    SurvivalCurve {
        name: "Switzerland 1981-2020",
        nodes: &[(10.0, 91.0), (30.0, 31.0)],
        last_value_holds: false,
        n: Some(1643),
        source: Source::from_memory(
            "Rauch et al., JAMA Netw Open 7(9):e2435253, 2024: 91 % at 10 min (read in the abstract), 31 % at 30 min (from memory); linear between these two",
        ),
    },
];

/// Boundaries between the survival, asphyxia, latent and long-term phases.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PhaseBoundaries {
    /// The name to print with them.
    pub name: &'static str,
    /// End of the survival phase, minutes buried.
    pub survival_ends_min: f64,
    /// End of the asphyxia phase, minutes buried.
    pub asphyxia_ends_min: f64,
    /// End of the latent phase, minutes buried, where the source gives one.
    pub latent_ends_min: Option<f64>,
    /// Where they come from.
    pub source: Source,
}

/// The published sets of boundaries, oldest first.
pub const PHASES: [PhaseBoundaries; 3] = [
    PhaseBoundaries {
        name: "1994",
        survival_ends_min: 15.0,
        asphyxia_ends_min: 35.0,
        latent_ends_min: Some(90.0),
        source: Source::read("Falk, Brugger, Adler-Kastner, Nature 368:21, 1994"),
    },
    PhaseBoundaries {
        name: "later Swiss",
        survival_ends_min: 18.0,
        asphyxia_ends_min: 35.0,
        latent_ends_min: Some(90.0),
        source: Source::quoted("Haegeli et al., CMAJ 183(7):789-795, 2011"),
    },
    PhaseBoundaries {
        name: "2024",
        survival_ends_min: 10.0,
        asphyxia_ends_min: 30.0,
        latent_ends_min: None,
        source: Source::quoted("Rauch et al., JAMA Netw Open 7(9):e2435253, 2024"),
    },
];

/// The curve of that name, exactly as [`SurvivalCurve::name`] spells it.
pub fn survival_curve(name: &str) -> Option<&'static SurvivalCurve> {
    SURVIVAL_CURVES.iter().find(|curve| curve.name == name)
}

impl SurvivalCurve {
    /// Per cent alive after `minutes` of burial, or `None` where the source says nothing.
    ///
    /// # Errors
    /// Minutes that are not finite, negative or over a week.
    pub fn at_pct(&self, minutes: f64) -> Result<Option<f64>, FieldError> {
        let t = burial_min(minutes)?;
        let piece = self.nodes.windows(2).find(|pair| pair[0].0 <= t && t <= pair[1].0);
        Ok(match piece {
            Some(pair) => {
                let share = (t - pair[0].0) / (pair[1].0 - pair[0].0);
                Some(pair[0].1 + share * (pair[1].1 - pair[0].1))
            }
            None => self.held_pct(t),
        })
    }

    /// Mean per cent alive over burial times from `from_min` to `to_min` (integral over the time between, divided
    /// by it), or `None` if the source says nothing for a part of it.
    ///
    /// # Errors
    /// Times that are not finite, negative, over a week or in the wrong order.
    pub fn mean_pct(&self, from_min: f64, to_min: f64) -> Result<Option<f64>, FieldError> {
        let from = burial_min(from_min)?;
        let to = within("the end of the time", to_min, from, LONGEST_MIN, "min")?;
        if to == from {
            return self.at_pct(from);
        }
        let mut stops = vec![from];
        stops.extend(self.nodes.iter().map(|node| node.0).filter(|t| from < *t && *t < to));
        stops.push(to);
        let mut area = 0.0;
        for pair in stops.windows(2) {
            let (Some(start), Some(end)) = (self.at_pct(pair[0])?, self.at_pct(pair[1])?) else {
                return Ok(None);
            };
            area += 0.5 * (start + end) * (pair[1] - pair[0]);
        }
        Ok(Some(area / (to - from)))
    }

    fn held_pct(&self, minutes: f64) -> Option<f64> {
        let (last_min, last_pct) = *self.nodes.last()?;
        (self.last_value_holds && minutes > last_min).then_some(last_pct)
    }
}

const LONGEST_MIN: f64 = 7.0 * 24.0 * 60.0;

fn burial_min(minutes: f64) -> Result<f64, FieldError> {
    within("the burial time", minutes, 0.0, LONGEST_MIN, "min")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn at(name: &str, minutes: f64) -> Option<f64> {
        survival_curve(name).unwrap().at_pct(minutes).unwrap()
    }

    #[test]
    fn section_2_table_of_the_curve_of_1994() {
        for (minutes, pct) in [
            (0.0, 100.0),
            (5.0, 97.33),
            (10.0, 94.67),
            (15.0, 92.0),
            (18.0, 82.7),
            (20.0, 76.5),
            (25.0, 61.0),
            (30.0, 45.5),
            (35.0, 30.0),
            (40.0, 29.73),
            (45.0, 29.45),
            (60.0, 28.64),
            (90.0, 27.0),
            (100.0, 24.67),
            (110.0, 22.33),
            (120.0, 20.0),
            (125.0, 11.5),
            (130.0, 3.0),
            (200.0, 3.0),
        ] {
            near(at("Switzerland 1981-1991", minutes).unwrap(), pct, 0.005);
        }
    }

    #[test]
    fn section_2_the_curves_disagree() {
        near(at("Switzerland 1981-1991", 10.0).unwrap(), 94.7, 0.05);
        near(at("Switzerland 1981-2020", 10.0).unwrap(), 91.0, 0.0);
        near(at("Canada 1980-2005", 10.0).unwrap(), 77.0, 0.0);
        near(at("Switzerland 1981-2020", 30.0).unwrap(), 31.0, 0.0);
        near(at("Switzerland as used in 2011", 18.0).unwrap(), 91.0, 0.0);
        near(at("Switzerland 1981-2020", 20.0).unwrap(), 61.0, 1e-12);
    }

    #[test]
    fn nothing_is_said_where_the_source_is_silent() {
        assert_eq!(at("Switzerland 1981-2020", 5.0), None);
        assert_eq!(at("Switzerland 1981-2020", 30.5), None);
        assert_eq!(at("Canada 1980-2005", 36.0), None);
        let curve = survival_curve("Canada 1980-2005").unwrap();
        assert_eq!(curve.mean_pct(5.0, 20.0), Ok(None));
        assert!(curve.at_pct(-1.0).is_err() && curve.at_pct(f64::NAN).is_err());
    }

    #[test]
    fn section_4_mean_of_the_curve_of_1994_from_15_to_35_min() {
        let curve = survival_curve("Switzerland 1981-1991").unwrap();
        near(curve.mean_pct(15.0, 35.0).unwrap().unwrap(), 61.0, 1e-9);
        near(0.88 * curve.mean_pct(15.0, 35.0).unwrap().unwrap(), 53.7, 0.05);
        near(curve.mean_pct(0.0, 35.0).unwrap().unwrap(), (96.0 * 15.0 + 61.0 * 20.0) / 35.0, 1e-9);
        near(curve.mean_pct(130.0, 200.0).unwrap().unwrap(), 3.0, 1e-12);
    }

    #[test]
    fn section_2_phase_boundaries_are_data() {
        let boundaries: Vec<_> =
            PHASES.iter().map(|p| (p.survival_ends_min, p.asphyxia_ends_min, p.latent_ends_min)).collect();
        assert_eq!(boundaries, [(15.0, 35.0, Some(90.0)), (18.0, 35.0, Some(90.0)), (10.0, 30.0, None)]);
    }
}
