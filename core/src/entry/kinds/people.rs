//! People and their gear: who is there, the group check, where each piece of kit is.

use super::choice;
use crate::entry::{CallSign, ItemLabel, Time};
use crate::units::{Centimetres, Percent};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Someone takes part in the day, by call sign; with a drill it is their role in that drill.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Person {
    /// The call sign this person answers to; never a real name
    pub call_sign: CallSign,
    /// The team this person belongs to
    #[schemars(extend("x-check" = "label"))]
    pub team: Option<String>,
    /// What this person mainly does
    pub role: Option<Role>,
    /// When this person arrived
    pub joined_at: Option<Time>,
    /// When this person left
    pub left_at: Option<Time>,
    /// Stable random code from the local names file: the same person across days
    #[schemars(extend("x-check" = "code"))]
    pub member: Option<String>,
}

choice! {
    /// What a person does on the day or in one drill.
    Role {
        /// leads the day or the drill
        Lead,
        /// teaches
        Instructor,
        /// writes down what others do
        Observer,
        /// searches with the transceiver
        Searcher,
        /// probes
        Prober,
        /// digs
        Shoveller,
        /// is here to learn
        Trainee,
    }
}

/// The group check of one person's transceiver before setting out.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Check {
    /// Whose transceiver was checked
    pub person: CallSign,
    /// It sends; absent: not tested
    pub transmits: Option<bool>,
    /// It receives; absent: not tested
    pub receives: Option<bool>,
    /// Battery as the device shows it
    #[schemars(range(min = 0, max = 100))]
    pub battery_pct: Option<Percent>,
    /// Distance from the transceiver to the nearest electronics or metal
    #[schemars(range(min = 0, max = 500))]
    pub nearest_electronics_cm: Option<Centimetres>,
    /// What is wrong, as the device or the checker says it
    pub fault: Option<String>,
}

/// A step in the life of a piece of kit: whoever issued it must see it again.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Kit {
    /// The label on the piece
    pub item: ItemLabel,
    /// What happened to it
    pub step: KitStep,
    /// What it is; said at its first mention
    pub what: Option<KitSort>,
    /// Battery as the device shows it
    #[schemars(range(min = 0, max = 100))]
    pub battery_pct: Option<Percent>,
}

choice! {
    /// A step in the life of a piece of kit.
    KitStep {
        /// handed out
        Issued,
        /// put into the snow
        Buried,
        /// taken out of the snow
        DugUp,
        /// handed back
        Returned,
        /// given up as lost
        Lost,
    }
}

choice! {
    /// What a piece of kit is.
    KitSort {
        /// a sending transceiver
        Transmitter,
        /// a body to find
        Dummy,
        /// a probe
        Probe,
        /// a shovel
        Shovel,
        /// anything else
        Other,
    }
}
