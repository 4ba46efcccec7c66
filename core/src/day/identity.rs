//! Identities below people: days, devices and the actors under which a device writes.

use crate::entry::fold;
use chrono::NaiveDate;
use sha2::{Digest, Sha256};
use std::fmt;
use std::str::FromStr;

/// Identity of a day: the first 16 bytes of a hash of its date and area, so that two phones that never met begin the same day.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DayId(pub [u8; 16]);

impl DayId {
    /// The id of the day on `date` in `area`; spellings of one area that fold to one label are one day.
    #[must_use]
    pub fn of(date: NaiveDate, area: &str) -> DayId {
        let text = format!("firnbook-day-1\n{}\n{}", date.format("%Y-%m-%d"), fold(area));
        let mut id = [0; 16];
        id.copy_from_slice(&Sha256::digest(text.as_bytes())[..16]);
        DayId(id)
    }
}

/// Identity of a device: the first 16 bytes of SHA-256 of its public key, so that nobody else can sign for it.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeviceId(pub [u8; 16]);

impl DeviceId {
    /// The device with this ed25519 public key.
    #[must_use]
    pub fn of_key(key: &[u8; 32]) -> DeviceId {
        let mut id = [0; 16];
        id.copy_from_slice(&Sha256::digest(key)[..16]);
        DeviceId(id)
    }
}

/// What a device writes into a day: two lines of changes, neither of which depends on the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum History {
    /// Bodies of entries.
    Entries,
    /// Registers: amendments, voids, settled items.
    Registers,
}

impl History {
    /// Both.
    pub const ALL: [History; 2] = [History::Entries, History::Registers];
}

/// Who wrote a change: 16 bytes of the device, then 8 bytes of one opening of its store, of which the lowest bit names the history. A copied
/// or restored store is another opening, so it never continues an actor that another copy continues too.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Actor(pub [u8; Actor::BYTES]);

impl Actor {
    /// Length of an actor.
    pub const BYTES: usize = 24;

    /// The actor of an opening in one history; `opening` must be fresh random bytes.
    #[must_use]
    pub fn new(device: DeviceId, opening: [u8; 8], history: History) -> Actor {
        let mut bytes = [0; Actor::BYTES];
        bytes[..16].copy_from_slice(&device.0);
        bytes[16..].copy_from_slice(&opening);
        bytes[Actor::BYTES - 1] = (opening[7] & !1) | u8::from(history == History::Registers);
        Actor(bytes)
    }

    /// The device.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        let mut id = [0; 16];
        id.copy_from_slice(&self.0[..16]);
        DeviceId(id)
    }

    /// The history.
    #[must_use]
    pub fn history(&self) -> History {
        if self.0[Actor::BYTES - 1] & 1 == 0 { History::Entries } else { History::Registers }
    }
}

/// A text that is no id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{text:.80}\" is no {what}; it has {digits} hexadecimal digits, small letters")]
pub struct HexError {
    text: String,
    what: &'static str,
    digits: usize,
}

macro_rules! hex_id {
    ($name:ident, $bytes:literal, $what:literal) => {
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&hex::encode(self.0))
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(self, f)
            }
        }

        impl FromStr for $name {
            type Err = HexError;
            fn from_str(text: &str) -> Result<Self, HexError> {
                let mut id = [0; $bytes];
                // One spelling: capitals would make two registers of one.
                match hex::decode_to_slice(text, &mut id) {
                    Ok(()) if hex::encode(id) == text => Ok($name(id)),
                    _ => Err(HexError { text: text.to_owned(), what: $what, digits: 2 * $bytes }),
                }
            }
        }

        impl serde::Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }

        impl<'de> serde::Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                std::borrow::Cow::<str>::deserialize(deserializer)?.parse().map_err(serde::de::Error::custom)
            }
        }

        impl schemars::JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
                schemars::json_schema!({ "type": "string", "pattern": concat!("^([0-9a-f]{2}){", stringify!($bytes), "}$") })
            }
        }
    };
}

hex_id!(DayId, 16, "day id");
hex_id!(DeviceId, 16, "device id");
hex_id!(Actor, 24, "writer id");

/// A short code for people to type: 8 characters of a hash of `text`, the same on every device and for ever.
#[must_use]
pub fn short_code(text: &str) -> String {
    const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
    let hash = Sha256::digest(text.as_bytes());
    let bits = hash[..5].iter().fold(0_u64, |sum, b| sum << 8 | u64::from(*b));
    (0..8).rev().map(|i| char::from(LETTERS[(bits >> (5 * i) & 31) as usize])).collect()
}

/// SHA-256 as hexadecimal digits.
#[must_use]
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex::encode(Sha256::digest(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_area_in_two_spellings_is_one_day() {
        let date = NaiveDate::from_ymd_opt(2027, 2, 6).unwrap();
        assert_eq!(DayId::of(date, "Upper Bowl"), DayId::of(date, " upper  BOWL "));
        assert_ne!(DayId::of(date, "Upper Bowl"), DayId::of(date.succ_opt().unwrap(), "Upper Bowl"));
        let id = DayId::of(date, "Upper Bowl");
        assert_eq!(id.to_string().parse(), Ok(id));
        for other in ["xyz", &id.to_string().to_uppercase(), &format!("+{}", &id.to_string()[1..])] {
            assert!(other.parse::<DayId>().is_err(), "{other}");
        }
    }

    #[test]
    fn codes_are_short_and_stable() {
        assert_eq!(short_code("drill:1/slope_deg"), short_code("drill:1/slope_deg"));
        assert_eq!(short_code("").len(), 8);
        // Source of the hash of nothing: FIPS 180-4 example, e3b0c44298...; its first 40 bits in Crockford's base 32.
        assert_eq!(short_code(""), "werc8gmr");
    }
}
