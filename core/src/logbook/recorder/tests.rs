//! The recorder on a real store whose process may end at any moment.

mod kills;

use super::*;
use crate::clock::Clock;
use crate::entry::{
    Drill, DrillForm, EndReason, Interference, InterferenceSource, Moment, Note, Outcome, Person, Role,
    Rotation, Step, StopsAt, Strike, Target,
};
use crate::logbook::{Draft, Logbook, LogbookError};
use crate::review::Sort;
use crate::store::Filter;
use crate::units::{Centimetres, Metres};
use serde_json::{Value, json};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

#[derive(Clone)]
struct Still(Arc<AtomicI64>);

impl Clock for Still {
    fn now(&self) -> Time {
        Time::from_millis(self.0.load(Ordering::Relaxed), 60).unwrap()
    }
}

/// A phone at a drill "1" with the targets "A" and "B".
struct Phone {
    folder: tempfile::TempDir,
    clock: Still,
    book: Logbook,
    day: DayId,
    recorder: Recorder,
}

const INTERVAL_S: f64 = 240.0;

fn bare_drill(label: &str) -> Drill {
    serde_json::from_value(json!({ "label": label })).unwrap()
}

fn target(label: &str) -> Target {
    serde_json::from_value(json!({ "label": label })).unwrap()
}

fn strike_details(depth_cm: f64) -> Press {
    let Press::Strike(strike) = Press::strike() else { unreachable!() };
    Press::Strike(Strike { depth_cm: Some(Centimetres(depth_cm)), outcome: None, ..strike })
}

fn end(why: Option<EndReason>) -> Press {
    Press::Moment(Moment { step: Step::End, why, person: None, reading_m: None })
}

impl Phone {
    fn with(drill: Drill, targets: &[&str]) -> Phone {
        let folder = tempfile::tempdir().unwrap();
        let clock = Still(Arc::new(AtomicI64::new(1_801_904_400_000)));
        let mut book = Logbook::open(&folder.path().join("s"), Box::new(clock.clone())).unwrap();
        let day = book.begin_day("2027-02-06".parse().unwrap(), "Upper Bowl", "Obs1").unwrap().day;
        let label = drill.label.0.clone();
        let targets = targets.iter().map(|t| target(t)).collect();
        Recorder::set_up(&mut book, day, "Obs1", DrillSetup { drill, targets }).unwrap();
        let recorder = Recorder::open(&mut book, day, "Obs1", &label, INTERVAL_S).unwrap();
        Phone { folder, clock, book, day, recorder }
    }

    fn new() -> Phone {
        Phone::with(bare_drill("1"), &["A", "B"])
    }

    fn forward_ms(&self, ms: i64) {
        self.clock.0.fetch_add(ms, Ordering::Relaxed);
    }

    fn press(&mut self, press: Press) -> Stamped {
        self.recorder.press(&mut self.book, None, press).unwrap()
    }

    fn step(&mut self, after_ms: i64, step: Step) -> Stamped {
        self.forward_ms(after_ms);
        self.press(Press::step(step))
    }

    fn stands(&self) -> Standing {
        self.recorder.standing(self.clock.now())
    }

    /// The process ends without a word, and another one begins where the person sat.
    fn killed(&mut self) {
        self.book = Logbook::open(&self.folder.path().join("s"), Box::new(self.clock.clone())).unwrap();
        let label = Recorder::last_drill(&self.book, self.day, "Obs1").unwrap().unwrap();
        self.recorder = Recorder::open(&mut self.book, self.day, "Obs1", &label, INTERVAL_S).unwrap();
    }

    fn json(&self, id: EntryId) -> Value {
        Value::Object(self.book.store.entry(self.day, id).unwrap().unwrap().json)
    }

    fn changes(&self) -> usize {
        self.book.verify().unwrap()[0].changes
    }
}

fn lacks(standing: &Standing) -> Vec<String> {
    standing.lacks.iter().map(|l| l.says.clone()).collect()
}

#[test]
fn one_press_is_one_entry_with_the_time_of_the_press() {
    let mut phone = Phone::new();
    let pressed_at = phone.clock.now();
    phone.forward_ms(1_700);
    let before = phone.changes();
    let stamped = phone.recorder.press(&mut phone.book, Some(pressed_at), Press::step(Step::Start)).unwrap();
    assert_eq!(phone.changes(), before + 1);
    let json = phone.json(stamped.id);
    assert_eq!(json["at"], json!(pressed_at));
    assert_eq!((&json["kind"], &json["drill"], &json["by"]), (&json!("moment"), &json!("1"), &json!("Obs1")));
    assert_eq!(json.get("target"), None, "a start is the whole drill's");
    assert_eq!(phone.stands().since_start_ms, Some(1_700));
    assert!(phone.book.verify().unwrap().iter().all(|d| d.rows_equal));
}

#[test]
fn what_comes_next_follows_from_what_was_pressed() {
    let mut phone = Phone::new();
    assert_eq!((phone.stands().next, phone.stands().focus), (Some(Step::Start), Some("A".to_owned())));
    for step in [Step::Start, Step::Signal, Step::Coarse, Step::Fine, Step::Probing] {
        assert_eq!(phone.stands().next, Some(step));
        phone.step(1_000, step);
    }
    assert_eq!(phone.stands().next, Some(Step::Strike));
    phone.forward_ms(1_000);
    phone.press(Press::strike());
    assert_eq!(phone.stands().next, Some(Step::Digging));
    phone.step(1_000, Step::Airway);
    let stands = phone.stands();
    assert_eq!((stands.next, stands.next_target.as_deref()), (None, Some("B")));
    assert!(stands.targets[0].done && !stands.targets[1].done);
    assert_eq!(lacks(&stands), ["A: depth of the strike", "A: digging", "B: nothing yet", "end"]);
    phone.recorder.focus_on(&mut phone.book, " b ").unwrap();
    assert_eq!(phone.stands().next, Some(Step::Signal));
    phone.step(1_000, Step::Airway);
    assert_eq!(phone.stands().next, Some(Step::End));
    phone.press(end(Some(EndReason::Cancelled)));
    assert_eq!((phone.stands().next, lacks(&phone.stands())), (None, vec![]));
}

#[test]
fn the_form_of_a_drill_says_which_steps_it_has() {
    let mut digging = bare_drill("1");
    digging.form = Some(DrillForm::Digging);
    let mut phone = Phone::with(digging, &[]);
    phone.step(0, Step::Start);
    assert_eq!(phone.stands().next, Some(Step::Digging));
    assert_eq!(phone.stands().targets.len(), 1, "a drill without targets is one place all the same");
    phone.step(1_000, Step::Digging);
    phone.step(1_000, Step::Airway);
    assert_eq!(phone.stands().next, Some(Step::End));
    assert_eq!(lacks(&phone.stands()), ["end"]);

    let mut to_the_strike = bare_drill("1");
    to_the_strike.stops_at = Some(StopsAt::Strike);
    let mut phone = Phone::with(to_the_strike, &["A"]);
    phone.step(0, Step::Start);
    phone.press(Press::strike());
    assert_eq!(phone.stands().next, Some(Step::End));
}

#[test]
fn a_drill_that_ended_in_full_lacks_the_last_step_and_one_that_was_cut_short_does_not() {
    for (why, lacking) in
        [(EndReason::Done, vec!["A: airway", "B: nothing yet"]), (EndReason::Limit, vec!["B: nothing yet"])]
    {
        let mut phone = Phone::new();
        phone.step(0, Step::Start);
        phone.step(1_000, Step::Signal);
        phone.press(end(Some(why)));
        assert_eq!(lacks(&phone.stands()), lacking);
    }
}

#[test]
fn details_are_added_to_the_stamped_entry() {
    let mut phone = Phone::new();
    phone.step(0, Step::Start);
    phone.forward_ms(8_000);
    let strike = phone.press(Press::strike());
    assert_eq!(lacks(&phone.stands())[0], "A: depth of the strike");
    phone.forward_ms(60_000);
    phone.recorder.add_details(&mut phone.book, strike.id, strike_details(112.0)).unwrap();
    let json = phone.json(strike.id);
    assert_eq!(
        (&json["depth_cm"], &json["outcome"], &json["at"]),
        (&json!(112.0), &json!("hit"), &json!(strike.at))
    );
    assert_eq!(phone.stands().targets[0].depths_cm, [112.0]);
    let refused = phone.recorder.add_details(&mut phone.book, strike.id, strike_details(1_112.0));
    assert!(matches!(refused, Err(LogbookError::Refused(_))));
    let refused = phone.recorder.add_details(&mut phone.book, strike.id, Press::step(Step::Fine));
    assert!(matches!(refused, Err(LogbookError::Usage(_))));
    assert_eq!(phone.stands().targets[0].depths_cm, [112.0]);
    assert_eq!(phone.book.history(phone.day, strike.id).unwrap().len(), 2);
}

#[test]
fn turns_follow_one_another_and_are_due() {
    let mut phone = Phone::new();
    phone.step(0, Step::Start);
    phone.forward_ms(5_000);
    let first = phone.press(Press::turn(Some("Dig1".to_owned())));
    phone.forward_ms(230_000);
    let turn = phone.stands().turns[0].clone();
    assert_eq!((turn.front.as_deref(), turn.since_ms, turn.due_in_ms), (Some("Dig1"), 230_000, 10_000));
    phone.step(0, Step::Pause);
    phone.forward_ms(100_000);
    assert_eq!(phone.stands().turns[0].due_in_ms, 10_000, "a pause is taken out");
    phone.step(0, Step::Resume);
    phone.forward_ms(12_000);
    assert_eq!(phone.stands().turns[0].due_in_ms, -2_000);
    let before = phone.changes();
    let second = phone.press(Press::turn(None));
    assert_eq!(
        phone.changes(),
        before + 2,
        "the end of one turn and the begin of the next: one change a history"
    );
    assert_eq!(phone.json(first.id)["ended_at"], json!(second.at));
    assert_eq!(lacks(&phone.stands())[0], "A: who is at the head");
    phone.recorder.add_details(&mut phone.book, second.id, Press::turn(Some("Dig2".to_owned()))).unwrap();
    let people = phone.stands().people;
    let told: Vec<_> = people.iter().map(|p| (p.call_sign.as_str(), p.turns, p.digging)).collect();
    assert_eq!(told, [("Dig1", 1, false), ("Dig2", 1, true)]);
    // A second hole has a head of its own.
    phone.recorder.focus_on(&mut phone.book, "B").unwrap();
    phone.forward_ms(1_000);
    phone.press(Press::turn(Some("Dig3".to_owned())));
    assert_eq!(phone.stands().turns.len(), 2);
    phone.forward_ms(1_000);
    let over = phone.press(Press::TurnOver);
    assert_eq!((phone.stands().turns.len(), phone.json(over.id)["ended_at"].clone()), (1, json!(over.at)));
    assert!(matches!(
        phone.recorder.press(&mut phone.book, None, Press::TurnOver),
        Err(LogbookError::Usage(_))
    ));
    phone.forward_ms(1_000);
    let ended = phone.press(end(Some(EndReason::Done)));
    assert_eq!((phone.stands().turns, phone.json(second.id)["ended_at"].clone()), (vec![], json!(ended.at)));
}

#[test]
fn an_undo_strikes_out_for_thirty_seconds_and_gives_back_what_the_press_took() {
    let mut phone = Phone::new();
    phone.step(0, Step::Start);
    phone.forward_ms(40_000);
    let first = phone.press(Press::turn(Some("Dig1".to_owned())));
    phone.forward_ms(10_000);
    let second = phone.press(Press::turn(Some("Dig2".to_owned())));
    phone.forward_ms(30_000);
    assert_eq!(phone.stands().last.unwrap().undo_left_ms, 0);
    let undone = phone.recorder.undo(&mut phone.book).unwrap();
    assert_eq!((undone.id, undone.what.as_str()), (second.id, "turn of Dig2 A"));
    let noted = phone.book.store.entry(phone.day, second.id).unwrap().unwrap();
    assert_eq!(noted.void.as_deref(), Some("undone at once, 30 s after the press"), "kept, with the reason");
    assert_eq!(phone.stands().turns[0].id, first.id, "the turn before runs again");
    assert_eq!(phone.json(first.id).get("ended_at"), None);
    // The press before is too old.
    let refused = phone.recorder.undo(&mut phone.book).unwrap_err().to_string();
    assert!(refused.contains("turn of Dig1 A is 40 s old"), "{refused}");
    phone.forward_ms(1_000);
    phone.press(Press::TurnOver);
    assert_eq!(phone.recorder.undo(&mut phone.book).unwrap().what, "end of the turn of Dig1 A");
    assert_eq!(phone.stands().turns[0].id, first.id);
    phone.press(end(None));
    phone.recorder.undo(&mut phone.book).unwrap();
    assert_eq!((phone.stands().turns[0].id, phone.stands().ended_at), (first.id, None));
    assert_eq!(phone.book.entries(&Filter { void: true, ..Filter::default() }).unwrap().len(), 7);
}

#[test]
fn nothing_pressed_is_nothing_to_undo() {
    let mut phone = Phone::new();
    assert!(matches!(phone.recorder.undo(&mut phone.book), Err(LogbookError::Usage(_))));
    assert_eq!(phone.stands().last, None);
}

#[test]
fn a_wrong_order_is_written_and_becomes_a_doubt() {
    let mut phone = Phone::new();
    phone.step(0, Step::Start);
    phone.step(1_000, Step::Fine);
    phone.step(1_000, Step::Signal);
    assert!(phone.step(1_000, Step::Start).again);
    let doubts = phone.book.review(phone.day).unwrap().into_iter().filter(|i| i.sort == Sort::Doubt);
    let says: Vec<String> = doubts.map(|d| d.says).collect();
    assert_eq!(says.len(), 2, "{says:?}");
    assert!(says.iter().any(|s| s.contains("second start")), "{says:?}");
    let stands = phone.stands();
    assert_eq!(stands.since_start_ms, Some(3_000), "the first start counts");
    assert_eq!(stands.next, Some(Step::Probing), "what comes next follows the furthest step");
}

#[test]
fn a_pause_halts_the_clock_and_an_end_stops_it() {
    let mut phone = Phone::new();
    phone.step(0, Step::Start);
    phone.step(60_000, Step::Pause);
    phone.forward_ms(30_000);
    let stands = phone.stands();
    assert_eq!((stands.paused, stands.since_start_ms, stands.paused_ms), (true, Some(60_000), 30_000));
    phone.step(0, Step::Resume);
    phone.step(10_000, Step::Signal);
    assert_eq!(phone.stands().targets[0].reached[0].t_ms, Some(70_000));
    phone.forward_ms(5_000);
    phone.press(end(Some(EndReason::Limit)));
    phone.forward_ms(500_000);
    let stands = phone.stands();
    assert_eq!(
        (stands.paused, stands.since_start_ms, stands.ended_why),
        (false, Some(75_000), Some(EndReason::Limit))
    );
}

#[test]
fn presses_of_one_millisecond_keep_their_order() {
    let mut phone = Phone::new();
    let ats: Vec<i64> =
        [Step::Start, Step::Signal, Step::Coarse].map(|s| phone.press(Press::step(s)).at.millis()).to_vec();
    assert_eq!([ats[1] - ats[0], ats[2] - ats[1]], [1, 1]);
    assert_eq!(phone.stands().last.unwrap().what, "coarse A");
}

#[test]
fn the_start_of_someone_else_is_zero_until_mine_is_pressed() {
    let mut phone = Phone::new();
    let start = json!({ "kind": "moment", "drill": "1", "step": "start", "by": "Lead" });
    let Value::Object(json) = start else { unreachable!() };
    phone.book.log(phone.day, "Lead", vec![Draft { json, line: None }], false).unwrap();
    phone.forward_ms(9_000);
    phone.recorder.refresh(&phone.book).unwrap();
    let stands = phone.stands();
    assert_eq!((stands.started_by.as_deref(), stands.since_start_ms), (Some("Lead"), Some(9_000)));
    assert_eq!(stands.presses, 0, "what others wrote is not on this sheet");
    phone.step(1_000, Step::Start);
    assert_eq!((phone.stands().started_by, phone.stands().since_start_ms), (None, Some(0)));
}

#[test]
fn who_may_dig_are_the_people_of_the_drill() {
    let mut phone = Phone::new();
    let mut person = |json: Value| {
        let Value::Object(json) = json else { unreachable!() };
        phone.book.log(phone.day, "Lead", vec![Draft { json, line: None }], false).unwrap();
        phone.recorder.refresh(&phone.book).unwrap();
        phone.recorder.standing(phone.clock.now()).people.into_iter().map(|p| p.call_sign).collect::<Vec<_>>()
    };
    assert_eq!(person(json!({ "kind": "person", "call_sign": "Obs1" })), Vec::<String>::new());
    assert_eq!(person(json!({ "kind": "person", "call_sign": "Birch" })), ["Birch"]);
    assert_eq!(
        person(json!({ "kind": "person", "call_sign": "Alder", "drill": "1", "role": "shoveller" })),
        ["Alder"]
    );
    assert_eq!(
        person(json!({ "kind": "person", "call_sign": "Fir", "drill": "1", "role": "lead" })),
        ["Alder"]
    );
}

#[test]
fn what_makes_no_sense_is_refused_with_what_would() {
    let mut phone = Phone::new();
    let before = phone.changes();
    let says = |e: LogbookError| e.to_string();
    let Phone { book, day, recorder, .. } = &mut phone;
    let refused = says(Recorder::open(book, *day, "Obs1", "2", INTERVAL_S).unwrap_err());
    assert!(refused.contains("no drill \"2\"") && refused.contains("set up: 1"), "{refused}");
    assert!(Recorder::open(book, *day, " ", "1", INTERVAL_S).is_err());
    assert!(says(recorder.focus_on(book, "C").unwrap_err()).contains("it has A, B"));
    assert!(recorder.add_target(book, target("a ")).is_err());
    let again = DrillSetup { drill: bare_drill(" 1"), targets: vec![] };
    assert!(says(Recorder::set_up(book, *day, "Obs1", again).unwrap_err()).contains("is set up already"));
    for number in [f64::NAN, f64::INFINITY] {
        assert!(says(recorder.press(book, None, strike_details(number)).unwrap_err()).contains("finite"));
    }
    assert!(recorder.press(book, None, strike_details(-1.0)).is_err());
    let note = Note { topic: None, person: None, file_name: None, file_sha256: None };
    assert!(recorder.press(book, None, Press::Note { text: String::new(), about: note }).is_err());
    let setup = DrillSetup { drill: bare_drill("2"), targets: vec![target("A"), target("!")] };
    assert!(Recorder::set_up(book, *day, "Obs1", setup).is_err());
    assert_eq!(phone.changes(), before, "nothing was written");
}

#[test]
fn a_drill_and_a_target_are_set_up_from_here() {
    let mut phone = Phone::with(bare_drill("1"), &[]);
    assert_eq!(phone.stands().focus, None);
    phone.recorder.add_target(&mut phone.book, target("A")).unwrap();
    phone.recorder.add_target(&mut phone.book, target("B")).unwrap();
    assert_eq!(phone.stands().focus.as_deref(), Some("B"));
    let mut again = bare_drill("2");
    again.like = Some("1".into());
    phone.forward_ms(60_000);
    Recorder::set_up(&mut phone.book, phone.day, "Obs1", DrillSetup { drill: again, targets: vec![] })
        .unwrap();
    let offers = Recorder::offers(&phone.book, phone.day, "obs1").unwrap();
    let told: Vec<_> = offers.iter().map(|o| (o.label.as_str(), o.targets.len(), o.last)).collect();
    assert_eq!(told, [("1", 2, true), ("2", 2, false)]);
    phone.recorder = Recorder::open(&mut phone.book, phone.day, "Obs1", "2", INTERVAL_S).unwrap();
    assert_eq!(phone.stands().focus.as_deref(), Some("A"));
    phone.killed();
    assert_eq!(phone.recorder.drill(), "2");
}
