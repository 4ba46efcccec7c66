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

/// The form in which labels are compared: NFC, trimmed, inner spaces to one, Unicode lower case with the final sigma.
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

/// The most characters of a label.
pub(super) const LABEL_CHARACTERS_MAX: usize = 200;

/// What [`label_fault`] lets through, for schemas: no control character, none of the marks that register keys use, and not blank.
pub(super) const LABEL_PATTERN: &str = r"^[^/:~!\u0000-\u001f\u007f-\u009f]*[^/:~!\s\u0000-\u001f\u007f-\u009f][^/:~!\u0000-\u001f\u007f-\u009f]*$";

/// Why a text is no label, and what to write.
pub(super) fn label_fault(text: &str) -> Option<&'static str> {
    if text.trim().is_empty() {
        Some("is empty; write a label")
    } else if text.chars().nth(LABEL_CHARACTERS_MAX).is_some() {
        Some("is longer than 200 characters")
    } else if text.chars().any(|c| c.is_control() || "/:~!".contains(c)) {
        Some("holds a control character or one of / : ~ ! which the log uses itself; leave it out")
    } else {
        None
    }
}

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
                json_schema!({ "type": "string", "maxLength": LABEL_CHARACTERS_MAX, "pattern": LABEL_PATTERN, "x-label": $class.word() })
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
    use sha2::{Digest, Sha256};

    #[test]
    fn folds_make_spellings_equal() {
        assert_eq!(fold("A"), fold(" a "));
        assert_eq!(fold("E\u{301}cole\u{a0}  Nord"), fold("éCOLE nord"));
        assert_eq!(fold("ΣΑΣ"), fold("σας"));
        assert_ne!(fold("A1"), fold("A 1"));
    }

    /// Day ids and the keys of registers are made from folded labels. Where this fails after an upgrade, two versions of the program would make
    /// two days of one.
    #[test]
    fn folding_is_the_same_for_ever() {
        let mut hash = Sha256::new();
        // The planes between hold no character, those behind only characters of private use.
        for character in ('\0'..'\u{40000}').chain('\u{e0000}'..'\u{f0000}') {
            hash.update(fold(&format!("a{character}b")));
            hash.update("\n");
        }
        assert_eq!(
            hex::encode(hash.finalize()),
            "4e57787635ad3131861d1e5824b0664c9d7f89f8d8fe6e8a0f5ac6ef4669d23b"
        );
        for (label, folded) in [
            ("ΟΔΟΣ ΣΑΣ", "οδος σας"),
            ("σασ", "σασ"),
            ("STRASSE", "strasse"),
            ("Straße", "straße"),
            ("１", "１"),
            ("A：B／C", "a：b／c"),
            ("İ", "i\u{307}"),
        ] {
            assert_eq!(fold(label), folded);
        }
    }

    #[test]
    fn folding_twice_changes_nothing() {
        for s in ["İstanbul", "Upper  Bowl", "ǅ", "ΑΣ", " \u{3000}x"] {
            assert_eq!(fold(&fold(s)), fold(s), "{s:?}");
        }
    }
}
