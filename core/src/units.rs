//! Quantities: what a number means. Newtypes for the door, and the reading of what a person typed (`1.1m`, `3ft`, `90s`).
//!
//! Inside `stats` and `field` numbers are plain `f64` with the unit in the name; here is the only place that converts.

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:expr) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "number", "x-unit": $unit.symbol() })
            }
        }
    };
}

quantity!(
    /// A length in centimetres.
    Centimetres,
    Unit::Centimetre
);
quantity!(
    /// A length in metres.
    Metres,
    Unit::Metre
);
quantity!(
    /// An angle in degrees.
    Degrees,
    Unit::Degree
);
quantity!(
    /// A share in percent.
    Percent,
    Unit::Percent
);
quantity!(
    /// A duration in seconds.
    Seconds,
    Unit::Second
);
quantity!(
    /// A duration in milliseconds.
    Milliseconds,
    Unit::Millisecond
);
quantity!(
    /// A density in kilograms per cubic metre.
    KilogramsPerCubicMetre,
    Unit::KilogramPerCubicMetre
);

/// The unit a field is kept in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// cm
    Centimetre,
    /// m
    Metre,
    /// degrees of angle
    Degree,
    /// %
    Percent,
    /// s
    Second,
    /// ms
    Millisecond,
    /// kg/m3
    KilogramPerCubicMetre,
}

/// Centimetres in one international foot, exact by definition (international yard and pound agreement, 1959).
pub const CM_PER_FOOT: f64 = 30.48;
/// Centimetres in one international inch, exact by definition (international yard and pound agreement, 1959).
pub const CM_PER_INCH: f64 = 2.54;

impl Unit {
    const ALL: [Unit; 7] = [
        Unit::Centimetre,
        Unit::Metre,
        Unit::Degree,
        Unit::Percent,
        Unit::Second,
        Unit::Millisecond,
        Unit::KilogramPerCubicMetre,
    ];

    /// How the unit is written in schemas, the dictionary and messages.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Centimetre => "cm",
            Unit::Metre => "m",
            Unit::Degree => "deg",
            Unit::Percent => "%",
            Unit::Second => "s",
            Unit::Millisecond => "ms",
            Unit::KilogramPerCubicMetre => "kg/m3",
        }
    }

    /// The ending that a field of this unit carries in its name; flags may be typed without it.
    #[must_use]
    pub fn suffix(self) -> &'static str {
        match self {
            Unit::Centimetre => "_cm",
            Unit::Metre => "_m",
            Unit::Degree => "_deg",
            Unit::Percent => "_pct",
            Unit::Second => "_s",
            Unit::Millisecond => "_ms",
            Unit::KilogramPerCubicMetre => "_kg_m3",
        }
    }

    /// The unit whose [`Unit::symbol`] this is.
    #[must_use]
    pub fn from_symbol(symbol: &str) -> Option<Unit> {
        Unit::ALL.into_iter().find(|u| u.symbol() == symbol)
    }

    /// What a person may type behind a number, each with its factor into this unit.
    fn spellings(self) -> &'static [(&'static str, f64)] {
        match self {
            Unit::Centimetre => &[
                ("cm", 1.0),
                ("mm", 0.1),
                ("m", 100.0),
                ("ft", CM_PER_FOOT),
                ("'", CM_PER_FOOT),
                ("in", CM_PER_INCH),
                ("\"", CM_PER_INCH),
            ],
            Unit::Metre => &[
                ("m", 1.0),
                ("cm", 0.01),
                ("km", 1000.0),
                ("ft", CM_PER_FOOT / 100.0),
                ("'", CM_PER_FOOT / 100.0),
                ("in", CM_PER_INCH / 100.0),
                ("\"", CM_PER_INCH / 100.0),
            ],
            Unit::Degree => &[("deg", 1.0), ("°", 1.0), ("degrees", 1.0)],
            Unit::Percent => &[("%", 1.0), ("pct", 1.0), ("percent", 1.0)],
            Unit::Second => &[("s", 1.0), ("sec", 1.0), ("min", 60.0), ("h", 3600.0), ("ms", 0.001)],
            Unit::Millisecond => &[("ms", 1.0), ("s", 1000.0), ("min", 60_000.0), ("h", 3_600_000.0)],
            Unit::KilogramPerCubicMetre => &[("kg/m3", 1.0), ("kg/m³", 1.0)],
        }
    }
}

/// Why a typed quantity was not understood; the text says what to type instead.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// No number in front.
    #[error("\"{text:.80}\" is no number; write for example {example}")]
    NoNumber {
        /// What was typed.
        text: String,
        /// One spelling that would be understood.
        example: String,
    },
    /// A unit that does not belong to this field.
    #[error("\"{unit:.80}\" is no unit for this field, which is kept in {kept}; write {accepted}")]
    WrongUnit {
        /// The unit that was typed.
        unit: String,
        /// The unit of the field.
        kept: &'static str,
        /// The units that are understood.
        accepted: String,
    },
    /// A bare number in centimetres that was probably meant in metres.
    #[error("{number} cm? write {whole}, {whole}cm or {metres}m")]
    ProbablyMetres {
        /// What was typed.
        number: String,
        /// The number of centimetres if metres were meant.
        whole: String,
        /// The metres if metres were meant.
        metres: String,
    },
    /// A bare number with a decimal point that is too large for metres, in centimetres: what was meant stays unsure.
    #[error("{number} cm? with a decimal point its unit must stand behind it: write {number}cm")]
    Unsure {
        /// What was typed.
        number: String,
    },
}

/// Reads a number with an optional unit as a person types it and returns it in `unit`.
///
/// `1.1m`, `110 cm`, `3ft`, `43in` and `5ft 7in` are lengths; `2min`, `1:30` (minutes and seconds) are durations. Without a unit the
/// number is in `unit`; in a field of centimetres a bare number with a decimal point, or from 0 (exclusive) to 10, is refused since metres
/// were probably meant.
///
/// # Errors
/// [`QuantityError`] says what was typed and what would be understood.
pub fn read_quantity(text: &str, unit: Unit) -> Result<f64, QuantityError> {
    let text = text.trim();
    if matches!(unit, Unit::Second)
        && let Some(seconds) = read_minutes_and_seconds(text)
    {
        return Ok(seconds);
    }
    if let Some((feet, inches)) = text.split_once("ft").or_else(|| text.split_once('\''))
        && matches!(unit, Unit::Centimetre | Unit::Metre)
        && inches.trim().starts_with(|c: char| c.is_ascii_digit() || c == '.')
    {
        let feet = read_quantity(&format!("{feet}ft"), unit)?;
        let inches = read_quantity(inches, unit)?;
        return Ok(without_binary_tail(feet + inches.copysign(feet)));
    }
    let split = text.find(|c: char| !matches!(c, '0'..='9' | '.' | '+' | '-')).unwrap_or(text.len());
    let (number, typed_unit) = (&text[..split], text[split..].trim());
    let value: f64 = number.parse().ok().filter(|v: &f64| v.is_finite()).ok_or_else(|| {
        QuantityError::NoNumber { text: text.to_owned(), example: format!("110{}", unit.symbol()) }
    })?;
    if typed_unit.is_empty() {
        if unit == Unit::Centimetre && number.contains('.') && value.abs() >= 10.0 {
            return Err(QuantityError::Unsure { number: number.to_owned() });
        }
        if unit == Unit::Centimetre && (number.contains('.') || (value > 0.0 && value < 10.0)) {
            return Err(QuantityError::ProbablyMetres {
                number: number.to_owned(),
                whole: shortest(value * 100.0),
                metres: shortest(value),
            });
        }
        return Ok(value);
    }
    let lower = typed_unit.to_lowercase();
    let factor = unit.spellings().iter().find(|(s, _)| *s == lower).map(|(_, f)| *f).ok_or_else(|| {
        QuantityError::WrongUnit {
            unit: typed_unit.to_owned(),
            kept: unit.symbol(),
            accepted: unit.spellings().iter().map(|(s, _)| *s).collect::<Vec<_>>().join(", "),
        }
    })?;
    Ok(without_binary_tail(value * factor))
}

fn read_minutes_and_seconds(text: &str) -> Option<f64> {
    let (minutes, seconds) = text.split_once(':')?;
    let minutes: u32 = minutes.parse().ok()?;
    let seconds: f64 = seconds.parse().ok().filter(|s| (0.0..60.0).contains(s))?;
    Some(f64::from(minutes) * 60.0 + seconds)
}

/// 1.1 m is 110 cm, not 110.00000000000001 cm: the decimal that was typed has at most 12 significant figures.
fn without_binary_tail(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

fn shortest(value: f64) -> String {
    without_binary_tail(value).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cm(text: &str) -> f64 {
        read_quantity(text, Unit::Centimetre).unwrap()
    }

    #[test]
    fn lengths_as_people_type_them() {
        assert_eq!(cm("110"), 110.0);
        assert_eq!(cm("110cm"), 110.0);
        assert_eq!(cm("1.1m"), 110.0);
        assert_eq!(cm("1.1 M"), 110.0);
        assert_eq!(cm("3ft"), 91.44);
        assert_eq!(cm("43in"), 109.22);
        assert_eq!(cm("5ft 7in"), 170.18);
        assert_eq!(cm("5'7\""), 170.18);
        assert_eq!(cm("1ft 7in"), 48.26);
        assert_eq!(cm("-1ft 7in"), -48.26);
        assert_eq!(cm("0"), 0.0);
        assert_eq!(read_quantity("25in", Unit::Metre).unwrap(), 0.635);
    }

    #[test]
    fn a_bare_small_or_decimal_depth_is_refused_with_the_remedy() {
        for text in ["1.1", "2", "9.5", "0.0"] {
            assert!(matches!(
                read_quantity(text, Unit::Centimetre),
                Err(QuantityError::ProbablyMetres { .. })
            ));
        }
        for text in ["110.0", "110.5", "10.0"] {
            let refused = read_quantity(text, Unit::Centimetre).unwrap_err().to_string();
            let (_, remedy) = refused.split_once("write ").unwrap();
            assert_eq!(read_quantity(remedy, Unit::Centimetre), Ok(text.parse().unwrap()), "{refused}");
        }
        assert_eq!(
            read_quantity("1.1", Unit::Centimetre).unwrap_err().to_string(),
            "1.1 cm? write 110, 110cm or 1.1m"
        );
    }

    #[test]
    fn durations_and_angles() {
        assert_eq!(read_quantity("2min", Unit::Second).unwrap(), 120.0);
        assert_eq!(read_quantity("1:30", Unit::Second).unwrap(), 90.0);
        assert_eq!(read_quantity("30°", Unit::Degree).unwrap(), 30.0);
        assert_eq!(read_quantity("85 %", Unit::Percent).unwrap(), 85.0);
    }

    #[test]
    fn rubbish_is_refused() {
        for text in ["", "abc", "1e999", "NaN", "inf", "--1", "1.1.1", "10kg", "ft", "5ft -7in", "5ft x"] {
            assert!(read_quantity(text, Unit::Centimetre).is_err(), "{text}");
        }
    }
}
