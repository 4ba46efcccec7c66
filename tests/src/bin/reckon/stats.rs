//! Questions to `core::stats`.

use firnbook_core::stats::agreement::{concordance, limits_of_agreement};
use firnbook_core::stats::describe::{Moments, Sample, mad, median};
use firnbook_core::stats::histogram::Histogram;
use firnbook_core::stats::interval::{clustered_mean, mean_interval, median_interval, share};
use firnbook_core::stats::rank::{shift, theil_sen};
use firnbook_core::stats::regression::least_squares;
use firnbook_core::stats::survival::{Curve, Observation, common_horizon, log_rank};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

/// Answers `name` with the other members of `question` as its arguments.
pub fn answer(name: &str, question: &Value) -> Result<Value, String> {
    let numbers = |field: &str| take::<Vec<f64>>(question, field);
    let sample = || said(Sample::new(numbers("values")?));
    match name {
        "moments" => give(Moments::of(&numbers("values")?)),
        "median" => give(median(&numbers("values")?)),
        "mad" => give(mad(&numbers("values")?)),
        "summary" => Ok(json!(sample()?.summary())),
        "quantiles" => {
            let sample = sample()?;
            Ok(json!(numbers("shares")?.iter().map(|share| sample.quantile(*share)).collect::<Vec<_>>()))
        }
        "ecdf" => Ok(json!(sample()?.ecdf())),
        "histogram" => Ok(json!(Histogram::of(&sample()?))),
        "mean_interval" => give(mean_interval(&numbers("values")?)),
        "clustered_mean" => {
            give(clustered_mean(&numbers("values")?, &take::<Vec<i64>>(question, "clusters")?))
        }
        "median_interval" => Ok(json!(median_interval(&sample()?))),
        "share" => give(share(take(question, "k")?, take(question, "n")?)),
        "limits_of_agreement" => give(limits_of_agreement(&numbers("a")?, &numbers("b")?)),
        "concordance" => give(concordance(&numbers("a")?, &numbers("b")?)),
        "theil_sen" => give(theil_sen(&numbers("a")?, &numbers("b")?)),
        "shift" => give(shift(&numbers("a")?, &numbers("b")?)),
        "least_squares" => {
            let terms = take::<Vec<(String, Vec<f64>)>>(question, "terms")?;
            let terms: Vec<_> = terms.iter().map(|(name, term)| (name.as_str(), term.as_slice())).collect();
            give(least_squares(&numbers("y")?, &terms))
        }
        "curve" => give(Curve::of(&runs(take(question, "runs")?))),
        "restricted_mean" => {
            let curve = said(Curve::of(&runs(take(question, "runs")?)))?;
            give(curve.restricted_mean(take(question, "horizon")?))
        }
        "common_horizon" => {
            let groups = take::<Vec<Runs>>(question, "groups")?.into_iter().map(runs);
            let curves = said(groups.map(|group| Curve::of(&group)).collect::<Result<Vec<_>, _>>())?;
            Ok(json!(common_horizon(&curves.iter().collect::<Vec<_>>())))
        }
        "log_rank" => {
            let groups = take::<Vec<Runs>>(question, "groups")?.into_iter().map(runs).collect::<Vec<_>>();
            give(log_rank(&groups.iter().map(Vec::as_slice).collect::<Vec<_>>()))
        }
        _ => Err(format!("stats does not answer {name}")),
    }
}

/// Each run's time, and whether it was reached then.
type Runs = Vec<(f64, bool)>;

fn runs(runs: Runs) -> Vec<Observation> {
    runs.into_iter().map(|(time, reached)| Observation { time, reached }).collect()
}

fn take<T: DeserializeOwned>(question: &Value, field: &str) -> Result<T, String> {
    serde_json::from_value(question[field].clone()).map_err(|error| format!("{field}: {error}"))
}

fn said<T>(result: Result<T, impl ToString>) -> Result<T, String> {
    result.map_err(|refused| refused.to_string())
}

fn give(result: Result<impl Serialize, impl ToString>) -> Result<Value, String> {
    said(result).map(|answer| json!(answer))
}
