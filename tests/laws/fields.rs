//! One declaration is enough: a field of a made-up kind, declared in the struct below and nowhere else, is found everywhere.

use firnbook::args::flags;
use firnbook_core::entry::{Kind, LabelClass, Shape, Time, TimeContext, check, from_text};
use firnbook_core::store::{columns, create_views};
use firnbook_core::units::{Centimetres, Unit};
use firnbook_tests::dictionary::dictionary;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

/// A rope that was laid out.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(extend("x-requires" = ["drill"]))]
struct Rope {
    /// How far it sagged
    #[schemars(range(min = 5, max = 250))]
    sag_cm: Centimetres,
    /// How it was tied
    knot: Option<Knot>,
}

/// How a rope is tied.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[schemars(inline)]
enum Knot {
    /// with one loop
    OneLoop,
    /// with none
    Plain,
}

fn rope() -> Kind {
    Kind::of::<Rope>("rope")
}

fn entry(more: Value) -> Map<String, Value> {
    let mut json = json!({ "id": "01KH5QX2M8Z4T6V9B3C1D7E0FG", "kind": "rope", "at": "2027-02-06T10:00:00.000+01:00", "by": "Lead", "drill": "1" });
    json.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    json.as_object().unwrap().clone()
}

fn faulty(json: &Map<String, Value>) -> Vec<String> {
    check(&rope(), json).into_iter().map(|fault| fault.field).collect()
}

#[test]
fn in_the_field_table() {
    let kind = rope();
    let sag = kind.field("sag_cm").unwrap();
    assert_eq!(sag.text, "How far it sagged");
    assert_eq!((sag.shape.clone(), sag.unit), (Shape::Number, Some(Unit::Centimetre)));
    assert_eq!((sag.min, sag.max, sag.required, sag.common), (Some(5.0), Some(250.0), true, false));
    assert_eq!(
        kind.field("sag").map(|f| f.name.as_str()),
        Some("sag_cm"),
        "it is found without its unit too"
    );
    let words = vec![
        ("one_loop".to_owned(), "with one loop".to_owned()),
        ("plain".to_owned(), "with none".to_owned()),
    ];
    assert_eq!(kind.field("knot").unwrap().shape, Shape::Choice(words));
    assert_eq!(
        kind.field("drill").map(|f| (f.shape.clone(), f.required)),
        Some((Shape::Label(LabelClass::Drill), true))
    );
    let own: Vec<_> = kind.own_fields().map(|f| f.name.as_str()).collect();
    assert_eq!(own, ["sag_cm", "knot"], "the order is that of the declaration");
}

#[test]
fn in_the_json_schema() {
    let kind = rope();
    let schema = Value::Object(kind.json_schema().clone());
    let sag = &schema["properties"]["sag_cm"];
    assert_eq!(
        (&sag["type"], &sag["minimum"], &sag["maximum"], &sag["x-unit"]),
        (&json!("number"), &json!(5), &json!(250), &json!("cm"))
    );
    assert_eq!(sag["description"], "How far it sagged");
    assert_eq!(schema["properties"]["knot"]["oneOf"][0]["const"], "one_loop");
    assert_eq!(schema["properties"]["kind"]["const"], "rope");
    for needed in ["id", "kind", "at", "by", "drill", "sag_cm"] {
        assert!(schema["required"].as_array().unwrap().contains(&json!(needed)), "{needed}");
    }
    assert!(!schema["required"].as_array().unwrap().contains(&json!("knot")));
}

#[test]
fn in_the_columns_of_the_store() {
    let kind = rope();
    let own = &columns(&kind)[kind.fields.iter().filter(|f| f.common).count()..];
    assert_eq!(own, [("sag_cm", "REAL"), ("knot", "TEXT")]);
    assert!(create_views(&[kind]).starts_with("CREATE VIEW \"rope\" AS SELECT\n"));
}

#[test]
fn in_the_flags_of_the_command_line() {
    let flags = flags(&rope());
    let sag = flags.iter().find(|flag| flag.get_id() == "sag_cm").unwrap();
    assert_eq!(sag.get_long(), Some("sag"), "typed without its unit");
    assert!(sag.get_all_aliases().unwrap().contains(&"sag-cm"), "and understood with it");
    let help = sag.get_help().unwrap().to_string();
    assert!(help.contains("How far it sagged") && help.contains("5 to 250 cm"), "{help}");
    assert!(flags.iter().any(|flag| flag.get_id() == "knot"));
}

#[test]
fn in_the_data_dictionary() {
    let text = dictionary(&[rope()]);
    assert!(text.contains("\n## `rope`\n\nA rope that was laid out.\n"), "{text}");
    assert!(text.contains("| `sag_cm` | number | cm | 5 to 250 cm | yes | How far it sagged |"), "{text}");
    assert!(
        text.contains(
            "| `knot` | choice |  |  |  | How it was tied: `one_loop` with one loop; `plain` with none |"
        ),
        "{text}"
    );
}

#[test]
fn at_the_door() {
    assert_eq!(faulty(&entry(json!({ "sag_cm": 5, "knot": "plain" }))), [""; 0]);
    assert_eq!(faulty(&entry(json!({ "sag_cm": 250.0, "from_a_newer_version": 1 }))), [""; 0]);
    assert_eq!(faulty(&entry(json!({}))), ["sag_cm"]);
    assert_eq!(faulty(&entry(json!({ "sag_cm": null }))), ["sag_cm"]);
    for value in [json!(4.9), json!(251), json!("110"), json!(true)] {
        assert_eq!(faulty(&entry(json!({ "sag_cm": value }))), ["sag_cm"], "{value}");
    }
    assert_eq!(faulty(&entry(json!({ "sag_cm": 5, "knot": "bow" }))), ["knot"]);
    let mut homeless = entry(json!({ "sag_cm": 5 }));
    homeless.remove("drill");
    assert_eq!(faulty(&homeless), ["drill"]);
}

#[test]
fn as_a_person_types_it() {
    let kind = rope();
    let now = Time::parse("2027-02-06T10:00:00.000+01:00").unwrap();
    let times = TimeContext {
        now,
        date: now.datetime().date_naive(),
        offset: *now.datetime().offset(),
        drill_start: None,
    };
    let typed = |field: &str, text: &str| from_text(kind.field(field).unwrap(), text, &times);
    assert_eq!(typed("sag", "1.1m"), Ok(json!(110)));
    assert_eq!(typed("sag", "3ft"), Ok(json!(91.44)));
    assert_eq!(typed("knot", "One loop"), Ok(json!("one_loop")));
    assert_eq!(typed("knot", "one"), Ok(json!("one_loop")), "no other word begins so");
    assert!(typed("knot", "on").is_err(), "only whole parts of a word are understood");
    assert_eq!(typed("sag", "3m").unwrap_err().field, "sag_cm");
    assert_eq!(typed("knot", "bow").unwrap_err().why, "is not one of one_loop, plain");
}
