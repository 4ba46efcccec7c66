//! What is asked after a press: how deep, who digs, why it ended, and every further field of the last entry.

use super::pane::{Choice, DepthTyped, Line, List, Pane, Typed};
use super::post::Post;
use firnbook_core::entry::{
    Depth, EndReason, EntryId, Field, Shape, Strike, Time, TimeContext, Topic, from_text, kind,
};
use firnbook_core::logbook::{LogbookError, Press, Standing};
use firnbook_core::store::Filter;
use firnbook_core::units::Centimetres;
use serde_json::Map;

/// At most this many people stand in a list: one a digit.
const DIGITS: usize = 10;

impl Post<'_> {
    /// Who is at the head? Those who did not dig yet or the least come first, so that the next one is near the top.
    pub(super) fn ask_front(&mut self, turn: EntryId) {
        let Some(stands) = self.standing() else { return };
        let mut people: Vec<_> = stands.people.iter().filter(|p| !p.digging).collect();
        people.sort_by_key(|p| p.turns);
        let options: Vec<String> = people.into_iter().map(|p| p.call_sign.clone()).take(DIGITS).collect();
        if options.is_empty() {
            self.type_front_of(turn);
            return;
        }
        let title = "who is at the head? + types a call sign".to_owned();
        self.pane = Pane::List(List { title, options, of: Choice::Front(turn) });
    }

    /// Types the call sign instead of choosing it.
    pub(super) fn type_front(&mut self) {
        if let Pane::List(List { of: Choice::Front(turn), .. }) = self.pane {
            self.type_front_of(turn);
        }
    }

    fn type_front_of(&mut self, turn: EntryId) {
        self.ask_line("who is at the head?", "a call sign; ENTER alone leaves it open", Typed::Front(turn));
    }

    pub(super) fn ask_why(&mut self, end: EntryId) {
        let options = EndReason::ALL.iter().map(|w| w.word()).collect();
        self.pane = Pane::List(List { title: "why did it end?".to_owned(), options, of: Choice::Why(end) });
    }

    /// Takes a depth: into the strike that lacks it, else as an entry of its own.
    pub(super) fn enter_depth(&mut self, depth: DepthTyped) {
        let Some(value) = self.depth_cm(&depth) else {
            self.pane = Pane::Depth(depth);
            return;
        };
        let says = format!("{}{} cm", spaced(&depth.target), value.0);
        match (depth.strike, Press::strike()) {
            (Some(strike), Press::Strike(bare)) => {
                let details = Press::Strike(Strike { depth_cm: Some(value), outcome: None, ..bare });
                self.add(strike, details, &format!("strike {says}"));
            }
            _ => {
                let body =
                    Depth { depth_cm: value, method: Some(depth.method), datum: None, direction: None };
                let recorder = self.recorder.as_mut();
                let stamped =
                    recorder.map(|r| r.press(self.book, Some(depth.at), Press::Depth(body))).transpose();
                match self.tell(stamped) {
                    Some(_) => self.say(format!("written: depth {says} by {}", depth.method)),
                    None => self.pane = Pane::Depth(depth),
                }
            }
        }
    }

    fn depth_cm(&mut self, depth: &DepthTyped) -> Option<Centimetres> {
        let field = kind("depth")?.field("depth_cm")?;
        match from_text(field, &depth.digits, &self.times(depth.at)) {
            Ok(value) => value.as_f64().map(Centimetres),
            Err(fault) => {
                self.alarm(fault.to_string());
                None
            }
        }
    }

    /// Adds details to an entry and says so.
    pub(super) fn add(&mut self, id: EntryId, details: Press, says: &str) {
        let added = self.recorder.as_mut().map(|r| r.add_details(self.book, id, details)).transpose();
        if self.tell(added).is_some() {
            self.say(says.to_owned());
        }
    }

    /// Asks for every field of the last entry that is still open, one line each.
    pub(super) fn ask_details(&mut self, stands: &Standing) {
        let Some(last) = stands.last.as_ref().filter(|l| l.is_entry) else {
            self.alarm("nothing was pressed yet that could have details".to_owned());
            return;
        };
        let filter = Filter { day: Some(self.day), drill: Some(stands.drill.clone()), ..Filter::default() };
        let rows = self.book.entries(&filter);
        let Some(rows) = self.tell(rows) else { return };
        let Some(row) = rows.into_iter().find(|r| r.noted.id == last.id) else { return };
        let json = row.noted.json;
        let table = json.get("kind").and_then(|k| kind(k.as_str()?));
        let open = |f: &&Field| !f.required && !json.contains_key(&f.name) && !matches!(f.shape, Shape::Json);
        let fields = table.into_iter().flat_map(|t| t.own_fields().filter(open)).collect();
        self.ask_detail(last.id, fields);
    }

    fn ask_detail(&mut self, id: EntryId, mut fields: Vec<&'static Field>) {
        if fields.is_empty() {
            self.say("nothing more to add".to_owned());
            return;
        }
        let field = fields.remove(0);
        let unit = field.unit.map(|u| format!(" in {}", u.symbol())).unwrap_or_default();
        let words = match &field.shape {
            Shape::Choice(words) => words.iter().map(|(w, _)| w.as_str()).collect::<Vec<_>>().join(", "),
            _ => field.range_text().unwrap_or_default(),
        };
        let hint = if words.is_empty() {
            "ENTER alone passes over".to_owned()
        } else {
            format!("{words}; ENTER alone passes over")
        };
        self.ask_line(&format!("{}{unit}", field.text), &hint, Typed::Detail(id, field, fields));
    }

    pub(super) fn enter_detail(
        &mut self,
        line: Line,
        text: &str,
        id: EntryId,
        field: &'static Field,
        rest: Vec<&'static Field>,
    ) {
        if !text.is_empty() {
            let times = self.times(self.now());
            let amended =
                from_text(field, text, &times).map_err(|fault| fault.to_string()).and_then(|value| {
                    let fields = Map::from_iter([(field.name.clone(), value)]);
                    let changed = self.book.amend(&[(self.day, id)], &fields, &self.me);
                    changed.map_err(|e: LogbookError| e.to_string())
                });
            match amended {
                Ok(_) => self.refresh(),
                Err(why) => {
                    self.alarm(why);
                    self.pane = Pane::Line(line);
                    return;
                }
            }
        }
        self.ask_detail(id, rest);
    }

    fn times(&self, now: Time) -> TimeContext {
        let drill_start = self.standing().and_then(|s| s.started_at);
        TimeContext { now, date: now.datetime().date_naive(), offset: *now.datetime().offset(), drill_start }
    }
}

impl Pane {
    /// Leaving was asked for once.
    pub(super) fn is_leaving(&self) -> bool {
        matches!(self, Pane::Leaving)
    }
}

impl Line {
    /// A note of this instant.
    pub(super) fn note(at: Time) -> Pane {
        let mut line = Line {
            title: String::new(),
            hint: "TAB changes the topic, ENTER writes it".to_owned(),
            typed: String::new(),
            of: Typed::Note(at, Topic::General),
        };
        line.name_topic();
        Pane::Line(line)
    }

    /// The next topic of a note; of other lines nothing.
    pub(super) fn next_topic(&mut self) {
        if let Typed::Note(_, topic) = &mut self.of {
            let next = Topic::ALL.iter().position(|t| t == topic).map_or(0, |n| (n + 1) % Topic::ALL.len());
            *topic = Topic::ALL[next];
        }
        self.name_topic();
    }

    fn name_topic(&mut self) {
        if let Typed::Note(_, topic) = &self.of {
            self.title = format!("note, {}", topic.word().replace('_', " "));
        }
    }
}

fn spaced(label: &str) -> String {
    if label.is_empty() { String::new() } else { format!("{label} ") }
}
