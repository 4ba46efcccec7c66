//! The kinds of entry, each declared once: its struct here is what the document, the SQL columns, the JSON Schema, the command line's
//! flags, CSV headers and the data dictionary are made from.
//!
//! A field is added in its struct and nowhere else; a kind is a struct and a line in `kinds!` below. Fields common to all kinds stand in
//! [`Common`](super::Common).

mod drills;
mod findings;
mod people;
mod surroundings;

pub use drills::*;
pub use findings::*;
pub use people::*;
pub use surroundings::*;

use super::Common;
use super::table::{Kind, kinds_of, schema_of};
use serde_json::{Map, Value};
use std::sync::LazyLock;

/// An enumeration whose values are words: `snake_case` of the variant unless said.
macro_rules! choice {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident $(= $word:literal)?,)+ }) => {
        $(#[$doc])*
        #[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
        #[serde(rename_all = "snake_case")]
        #[schemars(inline)]
        pub enum $name {
            $($(#[$vdoc])* $(#[serde(rename = $word)])? $variant,)+
        }

        impl $name {
            /// Every value, in the order of the declaration.
            pub const ALL: &[$name] = &[$($name::$variant),+];

            /// The word that stands for this value in JSON.
            #[must_use]
            pub fn word(self) -> String {
                serde_json::to_value(self).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&self.word())
            }
        }
    };
}
use choice;

macro_rules! kinds {
    ($($variant:ident => $word:literal,)+) => {
        /// What an entry says beyond the common fields.
        #[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
        #[derive(Clone, Debug, PartialEq)]
        #[expect(missing_docs, reason = "each variant is documented at its struct")]
        pub enum Body {
            $($variant($variant),)+
        }

        impl Body {
            /// The word that stands in the field `kind`.
            #[must_use]
            pub fn kind(&self) -> &'static str {
                match self {
                    $(Body::$variant(_) => $word,)+
                }
            }

            /// `Ok(None)` for a kind this version does not know.
            pub(super) fn from_json(kind: &str, json: &Map<String, Value>) -> Result<Option<Body>, serde_json::Error> {
                use serde::Deserialize;
                match kind {
                    $($word => $variant::deserialize(json).map(|b| Some(Body::$variant(b))),)+
                    _ => Ok(None),
                }
            }

            /// Whether this text is a body of the kind. `false` may also mean that only [`Body::from_json`] can tell.
            pub(super) fn is_plain(kind: &str, text: &str) -> bool {
                match kind {
                    $($word => serde_json::from_str::<$variant>(text).is_ok(),)+
                    _ => false,
                }
            }

            pub(super) fn to_json(&self) -> Result<Value, serde_json::Error> {
                match self {
                    $(Body::$variant(b) => serde_json::to_value(b),)+
                }
            }
        }

        $(impl From<$variant> for Body {
            fn from(b: $variant) -> Body {
                Body::$variant(b)
            }
        })+

        /// What the declarations say, as JSON Schema by name: the common fields, then each kind.
        #[must_use]
        pub fn declared() -> Map<String, Value> {
            let own = [$(($word, schema_of::<$variant>())),+];
            [("common", schema_of::<Common>())].into_iter().chain(own).map(|(name, schema)| (name.to_owned(), schema.into())).collect()
        }
    };
}

kinds! {
    Person => "person",
    Check => "check",
    Kit => "kit",
    Drill => "drill",
    Target => "target",
    Moment => "moment",
    Strike => "strike",
    Depth => "depth",
    Rotation => "rotation",
    Interference => "interference",
    Track => "track",
    ProbePass => "probe_pass",
    ClockMark => "clock_mark",
    ClockOffset => "clock",
    Note => "note",
}

/// The field tables of all kinds, in the order of the declaration.
pub static KINDS: LazyLock<Vec<Kind>> = LazyLock::new(|| {
    let Ok(declared) = serde_json::from_str(include_str!("../../../../schemas/kinds.json")) else {
        unreachable!("this file is JSON, as the tests hold")
    };
    kinds_of(&declared)
});

/// The field table of a kind by its word; `None` for a kind this version does not know.
#[must_use]
pub fn kind(word: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|k| k.name == word)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kinds_that_are_carried_are_those_that_are_declared() {
        assert_eq!(*KINDS, kinds_of(&declared()), "type: cargo run --bin schemas");
    }
}
