//! Drills: what was set up, the targets in it, and the instants reached.

use super::choice;
use crate::entry::{CallSign, DrillLabel, ItemLabel, TargetLabel};
use crate::units::{Centimetres, Degrees, KilogramsPerCubicMetre, Metres, Seconds};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A drill: one run by one team. A repetition is a drill of its own.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Drill {
    /// What this drill is called on the day
    pub label: DrillLabel,
    /// What is practised
    pub form: Option<DrillForm>,
    /// The team that runs it
    #[schemars(extend("x-check" = "label"))]
    pub team: Option<String>,
    /// Who teaches it
    pub instructor: Option<CallSign>,
    /// An earlier drill whose outline, slope, limit and targets are used again
    pub like: Option<DrillLabel>,
    /// Steepness of the snow surface from level
    #[schemars(range(min = 0, max = 60), extend("x-unit" = "deg"))]
    pub slope_deg: Option<Degrees>,
    /// Length of the field along the fall line, measured on the surface
    #[schemars(range(min = 0, max = 5000))]
    pub length_m: Option<Metres>,
    /// Width of the field across the fall line
    #[schemars(range(min = 0, max = 5000))]
    pub width_m: Option<Metres>,
    /// Corners [x, y] of the field in the drill's grid, as x_m and y_m; the last corner is not the first one again
    #[schemars(length(min = 3, max = OUTLINE_CORNERS_MAX), extend("x-unit" = "m"))]
    pub outline: Option<Vec<[f64; 2]>>,
    /// Latitude of the grid's origin, WGS 84: the lower left corner of the field when you look uphill
    #[schemars(range(min = -90, max = 90))]
    pub origin_lat: Option<Degrees>,
    /// Longitude of the grid's origin, WGS 84: the lower left corner of the field when you look uphill
    #[schemars(range(min = -180, max = 180))]
    pub origin_lon: Option<Degrees>,
    /// Compass bearing of the fall line, downhill, from true north
    #[schemars(range(min = 0, max = 360))]
    pub downhill_deg: Option<Degrees>,
    /// Time limit, counted from start
    #[schemars(range(min = 0, max = 86400))]
    pub limit_s: Option<Seconds>,
    /// The step that stops the clock; absent counts as airway
    pub stops_at: Option<StopsAt>,
    /// Density of the snow that is dug
    #[schemars(range(min = 50, max = 900))]
    pub snow_kg_m3: Option<KilogramsPerCubicMetre>,
}

/// The most corners of an outline.
pub const OUTLINE_CORNERS_MAX: usize = 1_000;

impl Drill {
    /// A drill of which only its label is known.
    #[must_use]
    pub fn named(label: DrillLabel) -> Drill {
        Drill {
            label,
            form: None,
            team: None,
            instructor: None,
            like: None,
            slope_deg: None,
            length_m: None,
            width_m: None,
            outline: None,
            origin_lat: None,
            origin_lon: None,
            downhill_deg: None,
            limit_s: None,
            stops_at: None,
            snow_kg_m3: None,
        }
    }
}

choice! {
    /// What a drill practises.
    DrillForm {
        /// one target
        Single,
        /// several targets at once
        Multiple,
        /// a line of probers without signal
        ProbeLine,
        /// digging only
        Digging,
        /// a whole rescue from call to airway
        Scenario,
    }
}

choice! {
    /// The step that stops a drill's clock.
    StopsAt {
        /// a sure probe strike
        Strike,
        /// the airway is free
        Airway,
    }
}

/// Something buried to be found in a drill.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill"]))]
pub struct Target {
    /// What this target is called in its drill
    pub label: TargetLabel,
    /// The piece of kit that lies there
    pub item: Option<ItemLabel>,
    /// Depth at which it was buried: from the snow surface to the highest point of what lies there
    #[schemars(range(min = 0, max = 1000))]
    pub set_depth_cm: Option<Centimetres>,
    /// How the depth was measured against the slope
    pub direction: Option<Direction>,
    /// How it lies
    pub orientation: Option<Orientation>,
    /// Tilt of the transmitter's long axis from level
    #[schemars(range(min = 0, max = 90))]
    pub tilt_deg: Option<Degrees>,
    /// It sends; absent counts as yes
    pub transmits: Option<bool>,
}

choice! {
    /// The line along which a depth was measured.
    Direction {
        /// square to the snow surface
        SlopeNormal,
        /// plumb
        Vertical,
        /// nobody knows
        Unknown,
    }
}

choice! {
    /// How a buried transmitter lies.
    Orientation {
        /// long axis level
        Flat,
        /// long axis plumb
        Upright,
        /// in between
        Tilted,
    }
}

/// An instant reached in a drill.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill"]))]
pub struct Moment {
    /// The step that was reached
    pub step: Step,
    /// Why it ended; for the step end
    pub why: Option<EndReason>,
    /// Who reached it
    pub person: Option<CallSign>,
    /// Distance shown by the transceiver at that instant
    #[schemars(range(min = 0, max = 100))]
    pub reading_m: Option<Metres>,
}

choice! {
    /// The steps of a drill, as instants reached.
    Step {
        /// the avalanche stops: zero of every duration
        Start,
        /// first stable signal
        Signal,
        /// coarse search ends, about 3 m read
        Coarse,
        /// lowest reading marked
        Fine,
        /// first probe hole
        Probing,
        /// sure strike, probe left in place
        Strike,
        /// first shovel stroke
        Digging,
        /// airway exposed
        Airway,
        /// out of the snow
        Extricated,
        /// the found transmitter is switched off
        TransmitterOff,
        /// the found transmitter is suppressed on the searcher's device
        Suppressed,
        /// the drill is halted
        Pause,
        /// the drill goes on
        Resume,
        /// the drill is over
        End,
    }
}

choice! {
    /// Why a drill ended.
    EndReason {
        /// all done
        Done,
        /// the time limit was reached
        Limit,
        /// stopped for safety
        Safety,
        /// called off; leaves the statistics
        Cancelled,
        /// a real emergency
        Emergency,
    }
}
