//! What a lead works out before a drill: search lanes, the worth of a probe grid, how to dig, what a transceiver will show. The numbers come
//! from `field`; here they are put together with their sources. Published schools disagree: each stands with its source, none is judged.

use super::cautions;
use super::made::Made;
use super::thresholds::Thresholds;
use crate::entry::{DigManner, Orientation};
use crate::field::FieldError;
use crate::field::digging::{MOVED_RATES, MovedRate, SCHOOLS, School, SchoolPlan, snow_kg, wedge_m3};
use crate::field::dipole::{BuriedTransmitter, SurfaceReading};
use crate::field::geo::DrillGrid;
use crate::field::lanes::{LanePlan, LaneSettings, SPACING_SOURCE, WALK_SOURCE, plan_lanes};
use crate::field::outline::Outline;
use crate::field::probing::{Body, BodyPod, Lattice, RingHole, TAUGHT_LATTICES, TaughtLattice, ring_holes};
use crate::field::source::Source;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Value, json};

/// The answer of `plan lanes`.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LanesAnswer {
    /// The lanes and the walk
    #[serde(flatten)]
    pub plan: LanePlan,
    /// Largest distance between lanes that was asked for, m
    pub spacing_m: f64,
    /// Distance of the outer lanes from the flanks that was asked for, m
    pub edge_m: f64,
    /// People who walk side by side
    pub searchers: u32,
    /// Walking speed behind the minutes, m/min
    pub walk_m_per_min: f64,
    /// Where spacing and edge come from by default
    pub spacing_source: Source,
    /// Where the speed comes from by default
    pub walk_source: Source,
    /// What this is for, and what not
    pub cautions: Vec<String>,
    /// How it was made
    pub made: Made,
}

/// Lanes over an outline.
///
/// # Errors
/// A setting out of range, more lanes than can be walked.
pub fn lanes(outline: &Outline, settings: LaneSettings) -> Result<LanesAnswer, FieldError> {
    Ok(LanesAnswer {
        plan: plan_lanes(outline, settings)?,
        spacing_m: settings.spacing_m,
        edge_m: settings.edge_m,
        searchers: settings.searchers,
        walk_m_per_min: settings.walk_m_per_min,
        spacing_source: SPACING_SOURCE,
        walk_source: WALK_SOURCE,
        cautions: said(),
        made: Made::from_heads(""),
    })
}

impl LanesAnswer {
    /// The segments as GeoJSON (RFC 7946): a collection of lines, longitude before latitude, each with its lane, searcher and pass.
    ///
    /// # Errors
    /// A lane farther from the grid's origin than the grid reaches.
    pub fn geojson(&self, grid: &DrillGrid) -> Result<Value, FieldError> {
        let mut features = Vec::new();
        for lane in &self.plan.lanes {
            for segment in &lane.segments {
                let ends = [segment.from_y_m, segment.to_y_m].map(|y_m| grid.to_lat_lon(lane.x_m, y_m));
                let [from, to] = ends;
                let line: Vec<[f64; 2]> = [from?, to?].into_iter().map(|[lat, lon]| [lon, lat]).collect();
                features.push(json!({
                    "type": "Feature",
                    "geometry": {"type": "LineString", "coordinates": line},
                    "properties": {"lane": lane.n, "searcher": lane.searcher, "pass": lane.pass},
                }));
            }
        }
        Ok(json!({"type": "FeatureCollection", "features": features}))
    }

    /// The segments as GPX 1.1: one route a segment, to carry on a device.
    ///
    /// # Errors
    /// A lane farther from the grid's origin than the grid reaches.
    pub fn gpx(&self, grid: &DrillGrid) -> Result<String, FieldError> {
        let mut gpx = String::from(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"firnbook\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n",
        );
        for lane in &self.plan.lanes {
            for segment in &lane.segments {
                gpx += &format!("  <rte><name>lane {} searcher {}</name>", lane.n, lane.searcher);
                for y_m in [segment.from_y_m, segment.to_y_m] {
                    let [lat, lon] = grid.to_lat_lon(lane.x_m, y_m)?;
                    gpx += &format!("<rtept lat=\"{lat:.7}\" lon=\"{lon:.7}\"/>");
                }
                gpx += "</rte>\n";
            }
        }
        Ok(gpx + "</gpx>\n")
    }
}

/// What is asked of a probe grid.
#[derive(Clone, Debug, PartialEq)]
pub struct ProbesAsk {
    /// Spacing square to the walk, cm.
    pub across_cm: f64,
    /// Spacing along the walk, cm.
    pub along_cm: f64,
    /// Bodies whose chances are wanted.
    pub bodies: Vec<Body>,
    /// Passes, 1 to 20.
    pub passes: u32,
    /// Area, people and seconds a hole, where the time is wanted.
    pub effort: Option<Effort>,
    /// Rings around a lowest reading, where their holes are wanted.
    pub rings: Option<Rings>,
}

/// Rings of holes around a lowest reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rings {
    /// Distance between rings, cm.
    pub spacing_cm: f64,
    /// Radius within which they lie, cm.
    pub out_to_cm: f64,
}

/// What a pass over an area takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effort {
    /// Area to probe, m2.
    pub area_m2: f64,
    /// People in the line.
    pub probers: u32,
    /// Time for one hole, s: measured on the day.
    pub seconds_a_hole: f64,
}

/// The answer of `plan probes`.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ProbesAnswer {
    /// Spacing square to the walk, cm
    pub across_cm: f64,
    /// Spacing along the walk, cm
    pub along_cm: f64,
    /// Holes per m2
    pub holes_per_m2: f64,
    /// Chance of detection of each body, from plane geometry: an upper bound, not comparable with published figures
    pub bodies: Vec<BodyPod>,
    /// Holes of one pass over the area; null without one
    pub holes: Option<f64>,
    /// Time of all passes, min; null without area, probers and seconds a hole
    pub minutes: Option<f64>,
    /// Holes of rings around a lowest reading, the first on it; empty where none were asked for
    pub spiral: Vec<RingHole>,
    /// Grids that are taught, with their sources
    pub taught: Vec<TaughtLattice>,
    /// What this is for, and what not
    pub cautions: Vec<String>,
    /// How it was made
    pub made: Made,
}

/// The worth of a probe grid.
///
/// # Errors
/// A spacing, a body, a number of passes, an effort or rings out of range.
pub fn probes(ask: &ProbesAsk) -> Result<ProbesAnswer, FieldError> {
    let lattice = Lattice::new(ask.across_cm, ask.along_cm)?;
    let bodies = ask.bodies.iter().map(|body| lattice.body_pod(*body, ask.passes));
    let of_one = |e: Effort| lattice.pass_minutes(e.area_m2, e.probers, e.seconds_a_hole);
    Ok(ProbesAnswer {
        across_cm: ask.across_cm,
        along_cm: ask.along_cm,
        holes_per_m2: lattice.holes_per_m2(),
        bodies: bodies.collect::<Result<_, _>>()?,
        holes: ask.effort.map(|e| e.area_m2 * lattice.holes_per_m2()),
        minutes: ask.effort.map(of_one).transpose()?.map(|minutes| minutes * f64::from(ask.passes)),
        spiral: ask.rings.map_or(Ok(Vec::new()), |r| ring_holes(r.spacing_cm, r.out_to_cm))?,
        taught: TAUGHT_LATTICES.to_vec(),
        cautions: said(),
        made: Made::from_heads(""),
    })
}

/// The answer of `plan dig`.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DigAnswer {
    /// What each published school asks for; they disagree, and none is judged
    pub schools: Vec<SchoolPlan>,
    /// Snow of a wedge of the length and width of the thresholds, m3: modelled
    pub wedge_m3: f64,
    /// Its mass at the density of the thresholds, kg: modelled
    pub snow_kg: f64,
    /// Time in which the people at hand move it at the slowest rate measured with loose snow, s: modelled, debris takes longer
    pub least_s: f64,
    /// Rates measured with loose snow
    pub rates: Vec<MovedRate>,
    /// Who is at the head when, for that time
    pub turns: Vec<PlannedTurn>,
    /// What this is for, and what not
    pub cautions: Vec<String>,
    /// How it was made
    pub made: Made,
}

/// A turn at the head.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PlannedTurn {
    /// Which of the people, from 1
    pub person: u32,
    /// Start, s from the first stroke
    pub from_s: f64,
    /// End, s from the first stroke
    pub to_s: f64,
}

/// How to dig to a target `depth_cm` square below a slope with `people` at hand. `manner` keeps the schools of one manner: a conveyor counts
/// its people by the length of the row, the others dig down in steps; without one, and for no set manner, all stand side by side.
///
/// # Errors
/// A depth or slope out of range, nobody to dig.
pub fn dig(
    depth_cm: f64,
    slope_deg: f64,
    people: u32,
    manner: Option<DigManner>,
    thresholds: &Thresholds,
) -> Result<DigAnswer, FieldError> {
    if !(1..=1000).contains(&people) {
        let (value, unit) = (f64::from(people), "people");
        return Err(FieldError::OutOfRange {
            what: "the number of people",
            value,
            min: 1.0,
            max: 1000.0,
            unit,
        });
    }
    let of_manner = |school: &&School| match manner {
        Some(DigManner::Conveyor) => school.unit_cm.is_some(),
        Some(DigManner::StepDown) => school.unit_cm.is_none(),
        Some(DigManner::Free) | None => true,
    };
    let schools = SCHOOLS.iter().filter(of_manner).map(|school| school.plan(depth_cm, slope_deg, people));
    let schools = schools.collect::<Result<Vec<_>, _>>()?;
    let wedge_m3 =
        wedge_m3(depth_cm, thresholds.hole_length_cm(depth_cm, slope_deg), thresholds.hole_width_cm)?;
    let snow_kg = snow_kg(wedge_m3, thresholds.snow_kg_m3)?;
    let slowest = MOVED_RATES.iter().map(|r| r.kg_per_s).fold(f64::INFINITY, f64::min);
    let least_s = snow_kg / (slowest * f64::from(people));
    let interval_s = thresholds.rotation_interval_s;
    let turn = |k: u32| PlannedTurn {
        person: k % people + 1,
        from_s: f64::from(k) * interval_s,
        to_s: least_s.min(f64::from(k + 1) * interval_s),
    };
    let mut made = Made::from_heads("");
    made.filters.extend(manner.map(|m| ("manner".to_owned(), m.word())));
    for key in [
        "rotation_interval_s",
        "snow_kg_m3",
        "hole_width_cm",
        "hole_length_flat_pct",
        "hole_length_steep_pct",
        "steep_from_deg",
    ] {
        made.settings.extend(thresholds.get(key).map(|value| (key.to_owned(), value)));
    }
    Ok(DigAnswer {
        schools,
        wedge_m3,
        snow_kg,
        least_s,
        rates: MOVED_RATES.to_vec(),
        turns: (0..(least_s / interval_s).ceil().min(1000.0) as u32).map(turn).collect(),
        cautions: said(),
        made,
    })
}

/// The answer of `plan reading`.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ReadingAnswer {
    /// Depth square to the surface, cm
    pub depth_cm: f64,
    /// Tilt of the transmitter against the surface, degrees
    pub tilt_deg: f64,
    /// What an ideal device shows above it: a magnetic dipole in empty space
    #[serde(flatten)]
    pub reading: SurfaceReading,
    /// What this is for, and what not
    pub cautions: Vec<String>,
    /// How it was made
    pub made: Made,
}

/// What a transceiver shows above a transmitter. A tilted one needs its tilt; flat is 0, upright 90 degrees.
///
/// # Errors
/// A depth or tilt out of range; a tilt that is missing or contradicts the orientation.
pub fn reading(
    depth_cm: f64,
    orientation: Option<Orientation>,
    tilt_deg: Option<f64>,
) -> Result<ReadingAnswer, ReadingError> {
    let tilt_deg = match (orientation, tilt_deg) {
        (None | Some(Orientation::Flat), None) => 0.0,
        (Some(Orientation::Upright), None) => 90.0,
        (Some(Orientation::Tilted), None) => return Err(ReadingError::NoTilt),
        (None | Some(Orientation::Tilted), Some(tilt)) => tilt,
        (Some(Orientation::Flat), Some(tilt)) if tilt == 0.0 => tilt,
        (Some(Orientation::Upright), Some(tilt)) if tilt == 90.0 => tilt,
        (Some(orientation), Some(tilt_deg)) => {
            return Err(ReadingError::Contradiction { orientation, tilt_deg });
        }
    };
    let reading = BuriedTransmitter::new(depth_cm, tilt_deg)?.surface_reading()?;
    Ok(ReadingAnswer { depth_cm, tilt_deg, reading, cautions: said(), made: Made::from_heads("") })
}

/// Why a reading can't be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadingError {
    /// A tilted transmitter without its tilt.
    #[error("a tilted transmitter needs its tilt in degrees from level; give one between 0 and 90")]
    NoTilt,
    /// An orientation with a tilt of another one.
    #[error("the transmitter is {orientation} and tilted by {tilt_deg} degrees; leave one of the two out")]
    Contradiction {
        /// The orientation given.
        orientation: Orientation,
        /// The tilt given.
        tilt_deg: f64,
    },
    /// A number out of range.
    #[error(transparent)]
    Field(#[from] FieldError),
}

fn said() -> Vec<String> {
    cautions::of_a_plan().into_iter().map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lanes_to_carry() {
        let outline = Outline::rectangle(100.0, 150.0).unwrap();
        let settings = LaneSettings { searchers: 3, ..LaneSettings::default() };
        let answer = lanes(&outline, settings).unwrap();
        let offsets: Vec<f64> = answer.plan.lanes.iter().map(|l| l.offset_m).collect();
        // Trade facts, section 1: a field 100 m wide takes lanes at 20, 50 and 80 m.
        assert_eq!(offsets, [20.0, 50.0, 80.0]);
        let grid = DrillGrid::new(47.0, 10.0, 180.0, 0.0).unwrap();
        let geojson = answer.geojson(&grid).unwrap();
        let line = &geojson["features"][0]["geometry"]["coordinates"];
        // Uphill is north: the lane keeps its longitude, 20 m east of 10 degrees, and climbs 150 m, about 0.00135 degrees.
        let at = |i: usize, j: usize| line[i][j].as_f64().unwrap();
        assert!((at(0, 0) - at(1, 0)).abs() < 1e-7 && at(0, 0) > 10.0 && at(0, 0) < 10.001);
        assert!((at(1, 1) - at(0, 1) - 0.00135).abs() < 1e-5);
        let gpx = answer.gpx(&grid).unwrap();
        assert_eq!((gpx.matches("<rte>").count(), gpx.matches("<rtept ").count()), (3, 6));
    }

    #[test]
    fn probes_state_chances_and_time() {
        let ask = ProbesAsk {
            across_cm: 50.0,
            along_cm: 50.0,
            bodies: vec![Body::Rectangle { length_cm: 170.0, width_cm: 45.0 }],
            passes: 2,
            effort: Some(Effort { area_m2: 100.0, probers: 8, seconds_a_hole: 10.0 }),
            rings: Some(Rings { spacing_cm: 25.0, out_to_cm: 50.0 }),
        };
        let answer = probes(&ask).unwrap();
        // 400 holes of 10 s by 8 people are 500 s a pass.
        assert_eq!((answer.holes, answer.holes_per_m2), (Some(400.0), 4.0));
        assert!((answer.minutes.unwrap() - 1000.0 / 60.0).abs() < 1e-12);
        assert!((answer.bodies[0].aligned.length_along - 0.90).abs() < 1e-9);
        // Trade facts, section 4: 25 cm out to half a metre takes 19 holes.
        assert_eq!(answer.spiral.len(), 19);
        assert!(probes(&ProbesAsk { rings: None, ..ask.clone() }).unwrap().spiral.is_empty());
        assert!(probes(&ProbesAsk { across_cm: 0.0, ..ask }).is_err());
    }

    #[test]
    fn digging_schools_stand_side_by_side() {
        let answer = dig(150.0, 10.0, 2, None, &Thresholds::default()).unwrap();
        assert_eq!(answer.schools.len(), SCHOOLS.len());
        // Trade facts, sections 5 and 11: 2.25 m3 or 900 kg, which one person moves in 10 min at 1.5 kg/s, two in 5 min.
        assert!((answer.wedge_m3 - 2.25).abs() < 1e-12 && (answer.snow_kg - 900.0).abs() < 1e-9);
        assert!((answer.least_s - 300.0).abs() < 1e-9);
        let turns: Vec<_> = answer.turns.iter().map(|t| (t.person, t.from_s, t.to_s)).collect();
        assert_eq!(turns, [(1, 0.0, 240.0), (2, 240.0, 300.0)]);
        assert!(dig(150.0, 10.0, 0, None, &Thresholds::default()).is_err());
        let named = |manner| {
            let answer = dig(150.0, 10.0, 2, Some(manner), &Thresholds::default()).unwrap();
            answer.schools.iter().map(|s| s.school).collect::<Vec<_>>()
        };
        assert_eq!(named(DigManner::Conveyor), ["conveyor 2008", "conveyor 2023"]);
        assert_eq!(named(DigManner::StepDown), ["start far", "step down"]);
        assert_eq!(named(DigManner::Free).len(), SCHOOLS.len());
    }

    #[test]
    fn a_reading_needs_a_tilt_that_fits() {
        // Trade facts, section 3: 1.26 times the depth over a flat transmitter, once over an upright one.
        assert!(
            (reading(150.0, Some(Orientation::Flat), None).unwrap().reading.above_m - 1.89).abs() < 0.001
        );
        assert!(
            (reading(150.0, Some(Orientation::Upright), None).unwrap().reading.above_m - 1.5).abs() < 1e-9
        );
        assert_eq!(reading(150.0, Some(Orientation::Tilted), None), Err(ReadingError::NoTilt));
        let refused = reading(150.0, Some(Orientation::Flat), Some(30.0)).unwrap_err();
        assert!(refused.to_string().contains("flat"), "{refused}");
    }
}
