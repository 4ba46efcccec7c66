//! Identity of an entry: a ULID, so that ids sort by time and two phones never make the same one.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;
use ulid::Ulid;

/// Id of an entry: a ULID, written as 26 characters of Crockford's base 32, upper case.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EntryId(Ulid);

/// A text that is no entry id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0:.80}\" is no entry id; an id is a ULID of 26 characters, for example 01KH5QX2M8Z4T6V9B3C1D7E0FG"
)]
pub struct IdError(pub String);

impl EntryId {
    /// From milliseconds since 1970 UTC and 80 bits that nobody else has. Times before 1970 count as 1970.
    #[must_use]
    pub fn new(at_ms: i64, random: [u8; 10]) -> EntryId {
        let mut low = [0; 16];
        low[6..].copy_from_slice(&random);
        EntryId(Ulid::from_parts(u64::try_from(at_ms).unwrap_or(0), u128::from_be_bytes(low)))
    }

    /// The 16 bytes of the ULID.
    #[must_use]
    pub fn to_bytes(self) -> [u8; 16] {
        self.0.to_bytes()
    }

    /// From the 16 bytes of a ULID.
    #[must_use]
    pub fn from_bytes(bytes: [u8; 16]) -> EntryId {
        EntryId(Ulid::from_bytes(bytes))
    }
}

impl FromStr for EntryId {
    type Err = IdError;
    fn from_str(text: &str) -> Result<Self, IdError> {
        let ulid = Ulid::from_string(text).map_err(|_| IdError(text.to_owned()))?;
        // One spelling per id: a key that reads as the same id but is written otherwise would be a second entry.
        if ulid.to_string() == text { Ok(EntryId(ulid)) } else { Err(IdError(text.to_owned())) }
    }
}

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Serialize for EntryId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for EntryId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Cow::<str>::deserialize(deserializer)?.parse().map_err(de::Error::custom)
    }
}

impl JsonSchema for EntryId {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "EntryId".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-7][0-9A-HJKMNP-TV-Z]{25}$" })
    }
}
