//! What dishonest devices do: with keys of their own, and without the key of the device that they claim to be.

use super::toy::{self, DAY, Dice, FIRST, Signed};
use super::world::World;
use firnbook_core::day::{ChangeHead, FIRST_MAX_OP, Hash};

/// A trick, with a key of its own unless it says otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trick {
    /// A change that keeps the rules, on any of its changes: a tip, or one long past. It is signed.
    Lawful,
    /// Another change at the position of one that it signed.
    Fork,
    /// A lawful change that is signed, but reaches nobody before the end.
    HeldBack,
    /// A sequence number is left out.
    Gap,
    /// A dep on a change of another device, beside its own or alone.
    ForeignDep,
    /// Operations that are not after those of the dep.
    EarlyOp,
    /// A dep on its other history.
    OtherHistory,
    /// A first change of an actor that depends on the actor.
    FirstOnItself,
    /// Deps out of order, twice, none, or beside the first change.
    BadDeps,
    /// One change on two of any of its changes, also on both sides of a fork.
    Merge,
    /// A signature over changes of others.
    SignsOthers,
    /// A signature over changes that do not exist, beside some that do.
    SignsMissing,
    /// A signature over any of its changes.
    SignsSome,
    /// Without the key: goes on with an honest opening.
    GoesOn,
    /// Without the key: takes the position of an honest change.
    Rival,
    /// Without the key: a new opening of an honest device, on its changes.
    NewOpening,
    /// Without the key: an honest signature moved to other tips.
    MovedSignature,
    /// Without the key: an honest signature of another day.
    OtherDay,
}

pub const TRICKS: [Trick; 18] = [
    Trick::Lawful,
    Trick::Fork,
    Trick::HeldBack,
    Trick::Gap,
    Trick::ForeignDep,
    Trick::EarlyOp,
    Trick::OtherHistory,
    Trick::FirstOnItself,
    Trick::BadDeps,
    Trick::Merge,
    Trick::SignsOthers,
    Trick::SignsMissing,
    Trick::SignsSome,
    Trick::GoesOn,
    Trick::Rival,
    Trick::NewOpening,
    Trick::MovedSignature,
    Trick::OtherDay,
];

impl World {
    /// Plays a trick, if there is what it needs.
    pub fn play(&mut self, trick: Trick, dice: &mut Dice) {
        let cheat = dice.below(self.cheats.len());
        let device = self.cheats[cheat].device();
        let of_device = |changes: &[ChangeHead]| -> Vec<ChangeHead> {
            changes.iter().filter(|change| change.device() == device).cloned().collect()
        };
        let (lawful, own) = (of_device(&self.lawful), of_device(&self.changes));
        let honest: Vec<ChangeHead> =
            self.changes.iter().filter(|change| self.honest.contains_key(&change.hash)).cloned().collect();
        match trick {
            Trick::Lawful => {
                let change = self.lawful_change(cheat, &lawful, dice);
                self.put_lawful(cheat, change);
            }
            Trick::HeldBack => {
                let change = self.lawful_change(cheat, &lawful, dice);
                let signed = self.cheats[cheat].sign(DAY, vec![change.hash]);
                self.lawful.push(change.clone());
                self.late.push(change);
                self.send_signed(signed);
            }
            Trick::Fork => {
                let Some(one) = dice.pick(&lawful) else { return };
                let other = self.beside(one, dice);
                self.forks.push((one.hash, other.hash));
                self.put_lawful(cheat, other);
            }
            Trick::SignsOthers => {
                let is_other = |change: &&ChangeHead| change.device() != device;
                let others: Vec<ChangeHead> = self.changes.iter().filter(is_other).cloned().collect();
                self.sign_some(cheat, &others, dice);
            }
            Trick::SignsSome => self.sign_some(cheat, &own, dice),
            Trick::SignsMissing => {
                let missing = toy::toy_hash(self.text());
                let beside = dice.pick(&own).map(|change| change.hash);
                let signed = self.cheats[cheat].sign(DAY, beside.into_iter().chain([missing]).collect());
                self.send_signed(signed);
            }
            Trick::MovedSignature | Trick::OtherDay => self.misuse_signature(trick, dice),
            Trick::GoesOn | Trick::Rival | Trick::NewOpening => {
                let Some(at) = dice.pick(&honest).cloned() else { return };
                let change = self.claimed(trick, &at, dice);
                self.send(change);
            }
            _ => {
                let mut change = self.lawful_change(cheat, &lawful, dice);
                self.break_rule(trick, &mut change, &own, dice);
                let text = self.text();
                let ChangeHead { actor, seq, start_op, max_op, deps, .. } = change;
                let change = toy::change(actor, seq, (start_op, max_op), deps, text);
                self.sign_some(cheat, std::slice::from_ref(&change), dice);
                self.send(change);
            }
        }
    }

    /// A change that keeps the rules: of a new opening, or the next one of an opening, on that one's change.
    fn lawful_change(&mut self, cheat: usize, lawful: &[ChangeHead], dice: &mut Dice) -> ChangeHead {
        let device = self.cheats[cheat].device();
        let history = dice.below(2);
        let fresh = self.actor(device, history);
        let text = self.text();
        let on = dice.pick(lawful).filter(|_| !text.is_multiple_of(4));
        let Some(on) = on else {
            let start_op = FIRST_MAX_OP + 1;
            return toy::change(fresh, 1, (start_op, start_op), vec![FIRST], text);
        };
        let start_op = on.max_op + 1 + dice.below(4) as u32;
        let is_last = lawful.iter().all(|other| other.actor != on.actor || other.seq <= on.seq);
        let (actor, seq) = if is_last && dice.below(4) > 0 {
            (on.actor, on.seq + 1)
        } else {
            let mut actor = fresh;
            actor[23] = actor[23] & !1 | on.actor[23] & 1;
            (actor, 1)
        };
        toy::change(actor, seq, (start_op, start_op), vec![on.hash], text)
    }

    fn put_lawful(&mut self, cheat: usize, change: ChangeHead) {
        let signed = self.cheats[cheat].sign(DAY, vec![change.hash]);
        self.lawful.push(change.clone());
        self.send(change);
        self.send_signed(signed);
    }

    /// Another change at the same position.
    fn beside(&mut self, one: &ChangeHead, dice: &mut Dice) -> ChangeHead {
        let text = self.text();
        let start_op = one.start_op + dice.below(2) as u32;
        toy::change(one.actor, one.seq, (start_op, start_op), one.deps.clone(), text)
    }

    fn break_rule(&mut self, trick: Trick, change: &mut ChangeHead, own: &[ChangeHead], dice: &mut Dice) {
        let other = dice.pick(own).cloned();
        match trick {
            Trick::Gap => change.seq += 1 + dice.below(2) as u32,
            Trick::ForeignDep => {
                let foreign = self.changes.iter().filter(|c| c.device() != change.device());
                let foreign: Vec<ChangeHead> = foreign.cloned().collect();
                if let Some(dep) = dice.pick(&foreign) {
                    change.start_op = change.start_op.max(dep.max_op + 1);
                    change.deps.push(dep.hash);
                    change.deps.retain(|dep| *dep != FIRST);
                }
            }
            Trick::EarlyOp => change.start_op = change.start_op.saturating_sub(1 + dice.below(5) as u32),
            Trick::OtherHistory => change.actor[23] ^= 1,
            Trick::FirstOnItself => {
                if let Some(other) = other {
                    (change.actor, change.seq) = (other.actor, 1);
                    (change.start_op, change.deps) = (other.max_op + 1, vec![other.hash]);
                }
            }
            Trick::BadDeps => match (dice.below(4), other) {
                (0, _) => change.deps.clear(),
                (1, _) => change.deps.push(change.deps[0]),
                (2, _) => change.deps.push(FIRST),
                (_, Some(other)) => {
                    change.deps.push(other.hash);
                    change.deps.sort_unstable();
                    change.deps.reverse();
                    change.start_op = change.start_op.max(other.max_op + 1);
                }
                _ => change.seq = 0,
            },
            _ => {
                if let Some(other) = other {
                    change.deps.push(other.hash);
                    change.deps.retain(|dep| *dep != FIRST);
                    change.deps.sort_unstable();
                    change.deps.dedup();
                    change.start_op = change.start_op.max(other.max_op + 1);
                }
            }
        }
        change.max_op = change.max_op.max(change.start_op);
    }

    /// A change that claims to be of the device of `at`.
    fn claimed(&mut self, trick: Trick, at: &ChangeHead, dice: &mut Dice) -> ChangeHead {
        if trick == Trick::Rival {
            return self.beside(at, dice);
        }
        let (actor, seq) = if trick == Trick::GoesOn {
            (at.actor, at.seq + 1)
        } else {
            let device = at.actor[..16].try_into().unwrap();
            (self.actor(device, usize::from(at.actor[23] & 1)), 1)
        };
        let text = self.text();
        toy::change(actor, seq, (at.max_op + 1, at.max_op + 1), vec![at.hash], text)
    }

    fn misuse_signature(&mut self, trick: Trick, dice: &mut Dice) {
        let cheats: Vec<u64> = self.cheats.iter().map(|cheat| cheat.public()).collect();
        let good: Vec<Signed> =
            self.signed.iter().filter(|signed| !cheats.contains(&signed.key)).cloned().collect();
        let Some(signed) = dice.pick(&good) else { return };
        let device_changes: Vec<Hash> = {
            let device = signed.verified(DAY).map(|cover| cover.device);
            let of_device = |change: &&ChangeHead| device.is_some_and(|device| change.device() == device);
            self.changes.iter().filter(of_device).map(|change| change.hash).collect()
        };
        let moved = if trick == Trick::OtherDay {
            let owner = self.stores.iter().map(|store| store.secret()).find(|s| s.public() == signed.key);
            owner.map(|secret| secret.sign(DAY + 1, device_changes))
        } else {
            Some(Signed { tips: device_changes, ..signed.clone() })
        };
        if let Some(moved) = moved {
            self.send_signed(moved);
        }
    }

    /// One signature over some of these changes.
    fn sign_some(&mut self, cheat: usize, changes: &[ChangeHead], dice: &mut Dice) {
        let tips = dice.some_of(changes, 60).into_iter().map(|change| change.hash).collect();
        let signed = self.cheats[cheat].sign(DAY, tips);
        self.send_signed(signed);
    }
}
