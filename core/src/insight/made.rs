//! How an answer was made, so that it can be made again: from which entries, with which filters and thresholds, by which version.

use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// How an answer was made.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Made {
    /// Version of the program
    pub version: String,
    /// What narrowed the answer, by name; empty if nothing did
    pub filters: BTreeMap<String, String>,
    /// The thresholds that were used, by key, each in its own unit
    pub settings: BTreeMap<String, f64>,
    /// SHA-256 over the sorted heads of the days that were read, hex: equal heads, equal entries
    pub heads_sha256: String,
}

impl Made {
    /// By this version, from the days of these heads, without filters and settings.
    #[must_use]
    pub fn from_heads(heads_sha256: &str) -> Made {
        Made {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            heads_sha256: heads_sha256.to_owned(),
            ..Made::default()
        }
    }
}
