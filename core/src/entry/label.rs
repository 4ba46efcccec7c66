//! Labels: the short names people call out (drill, target, person, item, area), and what makes two spellings the same one.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use unicode_normalization::UnicodeNormalization;

/// What a label names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LabelClass {
    /// A drill: one run by one team.
    Drill,
    /// A target of a drill.
    Target,
    /// A person, by call sign.
    Person,
    /// A numbered piece of kit.
    Item,
}

impl LabelClass {
    /// The word used in register keys and schemas.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            LabelClass::Drill => "drill",
            LabelClass::Target => "target",
            LabelClass::Person => "person",
            LabelClass::Item => "item",
        }
    }

    pub(crate) fn from_word(word: &str) -> Option<LabelClass> {
        [LabelClass::Drill, LabelClass::Target, LabelClass::Person, LabelClass::Item]
            .into_iter()
            .find(|c| c.word() == word)
    }
}

/// The form in which labels are compared: NFC, trimmed, inner spaces to one, Unicode lower case.
///
/// ```
/// use firnbook_core::entry::fold;
/// assert_eq!(fold("  Upper   Bowl "), fold("upper bowl"));
/// ```
#[must_use]
pub fn fold(label: &str) -> String {
    // Most labels are ASCII, of which NFC changes nothing.
    if label.is_ascii() {
        let mut folded = joined(label);
        folded.make_ascii_lowercase();
        return folded;
    }
    let lower: String = label.nfc().collect::<String>().to_lowercase().nfc().collect();
    joined(&lower)
}

fn joined(text: &str) -> String {
    let mut joined = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !joined.is_empty() {
            joined.push(' ');
        }
        joined.push_str(word);
    }
    joined
}

/// What the door lets in as a label, for schemas: no control character, none of the marks that register keys use, and not blank.
const PATTERN: &str = r"^[^/:~!\u0000-\u001f\u007f-\u009f]*[^/:~!\s\u0000-\u001f\u007f-\u009f][^/:~!\u0000-\u001f\u007f-\u009f]*$";

macro_rules! label {
    ($(#[$doc:meta])* $name:ident, $class:expr) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub String);

        impl $name {
            /// The form in which this label is compared, see [`fold`].
            #[must_use]
            pub fn folded(&self) -> String {
                fold(&self.0)
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl From<&str> for $name {
            fn from(text: &str) -> Self {
                $name(text.to_owned())
            }
        }

        impl JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "string", "maxLength": 200, "pattern": PATTERN, "x-label": $class.word() })
            }
        }
    };
}

label!(
    /// The label of a drill.
    DrillLabel,
    LabelClass::Drill
);
label!(
    /// The label of a target within its drill.
    TargetLabel,
    LabelClass::Target
);
label!(
    /// A person's call sign; real names never enter the log.
    CallSign,
    LabelClass::Person
);
label!(
    /// The label on a piece of kit.
    ItemLabel,
    LabelClass::Item
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folds_make_spellings_equal() {
        assert_eq!(fold("A"), fold(" a "));
        assert_eq!(fold("E\u{301}cole\u{a0}  Nord"), fold("éCOLE nord"));
        assert_eq!(fold("ΣΑΣ"), fold("σας"));
        assert_ne!(fold("A1"), fold("A 1"));
    }

    #[test]
    fn folding_twice_changes_nothing() {
        for s in ["İstanbul", "Upper  Bowl", "ǅ", "ΑΣ", " \u{3000}x"] {
            assert_eq!(fold(&fold(s)), fold(s), "{s:?}");
        }
    }
}
