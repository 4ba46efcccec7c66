//! Where a trade number comes from and how far that was verified. Every table of the field floor carries one
//! beside each row, so that whoever prints the number can print this too.

use schemars::JsonSchema;
use serde::Serialize;

/// A source and its standing.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Source {
    /// Author, place, year; what exactly was taken.
    pub text: &'static str,
    /// How far it was verified.
    pub standing: Standing,
}

/// How far a source was verified.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum), uniffi(name = "SourceStanding"))]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Standing {
    /// The number was read in the source itself (its abstract, page or excerpt).
    #[serde(rename = "read at the source")]
    Read,
    /// The number was read in another text that quotes the source.
    #[serde(rename = "read in another text that quotes it")]
    Quoted,
    /// The number is remembered and was not looked up.
    #[serde(rename = "from memory, not verified")]
    FromMemory,
    /// Taught widely; nobody is known to have published it.
    #[serde(rename = "common practice, no source")]
    CommonPractice,
}

impl Source {
    /// A number read in the source itself.
    pub(crate) const fn read(text: &'static str) -> Self {
        Self { text, standing: Standing::Read }
    }

    /// A number read in another text.
    pub(crate) const fn quoted(text: &'static str) -> Self {
        Self { text, standing: Standing::Quoted }
    }

    /// A number from memory.
    pub(crate) const fn from_memory(text: &'static str) -> Self {
        Self { text, standing: Standing::FromMemory }
    }

    /// A number without a source.
    pub(crate) const fn common_practice(text: &'static str) -> Self {
        Self { text, standing: Standing::CommonPractice }
    }
}
