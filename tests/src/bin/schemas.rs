//! Writes the generated files of `schemas/`; with `--check` it writes nothing and says which are stale. Prose there is written by hand.

use firnbook_core::entry::{declared, entry_schema, kinds_of};
use firnbook_core::store::store_sql;
use firnbook_tests::dictionary::dictionary;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::{fs, io};

/// Folders in which every file is generated: one that no longer is must go.
const GENERATED_FOLDERS: [&str; 1] = ["answers"];

fn main() -> io::Result<ExitCode> {
    let check = std::env::args().nth(1).is_some_and(|a| a == "--check");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../schemas");
    let wanted = generated();
    let stale: Vec<&PathBuf> = wanted
        .iter()
        .filter(|(path, text)| fs::read_to_string(root.join(path)).ok().as_ref() != Some(*text))
        .map(|(p, _)| p)
        .collect();
    let mut left = Vec::new();
    for folder in GENERATED_FOLDERS {
        for file in fs::read_dir(root.join(folder)).into_iter().flatten() {
            let path = Path::new(folder).join(file?.file_name());
            if !wanted.contains_key(&path) {
                left.push(path);
            }
        }
    }
    let verb = if check { ("is stale", "is no longer generated") } else { ("written", "removed") };
    for path in &stale {
        println!("schemas/{}: {}", path.display(), verb.0);
        if !check {
            let file = root.join(path);
            fs::create_dir_all(file.parent().unwrap_or(&root))?;
            fs::write(file, &wanted[*path])?;
        }
    }
    for path in &left {
        println!("schemas/{}: {}", path.display(), verb.1);
        if !check {
            fs::remove_file(root.join(path))?;
        }
    }
    if check && stale.len() + left.len() > 0 {
        println!("type: cargo run --bin schemas");
        return Ok(ExitCode::FAILURE);
    }
    println!("{} generated files stand as they should", wanted.len());
    Ok(ExitCode::SUCCESS)
}

/// Every generated file by its path within `schemas/`.
fn generated() -> BTreeMap<PathBuf, String> {
    let answers = firnbook::answers().into_iter().map(|(command, schema)| {
        (Path::new("answers").join(command).with_extension("json"), pretty(&schema.to_value()))
    });
    let declared = declared();
    let kinds = kinds_of(&declared);
    let mut files = BTreeMap::from([
        ("kinds.json".into(), a_line_each(&declared)),
        ("entry.schema.json".into(), pretty(&entry_schema(&kinds))),
        ("dictionary.md".into(), dictionary(&kinds)),
        ("sql/store.sql".into(), store_sql(&kinds)),
    ]);
    files.extend(answers);
    files
}

fn pretty(schema: &Value) -> String {
    format!("{schema:#}\n")
}

fn a_line_each(schemas: &Map<String, Value>) -> String {
    let lines: Vec<String> = schemas.iter().map(|(name, schema)| format!("\"{name}\":{schema}")).collect();
    format!("{{\n{}\n}}\n", lines.join(",\n"))
}
