//! Who is who below people: days, devices and the openings in which a device writes.

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

/// Identity of a device: random, made once, kept in a file beside the store.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeviceId(pub [u8; 8]);

/// Identity of one opening of a store: the device and a number that no other opening has. It is the actor of the changes that are written, so
/// a copied or restored store never continues a history that another one continues too.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Opening(pub [u8; 16]);

impl Opening {
    /// An opening by `device`; `random` must be fresh.
    #[must_use]
    pub fn new(device: DeviceId, random: [u8; 8]) -> Opening {
        let mut bytes = [0; 16];
        bytes[..8].copy_from_slice(&device.0);
        bytes[8..].copy_from_slice(&random);
        Opening(bytes)
    }
}

/// The device whose opening this actor is; actors of other lengths, which only foreign programs write, count by their first bytes.
#[must_use]
pub fn device_of(actor: &[u8]) -> DeviceId {
    let mut id = [0; 8];
    let n = actor.len().min(8);
    id[..n].copy_from_slice(&actor[..n]);
    DeviceId(id)
}

/// A text that is no id.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{text:.80}\" is no {what}; it has {digits} hexadecimal digits")]
pub struct HexError {
    text: String,
    what: &'static str,
    digits: usize,
}

macro_rules! hex_id {
    ($name:ident, $bytes:literal, $what:literal) => {
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
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
                let error = || HexError { text: text.to_owned(), what: $what, digits: 2 * $bytes };
                let mut id = [0; $bytes];
                if text.len() != 2 * $bytes || !text.is_ascii() {
                    return Err(error());
                }
                for (i, byte) in id.iter_mut().enumerate() {
                    *byte = u8::from_str_radix(&text[2 * i..2 * i + 2], 16).map_err(|_| error())?;
                }
                Ok($name(id))
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
hex_id!(DeviceId, 8, "device id");
hex_id!(Opening, 16, "opening id");

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
    use std::fmt::Write;
    Sha256::digest(bytes).iter().fold(String::new(), |mut text, b| {
        let _ = write!(text, "{b:02x}");
        text
    })
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
        assert!("xyz".parse::<DayId>().is_err());
    }

    #[test]
    fn codes_are_short_and_stable() {
        assert_eq!(short_code("drill:1/slope_deg"), short_code("drill:1/slope_deg"));
        assert_eq!(short_code("").len(), 8);
        // Source of the hash of nothing: FIPS 180-4 example, e3b0c44298...; its first 40 bits in Crockford's base 32.
        assert_eq!(short_code(""), "werc8gmr");
    }
}
