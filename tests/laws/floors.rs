//! The floors of the house: a module of core uses only modules of floors below its own, so that there are no circles either.

use std::path::{Path, PathBuf};

/// The floors, the lowest first. Modules of one floor do not know one another.
const FLOORS: &[&[&str]] = &[
    &["units"],
    &["stats", "field", "crew"],
    &["entry"],
    &["day"],
    &["clock"],
    &["store"],
    &["review", "exchange"],
    &["insight"],
    &["logbook"],
    &["phone"],
];

fn floor(module: &str) -> Option<usize> {
    FLOORS.iter().position(|floor| floor.contains(&module))
}

/// Every module of the crate's top that `source` names, where `depth` is how many modules deep the file stands (1 for `entry/mod.rs`).
fn used(source: &str, depth: usize) -> Vec<String> {
    let code: String =
        source.lines().filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n");
    let roots = ["crate::".to_owned(), "super::".repeat(depth)];
    let mut found = Vec::new();
    for root in &roots {
        for (at, _) in code.match_indices(root.as_str()) {
            let rest = &code[at + root.len()..];
            match rest.strip_prefix('{') {
                Some(group) => found.extend(first_names(group)),
                None => found.push(name_at_start(rest)),
            }
        }
    }
    found
}

/// The first name of each path in `{a::b, c::{d, e}, f}`, given from behind the opening brace.
fn first_names(group: &str) -> Vec<String> {
    let (mut names, mut level, mut from) = (Vec::new(), 0, 0);
    for (at, c) in group.char_indices() {
        match c {
            '{' => level += 1,
            ',' | '}' if level == 0 => {
                names.push(name_at_start(group[from..at].trim_start()));
                from = at + 1;
                if c == '}' {
                    break;
                }
            }
            '}' => level -= 1,
            _ => {}
        }
    }
    names
}

fn name_at_start(text: &str) -> String {
    text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
}

/// What a file of `module` uses that does not lie below it. A name that is no module of the house is something the crate's root has itself.
fn not_below(module: &str, depth: usize, source: &str) -> Vec<String> {
    let own =
        floor(module).unwrap_or_else(|| panic!("module {module} stands on no floor; give it one in FLOORS"));
    let uses = used(source, depth).into_iter().filter(|name| name != module);
    uses.filter(|name| floor(name).is_some_and(|other| other >= own)).collect()
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    let (folders, files): (Vec<_>, Vec<_>) = entries.partition(|path| path.is_dir());
    let rust = files.into_iter().filter(|f| f.extension().is_some_and(|e| e == "rs"));
    rust.chain(folders.iter().flat_map(|f| rust_files(f))).collect()
}

#[test]
fn core_uses_only_what_lies_below() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../core/src");
    let mut seen = 0;
    for file in rust_files(&root) {
        let parts: Vec<String> = file
            .with_extension("")
            .strip_prefix(&root)
            .unwrap()
            .iter()
            .map(|p| p.to_str().unwrap().to_owned())
            .collect();
        if parts == ["lib"] {
            continue;
        }
        let depth = parts.iter().filter(|p| *p != "mod").count();
        let wrong = not_below(&parts[0], depth, &std::fs::read_to_string(&file).unwrap());
        assert!(wrong.is_empty(), "{} uses {wrong:?}, which does not lie below {}", file.display(), parts[0]);
        seen += 1;
    }
    assert!(seen > 20, "only {seen} files were found in {}", root.display());
}

#[test]
fn a_use_from_above_is_seen_however_it_is_written() {
    let wrong = |source| not_below("day", 2, source);
    assert_eq!(wrong("use crate::store::Store;"), ["store"]);
    assert_eq!(
        wrong("use crate::{entry::{Entry, fold}, units::Metres, review, insight::depth::X};"),
        ["review", "insight"]
    );
    assert_eq!(wrong("fn f() { crate::logbook::Logbook::open() }"), ["logbook"]);
    assert_eq!(wrong("use super::super::clock::Offset;"), ["clock"]);
    assert_eq!(
        wrong(
            "// crate::store is above\nuse crate::entry::Entry;\nuse super::key::Key;\nuse crate::day::Key;"
        ),
        [""; 0]
    );
}
