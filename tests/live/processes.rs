//! A base and its phones as processes of their own: the program as people run it, over links that fail, with kills in between.

use super::devices::{
    Crew, firnbook, interrupted, listen, listen_json, run, set_clock, told_when_interrupted,
};
use super::relay::{FAIR, Relay, Weather};
use firnbook_tests::small_disk::SmallDisk;
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::Duration;

#[test]
fn a_base_and_eight_phones_through_delays_and_cuts() {
    let crew = Crew::new(8);
    for n in 0..8 {
        crew.write_day(n, 150);
    }
    let base = listen(&crew.store("base"), 8);
    let weather = [
        FAIR,
        Weather { delay: Duration::from_millis(100), ..FAIR },
        Weather { cut_every: 6_000, seed: 3, ..FAIR },
        Weather { rate: 20_000, ..FAIR },
    ];
    let relays: Vec<Relay> = (0..8).map(|n| Relay::to(base.at, weather[n % weather.len()])).collect();
    let phones: Vec<Child> = relays
        .iter()
        .enumerate()
        .map(|(n, relay)| {
            let at = relay.at.to_string();
            firnbook(&crew.phone(n), &["sync", &at, "--json"])
                .stdout(Stdio::piped())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        })
        .collect();
    for phone in phones {
        let output = phone.wait_with_output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
        // All run on this machine's clock: the offset is nothing, to what is said of it.
        let (offset, within) =
            (answer["clock_offset_ms"].as_f64().unwrap(), answer["clock_uncertainty_ms"].as_f64().unwrap());
        assert!(offset.abs() <= within, "{answer}");
    }
    base.ended();
    // A second round, without the weather: then all hold the same.
    let base = listen(&crew.store("base"), 8);
    for n in 0..8 {
        run(&crew.phone(n), &["sync", &base.at.to_string()]);
    }
    base.ended();
    let shown = run(&crew.store("base"), &["day", "show"]);
    let strikes = shown["kinds"].as_array().unwrap().iter().find(|k| k["kind"] == "strike").unwrap();
    assert_eq!(strikes["n"], 8 * 150);
    assert!(shown["kinds"].as_array().unwrap().iter().any(|k| k["kind"] == "clock"), "{shown}");
    for name in ["base", "phone0", "phone7"] {
        assert_eq!(run(&crew.store(name), &["verify"])["ok"], true);
    }
}

/// Phones that send when base is killed.
const PHONES: usize = 8;

#[test]
fn a_base_that_is_killed_keeps_what_it_confirmed() {
    let crew = Crew::new(PHONES);
    for n in 0..PHONES {
        crew.write_day(n, 400);
    }
    for round in 0..4_u64 {
        let mut base = listen(&crew.store("base"), PHONES);
        let at = base.at.to_string();
        let phones: Vec<Child> = (0..PHONES)
            .map(|n| {
                firnbook(&crew.phone(n), &["sync", &at, "--quiet"])
                    .stdout(Stdio::null())
                    .stderr(Stdio::null())
                    .spawn()
                    .unwrap()
            })
            .collect();
        std::thread::sleep(Duration::from_millis(60 + 130 * round));
        base.child.kill().unwrap();
        base.child.wait().unwrap();
        // Every second time a phone dies as well.
        for (n, mut phone) in phones.into_iter().enumerate() {
            if round % 2 == 1 && n == 0 {
                let _ = phone.kill();
            }
            let _ = phone.wait();
        }
        assert_eq!(run(&crew.store("base"), &["verify"])["ok"], true, "round {round}");
    }
    let base = listen(&crew.store("base"), PHONES);
    for n in 0..PHONES {
        run(&crew.phone(n), &["sync", &base.at.to_string()]);
    }
    base.ended();
    let shown = run(&crew.store("base"), &["day", "show"]);
    let strikes = shown["kinds"].as_array().unwrap().iter().find(|k| k["kind"] == "strike").unwrap();
    assert_eq!(strikes["n"], PHONES * 400);
    let base = listen(&crew.store("base"), 1);
    run(&crew.phone(0), &["sync", &base.at.to_string()]);
    base.ended();
    assert!(!crew.heads(&crew.phone(0)).as_array().unwrap().is_empty());
}

#[test]
fn an_interrupt_ends_base_in_order() {
    let crew = Crew::new(1);
    let base = listen(&crew.store("base"), 99);
    run(&crew.phone(0), &["sync", &base.at.to_string()]);
    // Other commands work on the same store meanwhile.
    run(&crew.store("base"), &["log", "note", "--topic", "general", "--note", "while listening"]);
    let said = told_when_interrupted(base);
    assert!(said.contains("1 session,"), "{said}");
}

/// Changes of the day in a store, which must be whole; those that wait for the rest of what was cut are kept too.
fn changes(store: &Path) -> u64 {
    let verified = run(store, &["verify"]);
    assert_eq!(verified["ok"], true, "{verified}");
    verified["days"]
        .as_array()
        .unwrap()
        .iter()
        .map(|d| d["changes"].as_u64().unwrap() + d["waiting"].as_u64().unwrap())
        .sum()
}

#[test]
fn a_full_disk_at_base_keeps_what_was_confirmed_and_takes_the_rest_once_there_is_room() {
    let Some(disk) = SmallDisk::of_mib(8) else {
        eprintln!("SKIPPED: a full disk at base; mounting a small file system needs root");
        return;
    };
    let crew = Crew::new(2);
    let base = disk.path().join("base.firnstore");
    for file in std::fs::read_dir(crew.folder.path()).unwrap().map(Result::unwrap) {
        let name = file.file_name().into_string().unwrap();
        if name.starts_with("base.") {
            std::fs::copy(file.path(), disk.path().join(name)).unwrap();
        }
    }
    for n in 0..2 {
        for batch in 0..20 {
            let note = |i| json!({"kind": "note", "at": chrono::Local::now(), "note": format!("phone {n}, line {batch}.{i}")});
            let lines: String = (0..30).map(|i| format!("{}\n", note(i))).collect();
            let file = crew.folder.path().join("notes.jsonl");
            std::fs::write(&file, lines).unwrap();
            run(&crew.phone(n), &["log", "--from", file.to_str().unwrap()]);
        }
    }
    let before = changes(&base);
    let filler = fill(&disk, 200 << 10);
    let listening = listen_json(&base);
    let said: Vec<String> = (0..2)
        .map(|n| {
            let output = firnbook(&crew.phone(n), &["sync", &listening.at.to_string()]).output().unwrap();
            assert_eq!(output.status.code(), Some(1), "it all fitted");
            String::from_utf8(output.stderr).unwrap()
        })
        .collect();
    assert!(
        said.iter().all(|s| s.contains("can't write to its store; what it confirmed is kept")),
        "{said:?}"
    );
    let told = interrupted(listening);
    let sessions = told["sessions"].as_array().unwrap();
    assert!(sessions.iter().any(|s| s["error"].as_str().unwrap().contains("the disk is full")), "{told}");
    let confirmed: u64 = sessions.iter().map(|s| s["received"].as_u64().unwrap()).sum();
    assert!(confirmed > 0, "{told}");
    std::fs::remove_file(filler).unwrap();
    assert!(changes(&base) >= before + confirmed);
    let listening = listen(&base, 2);
    for n in 0..2 {
        run(&crew.phone(n), &["sync", &listening.at.to_string()]);
    }
    listening.ended();
    let notes = run(&base, &["entries", "--kind", "note"]);
    assert_eq!(notes["entries"].as_array().unwrap().len(), 2 * 20 * 30);
    assert_eq!(run(&base, &["verify"])["ok"], true);
}

/// Takes all of a disk but so many bytes; the file that does it.
fn fill(disk: &SmallDisk, but: u64) -> PathBuf {
    let path = disk.path().join("other");
    let mut file = std::fs::File::create(&path).unwrap();
    while file.write_all(&[7; 4096]).is_ok() {}
    let length = file.metadata().unwrap().len();
    file.set_len(length.saturating_sub(but)).unwrap();
    path
}

#[test]
fn an_invitation_lets_one_device_in_and_says_which_one_it_was() {
    let crew = Crew::new(0);
    let base = crew.store("base");
    let code = run(&base, &["crew", "invite", "--addr", "127.0.0.1:1"])["code"].as_str().unwrap().to_owned();
    for name in ["Wren", "Owl"] {
        run(&crew.store(name), &["settings", "me", name]);
        run(&crew.store(name), &["crew", "join", &code]);
    }
    let listening = listen(&base, 99);
    let at = listening.at.to_string();
    run(&crew.store("Wren"), &["sync", &at]);
    fails(
        &crew.store("Owl"),
        &["sync", &at],
        "was used by Wren; each one lets one device in, ask for a new one",
    );
    fails(&crew.store("Wren"), &["crew", "join", &code], "in this crew already");
    assert_eq!(interrupted(listening), Value::Null);
}

#[test]
fn a_phone_of_1970_exchanges_and_one_of_2099_is_told_to_look_at_its_clock() {
    let now_ms = chrono::Utc::now().timestamp_millis();
    let crew = Crew::by_clocks(&[Some(12_000 - now_ms)]);
    let (base, old) = (crew.store("base"), crew.phone(0));
    let said = firnbook(&old, &["log", "note", "--note", "x", "--day", &date(&base)]).output().unwrap();
    let said = String::from_utf8(said.stderr).unwrap();
    assert!(said.contains("this device's clock shows 1970-01-01 00:00, which can't be: set it"), "{said}");
    let listening = listen(&base, 1);
    let answer = run(&old, &["sync", &listening.at.to_string()]);
    listening.ended();
    let (offset, within) =
        (answer["clock_offset_ms"].as_f64().unwrap(), answer["clock_uncertainty_ms"].as_f64().unwrap());
    assert!((offset - (now_ms - 12_000) as f64).abs() <= within, "{answer}");
    let late = crew.store("late");
    set_clock(&late, 73 * 365 * 86_400_000);
    let code = run(&base, &["crew", "invite"])["code"].as_str().unwrap().to_owned();
    let output = firnbook(&late, &["crew", "join", &code, "--name", "Late"]).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("days ago; ask for a new one, and check this device's clock"), "{said}");
}

fn date(store: &Path) -> String {
    run(store, &["day", "show"])["date"].as_str().unwrap().to_owned()
}

/// A call that must fail, in one sentence.
fn fails(store: &Path, line: &[&str], expected: &str) {
    let output = firnbook(store, line).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{line:?}: {said}");
    assert!(said.starts_with("firnbook: error:") && said.contains(expected), "{line:?}: {said}");
    assert_eq!(said.trim_end().lines().count(), 1, "{said}");
}

#[test]
fn what_goes_wrong_is_said_in_a_sentence() {
    let crew = Crew::new(1);
    let base = crew.store("base");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap().to_string();
    fails(&base, &["listen", "--addr", &at], "is taken");
    fails(&base, &["listen", "--addr", "203.0.113.1:45460"], "does not listen");
    fails(&crew.phone(0), &["sync", "nowhere.invalid"], "leads nowhere");
    fails(&crew.phone(0), &["sync", "127.0.0.1:1"], "nobody answers");
    fails(&crew.store("other"), &["sync", "127.0.0.1:1"], "in no crew");
    fails(&crew.store("other"), &["listen"], "in no crew");
    fails(&crew.store("other"), &["crew", "join", "FIRN-0000"], "cut or altered");
    fails(&crew.store("other"), &["crew", "join", "hello", "--name", "X"], "no invitation");
    fails(&base, &["crew", "remove", "nobody"], "no device of the crew");
    fails(&base, &["crew", "new"], "in a crew already");
}
