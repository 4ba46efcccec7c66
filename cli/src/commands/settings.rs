//! `settings`: who I am, and this team's numbers.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::{FAINT, styled};
use crate::view::table::Table;
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
    vec![Setting {
        key: "me".to_owned(),
        value: desk.settings.text("me").map_or(Value::Null, Value::from),
        default: Value::Null,
        unit: None,
        source: None,
        text: "Your call sign: who writes on this device".to_owned(),
    }]
}

fn read(_: &str, value: &str) -> Result<toml::Value, Failure> {
    let me = firnbook_core::entry::kind("person").and_then(|k| k.field("call_sign"));
    let json = Value::from(value.trim());
    if let Some(fault) = me.and_then(|field| firnbook_core::entry::check_value(field, &json)) {
        return Err(Failure::refused(format!("{}: {}; nothing was set", fault.value, fault.why)));
    }
    Ok(toml::Value::String(value.trim().to_owned()))
}

fn tell(answer: &SettingsAnswer, file: &str, columns: usize) -> String {
    let mut table = Table::new(["setting", "value", "unit", "default", "decides"]);
    for setting in &answer.settings {
        let shown = |v: &Value| if v.is_null() { "–".to_owned() } else { crate::view::value(v) };
        table.row([
            setting.key.clone(),
            shown(&setting.value),
            setting.unit.clone().unwrap_or_default(),
            shown(&setting.default),
            setting.text.clone(),
        ]);
    }
    format!("{}{}\n", table.draw(columns), styled(FAINT, file))
}
