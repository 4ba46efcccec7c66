//! Exchanges over a bad link: slow, stalling, cut again and again, half open, altered by someone in the middle.

use super::crew::{Base, Team, sync, sync_at};
use super::link::assert_equal;
use super::relay::{FAIR, Relay, Weather, timed};
use firnbook_core::exchange::{self, Channel, Event, Host, LAN_LIMITS, LanLimits, Progress, Role, Stop};
use firnbook_tests::strike;
use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, Shutdown, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

/// A team in which the phone and base each have something of their own, and know one another.
fn apart(entries: u32) -> Team {
    let mut team = Team::new(1);
    let base = Base::listen(&team.base);
    sync(&team.phones[0], &base).unwrap();
    for n in 0..entries {
        team.phones[0].write(strike(20 + n % 200));
        team.base.write(strike(20 + n % 200));
    }
    team
}

#[test]
fn a_link_that_is_cut_every_five_kilobytes() {
    let mut team = apart(60);
    // A day that base lacks wholly goes as a document, and must get through in pieces too.
    let day = firnbook_tests::date().succ_opt().unwrap();
    let second = team.phones[0].book.begin_day(day, "Lower Bowl", "Obs0").unwrap().day;
    let drafts = (0..300).map(|n| firnbook_core::logbook::Draft {
        json: firnbook_tests::map(strike(20 + n * 7 % 200)),
        line: None,
    });
    team.phones[0].book.log(second, "Obs0", drafts.collect(), false).unwrap();
    let base = Base::listen(&team.base);
    let relay = Relay::to(base.at, Weather { cut_every: 5_000, seed: 7, ..FAIR });
    let called = sync_at(&team.phones[0], relay.at).unwrap();
    println!("cut every 5 kB: {} calls", called.calls);
    assert!((3..=40).contains(&called.calls), "{} calls", called.calls);
    assert_equal(&team.phones[0], &team.base);
    assert!(team.base.book.day(second).unwrap().entries == 300);
}

#[test]
fn what_is_ready_is_sent_without_waiting_for_an_answer() {
    let mut team = apart(2);
    let drafts = (0..3_000).map(|n| firnbook_core::logbook::Draft {
        json: firnbook_tests::map(strike(20 + n * 7 % 200)),
        line: None,
    });
    let day = firnbook_tests::date().succ_opt().unwrap();
    let second = team.base.book.begin_day(day, "Lower Bowl", "Base").unwrap().day;
    team.base.book.log(second, "Base", drafts.collect(), false).unwrap();
    // Base would wait longer than the phone has patience for.
    let tick = 4 * LAN_LIMITS.silence;
    let base = Base::within(&team.base, LanLimits { tick, ..LAN_LIMITS });
    let called = sync(&team.phones[0], &base).unwrap();
    assert_eq!(called.calls, 1);
    assert_equal(&team.phones[0], &team.base);
    assert_eq!(team.phones[0].book.day(second).unwrap().entries, 3_000);
}

#[test]
fn a_large_crew_gets_to_know_one_another_over_a_link_that_is_cut() {
    let mut team = Team::new(30);
    let last = team.phones.pop().unwrap();
    let base = Base::listen(&team.base);
    for phone in &team.phones {
        sync(phone, &base).unwrap();
    }
    // What 30 invitations and as many devices take is signatures and keys, which nothing makes smaller.
    let relay = Relay::to(base.at, Weather { cut_every: 3_400, seed: 5, ..FAIR });
    let called = sync_at(&last, relay.at).unwrap();
    println!("a crew of 31, cut every 3.4 kB: {} calls", called.calls);
    // More than the calls in a row that may bring nothing.
    assert!((7..=40).contains(&called.calls), "{} calls", called.calls);
    assert_eq!(last.book.crew().unwrap().unwrap().devices.len(), 31);
    assert_equal(&last, &team.base);
}

/// A base that exchanges everything with one caller, cannot say any more that this was all, hangs up on so many further calls, and is gone.
fn falls_silent_at_the_end(base: &Arc<Host>, listener: TcpListener, hangs_up: u32) {
    let (mut stream, _) = listener.accept().unwrap();
    let mut channel = Channel::new(base, Role::Base, 0).unwrap();
    let mut buffer = [0; 4096];
    while !channel.exchanged() {
        let n = stream.read(&mut buffer).unwrap();
        assert!(n > 0, "the caller hung up");
        channel.incoming(&buffer[..n]);
        // Once all is exchanged, the clocks come next, and the end after them.
        while let Some(bytes) = channel.outgoing() {
            stream.write_all(&bytes).unwrap();
        }
    }
    stream.shutdown(Shutdown::Write).unwrap();
    while matches!(stream.read(&mut buffer), Ok(1..)) {}
    (0..hangs_up).for_each(|_| drop(listener.accept().unwrap()));
}

#[test]
fn a_base_that_has_everything_and_is_gone_leaves_nothing_to_do() {
    let mut team = apart(20);
    for (hangs_up, new) in [(2, 20), (5, 1)] {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let (at, host) = (listener.local_addr().unwrap(), team.base.book.host("Base").unwrap());
        let called = std::thread::scope(|scope| {
            scope.spawn(|| falls_silent_at_the_end(&host, listener, hangs_up));
            sync_at(&team.phones[0], at).unwrap()
        });
        assert_eq!((called.calls, called.report.sent, called.report.received), (1 + hangs_up, new, new));
        assert_equal(&team.phones[0], &team.base);
        team.phones[0].write(strike(75));
        team.base.write(strike(76));
    }
    // One that was gone before it had everything is an error, as ever.
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let at = listener.local_addr().unwrap();
    std::thread::spawn(move || drop(listener.accept()));
    assert!(sync_at(&team.phones[0], at).is_err());
}

#[test]
fn another_address_in_the_middle() {
    let team = apart(60);
    let base = Base::at(&team.base, "[::]:0", LAN_LIMITS);
    let [one, other] = [IpAddr::from(Ipv4Addr::LOCALHOST), IpAddr::from(Ipv6Addr::LOCALHOST)]
        .map(|ip| SocketAddr::new(ip, base.at.port()));
    let mut relay = Some(Relay::to(one, Weather { rate: 40_000, ..FAIR }));
    let (first, second) = (relay.as_ref().unwrap().at.to_string(), other.to_string());
    // The first way is gone for good as soon as something has come by it; base is another address on another network from then on.
    let mut see = |progress: &Progress| {
        if progress.received > 1_000 {
            relay.take();
        }
    };
    let host = team.phones[0].book.host("Obs0").unwrap();
    let called = exchange::call(&host, &[first, second.clone()], &Stop::new(), &mut see).unwrap();
    println!("another address: {} calls", called.calls);
    assert!((2..=5).contains(&called.calls) && called.address == second, "{called:?}");
    assert_equal(&team.phones[0], &team.base);
    let mut from = BTreeSet::new();
    while let Some(event) = base.base.next_event(Duration::from_millis(300)) {
        if let Event::Arrived { address: ip, .. } = event {
            from.insert(ip.is_ipv6());
        }
    }
    assert_eq!(from, BTreeSet::from([false, true]));
}

#[test]
fn half_a_second_of_delay() {
    let team = apart(20);
    let base = Base::listen(&team.base);
    let relay = Relay::to(base.at, Weather { delay: Duration::from_millis(500), ..FAIR });
    let (called, took) = timed(|| sync_at(&team.phones[0], relay.at).unwrap());
    println!("500 ms delay: {:.1} s", took.as_secs_f64());
    assert_eq!(called.calls, 1);
    assert_equal(&team.phones[0], &team.base);
    // The offset is right to what is said of it: both clocks stand still in this test, so it is exactly 0.
    assert!(called.report.clock.unwrap().offset_ms.abs() <= called.report.clock.unwrap().uncertainty_ms);
}

#[test]
fn sixty_four_kilobits_a_second_and_a_stall_of_ten_seconds() {
    let team = apart(60);
    let base = Base::listen(&team.base);
    let relay = Relay::to(base.at, Weather { rate: 8_000, stall: Duration::from_secs(10), ..FAIR });
    let (called, took) = timed(|| sync_at(&team.phones[0], relay.at).unwrap());
    println!("64 kbit/s and a stall: {:.1} s", took.as_secs_f64());
    assert_eq!(called.calls, 1);
    assert_equal(&team.phones[0], &team.base);
}

#[test]
fn a_bit_turned_in_the_middle_is_noticed_and_sent_again() {
    let team = apart(30);
    let base = Base::listen(&team.base);
    let relay = Relay::to(base.at, Weather { flip_at: 1_500, ..FAIR });
    // Each connection of this relay is altered, so what gets through is what comes before; none of it is false.
    let _ = sync_at(&team.phones[0], relay.at);
    assert!(team.base.book.verify().unwrap().iter().all(|d| d.rows_equal));
    sync(&team.phones[0], &base).unwrap();
    assert_equal(&team.phones[0], &team.base);
}

#[test]
fn a_base_that_accepts_and_says_nothing_is_given_up() {
    let team = apart(1);
    let silent = TcpListener::bind("127.0.0.1:0").unwrap();
    let at = silent.local_addr().unwrap();
    let (said, took) = timed(|| sync_at(&team.phones[0], at).unwrap_err().to_string());
    assert!(said.contains("silent"), "{said}");
    let one = LAN_LIMITS.silence.as_secs();
    assert!(took.as_secs() <= (one + 2) * u64::from(LAN_LIMITS.fruitless), "{took:?}");
}
