//! The observer's post: what is on the screen and what a key does. It knows core's recorder and a clock, and no terminal: a test presses keys on
//! it as a terminal does.

use super::drills::{DrillList, bare_target};
use super::keys::{Deed, deed};
use super::pane::{Choice, DepthTyped, Line, List, Pane, Typed};
use firnbook_core::clock::Clock;
use firnbook_core::day::DayId;
use firnbook_core::entry::{
    EndReason, Interference, InterferenceSource, Method, Moment, Note, Outcome, Step, Strike, Time,
};
use firnbook_core::logbook::{Lacking, Logbook, LogbookError, Press, Recorder, Stamped, Standing};
use std::sync::Arc;

/// A key, as far as the recorder knows keys.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pressed {
    /// A character; a space and a tab too.
    Char(char),
    /// Takes what was typed.
    Enter,
    /// Back to the overview; what was typed is dropped.
    Esc,
    /// Takes the last character away.
    Backspace,
    /// One up in a list.
    Up,
    /// One down in a list.
    Down,
}

/// A sentence at the foot of the screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// The words.
    pub text: String,
    /// Something did not go well.
    pub alarm: bool,
    /// When it was said, ms since 1970 UTC.
    pub said_ms: i64,
}

/// A key that stamps and comes again within this time, ms, is a held key and no second press (common practice, no source: the machine's own
/// repetition begins after about half a second and goes on every 30 ms).
const HELD_MS: i64 = 700;
/// While a rotation is overdue the bell rings again after this time, ms (common practice, no source).
const RING_AGAIN_MS: i64 = 30_000;

/// One observer at the screen.
pub struct Post<'a> {
    pub(super) book: &'a mut Logbook,
    clock: Arc<dyn Clock>,
    pub(super) day: DayId,
    pub(super) me: String,
    pub(super) rotation_interval_s: f64,
    pub(super) recorder: Option<Recorder>,
    /// The drills to choose from, shown while no recorder is open.
    pub drills: DrillList,
    /// The lower part of the screen.
    pub pane: Pane,
    /// What is said at the foot.
    pub message: Option<Message>,
    last_stamp: Option<(char, i64)>,
    rung_ms: Option<i64>,
    left: bool,
}

impl<'a> Post<'a> {
    /// Takes the post: at the drill that is named, else at the one where this person sat last if it has not ended, else at the list of drills.
    ///
    /// # Errors
    /// The store's, or a drill that is not there.
    pub fn new(
        book: &'a mut Logbook,
        clock: Arc<dyn Clock>,
        day: DayId,
        me: &str,
        drill: Option<&str>,
        rotation_interval_s: f64,
    ) -> Result<Post<'a>, LogbookError> {
        let drills = DrillList::of(book, day, me)?;
        let sat = drills.offers.iter().find(|o| o.last && !o.ended).map(|o| o.label.clone());
        let drill = drill.map(str::to_owned).or(sat);
        let recorder = drill.map(|d| Recorder::open(book, day, me, &d, rotation_interval_s)).transpose()?;
        Ok(Post {
            book,
            clock,
            day,
            me: me.to_owned(),
            rotation_interval_s,
            recorder,
            drills,
            pane: Pane::Overview,
            message: None,
            last_stamp: None,
            rung_ms: None,
            left: false,
        })
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> Time {
        self.clock.now()
    }

    /// Where the observer stands; `None` at the list of drills.
    #[must_use]
    pub fn standing(&self) -> Option<Standing> {
        self.recorder.as_ref().map(|r| r.standing(self.now()))
    }

    /// The observer has left.
    #[must_use]
    pub fn left(&self) -> bool {
        self.left
    }

    pub(super) fn leave(&mut self) {
        self.left = true;
    }

    /// Whether the bell is to be rung now: a rotation is due, and every half minute that it is overdue.
    pub fn rings(&mut self) -> bool {
        let now_ms = self.now().millis();
        let due = self
            .standing()
            .is_some_and(|s| !s.paused && s.ended_at.is_none() && s.turns.iter().any(|t| t.due_in_ms <= 0));
        if !due {
            self.rung_ms = None;
            return false;
        }
        let rings = self.rung_ms.is_none_or(|at| now_ms - at >= RING_AGAIN_MS);
        if rings {
            self.rung_ms = Some(now_ms);
        }
        rings
    }

    /// Reads what others wrote into the store since.
    pub fn refresh(&mut self) {
        let read = match &mut self.recorder {
            Some(recorder) => recorder.refresh(self.book),
            None => DrillList::of(self.book, self.day, &self.me).map(|list| self.drills.take(list)),
        };
        self.tell(read);
    }

    /// A key was pressed, now.
    pub fn key(&mut self, key: Pressed) {
        let at = self.now();
        if matches!(self.pane, Pane::Help) {
            self.pane = Pane::Overview;
            return;
        }
        if let Pane::Line(line) = &mut self.pane {
            match key {
                Pressed::Char('\t') => line.next_topic(),
                Pressed::Char(c) => line.typed.push(c),
                Pressed::Backspace => drop(line.typed.pop()),
                Pressed::Enter => self.enter_line(),
                Pressed::Esc => self.pane = Pane::Overview,
                Pressed::Up | Pressed::Down => {}
            }
            return;
        }
        match key {
            Pressed::Esc => self.pane = Pane::Overview,
            _ if self.recorder.is_none() => self.key_in_drills(key),
            Pressed::Char(c) if c.is_ascii_digit() => self.digit(c, at),
            Pressed::Backspace => {
                if let Pane::Depth(depth) = &mut self.pane {
                    depth.digits.pop();
                    if depth.digits.is_empty() {
                        self.pane = Pane::Overview;
                    }
                }
            }
            Pressed::Enter => self.enter(),
            Pressed::Char('\t') if matches!(self.pane, Pane::Depth(_)) => self.next_method(),
            Pressed::Char(' ') if matches!(self.pane, Pane::Depth(_)) => self.enter(),
            Pressed::Char('+') if matches!(&self.pane, Pane::List(List { of: Choice::Front(_), .. })) => {
                self.type_front();
            }
            Pressed::Char(c) => self.letter(c, at),
            Pressed::Up | Pressed::Down => {}
        }
    }

    /// A letter on the overview; over a depth or a list too, for the time of a step counts more than what is half typed.
    fn letter(&mut self, key: char, at: Time) {
        let Some(deed) = deed(key) else {
            self.alarm(format!("\"{key}\" does nothing here; ? shows the keys"));
            return;
        };
        if self.pane.is_leaving() {
            self.pane = Pane::Overview;
            if deed == Deed::Leave {
                self.left = true;
                return;
            }
        }
        let stamps = matches!(
            deed,
            Deed::Next
                | Deed::Step(_)
                | Deed::Strike
                | Deed::FalseStrike
                | Deed::Turn
                | Deed::TurnOver
                | Deed::Pause
        );
        if stamps {
            let held =
                self.last_stamp.is_some_and(|(k, ms)| k == key && (0..HELD_MS).contains(&(at.millis() - ms)));
            self.last_stamp = Some((key, at.millis()));
            if held {
                return;
            }
        }
        self.does(deed, at);
    }

    fn does(&mut self, deed: Deed, at: Time) {
        let Some(stands) = self.standing() else { return };
        match deed {
            Deed::Next => match stands.next {
                Some(Step::Strike) => self.does(Deed::Strike, at),
                Some(step) => self.does(Deed::Step(step), at),
                None => self.alarm(match stands.next_target {
                    Some(target) => format!("nothing is expected here; TAB goes to target {target}"),
                    None => "this drill has ended; b shows the drills".to_owned(),
                }),
            },
            Deed::Step(Step::End) => {
                let stamped = self.stamp(at, Press::step(Step::End));
                if let Some(stamped) = stamped {
                    self.ask_why(stamped.id);
                }
            }
            Deed::Step(step) => drop(self.stamp(at, Press::step(step))),
            Deed::Strike => drop(self.stamp(at, Press::strike())),
            Deed::FalseStrike => {
                if let Press::Strike(strike) = Press::strike() {
                    let press = Press::Strike(Strike { outcome: Some(Outcome::False), ..strike });
                    self.stamp(at, press);
                }
            }
            Deed::Turn => {
                if let Some(stamped) = self.stamp(at, Press::turn(None)) {
                    self.ask_front(stamped.id);
                }
            }
            Deed::TurnOver => drop(self.stamp(at, Press::TurnOver)),
            Deed::Pause => {
                let step = if stands.paused { Step::Resume } else { Step::Pause };
                self.stamp(at, Press::step(step));
            }
            Deed::Interference => {
                let options = InterferenceSource::ALL.iter().map(|s| s.word().replace('_', " ")).collect();
                self.pane =
                    Pane::List(List { title: "what disturbs?".to_owned(), options, of: Choice::Source(at) });
            }
            Deed::Note => self.pane = Line::note(at),
            Deed::Details => self.ask_details(&stands),
            Deed::Missing => self.fill_missing(&stands, at),
            Deed::NextTarget => self.next_target(&stands),
            Deed::NewTarget => {
                self.ask_line("label of the new target", "ENTER takes it, ESC leaves it", Typed::Target)
            }
            Deed::Drills => {
                self.recorder = None;
                self.refresh();
            }
            Deed::Undo => {
                let recorder = self.recorder.as_mut();
                let undone = recorder.map(|r| r.undo(self.book)).transpose();
                if let Some(Some(undone)) = self.tell(undone) {
                    self.pane = Pane::Overview;
                    self.say(format!("taken back: {}", undone.what));
                }
            }
            Deed::Help => self.pane = Pane::Help,
            Deed::Leave => self.pane = Pane::Leaving,
        }
    }

    /// Writes a press down and says so.
    fn stamp(&mut self, at: Time, press: Press) -> Option<Stamped> {
        let recorder = self.recorder.as_mut()?;
        let stamped = recorder.press(self.book, Some(at), press);
        let stamped = self.tell(stamped)?;
        let what = self.standing()?.last?.what;
        if stamped.again {
            self.alarm(format!("{what} again: the first one counts (u takes this one back)"));
        } else {
            self.say(format!("written: {what}"));
        }
        Some(stamped)
    }

    fn digit(&mut self, digit: char, at: Time) {
        match &mut self.pane {
            Pane::Depth(depth) if depth.digits.len() < 4 => depth.digits.push(digit),
            Pane::Depth(_) => {}
            Pane::List(list) => match list.pick(digit) {
                Some(n) => {
                    let list = list.clone();
                    self.pane = Pane::Overview;
                    self.chosen(list, n);
                }
                None => self.alarm(format!("there is no {digit} in this list")),
            },
            _ => self.begin_depth(digit.to_string(), at),
        }
    }

    fn begin_depth(&mut self, digits: String, at: Time) {
        let Some(stands) = self.standing() else { return };
        let Some(here) = stands.targets.into_iter().find(|t| t.focus) else { return };
        let strike = here.strike.filter(|_| here.depths_cm.is_empty());
        self.pane = Pane::Depth(DepthTyped { digits, at, target: here.label, strike, method: Method::Probe });
    }

    fn enter(&mut self) {
        match std::mem::take(&mut self.pane) {
            Pane::Depth(depth) => self.enter_depth(depth),
            Pane::List(list) => self.say(format!("left open: {}", list.title)),
            _ => {}
        }
    }

    fn next_method(&mut self) {
        if let Pane::Depth(depth) = &mut self.pane {
            // The first TAB makes it a measurement of its own beside the strike's.
            let next = Method::ALL
                .iter()
                .position(|m| *m == depth.method)
                .map_or(0, |n| (n + 1) % Method::ALL.len());
            if depth.strike.take().is_none() {
                depth.method = Method::ALL[next];
            }
        }
    }

    fn next_target(&mut self, stands: &Standing) {
        let here = stands.targets.iter().position(|t| t.focus).unwrap_or(0);
        let Some(next) = stands.targets.get((here + 1) % stands.targets.len().max(1)) else { return };
        if stands.targets.len() < 2 {
            self.alarm("this drill has no other target; + sets one up".to_owned());
            return;
        }
        let label = next.label.clone();
        let moved = self.recorder.as_mut().map(|r| r.focus_on(self.book, &label)).transpose();
        if self.tell(moved).is_some() {
            self.say(format!("in focus: target {label}"));
        }
    }

    fn fill_missing(&mut self, stands: &Standing, at: Time) {
        let fillable = stands.lacks.iter().find_map(|l| Some((l.what, l.entry?, l.target.clone())));
        match fillable {
            Some((Lacking::Depth, strike, target)) => {
                self.pane = Pane::Depth(DepthTyped {
                    digits: String::new(),
                    at,
                    target: target.unwrap_or_default(),
                    strike: Some(strike),
                    method: Method::Probe,
                });
            }
            Some((Lacking::Front, turn, _)) => self.ask_front(turn),
            Some((Lacking::Why, end, _)) => self.ask_why(end),
            _ if stands.lacks.is_empty() => self.say("nothing is missing".to_owned()),
            _ => {
                let says: Vec<&str> = stands.lacks.iter().map(|l| l.says.as_str()).collect();
                self.say(format!("still to be pressed: {}", says.join(", ")));
            }
        }
    }

    /// What was chosen from a list.
    fn chosen(&mut self, list: List, n: usize) {
        let option = &list.options[n];
        match list.of {
            Choice::Front(turn) => {
                self.add(turn, Press::turn(Some(option.clone())), &format!("{option} is at the head"))
            }
            Choice::Why(end) => {
                let why = EndReason::ALL.get(n).copied();
                let press = Press::Moment(Moment { step: Step::End, why, person: None, reading_m: None });
                self.add(end, press, &format!("ended: {option}"));
            }
            Choice::Source(at) => {
                let Some(source) = InterferenceSource::ALL.get(n).copied() else { return };
                let body = Interference {
                    source,
                    mode: None,
                    effect: None,
                    person: None,
                    distance_cm: None,
                    lost_s: None,
                    remedy: None,
                };
                if self.stamp(at, Press::Interference(body)).is_some() {
                    self.say(format!("written: interference, {option} (l adds distance and effect)"));
                }
            }
            Choice::Form => self.form_chosen(n),
        }
    }

    /// Takes a line that was typed.
    fn enter_line(&mut self) {
        let Pane::Line(line) = std::mem::take(&mut self.pane) else { return };
        let text = line.typed.trim().to_owned();
        match line.of.clone() {
            Typed::Note(at, topic) => {
                let about = Note { topic: Some(topic), person: None, file_name: None, file_sha256: None };
                if self.stamp(at, Press::Note { text, about }).is_none() {
                    self.pane = Pane::Line(line);
                }
            }
            Typed::Front(_) if text.is_empty() => {}
            Typed::Front(turn) => {
                let says = format!("{text} is at the head");
                self.add(turn, Press::turn(Some(text)), &says);
            }
            Typed::Target => {
                let target = bare_target(&text);
                let added = self.recorder.as_mut().map(|r| r.add_target(self.book, target)).transpose();
                match self.tell(added) {
                    Some(_) => self.say(format!("in focus: new target {text}")),
                    None => self.pane = Pane::Line(line),
                }
            }
            Typed::Detail(id, field, rest) => self.enter_detail(line, &text, id, field, rest),
            Typed::DrillLabel | Typed::DrillTeam | Typed::DrillSlope | Typed::DrillTargets => {
                self.enter_drill(line, &text);
            }
        }
    }

    pub(super) fn ask_line(&mut self, title: &str, hint: &str, of: Typed) {
        let (title, hint) = (title.to_owned(), hint.to_owned());
        self.pane = Pane::Line(Line { title, hint, typed: String::new(), of });
    }

    /// What a call gave, or a sentence at the foot why it gave nothing.
    pub(super) fn tell<T>(&mut self, result: Result<T, LogbookError>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(error) => {
                self.alarm(error.to_string());
                None
            }
        }
    }

    pub(super) fn say(&mut self, text: String) {
        self.message = Some(Message { text, alarm: false, said_ms: self.now().millis() });
    }

    pub(super) fn alarm(&mut self, text: String) {
        self.message = Some(Message { text, alarm: true, said_ms: self.now().millis() });
    }
}
