//! A model of devices, stores and links that a property test drives. After every step the store that was touched is compared with `judge`
//! and with the goals of schemas/trust.md.
//!
//! `FIRNBOOK_MODEL_RUNS` says how many runs are made (default 1,000); `tests/run model-long` makes 100,000.

mod cheats;
mod examples;
mod replica;
mod toy;
mod world;

use cheats::{TRICKS, Trick};
use firnbook_core::day::{ChangeHead, Covered, FIRST_MAX_OP, Hash, Verdict, judge};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use replica::{Replica, device_of};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use toy::{Dice, FIRST};
use world::{Item, World};

/// One thing that happens. `store` is taken modulo their number.
#[derive(Clone, Debug)]
enum Step {
    /// Some writes one after another; the last one may be killed.
    Write {
        store: usize,
        history: usize,
        times: usize,
        killed: bool,
    },
    Kill {
        store: usize,
    },
    BackUp {
        store: usize,
    },
    Restore {
        store: usize,
        is_running: bool,
    },
    Copy {
        store: usize,
    },
    /// A store is copied, both write, each gets what the other holds, and both write again.
    Part {
        store: usize,
        history: usize,
    },
    /// Part of what one store holds reaches another, in any order.
    Link {
        from: usize,
        to: usize,
        percent: usize,
    },
    /// Each of two stores gets all that the other one holds.
    Sync {
        one: usize,
        other: usize,
    },
    /// Part of everything that was ever sent reaches a store, in any order.
    Arrive {
        to: usize,
        percent: usize,
    },
    Evict {
        store: usize,
    },
    Play(Trick),
}

fn steps() -> impl Strategy<Value = Vec<(Step, u64)>> {
    let store = || 0..6_usize;
    let step = prop_oneof![
        10 => (store(), 0..2_usize, 1..4_usize, prop::bool::weighted(0.1)).prop_map(
            |(store, history, times, killed)| Step::Write { store, history, times, killed }
        ),
        2 => (store(), 0..2_usize).prop_map(|(store, history)| Step::Part { store, history }),
        4 => (store(), store()).prop_map(|(one, other)| Step::Sync { one, other }),
        1 => store().prop_map(|store| Step::Kill { store }),
        2 => store().prop_map(|store| Step::BackUp { store }),
        3 => (store(), any::<bool>()).prop_map(|(store, is_running)| Step::Restore { store, is_running }),
        2 => store().prop_map(|store| Step::Copy { store }),
        5 => (store(), store(), 10..120_usize).prop_map(|(from, to, percent)| Step::Link { from, to, percent }),
        5 => (store(), 5..80_usize).prop_map(|(to, percent)| Step::Arrive { to, percent }),
        1 => store().prop_map(|store| Step::Evict { store }),
        8 => prop::sample::select(&TRICKS[..]).prop_map(Step::Play),
        4 => prop::sample::select(&[Trick::Lawful, Trick::Fork][..]).prop_map(Step::Play),
    ];
    prop::collection::vec((step, any::<u64>()), 1..60)
}

fn runs() -> u32 {
    std::env::var("FIRNBOOK_MODEL_RUNS")
        .map_or(1_000, |n| n.parse().expect("FIRNBOOK_MODEL_RUNS is a number"))
}

/// What the runs must bring about often enough, or their result means nothing.
const SITUATIONS: [&str; 11] = [
    "a backup replaced the file under a running process",
    "a copy built on the last change of an open store",
    "a write joined branches",
    "a change was unsound",
    "a change waited at the end",
    "an actor was forked",
    "a fork withdrew another opening",
    "a visible change was withdrawn later",
    "a change came after its signature",
    "a signature was superseded",
    "changes became visible on a base",
];

#[test]
fn visible_is_a_function_of_what_is_held() {
    let census: RefCell<BTreeMap<&str, u32>> = RefCell::default();
    let config = Config { failure_persistence: None, max_shrink_iters: 20_000, ..Config::with_cases(runs()) };
    let result = TestRunner::new(config).run(&steps(), |steps| {
        for situation in run(&steps) {
            *census.borrow_mut().entry(situation).or_default() += 1;
        }
        Ok(())
    });
    if let Err(failure) = result {
        panic!("{failure}");
    }
    let census = census.into_inner();
    println!("{census:#?}");
    for situation in SITUATIONS {
        let count = census.get(situation).copied().unwrap_or(0);
        assert!(count >= runs() / 400, "{situation}: only in {count} of {} runs", runs());
    }
}

/// One run, and the situations that it came to.
fn run(steps: &[(Step, u64)]) -> BTreeSet<&'static str> {
    let mut world = World::new();
    for (step, seed) in steps {
        if let Some(touched) = take(&mut world, step, &mut Dice::new(*seed)) {
            check(&mut world, touched);
        }
    }
    exchange_all(&mut world);
    let dice = &mut Dice::new(steps.len() as u64 * 7 + world.air.len() as u64);
    check_end(&mut world, dice);
    // In the end everything that was ever sent arrives everywhere.
    let late = std::mem::take(&mut world.late);
    late.into_iter().for_each(|change| world.send(change));
    for store in 0..world.stores.len() {
        let all = dice.some_of(&world.air, 100);
        world.arrive(store, &all);
    }
    check_end(&mut world, dice);
    let everywhere = &world.stores[0].replica.verdict;
    for (one, other) in &world.forks {
        let both = everywhere.withdrawn.contains(one) && everywhere.withdrawn.contains(other);
        assert!(both, "goal 5: a fork that was signed is not withdrawn");
    }
    situations(&world)
}

fn situations(world: &World) -> BTreeSet<&'static str> {
    let replica = &world.stores[0].replica;
    let verdict = &replica.verdict;
    let beyond = |change: &ChangeHead| {
        verdict.withdrawn.contains(&change.hash) && !verdict.forks.contains_key(&change.actor)
    };
    let found = [
        ("a change was unsound", !verdict.unsound.is_empty()),
        ("a change waited at the end", !verdict.waiting.is_empty()),
        ("an actor was forked", !verdict.forks.is_empty()),
        ("a fork withdrew another opening", replica.changes().any(beyond)),
    ];
    let found = found.into_iter().filter(|(_, is_found)| *is_found).map(|(situation, _)| situation);
    let of_stores = world.stores.iter().flat_map(|store| store.replica.situations.iter().copied());
    found.chain(of_stores).chain(world.situations.iter().copied()).collect()
}

/// Takes a step; says which store it touched.
fn take(world: &mut World, step: &Step, dice: &mut Dice) -> Option<usize> {
    let count = world.stores.len();
    match *step {
        Step::Write { store, history, times, killed } => {
            for time in 1..=times {
                world.write(store % count, history, dice, killed && time == times);
            }
        }
        Step::Kill { store } => world.kill(store % count),
        Step::BackUp { store } => world.back_up(store % count),
        Step::Restore { store, is_running } => world.restore(store % count, is_running),
        Step::Copy { store } => world.copy(store % count),
        Step::Link { from, to, percent } => {
            let items = dice.some_of(&world.hands_on(from % count), percent);
            world.arrive(to % count, &items);
        }
        Step::Part { store, history } => {
            let (one, other) = (store % count, count);
            world.copy(one);
            let other = other.min(world.stores.len() - 1);
            [one, other].into_iter().for_each(|at| world.write(at, history, dice, false));
            sync(world, one, other);
            [one, other].into_iter().for_each(|at| world.write(at, history, dice, false));
            check(world, other);
        }
        Step::Sync { one, other } => {
            sync(world, one % count, other % count);
            check(world, one % count);
        }
        Step::Arrive { to, percent } => {
            let items = dice.some_of(&world.air, percent);
            world.arrive(to % count, &items);
        }
        Step::Evict { store } => world.evict(store % count, dice),
        Step::Play(trick) => world.play(trick, dice),
    }
    match *step {
        Step::Write { store, .. }
        | Step::Part { store, .. }
        | Step::Restore { store, .. }
        | Step::Evict { store } => Some(store % count),
        Step::Link { to, .. } | Step::Arrive { to, .. } | Step::Sync { other: to, .. } => Some(to % count),
        Step::Kill { .. } | Step::BackUp { .. } | Step::Copy { .. } | Step::Play(_) => None,
    }
}

fn sync(world: &mut World, one: usize, other: usize) {
    let (of_one, of_other) = (world.hands_on(one), world.hands_on(other));
    world.arrive(other, &of_one);
    world.arrive(one, &of_other);
}

/// Every store gives every other all that it holds, until nothing new arrives.
fn exchange_all(world: &mut World) {
    loop {
        let before: Vec<Verdict> = world.stores.iter().map(|store| store.replica.verdict.clone()).collect();
        for from in 0..world.stores.len() {
            let items = world.hands_on(from);
            (0..world.stores.len()).for_each(|to| world.arrive(to, &items));
        }
        if world.stores.iter().zip(&before).all(|(store, before)| store.replica.verdict == *before) {
            break;
        }
    }
}

/// The goals that hold at any time.
fn check(world: &mut World, store: usize) {
    let replica = &world.stores[store].replica;
    let changes: Vec<ChangeHead> = replica.changes().cloned().collect();
    let received: Vec<Covered> = replica.received.iter().cloned().collect();
    let verdict = judge(FIRST, FIRST_MAX_OP, &[], &changes, &received);
    assert_eq!(replica.verdict, verdict, "the store and judge differ");
    let kept: Vec<Covered> = replica.kept.keys().cloned().collect();
    let by_kept = judge(FIRST, FIRST_MAX_OP, &[], &changes, &kept);
    assert_eq!(by_kept, verdict, "dropping superseded signatures changed the verdict");

    let honest: BTreeSet<[u8; 16]> = world.stores.iter().map(|store| store.secret().device()).collect();
    let of_honest: Vec<&ChangeHead> =
        changes.iter().filter(|change| honest.contains(change.device())).collect();
    let is_withdrawn = of_honest.iter().any(|change| verdict.withdrawn.contains(&change.hash));
    assert!(!is_withdrawn, "goal 4: an honest device's change is withdrawn");

    let mut signed: BTreeSet<Hash> = BTreeSet::new();
    for cover in &received {
        for tip in &cover.tips {
            let written = world.honest.get(tip).filter(|written| written.device == cover.device);
            let Some(written) = written else { continue };
            signed.extend(&written.history);
            if written.history.iter().all(|hash| replica.holds(hash)) {
                let visible = written.history.is_subset(&verdict.visible);
                assert!(visible, "goal 2: what an honest device wrote and signed is not visible");
            }
        }
    }
    for change in of_honest.iter().filter(|change| verdict.visible.contains(&change.hash)) {
        assert!(signed.contains(&change.hash), "goal 3: visible under a name that did not sign it");
    }
    for change in changes.iter().filter(|change| verdict.visible.contains(&change.hash)) {
        let deps = change.deps.iter().all(|dep| *dep == FIRST || verdict.visible.contains(dep));
        assert!(deps, "a visible change depends on one that is not");
    }

    let grew = check_on_base(replica, &changes, &received);
    world.stores[store].replica.settled = verdict.visible;
    if grew {
        world.situations.insert("changes became visible on a base");
    }
}

/// Asks `judge` as a real store does, and compares the answer with the verdict over everything.
///
/// A store asks for one device at a time, and only about changes that were not visible before. The base is what was visible and is a dep of these,
/// or is at the position of one. Returns whether a change became visible on a base.
fn check_on_base(replica: &Replica, changes: &[ChangeHead], covers: &[Covered]) -> bool {
    let whole = &replica.verdict;
    let mut grew = false;
    for device in changes.iter().map(device_of).collect::<BTreeSet<_>>() {
        let (settled, new): (Vec<ChangeHead>, Vec<ChangeHead>) = changes
            .iter()
            .filter(|change| device_of(change) == device)
            .cloned()
            .partition(|change| replica.settled.contains(&change.hash));
        let deps: BTreeSet<Hash> = new.iter().flat_map(|change| change.deps.iter().copied()).collect();
        let claimed: BTreeSet<([u8; 24], u32)> =
            new.iter().map(|change| (change.actor, change.seq)).collect();
        let is_base = |change: &ChangeHead| {
            deps.contains(&change.hash) || claimed.contains(&(change.actor, change.seq))
        };
        let base: Vec<ChangeHead> = settled.into_iter().filter(is_base).collect();
        let verdict = judge(FIRST, FIRST_MAX_OP, &base, &new, covers);

        let forks = whole.forks.iter().filter(|(actor, _)| actor[..16] == device);
        assert!(verdict.forks.iter().eq(forks), "on a base judge finds other forks");
        if !verdict.forks.is_empty() {
            continue;
        }
        for change in &new {
            let alike = verdict.visible.contains(&change.hash) == whole.visible.contains(&change.hash);
            assert!(alike, "on a base another change is visible");
        }
        // Deps of other devices are missing here, so what is unsound for them waits.
        assert!(verdict.unsound.is_subset(&whole.unsound), "on a base another change is unsound");
        assert!(verdict.withdrawn.is_empty(), "on a base a change is withdrawn without a fork");
        grew |= !base.is_empty() && !verdict.visible.is_empty();
    }
    grew
}

/// The goals that hold once all stores hold the same.
fn check_end(world: &mut World, dice: &mut Dice) {
    (0..world.stores.len()).for_each(|store| check(world, store));
    let first = &world.stores[0].replica;
    let held: BTreeSet<Hash> = first.changes().map(|change| change.hash).collect();
    for store in &world.stores {
        let same: BTreeSet<Hash> = store.replica.changes().map(|change| change.hash).collect();
        assert!(same == held, "an exchange lost changes");
        assert_eq!(store.replica.verdict, first.verdict, "goal 1: stores that hold the same differ");
    }
    let mut again = Replica::default();
    for item in dice.some_of(&world.hands_on(0), 100) {
        match item {
            Item::Change(change) => again.take(&change),
            Item::Signed(signed) => again.take_signed(&signed),
        }
    }
    assert_eq!(again.verdict, first.verdict, "goal 1: another order gives another verdict");
}
