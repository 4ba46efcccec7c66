//! Questions to `core::stats`.

use firnbook_core::stats::describe::{Moments, Sample, median};
use firnbook_core::stats::histogram::Histogram;
use firnbook_core::stats::interval::{clustered_mean, mean_interval, median_interval, share};
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
        _ => Err(format!("stats does not answer {name}")),
    }
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
