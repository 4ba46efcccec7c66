//! What lies around the drill: disturbance, tracks, clocks and free notes.

use super::choice;
use crate::entry::CallSign;
use crate::units::{Centimetres, Milliseconds, Seconds};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Something disturbed a transceiver.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Interference {
    /// What disturbed
    pub source: InterferenceSource,
    /// What the disturbed device was doing
    pub mode: Option<DeviceMode>,
    /// What was seen
    pub effect: Option<InterferenceEffect>,
    /// Whose source it was
    pub person: Option<CallSign>,
    /// Distance from the source to the transceiver
    #[schemars(range(min = 0, max = 5000))]
    pub distance_cm: Option<Centimetres>,
    /// Time it cost
    #[schemars(range(min = 0, max = 86400))]
    pub lost_s: Option<Seconds>,
    /// What helped
    pub remedy: Option<String>,
}

choice! {
    /// What disturbs a transceiver.
    InterferenceSource {
        /// a phone
        Phone,
        /// a two-way radio
        Radio,
        /// a camera
        Camera,
        /// heated gloves, socks or vest
        HeatedClothing,
        /// a watch or wrist device
        Watch,
        /// a vehicle or engine
        Vehicle,
        /// a power line
        PowerLine,
        /// metal or foil
        Metal,
        /// another sending transceiver
        OtherTransmitter,
        /// something else that was seen
        Other,
        /// nobody knows
        Unknown,
    }
}

choice! {
    /// What a transceiver was doing.
    DeviceMode {
        /// sending
        Send,
        /// searching
        Search,
    }
}

choice! {
    /// What a disturbance looked like.
    InterferenceEffect {
        /// a signal where nobody lies
        GhostSignal,
        /// distance and direction jump
        UnsteadyReading,
        /// the signal is found late
        ShortRange,
        /// no effect seen
        None,
    }
}

/// Where a person walked.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Track {
    /// Who walked
    pub person: CallSign,
    /// The points, in order, as deltas
    #[schemars(extend("x-check" = "points"))]
    pub points: Points,
    /// What the points are measured in; absent is the drill's grid
    pub frame: Option<Frame>,
    /// Where the points come from
    pub source: Option<String>,
}

choice! {
    /// What the points of a track are measured in.
    Frame {
        /// metres in the drill's grid
        Grid,
        /// longitude and latitude, WGS 84, in units of 1e-7 degree
        LonLat = "lonlat",
    }
}

/// Points of a track as deltas: the first of each list is absolute, each following one is added to the one before.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Points {
    /// Milliseconds since 1970 UTC, by the clock that `clock` names
    #[schemars(length(min = 1, max = TRACK_POINTS_MAX))]
    pub t_ms: Vec<i64>,
    /// As x_m in the drill's grid, or longitude in units of 1e-7 degree
    #[schemars(length(min = 1, max = TRACK_POINTS_MAX))]
    pub x: Vec<f64>,
    /// As y_m in the drill's grid, or latitude in units of 1e-7 degree
    #[schemars(length(min = 1, max = TRACK_POINTS_MAX))]
    pub y: Vec<f64>,
}

/// The most points one track holds; a longer one is split into several entries.
pub const TRACK_POINTS_MAX: usize = 10_000;

/// All devices press together, so that their clocks can be compared.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockMark {
    /// What this common moment is called
    pub label: String,
    /// What the watch named by `clock` showed at that moment
    pub shows: Option<String>,
}

/// What the base measured of a device's clock; only a listening base writes it.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockOffset {
    /// The device whose clock it is
    #[schemars(extend("x-check" = "device_id"))]
    pub device: String,
    /// Which of that device's clocks, as in the common field `clock`; 1 is its first
    #[schemars(extend("x-check" = "digits"))]
    pub of: String,
    /// The device whose clock counts as base time
    #[schemars(extend("x-check" = "device_id"))]
    pub base: String,
    /// What is added to the device's time to get base time; within a hundred years, as a clock that lost its battery shows 1970
    #[schemars(range(min = -OFFSET_MS_MAX, max = OFFSET_MS_MAX))]
    pub offset_ms: Milliseconds,
    /// Half width within which the true offset lies
    #[schemars(range(min = 0, max = 32_000_000_000_i64))]
    pub uncertainty_ms: Milliseconds,
}

/// The largest offset of a clock, in milliseconds: a hundred years.
pub const OFFSET_MS_MAX: i64 = 3_200_000_000_000;

/// Something worth saying.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["note"]))]
pub struct Note {
    /// What it is about
    pub topic: Option<Topic>,
    /// Who it is about
    pub person: Option<CallSign>,
    /// Name of a file that belongs to it; the file stays outside
    pub file_name: Option<String>,
    /// SHA-256 of that file, hex
    #[schemars(extend("x-check" = "sha256"))]
    pub file_sha256: Option<String>,
}

choice! {
    /// What a note is about.
    Topic {
        /// anything
        General,
        /// safety: shown first
        Safety,
        /// the snow
        Snow,
        /// the weather
        Weather,
        /// what went well
        WentWell,
        /// what to do next time
        NextTime,
        /// equipment
        Equipment,
        /// for one person; shown only on that person's sheet
        Feedback,
    }
}
