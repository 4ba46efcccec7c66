//! Tracks and waypoints out of GPX 1.1 (topografix.com/GPX/1/1) and 1.0: what is needed of it, read event by event, so that a large file needs
//! little memory and a hostile one does nothing. Document types and entities of one's own are refused.

use crate::desk::DayTimes;
use firnbook_core::entry::Time;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// A point on the earth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fix {
    /// Latitude, degrees.
    pub lat: f64,
    /// Longitude, degrees.
    pub lon: f64,
    /// When, ms since 1970 UTC.
    pub ms: Option<i64>,
}

/// A named point.
#[derive(Clone, Debug, PartialEq)]
pub struct Waypoint {
    /// Where and when.
    pub at: Fix,
    /// What it is called.
    pub name: String,
}

/// What a file holds.
#[derive(Debug, Default, PartialEq)]
pub struct Gpx {
    /// Each segment of each track.
    pub segments: Vec<Vec<Fix>>,
    /// Waypoints.
    pub waypoints: Vec<Waypoint>,
    /// Times that say no zone.
    pub without_zone: usize,
    /// Points without a time.
    pub without_time: usize,
}

/// Reads a file. Times without a zone are taken in that of the day.
///
/// # Errors
/// What is wrong, with the line: no XML, no GPX, a document type or entity, a place out of range, a time that is none.
pub fn read(text: &str, times: &DayTimes) -> Result<Gpx, String> {
    let mut reader = Reader::from_str(text);
    let config = reader.config_mut();
    config.expand_empty_elements = true;
    let context = times.of(None);
    let mut gpx = Gpx::default();
    let mut path: Vec<Element> = Vec::new();
    let mut fix: Option<Fix> = None;
    let mut name = String::new();
    let mut content = String::new();
    loop {
        let before = reader.buffer_position();
        let wrong = |why: String| {
            let up_to = usize::try_from(before).unwrap_or(usize::MAX).min(text.len());
            let line = 1 + text.as_bytes()[..up_to].iter().filter(|b| **b == b'\n').count();
            format!("line {line}: {why}")
        };
        match reader.read_event().map_err(|e| wrong(format!("no sound XML ({e})")))? {
            Event::Start(start) => {
                let element = Element::of(start.local_name().as_ref());
                if path.is_empty() && element != Element::Gpx {
                    return Err(wrong("this is no GPX; its outermost element is not gpx".to_owned()));
                }
                if path.len() >= DEEPEST {
                    return Err(wrong(format!("elements lie more than {DEEPEST} deep; no GPX does")));
                }
                match element {
                    Element::Point | Element::Waypoint => {
                        fix = Some(place(&start).map_err(&wrong)?);
                        name.clear();
                    }
                    Element::Segment => gpx.segments.push(Vec::new()),
                    _ => {}
                }
                content.clear();
                path.push(element);
            }
            Event::Text(part) => {
                if matches!(path.last(), Some(Element::Time | Element::Name)) {
                    content.push_str(&part);
                }
            }
            Event::CData(part) => {
                if matches!(path.last(), Some(Element::Time | Element::Name)) {
                    content.push_str(&part);
                }
            }
            Event::GeneralRef(entity) => {
                let written = format!("&{};", &*entity);
                let known = quick_xml::escape::unescape(&written);
                content.push_str(&known.map_err(|_| {
                    wrong(format!("the entity {written} is none of XML's own; such files are refused"))
                })?);
            }
            Event::End(_) => match (path.pop(), path.last()) {
                (Some(Element::Time), Some(Element::Point | Element::Waypoint)) => {
                    let ms = time(&content, &context, &mut gpx.without_zone).map_err(&wrong)?;
                    if let Some(fix) = &mut fix {
                        fix.ms = Some(ms);
                    }
                }
                (Some(Element::Name), Some(Element::Waypoint)) => name = content.trim().to_owned(),
                (Some(Element::Point), _) => {
                    if let (Some(at), Some(segment)) = (fix.take(), gpx.segments.last_mut()) {
                        gpx.without_time += usize::from(at.ms.is_none());
                        segment.push(at);
                    }
                }
                (Some(Element::Waypoint), _) => {
                    gpx.waypoints
                        .extend(fix.take().map(|at| Waypoint { at, name: std::mem::take(&mut name) }));
                }
                _ => {}
            },
            Event::DocType(_) => {
                return Err(wrong("a document type is declared, in which entities may hide; no GPX needs one, so it is refused".to_owned()));
            }
            Event::Eof if path.is_empty() && before > 0 => break,
            Event::Eof => {
                return Err(wrong("the file ends before its elements do; get it again whole".to_owned()));
            }
            Event::Empty(_) | Event::Comment(_) | Event::Decl(_) | Event::PI(_) => {}
        }
    }
    gpx.segments.retain(|segment| !segment.is_empty());
    Ok(gpx)
}

/// Deeper than extensions of real devices.
const DEEPEST: usize = 64;

/// The elements that matter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Element {
    Gpx,
    Segment,
    Point,
    Waypoint,
    Time,
    Name,
    Other,
}

impl Element {
    fn of(name: &str) -> Element {
        match name {
            "gpx" => Element::Gpx,
            "trkseg" => Element::Segment,
            "trkpt" => Element::Point,
            "wpt" => Element::Waypoint,
            "time" => Element::Time,
            "name" => Element::Name,
            _ => Element::Other,
        }
    }
}

fn place(start: &BytesStart<'_>) -> Result<Fix, String> {
    let (mut lat, mut lon) = (None, None);
    for attribute in start.attributes().with_checks(false) {
        let attribute = attribute.map_err(|e| format!("an attribute can't be read ({e})"))?;
        let value = &attribute.value;
        let number =
            || value.trim().parse::<f64>().map_err(|_| format!("\"{value}\" is no number of degrees"));
        match attribute.key.local_name().as_ref() {
            "lat" => lat = Some(number()?),
            "lon" => lon = Some(number()?),
            _ => {}
        }
    }
    let (Some(lat), Some(lon)) = (lat, lon) else {
        return Err("a point without lat and lon".to_owned());
    };
    in_range(lat, lon)?;
    Ok(Fix { lat, lon, ms: None })
}

/// Refuses what is no place.
///
/// # Errors
/// The value and its range.
pub fn in_range(lat: f64, lon: f64) -> Result<(), String> {
    if !(-90.0..=90.0).contains(&lat) {
        return Err(format!(
            "the latitude {lat} is out of range; allowed is -90 to 90 degrees; are latitude and longitude swapped?"
        ));
    }
    if !(-180.0..=180.0).contains(&lon) {
        return Err(format!("the longitude {lon} is out of range; allowed is -180 to 180 degrees"));
    }
    Ok(())
}

fn time(
    text: &str,
    context: &firnbook_core::entry::TimeContext,
    without_zone: &mut usize,
) -> Result<i64, String> {
    let text = text.trim();
    if let Some(at) = context.local(text) {
        *without_zone += 1;
        return Ok(at.millis());
    }
    Time::parse(text).map(Time::millis)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    fn times() -> DayTimes {
        let now = Time::parse("2027-02-06T12:00:00.000+01:00").unwrap();
        DayTimes {
            now,
            date: now.datetime().date_naive(),
            offset: *now.datetime().offset(),
            starts: HashMap::new(),
        }
    }

    fn track(points: &str) -> String {
        format!(
            "<?xml version=\"1.0\"?><gpx xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>{points}</trkseg></trk></gpx>"
        )
    }

    #[test]
    fn tracks_and_waypoints_are_read() {
        let text = track("<trkpt lat=\"46.5\" lon=\"9.8\"><ele>2000</ele><time>2027-02-06T09:08:20Z</time></trkpt><trkpt lon='9.801' lat='46.5'/>")
            .replace("<trk>", "<wpt lat=\"46\" lon=\"9\"><name>A &amp; <![CDATA[B]]></name><time>2027-02-06T10:00:00</time></wpt><trk>");
        let gpx = read(&text, &times()).unwrap();
        let ten = Time::parse("2027-02-06T10:00:00+01:00").unwrap().millis();
        assert_eq!(
            gpx.segments,
            [[Fix { lat: 46.5, lon: 9.8, ms: Some(ten + 500_000) }, Fix { lat: 46.5, lon: 9.801, ms: None }]]
        );
        assert_eq!(
            gpx.waypoints,
            [Waypoint { at: Fix { lat: 46.0, lon: 9.0, ms: Some(ten) }, name: "A & B".to_owned() }]
        );
        assert_eq!((gpx.without_zone, gpx.without_time), (1, 1));
    }

    #[test]
    fn what_is_no_sound_gpx_is_refused_with_the_line() {
        let bomb = "<?xml version=\"1.0\"?>\n<!DOCTYPE gpx [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]>\n<gpx>&b;</gpx>";
        let outside = "<?xml version=\"1.0\"?>\n<!DOCTYPE gpx SYSTEM \"file:///etc/passwd\">\n<gpx/>";
        let deep = format!("<gpx>{}", "<a>".repeat(100_000));
        for (text, says) in [
            (bomb, "document type"),
            (outside, "document type"),
            ("<gpx>&lol;</gpx>", "&lol;"),
            ("<kml></kml>", "no GPX"),
            ("<gpx><trk>", "ends before"),
            ("<gpx></trk></gpx>", "no sound XML"),
            (&deep, "deep"),
            (&track("<trkpt lat='91' lon='9'/>"), "latitude 91"),
            (&track("<trkpt lat='NaN' lon='9'/>"), "latitude NaN"),
            (&track("<trkpt lat='9' lon='180.5'/>"), "longitude 180.5"),
            (&track("<trkpt lat='9'/>"), "without lat and lon"),
            (&track("<trkpt lat='9' lon='9'><time>noon</time></trkpt>"), "no time"),
        ] {
            let why = read(text, &times()).unwrap_err();
            assert!(why.contains(says) && why.contains("line "), "{why}");
        }
    }
}
