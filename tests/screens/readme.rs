//! Commands that are shown to people, run one after another as they stand there: those of the README, and those that the demo says come next.

use firnbook_tests::program::program;
use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// The lines of the blocks of commands: indented, beginning with the program's name.
fn commands(readme: &str) -> Vec<&str> {
    readme
        .lines()
        .filter_map(|l| l.strip_prefix("    "))
        .filter(|l| *l == "firnbook" || l.starts_with("firnbook "))
        .collect()
}

#[test]
fn the_commands_of_the_readme_work() {
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md")).unwrap();
    let commands = commands(&readme);
    assert!(commands.len() >= 10, "{commands:?}");
    let folder = tempfile::tempdir().unwrap();
    for line in commands {
        let ran = shell(folder.path(), line).output().unwrap();
        assert!(ran.status.success(), "{line}: {}", String::from_utf8_lossy(&ran.stderr));
    }
}

/// A shell in a folder that finds the program, with a store there.
fn shell(folder: &Path, script: &str) -> Command {
    let mut shell = Command::new("sh");
    let path =
        format!("{}:{}", program("firnbook").parent().unwrap().display(), std::env::var("PATH").unwrap());
    shell
        .args(["-ec", script])
        .current_dir(folder)
        .env("PATH", path)
        .env("FIRNBOOK_STORE", folder.join("tour.firnstore"));
    shell
}

#[test]
fn what_the_demo_says_comes_next_works() {
    let folder = tempfile::tempdir().unwrap();
    let told = shell(folder.path(), "firnbook demo --json").output().unwrap();
    let told: Value = serde_json::from_slice(&told.stdout).unwrap();
    let next = told["next"].as_array().unwrap().iter().map(|n| n["command"].as_str().unwrap());
    // The walk asks questions, for which it needs a terminal.
    let script: Vec<&str> = next.filter(|c| *c != "firnbook settle").collect();
    assert!(script.len() > 10, "{script:?}");
    let ran = shell(folder.path(), &script.join("\n")).output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let left = "firnbook review --json --store firnbook-demo/base.firnstore";
    let left: Value = serde_json::from_slice(&shell(folder.path(), left).output().unwrap().stdout).unwrap();
    let sorts: Vec<&Value> = left["items"].as_array().unwrap().iter().map(|i| &i["sort"]).collect();
    assert_eq!(sorts, ["conflict"], "one conflict is left for the walk, everything else is done");
}
