//! The screens of live exchange: a crew and its invitations, a base that listens, a phone that syncs; and what is said where it goes wrong.

use firnbook_tests::world::{Ran, World};
use serde_json::Value;
use std::net::TcpListener;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// A base with a day and a crew.
fn base() -> World {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    world.run("crew new --name \"Base laptop\"").ok();
    world
}

/// An invitation, as text.
fn invitation(world: &World) -> String {
    let made = world.run("crew invite --addr 127.0.0.1:1 --hours 12 --json").json();
    made["code"].as_str().unwrap().to_owned()
}

/// Runs a line at a phone's own store.
fn at_phone(world: &World, phone: &str, line: &str) -> Ran {
    world.run(&format!("--store @{phone}.firnstore {line}"))
}

/// A screen without what chance made: keys, the code that holds them, and how many bytes they take.
fn masked(screen: &str) -> String {
    let drawn = |line: &&str| line.len() > 20 && line.chars().all(|c| "█▀▄ ".contains(c));
    let mut text = String::new();
    let mut lines = screen.lines().peekable();
    while let Some(line) = lines.next() {
        if !drawn(&line) {
            text.push_str(&masked_line(line));
            text.push('\n');
        } else if !lines.peek().is_some_and(drawn) {
            text.push_str("[a code to scan]\n");
        }
    }
    text
}

fn masked_line(line: &str) -> String {
    let words: Vec<&str> = line.split(' ').collect();
    let bytes = |word: Option<&&str>| matches!(word.map(|w| w.trim_end_matches(',')), Some("B" | "kB"));
    let mask = |(i, word): (usize, &&str)| match word {
        w if w.starts_with("FIRN-") && w.len() > 40 => "FIRN-[secrets]".to_owned(),
        w if w.len() == 32 && w.bytes().all(|b| b.is_ascii_hexdigit()) => "[id]".to_owned(),
        _ if bytes(words.get(i + 1)) => "[n]".to_owned(),
        w => (*w).to_owned(),
    };
    words.iter().enumerate().map(mask).collect::<Vec<_>>().join(" ")
}

#[test]
fn a_crew_is_founded_joined_and_left() {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    for (name, line) in [
        ("crew-none", "crew show"),
        ("crew-new", "crew new --name \"Base laptop\""),
        ("crew-invite", "crew invite --addr 192.168.1.7:45460"),
        ("crew-show", "crew show"),
        ("crew-rotate", "crew rotate"),
        ("crew-remove-nobody", "crew remove Wren"),
        ("crew-leave", "crew leave"),
    ] {
        world.snapshot(name, &format!("$ firnbook {line}\n{}", masked(&world.run(line).shown())));
    }
}

/// The screens of a phone that calls until it reaches a base which listens at `port`, and of that base.
fn meet(base: &Arc<World>, port: u16, call: impl Fn() -> Ran) -> [String; 2] {
    let listening = {
        let base = Arc::clone(base);
        std::thread::spawn(move || base.run(&format!("listen --addr 127.0.0.1:{port} --phones 1")))
    };
    let begun = Instant::now();
    let called = loop {
        let called = call();
        if called.status == 0 {
            break called;
        }
        // The base that waits in vain ends with the test.
        assert!(begun.elapsed() < Duration::from_secs(20), "base was not reached: {}", called.shown());
        std::thread::sleep(Duration::from_millis(50));
    };
    [called, listening.join().unwrap()].map(|s| masked(&s.shown()).replace(&port.to_string(), "[port]"))
}

/// A port that was free a moment ago; nobody else takes it at once.
fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

#[test]
fn a_phone_whose_clock_cant_be_is_told_when_it_exchanges() {
    let base = Arc::new(base());
    base.it_is("2027-02-06T14:00:00+01:00");
    let phone = World::new();
    phone.it_is("2027-02-06T14:00:00+01:00");
    phone.run("settings me Wren").ok();
    phone.run(&format!("crew join {} --name Wren", invitation(&base))).ok();
    phone.it_is("2099-06-01T12:00:00+00:00");
    let port = free_port();
    let told = meet(&base, port, || phone.run(&format!("sync 127.0.0.1:{port}")));
    let told = told.map(|screen| screen.lines().find(|l| l.contains("apart")).unwrap_or_default().to_owned());
    for line in &told {
        assert!(
            line.ends_with(
                "; the two clocks are 72 years apart: set the one that is wrong (what it wrote is put right)"
            ),
            "{told:?}"
        );
    }
}

#[test]
fn a_base_listens_and_a_phone_syncs() {
    let world = Arc::new(base());
    let code = invitation(&world);
    world.snapshot(
        "crew-join",
        &masked(&at_phone(&world, "wren", &format!("crew join {code} --name Wren")).shown()),
    );
    at_phone(&world, "wren", "settings me Wren").ok();
    at_phone(&world, "wren", "log note --note \"cornice over the left gully\"").ok();
    let meet = |port: u16, line: &str| meet(&world, port, || at_phone(&world, "wren", line));
    let [early, port] = [free_port(), free_port()];
    let first = meet(early, &format!("sync 127.0.0.1:{early}"));
    let again = meet(port, &format!("sync 127.0.0.1:{port}"));
    let unnamed = meet(port, "sync");
    let told = "Lead: 0 changes came, 0 went";
    assert!(
        unnamed[0].starts_with(told),
        "without an address, base is called where it was last: {}",
        unnamed[0]
    );
    for (name, screen) in
        ["sync", "listen", "sync-again", "listen-again"].iter().zip(first.iter().chain(&again))
    {
        world.snapshot(name, screen);
    }
    world.snapshot("crew-joined", &masked(&at_phone(&world, "wren", "crew show").shown()));
    world.snapshot("crew-remove", &masked(&world.run("crew remove Wren").shown()));
}

#[test]
fn an_invitation_that_does_not_do_is_refused_in_a_sentence() {
    let world = base();
    let code = invitation(&world);
    let altered = match code.split_at(60) {
        (begin, end) if end.starts_with('7') => format!("{begin}8{}", &end[1..]),
        (begin, end) => format!("{begin}7{}", &end[1..]),
    };
    // Version 2, three bytes that nobody knows, and the checksum of these four.
    let later = "FIRN-080G40VMBJ624";
    for (name, line) in [
        ("bad-invitation-cut", format!("crew join {}", &code[..code.len() - 3])),
        ("bad-invitation-altered", format!("crew join {altered}")),
        ("bad-invitation-later", format!("crew join {later}")),
        ("bad-invitation-other", "crew join https://example.org/join".to_owned()),
    ] {
        let ran = at_phone(&world, "wren", &format!("{line} --name Wren"));
        one_sentence(&ran);
        world.snapshot(name, &masked(&ran.shown()));
    }
    // Scanned twice before base has seen it: nothing is lost. Once more after that: said.
    at_phone(&world, "wren", &format!("crew join {code} --name Wren")).ok();
    at_phone(&world, "wren", &format!("crew join {code} --name Wren")).ok();
    one_sentence(&world.run(&format!("crew join {code} --name Again")));
    world.it_is("2027-02-07T03:00:00+01:00");
    let late = at_phone(&world, "owl", &format!("crew join {code} --name Owl"));
    one_sentence(&late);
    world.snapshot("bad-invitation-late", &late.shown());
}

fn one_sentence(ran: &Ran) {
    assert_eq!(ran.status, 1, "{}{}", ran.out, ran.err);
    assert!(
        ran.err.starts_with("firnbook: error: ") && ran.err.trim_end().lines().count() == 1,
        "{}",
        ran.err
    );
}

#[test]
fn a_clock_that_cant_be_is_told_and_what_it_writes_can_be_put_right() {
    for (name, at) in
        [("clock-1970", "1970-01-01T00:00:12+00:00"), ("clock-2099", "2099-06-01T12:00:00+00:00")]
    {
        let world = World::new();
        world.it_is(at);
        world.run("settings me Lead").ok();
        let written = world.run("day new --area \"Upper Bowl\" --date 2027-02-06");
        world.snapshot(name, &written.shown());
        let note = world.run("log note --note first --at 10:00 --day 2027-02-06");
        assert!(note.err.contains("which can't be: set it"), "{}", note.err);
        note.ok();
        world.it_is("2027-02-06T14:00:00+01:00");
        assert!(!world.run("log note --note second").err.contains("can't be"));
    }
}

#[test]
fn keys_stand_in_a_file_of_their_own_and_nowhere_else() {
    let world = base();
    let code = invitation(&world);
    at_phone(&world, "wren", &format!("crew join {code} --name Wren")).ok();
    world.run("log note --note first").ok();
    let altered = format!("{}{}", &code[..code.len() - 4], "0000");
    let told: Vec<Ran> = [
        "crew show --json",
        "crew rotate --json",
        "entries --json",
        "verify --json",
        "pack -o @plain.firn",
        "pack --for-crew -o @sealed.firn",
        "export --format jsonl --full -o @jsonl",
        "export --format csv -o @csv",
        "debrief --html @day.html",
        "sync 127.0.0.1:1",
        &format!("crew join {altered} --name Again"),
        &format!("crew join {code} --name Again"),
    ]
    .iter()
    .map(|line| world.run(line))
    .collect();
    let mut kept: Vec<(String, Vec<u8>)> = told
        .into_iter()
        .enumerate()
        .map(|(i, t)| (format!("answer {i}"), (t.out + &t.err).into_bytes()))
        .collect();
    let mut folders = vec![world.folder.path().to_owned()];
    while let Some(folder) = folders.pop() {
        for file in std::fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()) {
            match file.is_dir() {
                true => folders.push(file),
                false if file.extension().is_some_and(|e| e == "keys") => {}
                false => kept.push((file.display().to_string(), std::fs::read(&file).unwrap())),
            }
        }
    }
    assert!(kept.len() > 25, "{}", kept.len());
    let mut secrets = vec![code];
    for store in ["base", "wren"] {
        let file = std::fs::read_to_string(world.path(&format!("{store}.firnstore.keys"))).unwrap();
        let file: Value = serde_json::from_str(&file).unwrap();
        let keys = ["sign", "exchange_secret", "seal"].map(|k| file["keys"][k].as_str().unwrap().to_owned());
        let of_crew = file["crew_keys"].as_array().unwrap().iter().map(|k| k.as_str().unwrap().to_owned());
        secrets.extend(keys.into_iter().chain(of_crew));
    }
    // Base has the old key and the new one, the phone what its invitation gave it.
    assert_eq!(secrets.len(), 1 + (3 + 2) + (3 + 1));
    for secret in secrets {
        let digits =
            secret.as_bytes().chunks(2).map(|d| u8::from_str_radix(std::str::from_utf8(d).unwrap(), 16));
        let raw: Option<Vec<u8>> = digits.map(Result::ok).collect();
        for needle in [Some(secret.clone().into_bytes()), Some(secret.to_uppercase().into_bytes()), raw]
            .into_iter()
            .flatten()
        {
            for (what, bytes) in &kept {
                assert!(!bytes.windows(needle.len()).any(|w| w == needle), "a secret stands in {what}");
            }
        }
    }
}
