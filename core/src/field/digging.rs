//! How people stand when they dig, and how much snow that moves. The published schools disagree on length,
//! spacing and where to start; each stands here with its source and none is judged. Lengths run along the slope
//! downhill of the probe, depths are square to the slope; people are counted in whole centimetres, because
//! (3 x 0.8) / 0.8 is not 3 in binary fractions. Turns at the head over a day are not computed here.

use schemars::JsonSchema;
use serde::Serialize;

use super::source::Source;
use super::{FieldError, within};

/// One school of digging.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct School {
    /// Its name here.
    pub school: &'static str,
    /// Length of the row along the slope, in per cent of depth: (below, from) [`STEEP_FROM_DEG`]; none if it sets none.
    pub length_pct: Option<(u32, u32)>,
    /// Row length for one person, cm; none if it sets none.
    pub unit_cm: Option<u32>,
    /// Where the digging starts.
    pub start: Start,
    /// Where it comes from.
    pub source: Source,
}

/// Where a school starts to dig, downhill of the probe along the slope.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Start {
    /// At the probe.
    AtProbe,
    /// At the probe, moved downhill by one unit of length for each person missing.
    DownhillForMissing,
    /// Steps of [`STEP_CM`]: one where the burial is shallower than 1 m, else two.
    Steps,
    /// Per cent of depth downhill: (below, from) [`STEEP_FROM_DEG`].
    DepthPct(u32, u32),
}

/// Slope in degrees from which a school's value for steep ground is taken. The start-far school gives about 25;
/// for the conveyor of 2008, which only says flat and steep, it is borrowed.
pub const STEEP_FROM_DEG: f64 = 25.0;
/// One step downhill, cm (common practice, no source).
pub const STEP_CM: u32 = 70;
/// Seconds at the head before the people in a row change places.
pub const TURN_INTERVAL_S: f64 = 240.0;
/// Where [`TURN_INTERVAL_S`] comes from.
pub const TURN_INTERVAL_SOURCE: Source = Source::from_memory(
    "Genswein and Eide, V-shaped snow conveyor, ISSW 2008: rotate about every 4 min on command",
);

/// The schools, in no order of merit.
pub const SCHOOLS: [School; 4] = [
    School {
        school: "start far",
        length_pct: None,
        unit_cm: None,
        start: Start::DepthPct(150, 100),
        source: Source::quoted(
            "Edgerly and Atkins, Strategic Shoveling, ISSW 2006, as told in a ski journal: start about 1.5 times the depth downhill, about once the depth above about 25 degrees",
        ),
    },
    School {
        school: "conveyor 2008",
        length_pct: Some((200, 100)),
        unit_cm: Some(80),
        start: Start::AtProbe,
        source: Source::from_memory(
            "Genswein and Eide, V-shaped snow conveyor, ISSW 2008: twice the depth long on flat ground, once on steep; one person for 80 cm",
        ),
    },
    School {
        school: "step down",
        length_pct: None,
        unit_cm: None,
        start: Start::Steps,
        source: Source::read(
            "avalanche.org encyclopedia, Strategic Shoveling: one step downhill below 1 m, two if deeper, platform 1 to 2 m wide, clear sideways first (length of a step: common practice, no source)",
        ),
    },
    School {
        school: "conveyor 2023",
        length_pct: Some((200, 100)),
        unit_cm: Some(100),
        start: Start::DownhillForMissing,
        source: Source::read(
            "Genswein, snow conveyor belt summary, ISSW 2023: one person for a metre, start at the probe and 1 m below it for each person missing (length in depths: the form of 2008, from memory, not verified)",
        ),
    },
];

/// What one school asks for at one burial. A length or number that the school does not set is null.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SchoolPlan {
    /// Name of the school.
    pub school: &'static str,
    /// Where it comes from.
    pub source: Source,
    /// Start of the digging, cm downhill of the probe along the slope.
    pub start_downhill_cm: u32,
    /// Length of the row along the slope, cm.
    pub length_cm: Option<u32>,
    /// People that the row needs.
    pub people_needed: Option<u32>,
}

impl School {
    /// What this school asks for: `depth_cm` square to the slope (taken to the whole centimetre), people at hand.
    ///
    /// # Errors
    /// A depth outside 1 to 10,000 cm, a slope outside 0 to 85 degrees.
    pub fn plan(&self, depth_cm: f64, slope_deg: f64, people: u32) -> Result<SchoolPlan, FieldError> {
        let depth_cm = whole_cm(depth_cm)?;
        let steep = within("the slope", slope_deg, 0.0, 85.0, "degrees")? >= STEEP_FROM_DEG;
        let of_depth = |(flat_pct, steep_pct): (u32, u32)| {
            (depth_cm * if steep { steep_pct } else { flat_pct }).div_ceil(100)
        };
        let length_cm = self.length_pct.map(of_depth);
        let people_needed = length_cm.zip(self.unit_cm).map(|(length, unit)| people_needed(length, unit));
        let start_downhill_cm = match self.start {
            Start::AtProbe => 0,
            Start::DownhillForMissing => people_needed
                .zip(self.unit_cm)
                .map_or(0, |(needed, unit)| needed.saturating_sub(people) * unit),
            Start::Steps => STEP_CM * if depth_cm < 100 { 1 } else { 2 },
            Start::DepthPct(flat, steep) => of_depth((flat, steep)),
        };
        Ok(SchoolPlan {
            school: self.school,
            source: self.source,
            start_downhill_cm,
            length_cm,
            people_needed,
        })
    }
}

/// People that a row of `length_cm` needs at one person for each `unit_cm`, rounded up; a `unit_cm` of 0 counts as 1.
pub fn people_needed(length_cm: u32, unit_cm: u32) -> u32 {
    length_cm.div_ceil(unit_cm.max(1))
}

/// Snow in m3 of a wedge dug from the surface `length_cm` downhill to the target: `depth x length x width / 2`. Exact on
/// any slope when the depth is square to it and the length runs along it.
///
/// # Errors
/// A depth or length outside 0 to 10,000 cm, a width outside 0 to 10,000 cm.
pub fn wedge_m3(depth_cm: f64, length_cm: f64, width_cm: f64) -> Result<f64, FieldError> {
    let depth_cm = within("the depth", depth_cm, 0.0, LONGEST_CM, "cm")?;
    let length_cm = within("the length of the hole", length_cm, 0.0, LONGEST_CM, "cm")?;
    let width_cm = within("the width of the hole", width_cm, 0.0, LONGEST_CM, "cm")?;
    Ok(0.5 * depth_cm * length_cm * width_cm / 1e6)
}

/// Mass in kg of `volume_m3` of snow.
///
/// # Errors
/// A volume outside 0 to 1,000,000 m3, a density outside 10 to 917 kg/m3 (ice).
pub fn snow_kg(volume_m3: f64, density_kg_m3: f64) -> Result<f64, FieldError> {
    Ok(within("the volume", volume_m3, 0.0, 1e6, "m3")?
        * within("the density of the snow", density_kg_m3, 10.0, 917.0, "kg/m3")?)
}

/// A rate at which one person moved snow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct MovedRate {
    /// With what and how.
    pub how: &'static str,
    /// Snow moved, kg/s.
    pub kg_per_s: f64,
    /// Where it comes from.
    pub source: Source,
}

const RATES_SOURCE: Source = Source::read(
    "Schindelwig et al., Sports 5(2):31, 2017: barely binding snow from a box, 15 men and 14 women; an upper bound for debris",
);

/// Rates measured with loose snow.
pub const MOVED_RATES: [MovedRate; 3] = [
    MovedRate { how: "flat blade", kg_per_s: 1.50, source: RATES_SOURCE },
    MovedRate { how: "deep blade, straight shaft", kg_per_s: 1.71, source: RATES_SOURCE },
    MovedRate { how: "deep blade, clearing and straight", kg_per_s: 1.79, source: RATES_SOURCE },
];

/// Density of avalanche debris, kg/m3, from and to; wet debris is heavier.
pub const DEBRIS_KG_M3: (f64, f64) = (300.0, 500.0);
/// Where [`DEBRIS_KG_M3`] comes from.
pub const DEBRIS_SOURCE: Source =
    Source::from_memory("density of avalanche debris 300 to 500 kg/m3, wet higher");

const LONGEST_CM: f64 = 10_000.0;

fn whole_cm(depth_cm: f64) -> Result<u32, FieldError> {
    Ok(within("the depth", depth_cm, 1.0, LONGEST_CM, "cm")?.round() as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn school(name: &str) -> &'static School {
        SCHOOLS.iter().find(|school| school.school == name).unwrap()
    }

    #[test]
    fn section_5_people_needed() {
        for (depth_cm, factor, by_80, by_100) in
            [(100, 2, 3, 2), (150, 2, 4, 3), (200, 2, 5, 4), (150, 1, 2, 2)]
        {
            assert_eq!(people_needed(depth_cm * factor, 80), by_80);
            assert_eq!(people_needed(depth_cm * factor, 100), by_100);
        }
        assert_eq!(people_needed(240, 80), 3);
    }

    #[test]
    fn section_5_schools_at_one_and_a_half_metres_flat_with_two_people() {
        let plan = |name| school(name).plan(150.0, 10.0, 2).unwrap();
        let far = plan("start far");
        assert_eq!((far.start_downhill_cm, far.length_cm, far.people_needed), (225, None, None));
        let old = plan("conveyor 2008");
        assert_eq!((old.start_downhill_cm, old.length_cm, old.people_needed), (0, Some(300), Some(4)));
        let new = plan("conveyor 2023");
        assert_eq!((new.start_downhill_cm, new.length_cm, new.people_needed), (100, Some(300), Some(3)));
        assert_eq!(plan("step down").start_downhill_cm, 140);
        assert_eq!(school("step down").plan(99.0, 10.0, 2).unwrap().start_downhill_cm, 70);
        assert_eq!(school("start far").plan(150.0, 30.0, 2).unwrap().start_downhill_cm, 150);
        assert_eq!(school("conveyor 2023").plan(150.0, 30.0, 9).unwrap().start_downhill_cm, 0);
    }

    #[test]
    fn section_5_wedge_and_mass() {
        for (depth_cm, m3, kg) in [(100.0, 1.0, 400.0), (150.0, 2.25, 900.0), (200.0, 4.0, 1600.0)] {
            let volume_m3 = wedge_m3(depth_cm, 2.0 * depth_cm, 100.0).unwrap();
            near(volume_m3, m3, 1e-12);
            near(snow_kg(volume_m3, 400.0).unwrap(), kg, 1e-9);
        }
    }

    #[test]
    fn section_5_scaling_with_depth() {
        let fixed_width = wedge_m3(200.0, 400.0, 100.0).unwrap() / wedge_m3(100.0, 200.0, 100.0).unwrap();
        let width_too = wedge_m3(200.0, 400.0, 200.0).unwrap() / wedge_m3(100.0, 200.0, 100.0).unwrap();
        near(fixed_width, 4.0, 1e-12);
        near(width_too, 8.0, 1e-12);
    }

    #[test]
    fn section_11_seconds_for_one_person() {
        let rate = MOVED_RATES[0].kg_per_s;
        near(400.0 / rate, 267.0, 0.5);
        near(900.0 / rate / 60.0, 10.0, 0.05);
        near(1600.0 / rate / 60.0, 17.8, 0.05);
    }

    #[test]
    fn refuses_what_has_no_meaning() {
        assert!(school("start far").plan(0.0, 10.0, 2).is_err());
        assert!(school("start far").plan(f64::NAN, 10.0, 2).is_err());
        assert!(wedge_m3(100.0, -1.0, 100.0).is_err());
        assert!(snow_kg(1.0, 5000.0).is_err());
    }
}
