//! What every answer of a season stands on and says besides its figures: what was left out, how it was made, why a figure is null, and when n
//! is small.

use super::super::cautions;
use super::super::left_out::{LeftOut, Tally};
use super::super::made::Made;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// From how many on an answer no longer says that n is small (common practice, no source).
pub const FEW: usize = 10;

/// What is known of the rows before an answer is made from them.
#[derive(Clone, Debug, Default)]
pub struct Basis {
    /// What could not be used while the rows were made.
    pub left_out: Tally,
    /// Pairs counted as one event that nobody has settled yet.
    pub assumed_twins: usize,
    /// How the answer is made.
    pub made: Made,
}

/// What every answer carries besides its figures.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Footing {
    /// What could not be used
    pub left_out: Vec<LeftOut>,
    /// Pairs counted as one event that nobody has settled yet
    pub assumed_twins: usize,
    /// What these answers are for, and what not
    pub cautions: Vec<String>,
    /// How it was made
    pub made: Made,
}

impl Basis {
    /// The footing of an answer that left out `also`, under these cautions, by these settings.
    #[must_use]
    pub fn footing(mut self, also: &Tally, cautions: &[&str], settings: &[(&str, f64)]) -> Footing {
        self.left_out.merge(also);
        self.made.settings.extend(settings.iter().map(|(key, value)| ((*key).to_owned(), *value)));
        let always = [cautions::USE, cautions::WHO_DECIDES];
        Footing {
            left_out: self.left_out.list(),
            assumed_twins: self.assumed_twins,
            cautions: always.iter().chain(cautions).map(|c| (*c).to_owned()).collect(),
            made: self.made,
        }
    }
}

/// Why figures are null, by the name of the figure.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(transparent)]
pub struct Why(pub BTreeMap<String, String>);

impl Why {
    /// The figure, or `None` with the reason kept under its name.
    pub fn kept<T>(&mut self, figure: &str, result: Result<T, impl ToString>) -> Option<T> {
        result.map_err(|why| self.0.insert(figure.to_owned(), why.to_string())).ok()
    }

    /// The figure, or `None` with `reason` kept under its name.
    pub fn some<T>(&mut self, figure: &str, value: Option<T>, reason: impl FnOnce() -> String) -> Option<T> {
        self.kept(figure, value.ok_or_else(reason))
    }
}

/// What to say of a small n; `None` from [`FEW`] on.
#[must_use]
pub fn few(n: usize) -> Option<String> {
    (n < FEW).then(|| format!("n = {n}: one more could change every figure"))
}

/// Why a median has no interval.
#[must_use]
pub fn no_median_interval(n: usize) -> String {
    format!("below n = 6 even the extremes cover the median with less than 95 %; n = {n}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_null_says_why_and_what_is_few_says_so() {
        let mut why = Why::default();
        assert_eq!(why.kept("bias_cm", Ok::<_, &str>(3)), Some(3));
        assert_eq!(why.some("slope", None::<f64>, || "n = 1".to_owned()), None);
        assert_eq!(serde_json::to_value(&why).unwrap(), serde_json::json!({"slope": "n = 1"}));
        assert!(few(9).is_some() && few(10).is_none());
    }

    #[test]
    fn the_footing_adds_up_what_was_left_out() {
        let mut before = Tally::default();
        before.add_n("struck out", 2);
        let basis = Basis { left_out: before.clone(), assumed_twins: 1, made: Made::from_heads("00") };
        let footing = basis.footing(&before, &[cautions::DEPTHS], &[("battery_pct", 40.0)]);
        assert_eq!((footing.left_out[0].n, footing.assumed_twins), (4, 1));
        assert_eq!(footing.cautions.len(), 3);
        assert_eq!(footing.made.settings["battery_pct"], 40.0);
    }
}
