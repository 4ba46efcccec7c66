//! The forms of texts: how long a text may be and which characters it may hold. Each form is written here, and the schemas get their patterns
//! from here.

use super::id::EntryId;
use super::label::{LABEL_CHARACTERS_MAX, LABEL_PATTERN, label_fault};

/// The most characters of a free text.
pub const TEXT_CHARACTERS_MAX: usize = 10_000;

/// The form of a text that is no word of a choice and names nothing of a class of labels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextForm {
    /// Anything, at most 10,000 characters.
    Free,
    /// Written as a label is.
    Label,
    /// One line that is not blank, at most 200 characters.
    Line,
    /// 1 to 64 of `A-Z a-z 0-9 - _`, so that no real name with a space is entered by mistake.
    Code,
    /// The id of an entry.
    EntryId,
    /// A SHA-256 in hex, lower case.
    Sha256,
    /// The id of a device in hex, lower case.
    DeviceId,
    /// 1 to 9 digits.
    Digits,
}

impl TextForm {
    /// Every form.
    pub const ALL: [TextForm; 8] = [
        TextForm::Free,
        TextForm::Label,
        TextForm::Line,
        TextForm::Code,
        TextForm::EntryId,
        TextForm::Sha256,
        TextForm::DeviceId,
        TextForm::Digits,
    ];

    /// The word under `x-check` in the schema of a field; a field without one is free text.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            TextForm::Free => "free",
            TextForm::Label => "label",
            TextForm::Line => "line",
            TextForm::Code => "code",
            TextForm::EntryId => "entry_id",
            TextForm::Sha256 => "sha256",
            TextForm::DeviceId => "device_id",
            TextForm::Digits => "digits",
        }
    }

    pub(super) fn from_word(word: &str) -> Option<TextForm> {
        TextForm::ALL.into_iter().find(|form| form.word() == word)
    }

    /// The regular expression for schemas (ECMA 262); `None` where any character goes.
    pub(super) fn pattern(self) -> Option<&'static str> {
        match self {
            TextForm::Free => None,
            TextForm::Label => Some(LABEL_PATTERN),
            TextForm::Line => Some(
                r"^[^\u0000-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u001f\u007f-\u009f]*$",
            ),
            TextForm::Code => Some("^[A-Za-z0-9_-]{1,64}$"),
            TextForm::EntryId => Some("^[0-7][0-9A-HJKMNP-TV-Z]{25}$"),
            TextForm::Sha256 => Some("^[0-9a-f]{64}$"),
            TextForm::DeviceId => Some("^[0-9a-f]{32}$"),
            TextForm::Digits => Some("^[0-9]{1,9}$"),
        }
    }

    /// The most characters; `None` where the pattern says it.
    pub(super) fn characters_max(self) -> Option<usize> {
        match self {
            TextForm::Free => Some(TEXT_CHARACTERS_MAX),
            TextForm::Label | TextForm::Line => Some(LABEL_CHARACTERS_MAX),
            _ => None,
        }
    }

    /// The form in words, for help and the dictionary; `None` for free text.
    #[must_use]
    pub fn text(self) -> Option<&'static str> {
        match self {
            TextForm::Free | TextForm::EntryId => None,
            TextForm::Label => Some("written as a label"),
            TextForm::Line => Some("one line, at most 200 characters"),
            TextForm::Code => Some("1 to 64 of A-Z a-z 0-9 - _"),
            TextForm::Sha256 => Some("64 of 0-9 a-f"),
            TextForm::DeviceId => Some("32 of 0-9 a-f"),
            TextForm::Digits => Some("1 to 9 digits"),
        }
    }

    /// Why a text does not have this form, and what to write.
    pub(crate) fn fault(self, text: &str) -> Option<&'static str> {
        let is_hex = |c: char| matches!(c, '0'..='9' | 'a'..='f');
        let is_code = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
        let too_long = |max: usize| text.chars().nth(max).is_some();
        match self {
            TextForm::Free => {
                too_long(TEXT_CHARACTERS_MAX).then_some("is longer than 10,000 characters; split it")
            }
            TextForm::Label => label_fault(text),
            TextForm::Line if text.trim().is_empty() => Some("is empty; write a name"),
            TextForm::Line if too_long(LABEL_CHARACTERS_MAX) => Some("is longer than 200 characters"),
            TextForm::Line => {
                text.chars().any(char::is_control).then_some("holds a control character; leave it out")
            }
            TextForm::Code => (text.is_empty() || too_long(64) || !text.chars().all(is_code))
                .then_some("is no code; write 1 to 64 of A-Z a-z 0-9 - _"),
            TextForm::EntryId => text.parse::<EntryId>().is_err().then_some(
                "is no entry id; an id is a ULID of 26 characters, for example 01KH5QX2M8Z4T6V9B3C1D7E0FG",
            ),
            TextForm::Sha256 => (text.len() != 64 || !text.chars().all(is_hex))
                .then_some("is no SHA-256; write 64 of 0-9 a-f"),
            TextForm::DeviceId => (text.len() != 32 || !text.chars().all(is_hex))
                .then_some("is no device id; write 32 of 0-9 a-f"),
            TextForm::Digits => (!(1..=9).contains(&text.len()) || !text.bytes().all(|b| b.is_ascii_digit()))
                .then_some("is no number of a clock; write 1 to 9 digits"),
        }
    }
}
