//! What fuzzing found worth keeping, checked again without a fuzzer. The inputs are in `tests/fuzz/corpus`, the checks in `tests/fuzz/src`.

use firnbook_core::day::format::{Bounds, read_change, read_document};
use firnbook_fuzz::session::Target;
use firnbook_fuzz::{change, document, ids, pack, session, signatures};

/// Checks all inputs of a target; so many at least must not be refused at once.
fn replay(target: &str, at_least: usize, check: impl Fn(&[u8]) -> bool) {
    let folder = format!("{}/fuzz/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut taken = 0;
    for file in std::fs::read_dir(folder).unwrap() {
        let path = file.unwrap().path();
        println!("{}", path.display());
        taken += usize::from(check(&std::fs::read(&path).unwrap()));
    }
    assert!(taken >= at_least, "only {taken} inputs of {target} come so far");
}

#[test]
fn changes_are_those_that_automerge_reads() {
    replay("change", 6, change::check);
}

#[test]
fn documents_are_those_that_automerge_reads() {
    replay("document", 6, document::check);
}

#[test]
fn packs_leave_a_store_sound() {
    replay("pack", 7, pack::check);
}

#[test]
fn frames_to_a_base_leave_its_store_sound() {
    replay("base", 6, |data| session::check(Target::Base, data));
}

#[test]
fn frames_to_a_caller_leave_its_store_sound() {
    replay("caller", 6, |data| session::check(Target::Caller, data));
}

#[test]
fn ids_have_one_spelling() {
    replay("ids", 5, ids::check);
}

#[test]
fn signatures_are_good_only_by_their_key() {
    replay("signatures", 5, signatures::check);
}

/// Source: the test documents that the package `automerge` ships, in `tests/fixtures` and `tests/fuzz-crashers`. None is a day of ours.
#[test]
fn documents_that_automerge_is_tested_with_are_refused() {
    let cargo = |arguments: &[&str]| {
        std::process::Command::new(env!("CARGO")).args(arguments).output().unwrap().stdout
    };
    let about = String::from_utf8(cargo(&["-vV"])).unwrap();
    let host = about.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    // Of this platform only, since nothing else has been brought here.
    let metadata = cargo(&["metadata", "--format-version=1", "--offline", "--filter-platform", host]);
    let metadata: serde_json::Value = serde_json::from_slice(&metadata).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    let automerge = packages.iter().find(|package| package["name"] == "automerge").unwrap();
    let manifest = std::path::Path::new(automerge["manifest_path"].as_str().unwrap());
    let (day, mut refused) = ([0x5a; 16], 0);
    for folder in ["fixtures", "fuzz-crashers"] {
        for file in std::fs::read_dir(manifest.with_file_name("tests").join(folder)).unwrap() {
            let bytes = std::fs::read(file.unwrap().path()).unwrap();
            assert!(read_document(day, &bytes, &Bounds::default()).is_err());
            assert!(read_change(day, &bytes).is_err());
            refused += 1;
        }
    }
    assert!(refused > 10, "{refused}");
}
