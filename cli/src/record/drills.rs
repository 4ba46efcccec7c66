//! The list of drills, and setting one up from the recorder: label, form, team, slope, targets, one question each.

use super::pane::{Choice, Line, List, Pane, Typed};
use super::post::{Post, Pressed};
use firnbook_core::day::DayId;
use firnbook_core::entry::{Drill, DrillForm, Target, fold};
use firnbook_core::logbook::{DrillOffer, DrillSetup, Logbook, LogbookError, Recorder};
use firnbook_core::units::Degrees;

/// The drills of the day, one of them marked.
#[derive(Clone, Debug, Default)]
pub struct DrillList {
    /// The drills.
    pub offers: Vec<DrillOffer>,
    /// Which of them is marked.
    pub marked: usize,
    /// The drill that is being set up.
    setup: Option<DrillSetup>,
}

impl DrillList {
    pub(super) fn of(book: &Logbook, day: DayId, me: &str) -> Result<DrillList, LogbookError> {
        let offers = Recorder::offers(book, day, me)?;
        let sat = offers.iter().position(|o| o.last && !o.ended);
        let marked = sat.or_else(|| offers.iter().position(|o| !o.ended)).unwrap_or(0);
        Ok(DrillList { offers, marked, setup: None })
    }

    /// Takes a list that was read anew; the mark stays on its drill.
    pub(super) fn take(&mut self, list: DrillList) {
        let label = self.offers.get(self.marked).map(|o| o.label.clone());
        let marked = label.and_then(|l| list.offers.iter().position(|o| o.label == l));
        self.marked = marked.unwrap_or(list.marked);
        self.offers = list.offers;
    }

    /// The smallest number that no drill is called.
    fn free_label(&self) -> String {
        let taken = |n: usize| self.offers.iter().any(|o| fold(&o.label) == n.to_string());
        (1..).find(|n| !taken(*n)).unwrap_or(1).to_string()
    }
}

impl Post<'_> {
    pub(super) fn key_in_drills(&mut self, key: Pressed) {
        let n = self.drills.offers.len();
        if let (Pane::List(list), Pressed::Char(c)) = (&self.pane, key)
            && let Some(picked) = list.pick(c)
        {
            let list = list.clone();
            self.pane = Pane::Overview;
            if let Choice::Form = list.of {
                self.form_chosen(picked);
            }
            return;
        }
        match key {
            Pressed::Enter if matches!(self.pane, Pane::List(_)) => {
                self.pane = Pane::Overview;
                self.ask_team();
            }
            Pressed::Up => self.drills.marked = self.drills.marked.saturating_sub(1),
            Pressed::Down => self.drills.marked = (self.drills.marked + 1).min(n.saturating_sub(1)),
            Pressed::Enter | Pressed::Char(' ') if n > 0 => self.sit_down(self.drills.marked),
            Pressed::Char(c) if c.is_ascii_digit() => match c.to_digit(10).map(|d| d as usize) {
                Some(d) if d >= 1 && d <= n => self.sit_down(d - 1),
                _ => self.alarm(format!("there is no drill {c} in this list")),
            },
            Pressed::Char('+') => self.ask_label(None),
            Pressed::Char('=') if n > 0 => {
                let like = self.drills.offers[self.drills.marked].label.clone();
                self.ask_label(Some(like));
            }
            Pressed::Char('q' | 'Q') if self.pane.is_leaving() => self.leave(),
            Pressed::Char('q' | 'Q') => self.pane = Pane::Leaving,
            Pressed::Char('?') => self.pane = Pane::Help,
            _ if n == 0 => self.alarm("no drill is set up yet; + sets one up".to_owned()),
            _ => self.alarm("a number or ENTER opens a drill, + sets one up, q leaves".to_owned()),
        }
    }

    fn sit_down(&mut self, n: usize) {
        let Some(label) = self.drills.offers.get(n).map(|o| o.label.clone()) else { return };
        let opened = Recorder::open(self.book, self.day, &self.me, &label, self.rotation_interval_s);
        if let Some(recorder) = self.tell(opened) {
            self.recorder = Some(recorder);
            self.pane = Pane::Overview;
            self.message = None;
        }
    }

    fn ask_label(&mut self, like: Option<String>) {
        let label = self.drills.free_label();
        let like = like.map(|l| l.as_str().into());
        let drill = Drill { like, ..Drill::named(label.as_str().into()) };
        self.drills.setup = Some(DrillSetup { drill, targets: Vec::new() });
        self.ask_line("label of the new drill", &format!("ENTER alone takes {label}"), Typed::DrillLabel);
    }

    pub(super) fn form_chosen(&mut self, n: usize) {
        if let Some(setup) = &mut self.drills.setup {
            setup.drill.form = DrillForm::ALL.get(n).copied();
        }
        self.ask_team();
    }

    fn ask_team(&mut self) {
        self.ask_line("team that runs it", "ENTER alone leaves it open", Typed::DrillTeam);
    }

    /// Takes one answer about the new drill and asks the next.
    pub(super) fn enter_drill(&mut self, line: Line, text: &str) {
        let Some(setup) = &mut self.drills.setup else { return };
        let again = setup.drill.like.is_some();
        match &line.of {
            Typed::DrillLabel => {
                if !text.is_empty() {
                    setup.drill.label = text.into();
                }
                let label = setup.drill.label.folded();
                if self.drills.offers.iter().any(|o| fold(&o.label) == label) {
                    self.alarm(format!("drill {text} is set up already; a repetition is a drill of its own"));
                    self.pane = Pane::Line(line);
                } else if again {
                    self.ask_team();
                } else {
                    let options = DrillForm::ALL.iter().map(|f| f.word().replace('_', " ")).collect();
                    let title = "what is practised? ENTER leaves it open".to_owned();
                    self.pane = Pane::List(List { title, options, of: Choice::Form });
                }
            }
            Typed::DrillTeam => {
                setup.drill.team = Some(text.to_owned()).filter(|t| !t.is_empty());
                if again {
                    self.set_up();
                } else {
                    let hint = "degrees from level; ENTER alone leaves it open";
                    self.ask_line("slope", hint, Typed::DrillSlope);
                }
            }
            Typed::DrillSlope => match (text.is_empty(), text.trim_end_matches('°').trim().parse::<f64>()) {
                (false, Err(_)) => {
                    self.alarm(format!("\"{text}\" is no number of degrees; write 30, or ENTER alone"));
                    self.pane = Pane::Line(line);
                }
                (_, slope) => {
                    setup.drill.slope_deg = slope.ok().map(Degrees);
                    let hint = "parted by spaces, for example A B; ENTER alone: none";
                    self.ask_line("labels of the targets", hint, Typed::DrillTargets);
                }
            },
            _ => {
                setup.targets = text.split([' ', ',']).filter(|l| !l.is_empty()).map(bare_target).collect();
                self.set_up();
            }
        }
    }

    fn set_up(&mut self) {
        let Some(setup) = self.drills.setup.take() else { return };
        let label = setup.drill.label.0.clone();
        let done = Recorder::set_up(self.book, self.day, &self.me, setup);
        if self.tell(done).is_none() {
            return;
        }
        let list = DrillList::of(self.book, self.day, &self.me);
        if let Some(list) = self.tell(list) {
            self.drills.take(list);
        }
        if let Some(n) = self.drills.offers.iter().position(|o| fold(&o.label) == fold(&label)) {
            self.sit_down(n);
            self.say(format!("drill {label} is set up; SPACE when the avalanche stops"));
        }
    }
}

/// A target of which only the label is known.
pub(super) fn bare_target(label: &str) -> Target {
    Target {
        label: label.into(),
        item: None,
        set_depth_cm: None,
        direction: None,
        orientation: None,
        tilt_deg: None,
        transmits: None,
    }
}
