//! What the benches share: processor time of this process, medians, and a line a figure.

use cpu_time::ProcessTime;
use firnbook_core::entry::Time;
use firnbook_core::logbook::Draft;
use firnbook_tests::{Phone, map};
use serde_json::{Value, json};

/// Processor time of `work` in microseconds, the kernel's part for it included.
#[allow(dead_code, reason = "not every bench measures in this process")]
pub fn cpu_us(work: impl FnOnce()) -> f64 {
    let begun = ProcessTime::now();
    work();
    begun.elapsed().as_secs_f64() * 1e6
}

/// The median.
#[allow(dead_code, reason = "not every bench repeats itself")]
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// One figure beside its bound.
pub fn say(what: &str, figure: f64, unit: &str, bound: f64) {
    let verdict = if figure <= bound { "within" } else { "OVER" };
    println!("{what:<70} {figure:>9.2} {unit:<5} {verdict} {bound}");
}

/// What two observers write of one drill with three targets, from second `from_s` of the day on: 90 entries.
#[allow(dead_code, reason = "not every bench plays drills")]
pub fn drill(label: usize, from_s: usize) -> Vec<Draft> {
    let team = if label.is_multiple_of(2) { "Red" } else { "Blue" };
    let name = label.to_string();
    let mut drafts = vec![
        draft(
            json!({"kind": "drill", "label": name, "form": "multiple", "team": team, "slope_deg": 20 + label % 20,
                     "limit_s": 900, "length_m": 60, "width_m": 40}),
            from_s,
        ),
        draft(json!({"kind": "moment", "drill": name, "step": "start"}), from_s + 60),
        draft(json!({"kind": "moment", "drill": name, "step": "end", "why": "done"}), from_s + 1_000),
    ];
    let people: Vec<String> = (0..8).map(|n| format!("{team}{n}")).collect();
    let steps = ["signal", "coarse", "fine", "probing", "digging", "airway"];
    for (t, target) in ["A", "B", "C"].into_iter().enumerate() {
        drafts.push(draft(
            json!({"kind": "target", "drill": name, "label": target, "item": format!("TX{label}{target}"), "set_depth_cm": 80 + t * 20,
                   "direction": "slope_normal", "orientation": "flat", "transmits": true, "x_m": 10 * t, "y_m": 20}),
            from_s + 1 + t,
        ));
        let at = |step: usize| from_s + 60 + t * 240 + 40 * (step + 1) + (label * 7 + step * 3) % 11;
        for (s, step) in steps.iter().enumerate() {
            for (o, by) in ["Obs1", "Obs2"].into_iter().enumerate() {
                let moment = json!({"kind": "moment", "by": by, "drill": name, "target": target, "step": step,
                                    "person": people[(t + s) % 8]});
                drafts.push(draft(moment, at(s) + o));
            }
        }
        for (o, by) in ["Obs1", "Obs2"].into_iter().enumerate() {
            let strike = json!({"kind": "strike", "by": by, "drill": name, "target": target, "depth_cm": 80 + t * 20 + o, "outcome": "hit",
                                "direction": "slope_normal", "lowest_reading_m": 1.1, "holes": 5, "person": people[t]});
            drafts.push(draft(strike, at(3) + 20 + o));
        }
        for (m, method) in ["probe", "tape"].into_iter().enumerate() {
            let depth = json!({"kind": "depth", "drill": name, "target": target, "depth_cm": 82 + t * 20 + m * 3 + label % 5, "method": method,
                               "datum": "first_contact", "direction": "slope_normal"});
            drafts.push(draft(depth, at(5) + 200 + m));
        }
        for turn in 0..6 {
            let from = at(4) + 10 * turn;
            let rotation = json!({"kind": "rotation", "drill": name, "target": target, "front": people[turn % 8],
                                  "shovellers": [people[(turn + 1) % 8], people[(turn + 2) % 8]], "ended_at": time(from + 10)});
            drafts.push(draft(rotation, from));
        }
    }
    for (n, person) in people.iter().enumerate() {
        drafts.push(draft(
            json!({"kind": "check", "person": person, "transmits": true, "receives": n != 3, "battery_pct": 40 + (label + n * 7) % 60}),
            from_s + 10 + n,
        ));
    }
    let sources = ["phone", "radio", "heated_clothing"];
    for (n, source) in sources.into_iter().enumerate() {
        let event = json!({"kind": "interference", "drill": name, "source": source, "mode": "search", "effect": "unsteady_reading",
                           "distance_cm": 20 + n * 10, "lost_s": 5});
        drafts.push(draft(event, from_s + 90 + n));
    }
    while drafts.len() < 90 {
        drafts.push(draft(
            json!({"kind": "note", "topic": "general", "note": "clear calls", "drill": name}),
            from_s + 950,
        ));
    }
    drafts
}

/// A moment of the benches' day, so many seconds after its beginning.
#[allow(dead_code, reason = "not every bench plays drills")]
pub fn time(after_s: usize) -> Time {
    Time::from_millis(1_801_904_400_000 + after_s as i64 * 1000, 60).unwrap()
}

/// An entry without its time, given one.
#[allow(dead_code, reason = "not every bench writes")]
pub fn draft(json: Value, after_s: usize) -> Draft {
    let mut json = map(json);
    json.insert("at".to_owned(), json!(time(after_s)));
    Draft { json, line: None }
}

/// The most memory that this process held, MiB, as the kernel counts it.
#[allow(dead_code, reason = "not every bench asks")]
pub fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap_or_default();
    line.split_whitespace().nth(1).and_then(|kib| kib.parse::<f64>().ok()).map_or(0.0, |kib| kib / 1024.0)
}

/// Resident memory of this process in kilobytes; 0 where the system does not say.
#[allow(dead_code, reason = "not every bench looks at memory")]
pub fn resident_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmRSS:"));
    line.and_then(|l| l.split_whitespace().next()).and_then(|n| n.parse().ok()).unwrap_or(0)
}

/// A strike as a phone writes it, the `n`-th of its day.
#[allow(dead_code, reason = "not every bench writes strikes")]
pub fn strike(n: usize) -> Draft {
    draft(
        json!({
            "kind": "strike", "by": format!("Obs{}", n % 8), "drill": format!("{}", n % 6), "target": "A", "depth_cm": 40 + n % 150,
            "outcome": "hit", "direction": "slope_normal", "lowest_reading_m": 1.3, "holes": 7
        }),
        n * 7,
    )
}

/// Strikes as phones write them: one change each.
#[allow(dead_code, reason = "not every bench writes strikes")]
pub fn log_strikes(phone: &mut Phone, from: usize, count: usize) {
    for n in from..from + count {
        phone.book.log(phone.day, "Obs1", vec![strike(n)], false).unwrap();
    }
}

/// A store of at least `count` entries, in days of what `a_day` gives; and how many entries it holds.
#[allow(dead_code, reason = "not every bench asks for a season")]
pub fn season(count: usize, a_day: impl Fn() -> Vec<Draft>) -> (Phone, usize) {
    let mut phone = Phone::bare("Lead");
    let mut date = firnbook_tests::date();
    let mut written = 0;
    while written < count {
        date = date.succ_opt().unwrap();
        let day = phone.book.begin_day(date, "Upper Bowl", "Lead").unwrap().day;
        written += phone.book.log(day, "Lead", a_day(), false).unwrap().written;
    }
    (phone, written)
}
