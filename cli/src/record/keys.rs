//! Which key does what: one table, from which the keys are read, the line of keys is written and the help is made.

use firnbook_core::entry::Step;

/// What a key asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deed {
    /// the step that is expected next
    Next,
    /// a step is reached
    Step(Step),
    /// a sure strike
    Strike,
    /// a strike on something else
    FalseStrike,
    /// someone goes to the head
    Turn,
    /// nobody digs any more
    TurnOver,
    /// halts the drill, or goes on
    Pause,
    /// a note
    Note,
    /// interference
    Interference,
    /// details of the last press
    Details,
    /// fill in what is missing first
    Missing,
    /// focus on the next target
    NextTarget,
    /// set up one more target
    NewTarget,
    /// the list of drills
    Drills,
    /// take the last press back
    Undo,
    /// all keys
    Help,
    /// leave
    Leave,
}

/// A key with what it does, in a word for the line of keys and in a sentence for the help.
pub struct Key {
    /// The key; a space is the space bar, a tab the tabulator.
    pub key: char,
    /// What it does.
    pub deed: Deed,
    /// In a word.
    pub word: &'static str,
    /// In a sentence.
    pub says: &'static str,
}

const fn key(key: char, deed: Deed, word: &'static str, says: &'static str) -> Key {
    Key { key, deed, word, says }
}

/// Every key of the recorder, in the order of a drill. Digits are not among them: they begin a depth, or choose from a list.
pub const KEYS: &[Key] = &[
    key(' ', Deed::Next, "next", "the step that is expected next"),
    key('s', Deed::Step(Step::Start), "start", "the avalanche stops"),
    key('g', Deed::Step(Step::Signal), "signal", "first stable signal"),
    key('c', Deed::Step(Step::Coarse), "coarse", "coarse search ends, about 3 m"),
    key('f', Deed::Step(Step::Fine), "fine", "lowest reading marked"),
    key('p', Deed::Step(Step::Probing), "probing", "first probe hole"),
    key('h', Deed::Strike, "hit", "sure strike, probe stays in"),
    key('m', Deed::FalseStrike, "miss", "struck something else"),
    key('d', Deed::Step(Step::Digging), "digging", "first shovel stroke"),
    key('r', Deed::Turn, "rotation", "someone goes to the head"),
    key('t', Deed::TurnOver, "turn over", "nobody digs any more"),
    key('a', Deed::Step(Step::Airway), "airway", "airway exposed"),
    key('o', Deed::Step(Step::Extricated), "out", "out of the snow"),
    key('x', Deed::Step(Step::TransmitterOff), "off", "found transmitter switched off"),
    key('z', Deed::Step(Step::Suppressed), "suppressed", "found one masked on a searcher"),
    key('.', Deed::Pause, "pause", "halt the drill, or go on"),
    key('e', Deed::Step(Step::End), "end", "the drill is over; then why"),
    key('i', Deed::Interference, "interference", "something disturbs a device"),
    key('n', Deed::Note, "note", "write a note"),
    key('u', Deed::Undo, "undo", "take the last press back (30 s)"),
    key('l', Deed::Details, "last", "add details to the last press"),
    key('w', Deed::Missing, "what lacks", "fill in what is missing"),
    key('\t', Deed::NextTarget, "target", "focus on the next target"),
    key('+', Deed::NewTarget, "new target", "set one more target up"),
    key('b', Deed::Drills, "drills", "back to the list of drills"),
    key('?', Deed::Help, "help", "these keys"),
    key('q', Deed::Leave, "leave", "leave; all is kept"),
];

/// What a key asks for; capital letters are small ones with the lock on.
#[must_use]
pub fn deed(key: char) -> Option<Deed> {
    let key = key.to_ascii_lowercase();
    KEYS.iter().find(|k| k.key == key).map(|k| k.deed)
}

/// How a key is called on the screen.
#[must_use]
pub fn cap(key: char) -> String {
    match key {
        ' ' => "SPACE".to_owned(),
        '\t' => "TAB".to_owned(),
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_does_two_things_and_every_step_has_one() {
        for (n, one) in KEYS.iter().enumerate() {
            assert!(
                KEYS[n + 1..].iter().all(|other| other.key != one.key && other.deed != one.deed),
                "{}",
                one.word
            );
            assert!(!one.key.is_ascii_digit(), "digits begin a depth");
            assert_eq!(deed(one.key), Some(one.deed));
        }
        let has = |step: Step| match step {
            Step::Strike => deed('h') == Some(Deed::Strike),
            Step::Pause | Step::Resume => deed('.') == Some(Deed::Pause),
            other => KEYS.iter().any(|k| k.deed == Deed::Step(other)),
        };
        assert!(Step::ALL.iter().all(|s| has(*s)));
        assert_eq!(deed('S'), deed('s'));
    }
}
