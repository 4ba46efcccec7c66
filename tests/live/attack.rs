//! Whoever does not belong: strangers, removed devices, replays, garbage, floods. All are refused within bounds, base goes on serving the others,
//! and not one stored byte changes.

use super::crew::{Base, Team, sync, sync_at};
use super::link::assert_equal;
use super::relay::{FAIR, Relay};
use firnbook_core::crew::DeviceKeys;
use firnbook_core::exchange::{LAN_LIMITS, LanLimits};
use firnbook_core::store::{BesideStore, Keyring};
use firnbook_tests::{Phone, strike};
use serde_json::json;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// Everything that a store holds of days and crew, as bytes.
fn truth(phone: &Phone) -> Vec<Vec<u8>> {
    let conn = rusqlite::Connection::open(phone.path()).unwrap();
    let mut all = Vec::new();
    for sql in [
        "SELECT bytes FROM change ORDER BY hash",
        "SELECT bytes FROM aside ORDER BY hash",
        "SELECT signature FROM cover ORDER BY signature",
        "SELECT bytes FROM crew_record ORDER BY id",
    ] {
        let mut statement = conn.prepare(sql).unwrap();
        let rows = statement.query_map([], |r| r.get(0)).unwrap();
        all.extend(rows.map(Result::unwrap));
    }
    all
}

/// Sends bytes and returns how many came back before base closed.
fn throw(at: SocketAddr, bytes: &[u8]) -> usize {
    let mut stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    let _ = stream.write_all(bytes);
    let mut back = Vec::new();
    let _ = stream.read_to_end(&mut back);
    back.len()
}

fn team() -> Team {
    let mut team = Team::new(2);
    let base = Base::listen(&team.base);
    team.phones[0].write(strike(90));
    sync(&team.phones[0], &base).unwrap();
    sync(&team.phones[1], &base).unwrap();
    team
}

/// Doors that forgive much, so that one test can knock often from the one address it has.
fn patient() -> LanLimits {
    LanLimits { forgiven: 1_000, ..LAN_LIMITS }
}

#[test]
fn garbage_is_answered_with_nothing() {
    let team = team();
    let base = Base::within(&team.base, patient());
    let before = truth(&team.base);
    let noise: Vec<u8> = (0..70_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    for bytes in [&[0; 2][..], &[0xff; 8], b"GET / HTTP/1.1\r\n\r\n", &[0, 48, 1, 2, 3], &noise] {
        if bytes.len() > 4 {
            assert_eq!(throw(base.at, bytes), 0, "{:?}", &bytes[..bytes.len().min(8)]);
        }
    }
    // A message of the right length for the handshake, by one who lacks the key.
    let mut first = vec![0, 48];
    first.extend_from_slice(&noise[..48]);
    assert_eq!(throw(base.at, &first), 0);
    assert_eq!(truth(&team.base), before);
    sync(&team.phones[1], &base).unwrap();
}

#[test]
fn a_recording_opens_nothing() {
    let mut team = team();
    let base = Base::within(&team.base, patient());
    team.phones[0].write(strike(91));
    let relay = Relay::to(base.at, FAIR);
    sync_at(&team.phones[0], relay.at).unwrap();
    let recorded = relay.out.lock().unwrap().clone();
    let before = truth(&team.base);
    // The whole of it, and the first message alone: base answers the first message, as it can't know, and nothing after.
    assert!(throw(base.at, &recorded) <= 98);
    assert!(throw(base.at, &recorded[..50]) <= 98);
    assert_eq!(truth(&team.base), before);
}

#[test]
fn a_capture_shows_nothing_in_clear() {
    let mut team = team();
    let base = Base::listen(&team.base);
    team.phones[0]
        .write(json!({ "kind": "note", "topic": "general", "note": "the eastern gully is loaded" }));
    let relay = Relay::to(base.at, FAIR);
    sync_at(&team.phones[0], relay.at).unwrap();
    assert_equal(&team.phones[0], &team.base);
    let shown = [relay.out.lock().unwrap().clone(), relay.back.lock().unwrap().clone()].concat();
    assert!(shown.len() > 1_000);
    for word in ["gully", "Obs0", "Base", "Phone", "strike", "note", "Upper Bowl", "entries", "day"] {
        let found = shown.windows(word.len()).any(|w| w.eq_ignore_ascii_case(word.as_bytes()));
        assert!(!found, "{word} stands in the capture");
    }
    let ids = [team.phones[0].book.device().0.to_vec(), team.base.day.0.to_vec()];
    assert!(ids.iter().all(|id| !shown.windows(id.len()).any(|w| w == id.as_slice())));
}

#[test]
fn a_key_of_the_crew_without_a_place_in_it_is_not_enough() {
    let team = team();
    let base = Base::within(&team.base, patient());
    let before = truth(&team.base);
    let stolen = Keyring::read(&BesideStore::of(&team.phones[1].path()), team.phones[1].book.device())
        .unwrap()
        .unwrap();
    let thief = Phone::new("Thief");
    let ring = Keyring { device: thief.book.device(), keys: DeviceKeys::fresh().unwrap(), ..stolen.clone() };
    ring.write(&BesideStore::of(&thief.path())).unwrap();
    let said = sync(&thief, &base).unwrap_err().to_string();
    assert!(said.contains("no member of the crew"), "{said}");
    // A member's own key under another device's name.
    let ring = Keyring { device: thief.book.device(), ..stolen };
    ring.write(&BesideStore::of(&thief.path())).unwrap();
    let said = sync(&thief, &base).unwrap_err().to_string();
    assert!(said.contains("another device of the crew"), "{said}");
    assert_eq!(truth(&team.base), before);
    sync(&team.phones[0], &base).unwrap();
}

#[test]
fn invitations_that_are_used_up_over_or_withdrawn_let_nobody_in() {
    let mut team = team();
    let base = Base::within(&team.base, patient());
    let invitation = team.base.book.invite(1, Vec::new(), None).unwrap();
    let (mut one, mut two, mut late) = (Phone::bare("One"), Phone::bare("Two"), Phone::bare("Late"));
    one.book.join_crew(&invitation, "One").unwrap();
    two.book.join_crew(&invitation, "Two").unwrap();
    sync(&one, &base).unwrap();
    let said = sync(&two, &base).unwrap_err().to_string();
    assert!(said.contains("was used by One"), "{said}");
    let invitation = team.base.book.invite(1, Vec::new(), None).unwrap();
    late.book.join_crew(&invitation, "Late").unwrap();
    team.base.clock.forward_ms(3_700_000);
    let said = sync(&late, &base).unwrap_err().to_string();
    assert!(said.contains("time is over"), "{said}");
    late.clock.forward_ms(3_700_000);
    let mut later = Phone::bare("Later");
    later.clock.forward_ms(3_700_000);
    let said = later.book.join_crew(&invitation, "Later").unwrap_err().to_string();
    assert!(said.contains("ended"), "{said}");
    assert_eq!(team.base.book.crew().unwrap().unwrap().devices.len(), 4);
}

#[test]
fn ten_thousand_silent_connections_do_not_keep_a_phone_out() {
    let mut team = team();
    let base = Base::listen(&team.base);
    let memory = resident_kb();
    let mut held = Vec::new();
    let mut most = 0;
    for n in 0..10_000 {
        if let Ok(stream) = TcpStream::connect(base.at) {
            held.push(stream);
        }
        // No more than a process may have open; the oldest were sent away long ago.
        if held.len() > 400 {
            held.drain(..200);
        }
        if n % 1_000 == 500 {
            team.phones[0].write(strike(30 + n / 1_000));
            sync(&team.phones[0], &base).unwrap();
        }
        most = most.max(resident_kb());
    }
    assert_equal(&team.phones[0], &team.base);
    println!("resident memory grew by {} kB", most.saturating_sub(memory));
    assert!(most < memory + 65_536, "{memory} kB before, {most} kB at the most");
}

#[test]
fn one_byte_at_a_time_for_ever_ends_in_time() {
    let team = team();
    let base = Base::within(&team.base, LanLimits { handshake: Duration::from_secs(2), ..patient() });
    let mut stream = TcpStream::connect(base.at).unwrap();
    let begun = std::time::Instant::now();
    let mut sent = 0;
    while stream.write_all(&[if sent == 0 { 0 } else { 48 }]).is_ok()
        && begun.elapsed() < Duration::from_secs(20)
    {
        sent += 1;
        std::thread::sleep(Duration::from_millis(100));
    }
    assert!(begun.elapsed() < Duration::from_secs(6), "{sent} bytes in {:?}", begun.elapsed());
    sync(&team.phones[0], &base).unwrap();
}

fn resident_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmRSS:")).unwrap_or("VmRSS: 0 kB");
    line.split_whitespace().nth(1).and_then(|n| n.parse().ok()).unwrap_or(0)
}
