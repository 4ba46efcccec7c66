//! What stands in the lower part of the screen: the overview, a depth being typed, a list to choose from, a line being typed. Plain state; what a
//! key does in it is `post`'s.

use firnbook_core::entry::{EntryId, Field, Method, Time, Topic};

/// The lower part of the screen.
#[derive(Clone, Debug, Default)]
pub enum Pane {
    /// What comes next, who digs, what lacks, what was last.
    #[default]
    Overview,
    /// A depth of a target is being typed.
    Depth(DepthTyped),
    /// A list: a digit chooses.
    List(List),
    /// A line is being typed.
    Line(Line),
    /// All keys.
    Help,
    /// Leaving was asked for once.
    Leaving,
}

/// A depth on its way.
#[derive(Clone, Debug)]
pub struct DepthTyped {
    /// The digits so far.
    pub digits: String,
    /// When the first digit was pressed.
    pub at: Time,
    /// The target.
    pub target: String,
    /// The strike that still lacks its depth; `None`: it becomes an entry of its own.
    pub strike: Option<EntryId>,
    /// How it was measured, for an entry of its own.
    pub method: Method,
}

/// A list to choose from.
#[derive(Clone, Debug)]
pub struct List {
    /// What is asked.
    pub title: String,
    /// The choices; a digit picks one, 0 the tenth.
    pub options: Vec<String>,
    /// What the choice is for.
    pub of: Choice,
}

/// What a choice is for.
#[derive(Clone, Copy, Debug)]
pub enum Choice {
    /// Who is at the head in this turn.
    Front(EntryId),
    /// Why the drill ended; this is its end.
    Why(EntryId),
    /// What disturbed, at this instant.
    Source(Time),
    /// What a new drill practises.
    Form,
}

/// A line being typed.
#[derive(Clone, Debug)]
pub struct Line {
    /// What is asked.
    pub title: String,
    /// What may be typed, and what Enter alone does.
    pub hint: String,
    /// The text so far.
    pub typed: String,
    /// What the text is for.
    pub of: Typed,
}

/// What a line is for.
#[derive(Clone, Debug)]
pub enum Typed {
    /// A note, of this instant.
    Note(Time, Topic),
    /// The call sign of who is at the head in this turn.
    Front(EntryId),
    /// The label of one more target.
    Target,
    /// A field of an entry, and those that follow.
    Detail(EntryId, &'static Field, Vec<&'static Field>),
    /// The label of a new drill.
    DrillLabel,
    /// The team of a new drill.
    DrillTeam,
    /// The slope of a new drill.
    DrillSlope,
    /// The labels of the targets of a new drill.
    DrillTargets,
}

impl List {
    /// The choice that a digit picks.
    #[must_use]
    pub fn pick(&self, digit: char) -> Option<usize> {
        let digit = digit.to_digit(10)? as usize;
        let n = if digit == 0 { 9 } else { digit - 1 };
        (n < self.options.len()).then_some(n)
    }
}
