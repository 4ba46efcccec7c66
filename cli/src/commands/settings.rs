//! `settings`: who I am, and this team's numbers.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::page::Units;
use crate::settings::UNITS;
use crate::ui::{FAINT, styled};
use crate::view::{self, table::Table};
use firnbook_core::entry::{check_value, kind};
use firnbook_core::insight::thresholds::{TABLE, Thresholds};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// Show or change settings: who you are, and the numbers by which answers judge
///
/// They stand in a TOML file beside the store. Without a key all are shown, with their defaults and where those come from.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook settings me Lead\n  firnbook settings battery_pct 50\n  firnbook settings battery_pct --default"
)]
pub struct SettingsArgs {
    /// The setting
    key: Option<String>,
    /// Its new value
    #[arg(requires = "key", conflicts_with = "default")]
    value: Option<String>,
    /// Go back to the default
    #[arg(long, requires = "key")]
    default: bool,
}

/// The setting that says who writes.
const ME: &str = "me";

/// Answer of `settings`.
#[derive(Serialize, JsonSchema)]
pub struct SettingsAnswer {
    /// The settings
    pub settings: Vec<Setting>,
}

/// One setting.
#[derive(Serialize, JsonSchema)]
pub struct Setting {
    /// Its name
    pub key: String,
    /// Its value now; null where there is none
    pub value: Value,
    /// Its value if nothing is set; null where there is none
    pub default: Value,
    /// Its unit
    pub unit: Option<String>,
    /// Where the default comes from
    pub source: Option<String>,
    /// What it decides
    pub text: String,
}

/// Runs `settings`.
pub fn run(desk: &mut Desk, args: &SettingsArgs) -> Ran {
    let known = all(desk);
    if let Some(key) = &args.key {
        if known.iter().all(|s| s.key != *key) {
            let keys: Vec<&str> = known.iter().map(|s| s.key.as_str()).collect();
            return Err(Failure::Usage(format!("\"{key}\" is no setting; there are {}", keys.join(", "))));
        }
        if args.default {
            desk.settings.set(key, None)?;
        } else if let Some(value) = &args.value {
            let value = read(key, value)?;
            desk.settings.set(key, Some(value))?;
        }
    }
    let mut settings = all(desk);
    settings.retain(|s| args.key.as_ref().is_none_or(|key| s.key == *key));
    let answer = SettingsAnswer { settings };
    let file = desk.settings.path().display().to_string();
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(a, &file, columns))
}

fn all(desk: &Desk) -> Vec<Setting> {
    let mut all = vec![Setting {
        key: ME.to_owned(),
        value: desk.settings.text(ME).map_or(Value::Null, Value::from),
        default: Value::Null,
        unit: None,
        source: None,
        text: "Your call sign: who writes on this device".to_owned(),
    }];
    all.push(Setting {
        key: UNITS.to_owned(),
        value: desk.settings.text(UNITS).unwrap_or(Units::WORDS[0]).into(),
        default: Units::WORDS[0].into(),
        unit: None,
        source: None,
        text: format!("Lengths on pages: {}", Units::WORDS.join(" or ")),
    });
    all.extend(TABLE.iter().map(|row| Setting {
        key: row.key.to_owned(),
        value: desk.settings.number(row.key).unwrap_or(row.default).into(),
        default: row.default.into(),
        unit: Some(row.unit.to_owned()),
        source: Some(format!("{} ({})", row.source.text, view::word(&row.source.standing))),
        text: row.text.to_owned(),
    }));
    all
}

/// Reads and checks a value.
fn read(key: &str, value: &str) -> Result<toml::Value, Failure> {
    let value = value.trim();
    let nothing_set = |why: String| Failure::refused(format!("{why}; nothing was set"));
    if key == ME {
        let field = kind("person").and_then(|k| k.field("call_sign"));
        let fault = field.and_then(|f| check_value(f, &Value::from(value)));
        return fault.map_or(Ok(value.into()), |f| Err(nothing_set(format!("{ME}: {}: {}", f.value, f.why))));
    }
    if key == UNITS {
        let known = Units::WORDS.join(" or ");
        let unknown = || nothing_set(format!("{UNITS}: \"{value}\" is not known; write {known}"));
        return Units::of(value).map(|_| value.into()).ok_or_else(unknown);
    }
    let number: f64 = value
        .parse()
        .map_err(|_| nothing_set(format!("{key}: \"{value}\" is no number; write it without its unit")))?;
    Thresholds::default().set(key, number).map_err(|e| nothing_set(e.to_string()))?;
    Ok(if number.fract() == 0.0 { toml::Value::Integer(number as i64) } else { toml::Value::Float(number) })
}

fn tell(answer: &SettingsAnswer, file: &str, columns: usize) -> String {
    let mut table = Table::new(["setting", "value", "default", "unit", "decides"]).right([1, 2]);
    for setting in &answer.settings {
        let shown = |v: &Value| match v.as_f64() {
            Some(n) => view::number(n),
            None => v.as_str().unwrap_or("–").to_owned(),
        };
        table.row([
            setting.key.clone(),
            shown(&setting.value),
            shown(&setting.default),
            setting.unit.clone().unwrap_or_default(),
            setting.text.clone(),
        ]);
    }
    let mut text = table.draw(columns);
    if let [only] = answer.settings.as_slice()
        && let Some(source) = &only.source
    {
        text.push_str(&format!("{}\n", textwrap::fill(&format!("the default is from: {source}"), columns)));
    }
    text.push_str(&format!("{}\n", styled(FAINT, file)));
    text
}
