use super::*;
use crate::day::{Body, DayId, Key, Registers, Saying, effective};
use crate::entry::{EntryId, Time};
use serde_json::{Map, Value, json};

/// A day of these lines; `at` is a time of day, `dev` the device that wrote it, one byte sixteen times.
fn day(lines: &[&str]) -> Record {
    day_with(lines, &[])
}

/// With registers of the n-th line: field, value, device, clock.
fn day_with(lines: &[&str], amended: &[(usize, &str, Value, u8, &str)]) -> Record {
    let date = "2027-02-06".parse().unwrap();
    let mut registers = Registers::default();
    for (n, field, v, device, clock) in amended {
        let text =
            json!({"v": v, "by": "Lead", "at": "2027-02-06T18:00:00.000+01:00", "clock": clock}).to_string();
        registers.0.insert(
            Key::Field(id(*n), (*field).to_owned()),
            vec![Saying::read(&text, DeviceId([*device; 16]))],
        );
    }
    let entry = |(n, line): (usize, &&str)| {
        let mut json: Map<String, Value> =
            serde_json::from_str(line).unwrap_or_else(|e| panic!("{line}: {e}"));
        let device = DeviceId([json.shift_remove("dev").unwrap().as_u64().unwrap() as u8; 16]);
        let at = json["at"].as_str().unwrap();
        json.insert("at".to_owned(), json!(format!("2027-02-06T{at}+01:00")));
        json.insert("id".to_owned(), json!(id(n)));
        json.entry("by").or_insert_with(|| json!(format!("Obs{}", device.0[0])));
        let noted = effective(id(n), &[Body { text: Value::Object(json).to_string(), device }], &registers);
        assert!(noted.entry.is_some(), "{line}");
        noted
    };
    let mut entries: Vec<Noted> = lines.iter().enumerate().map(entry).collect();
    entries.sort_by_key(|n| (n.at(), n.id));
    Record { id: DayId::of(date, "Upper Bowl"), date, area: "Upper Bowl".to_owned(), entries, registers }
}

fn id(n: usize) -> EntryId {
    EntryId::new(1_802_000_000_000, [0, 0, 0, 0, 0, 0, 0, 0, 0, n as u8])
}

/// Of a clock: device, number or label, offset and half width in ms, source, n.
type Row = (Option<u8>, String, Option<f64>, Option<f64>, Source, usize);

fn table(record: &Record) -> Vec<Row> {
    let line = |c: ClockLine| (c.device.map(|d| d.0[0]), c.clock, c.offset_ms, c.uncertainty_ms, c.from, c.n);
    TimeLine::of(record).table(record).into_iter().map(line).collect()
}

fn first(device: u8) -> (Option<u8>, String) {
    (Some(device), "1".to_owned())
}

fn hex(device: u8) -> String {
    DeviceId([device; 16]).to_string()
}

#[test]
fn a_single_device_is_its_own_base() {
    let record = day(&[r#"{"dev":3,"kind":"note","at":"10:00:00","note":"x"}"#]);
    assert_eq!(table(&record), [(Some(3), "1".to_owned(), Some(0.0), Some(0.0), Source::Base, 0)]);
    assert!(TimeLine::of(&day(&[])).table(&day(&[])).is_empty());
}

/// A = 0, 60, 185, 300 and B = 7.2, 67.0, 192.4, 306.9 s: B is 7.1 s ahead.
#[test]
fn shared_starts_give_the_median_and_its_spread() {
    let mut lines = Vec::new();
    for (n, (a, b)) in
        [("00.000", "07.200"), ("60.000", "67.000"), ("185.000", "192.400"), ("300.000", "306.900")]
            .into_iter()
            .enumerate()
    {
        let at = |s: &str| {
            let s: f64 = s.parse().unwrap();
            format!("10:{:02}:{:06.3}", (s / 60.0) as u32, s % 60.0)
        };
        lines.push(format!(r#"{{"dev":1,"kind":"moment","at":"{}","drill":"{n}","step":"start"}}"#, at(a)));
        lines.push(format!(r#"{{"dev":2,"kind":"moment","at":"{}","drill":"{n}","step":"start"}}"#, at(b)));
    }
    // One more by A alone makes it base.
    lines.push(r#"{"dev":1,"kind":"moment","at":"11:00:00","drill":"9","step":"start"}"#.to_owned());
    let record = day(&lines.iter().map(String::as_str).collect::<Vec<_>>());
    let two = table(&record).pop().unwrap();
    assert_eq!(
        (two.2.map(f64::round), two.3, two.4, two.5),
        (Some(-7_100.0), Some(1_000.0), Source::Start, 4)
    );
}

#[test]
fn sources_in_their_order_and_what_is_known_serves_to_know_others() {
    let base = hex(9);
    let sync = format!(
        r#"{{"dev":9,"kind":"clock","at":"12:00:00","device":"{}","of":"1","base":"{base}","offset_ms":-2000,"uncertainty_ms":40}}"#,
        hex(1)
    );
    let lines = [
        // Device 1 is measured, and its marks are not asked then.
        sync.as_str(),
        r#"{"dev":1,"kind":"clock_mark","at":"09:00:02","label":"Morning"}"#,
        // Device 2 shares a mark with 1, which base did not press; its start is not asked then.
        r#"{"dev":2,"kind":"clock_mark","at":"09:00:10","label":"morning "}"#,
        r#"{"dev":2,"kind":"moment","at":"10:00:10","drill":"1","step":"start"}"#,
        // Device 3 shares a start with 2.
        r#"{"dev":3,"kind":"moment","at":"09:59:50","drill":"1","step":"start"}"#,
        // A watch was read beside device 3.
        r#"{"dev":3,"kind":"clock_mark","at":"11:00:00","label":"watch","clock":"Kestrel's watch","shows":"11:00:30"}"#,
        r#"{"dev":9,"kind":"moment","at":"11:30:30","drill":"1","step":"end","clock":"kestrel's watch"}"#,
        // Device 4 shares nothing.
        r#"{"dev":4,"kind":"moment","at":"10:00:10","drill":"2","step":"start"}"#,
    ];
    let record = day(&lines);
    let told = table(&record);
    let of = |device: Option<u8>, clock: &str| {
        told.iter().find(|t| t.0 == device && t.1 == clock).map(|t| (t.2, t.4, t.5)).unwrap()
    };
    assert_eq!((told[0].0, told[0].4), (Some(9), Source::Base));
    assert_eq!(of(Some(1), "1"), (Some(-2_000.0), Source::Sync, 1));
    assert_eq!(of(Some(2), "1"), (Some(-10_000.0), Source::Mark, 1));
    assert_eq!(of(Some(3), "1"), (Some(10_000.0), Source::Start, 1));
    assert_eq!(of(None, "kestrel's watch"), (Some(-20_000.0), Source::Hand, 1));
    assert_eq!(of(Some(4), "1"), (None, Source::None, 0));
    // The half widths add up: three hours of drift since the exchange, a mark, a start, a reading.
    let drift = 40.0 + 3.0 * 3_600_000.0 * 50e-6;
    let widths: Vec<f64> = told.iter().filter_map(|t| t.3).map(f64::round).collect();
    assert!(
        widths.contains(&(drift + 500.0))
            && widths.contains(&(drift + 1_500.0))
            && widths.contains(&(drift + 2_500.0)),
        "{widths:?}"
    );
    let line = TimeLine::of(&record);
    let watch = record.entries.iter().find(|n| n.at_clock.clock == "kestrel's watch").unwrap();
    assert_eq!(line.at(watch).ms, Time::parse("2027-02-06T11:30:10+01:00").unwrap().millis() as f64);
    let alone = record.entries.iter().find(|n| n.device.0[0] == 4).unwrap();
    assert_eq!(line.at(alone).only_with().unwrap().device.0[0], 4);
}

#[test]
fn of_several_measurements_the_nearest_in_time_counts_and_wears_off() {
    let measured = |at: &str, offset: i32| {
        format!(
            r#"{{"dev":9,"kind":"clock","at":"{at}","device":"{}","of":"1","base":"{}","offset_ms":{offset},"uncertainty_ms":5}}"#,
            hex(1),
            hex(9)
        )
    };
    let (morning, evening) = (measured("08:00:00", -1_000), measured("16:00:00", -3_000));
    let lines = [
        morning.as_str(),
        &evening,
        r#"{"dev":1,"kind":"note","at":"09:00:01","note":"a"}"#,
        r#"{"dev":1,"kind":"note","at":"15:00:03","note":"b"}"#,
    ];
    let record = day(&lines);
    let line = TimeLine::of(&record);
    let at = |n: usize| line.at(record.entries.iter().find(|e| e.id == id(n)).unwrap());
    let ms = |t: &str| Time::parse(&format!("2027-02-06T{t}+01:00")).unwrap().millis() as f64;
    assert_eq!((at(2).ms, at(2).uncertainty_ms), (ms("09:00:00"), Some(185.0)));
    assert_eq!((at(3).ms, at(3).uncertainty_ms), (ms("15:00:00"), Some(185.0)));
    assert_eq!(table(&record)[1], (Some(1), "1".to_owned(), Some(-3_000.0), Some(185.0), Source::Sync, 2));
}

#[test]
fn a_moved_clock_is_another_clock_and_the_base_of_equals_is_the_smallest() {
    let lines = [
        r#"{"dev":2,"kind":"clock_mark","at":"09:00:00","label":"m"}"#,
        r#"{"dev":1,"kind":"clock_mark","at":"09:00:05","label":"m"}"#,
        r#"{"dev":2,"kind":"moment","at":"11:00:00","drill":"1","step":"start","clock":"2"}"#,
        r#"{"dev":1,"kind":"moment","at":"10:00:06","drill":"1","step":"start"}"#,
    ];
    let record = day(&lines);
    let told = table(&record);
    assert_eq!(first(1), (told[0].0, told[0].1.clone()));
    assert_eq!((told[1].2, told[1].4), (Some(5_000.0), Source::Mark));
    assert_eq!((told[2].1.as_str(), told[2].2, told[2].4), ("2", Some(-3_594_000.0), Source::Start));
}

#[test]
fn an_amended_time_is_read_by_the_clock_of_who_amended_it() {
    let lines = [
        r#"{"dev":1,"kind":"clock_mark","at":"09:00:00","label":"m"}"#,
        r#"{"dev":2,"kind":"clock_mark","at":"09:00:07","label":"m"}"#,
        r#"{"dev":2,"kind":"moment","at":"10:00:07","drill":"1","step":"signal"}"#,
        r#"{"dev":2,"kind":"moment","at":"10:01:07","drill":"1","step":"coarse"}"#,
        r#"{"dev":2,"kind":"moment","at":"10:02:07","drill":"1","step":"fine"}"#,
    ];
    let time = |t: &str| json!(format!("2027-02-06T{t}.000+01:00"));
    let record =
        day_with(&lines, &[(3, "at", time("10:01:00"), 5, "base"), (4, "at", time("10:02:05"), 2, "")]);
    let line = TimeLine::of(&record);
    let shown = |n: usize| {
        let at = line.at(record.entries.iter().find(|e| e.id == id(n)).unwrap());
        Time::from_millis(at.ms as i64, 60).unwrap().datetime().format("%H:%M:%S").to_string()
    };
    assert_eq!([shown(2), shown(3), shown(4)], ["10:00:00", "10:01:00", "10:01:58"]);
}

#[test]
fn a_stopwatch_counts_from_the_start_of_its_own_sheet() {
    let lines = [
        r#"{"dev":1,"kind":"moment","at":"10:00:00","drill":"1","step":"start"}"#,
        r#"{"dev":1,"kind":"moment","at":"11:00:00","drill":"2","step":"start"}"#,
        r#"{"dev":9,"kind":"moment","by":"Kite","at":"00:00:00","drill":"1","step":"start","clock":"stopwatch"}"#,
        r#"{"dev":9,"kind":"moment","by":"Kite","at":"00:01:30","drill":"1","step":"signal","clock":"stopwatch"}"#,
        r#"{"dev":9,"kind":"moment","by":"Kite","at":"00:00:00","drill":"2","step":"start","clock":"Stopwatch"}"#,
        r#"{"dev":9,"kind":"moment","by":"Kite","at":"00:00:40","drill":"2","step":"signal","clock":"stopwatch"}"#,
    ];
    let record = day(&lines);
    let line = TimeLine::of(&record);
    let of = |n: usize| line.at(record.entries.iter().find(|e| e.id == id(n)).unwrap()).ms;
    assert_eq!((of(3) - of(0), of(5) - of(1)), (90_000.0, 40_000.0));
}

#[test]
fn starts_settled_as_different_and_voided_ones_compare_nothing() {
    let lines = [
        r#"{"dev":1,"kind":"moment","at":"10:00:00","drill":"1","step":"start"}"#,
        r#"{"dev":2,"kind":"moment","at":"10:20:00","drill":"1","step":"start"}"#,
    ];
    let mut record = day(&lines);
    assert_eq!(table(&record)[1].4, Source::Start);
    record
        .registers
        .0
        .insert(Key::same(id(0), id(1)), vec![Saying::read(r#"{"v":false}"#, DeviceId([1; 16]))]);
    assert_eq!(table(&record)[1].4, Source::None);
    let mut record = day(&lines);
    record.entries[1].void = Some("pressed in the pocket".to_owned());
    assert_eq!(table(&record).len(), 1);
}
