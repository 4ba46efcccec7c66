//! What probes, tapes and shovels tell.

use super::choice;
use super::drills::Direction;
use crate::entry::{CallSign, Time};
use crate::units::{Centimetres, Metres};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A probe strikes something, or seems to.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill"]))]
pub struct Strike {
    /// Depth read off the probe: from the snow surface to where it first touched
    #[schemars(range(min = 0, max = 1000))]
    pub depth_cm: Option<Centimetres>,
    /// What it turned out to be
    pub outcome: Option<Outcome>,
    /// Who probed
    pub person: Option<CallSign>,
    /// How the probe stood against the slope
    pub direction: Option<Direction>,
    /// Lowest distance the transceiver showed before probing
    #[schemars(range(min = 0, max = 100))]
    pub lowest_reading_m: Option<Metres>,
    /// Distance along the surface from the lowest-reading point to the strike
    #[schemars(range(min = 0, max = 1000))]
    pub from_mark_cm: Option<Centimetres>,
    /// Probe holes at this target up to and with this one, of all who probe there
    #[schemars(range(min = 1, max = 5000))]
    pub holes: Option<u32>,
}

choice! {
    /// What a probe strike turned out to be.
    Outcome {
        /// the target
        Hit,
        /// something else
        False = "false_strike",
        /// nobody is sure
        Unsure,
    }
}

/// A burial depth, measured.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill", "target"]))]
pub struct Depth {
    /// The depth below the snow surface, to the point that datum names
    #[schemars(range(min = 0, max = 1000))]
    pub depth_cm: Centimetres,
    /// How it was measured
    pub method: Option<Method>,
    /// What point of the target it leads to
    pub datum: Option<Datum>,
    /// Along which line it was measured
    pub direction: Option<Direction>,
}

choice! {
    /// How a depth was measured.
    Method {
        /// the lowest distance a transceiver showed; not a true depth
        Reading,
        /// read off the probe
        Probe,
        /// tape in the hole
        Tape,
    }
}

choice! {
    /// The point of the target that a depth leads to.
    Datum {
        /// where the probe first touches
        FirstContact,
        /// the airway
        Airway,
        /// the highest point of the target
        Top,
        /// nobody knows
        Unknown,
    }
}

/// A turn at the shovels.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill"]))]
pub struct Rotation {
    /// Who digs at the head of the hole
    pub front: Option<CallSign>,
    /// Who shovels behind, front to back
    pub shovellers: Option<Vec<CallSign>>,
    /// When this turn ended; absent while it runs
    pub ended_at: Option<Time>,
    /// Width of the hole
    #[schemars(range(min = 50, max = 500))]
    pub hole_width_cm: Option<Centimetres>,
    /// How the hole is worked
    pub manner: Option<DigManner>,
    /// How far downhill of the probe digging began, along the surface
    #[schemars(range(min = 0, max = 1000))]
    pub start_downhill_cm: Option<Centimetres>,
}

choice! {
    /// How a hole is worked.
    DigManner {
        /// snow handed on down a line of shovellers
        Conveyor,
        /// platform dug down in steps
        StepDown,
        /// no set manner
        Free,
    }
}

/// A pass of a probe line over a field.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill"]))]
pub struct ProbePass {
    /// Spacing of the holes square to the walk
    #[schemars(range(min = 1, max = 500))]
    pub across_cm: Centimetres,
    /// Spacing of the holes along the walk
    #[schemars(range(min = 1, max = 500))]
    pub along_cm: Centimetres,
    /// People in the line
    #[schemars(range(min = 1, max = 500))]
    pub probers: Option<u32>,
    /// Length of what was probed, along the walk
    #[schemars(range(min = 0, max = 5000))]
    pub length_m: Option<Metres>,
    /// Width of what was probed
    #[schemars(range(min = 0, max = 5000))]
    pub width_m: Option<Metres>,
    /// How deep was probed, from the snow surface along the probe
    #[schemars(range(min = 0, max = 1000))]
    pub depth_cm: Option<Centimetres>,
    /// Holes made
    #[schemars(range(min = 1, max = 1_000_000))]
    pub holes: Option<u32>,
    /// When the pass ended
    pub ended_at: Option<Time>,
}
