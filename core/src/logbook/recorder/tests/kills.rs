//! Whatever was pressed in whatever order, a recorder whose process is killed stands where it stood.

use super::*;
use proptest::prelude::*;

#[derive(Clone, Debug)]
enum Deed {
    Step(Step),
    Strike(Option<Outcome>),
    Turn(Option<u8>),
    TurnOver,
    End(Option<EndReason>),
    Note,
    Interference,
    Focus(&'static str),
    Details,
    Undo,
}

fn deeds() -> impl Strategy<Value = Vec<(i64, Deed)>> {
    let deed = prop_oneof![
        6 => prop::sample::select(Step::ALL).prop_map(Deed::Step),
        2 => prop::option::of(prop::sample::select(Outcome::ALL)).prop_map(Deed::Strike),
        3 => prop::option::of(0_u8..4).prop_map(Deed::Turn),
        1 => Just(Deed::TurnOver),
        1 => prop::option::of(prop::sample::select(EndReason::ALL)).prop_map(Deed::End),
        1 => Just(Deed::Note),
        1 => Just(Deed::Interference),
        2 => prop::sample::select(&["A", "B", "nowhere"][..]).prop_map(Deed::Focus),
        3 => Just(Deed::Details),
        3 => Just(Deed::Undo),
    ];
    let wait = prop_oneof![Just(0_i64), 1_i64..90_000];
    prop::collection::vec((wait, deed), 1..25)
}

/// Does it, refused or not.
fn does(phone: &mut Phone, deed: Deed) {
    let press = match deed {
        Deed::Step(step) => Press::step(step),
        Deed::Strike(outcome) => {
            let Press::Strike(strike) = Press::strike() else { unreachable!() };
            Press::Strike(Strike { outcome, lowest_reading_m: Some(Metres(1.2)), ..strike })
        }
        Deed::Turn(front) => Press::turn(front.map(|n| format!("Dig{n}"))),
        Deed::TurnOver => Press::TurnOver,
        Deed::End(why) => end(why),
        Deed::Note => Press::Note {
            text: "wind slab".to_owned(),
            about: Note { topic: None, person: None, file_name: None, file_sha256: None },
        },
        Deed::Interference => Press::Interference(Interference {
            source: InterferenceSource::Radio,
            mode: None,
            effect: None,
            person: None,
            distance_cm: None,
            lost_s: None,
            remedy: None,
        }),
        Deed::Focus(target) => return drop(phone.recorder.focus_on(&mut phone.book, target)),
        Deed::Undo => return drop(phone.recorder.undo(&mut phone.book)),
        Deed::Details => {
            let Some(last) = phone.stands().last else { return };
            for details in [strike_details(120.0), Press::turn(Some("Dig9".to_owned()))] {
                let _ = phone.recorder.add_details(&mut phone.book, last.id, details);
            }
            return;
        }
    };
    let _ = phone.recorder.press(&mut phone.book, None, press);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn whenever_it_is_killed_it_stands_where_it_stood(deeds in deeds(), kills in any::<u32>()) {
        let mut phone = Phone::new();
        let (person, role) = ("Dig1", Role::Shoveller);
        let person: Person = serde_json::from_value(json!({ "call_sign": person, "role": role })).unwrap();
        let json = press::json_of(open::common(phone.clock.now(), "Obs1"), person.into()).unwrap();
        phone.book.log(phone.day, "Obs1", vec![Draft { json, line: None }], false).unwrap();
        phone.recorder.refresh(&phone.book).unwrap();
        for (n, (wait, deed)) in deeds.into_iter().enumerate() {
            phone.forward_ms(wait);
            does(&mut phone, deed);
            let stood = phone.stands();
            if kills >> (n % 32) & 1 == 1 {
                phone.killed();
            } else {
                phone.recorder.refresh(&phone.book).unwrap();
            }
            prop_assert_eq!(&phone.stands(), &stood);
        }
        prop_assert!(phone.book.verify().unwrap().iter().all(|d| d.rows_equal));
        let rotation: Vec<Rotation> = phone.recorder.sheet.turns().map(|(_, r)| r.clone()).collect();
        let running = rotation.iter().filter(|r| r.ended_at.is_none()).count();
        prop_assert!(running <= 2, "one turn a head");
    }
}
