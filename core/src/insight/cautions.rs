//! What every screen, page and export that judges times or depths must say, in one place and in the same words.

/// What the answers are for, and what they are not for.
pub const USE: &str =
    "A training record and planning aid: not medical advice, not for directing a live rescue.";

/// Who decides where an answer and a person differ.
pub const WHO_DECIDES: &str = "Local protocol, licensed instructors and the rescue service prevail.";

/// What times from several clocks are worth.
pub const CLOCKS: &str = "Times from several clocks carry the uncertainty printed beside them; a clock that was never compared with the others is left out of them.";

/// What depths in this log are.
pub const DEPTHS: &str = "Depths are those of targets buried by instructors, not of accident burials; a lowest reading is not a depth.";

/// What published survival curves may be used for.
pub const CURVES: &str =
    "A published curve describes past accidents of its own population; it grades no run and no person.";

/// The cautions of every answer over times and depths.
#[must_use]
pub fn of_a_debrief() -> Vec<&'static str> {
    vec![USE, WHO_DECIDES, CLOCKS, DEPTHS]
}

/// The cautions of every answer over depths alone.
#[must_use]
pub fn of_depths() -> Vec<&'static str> {
    vec![USE, WHO_DECIDES, DEPTHS]
}

/// The cautions of every plan.
#[must_use]
pub fn of_a_plan() -> Vec<&'static str> {
    vec![USE, WHO_DECIDES]
}
