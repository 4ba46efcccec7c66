//! The README's commands, run one after another as they stand there.

use crate::binary::PROGRAM;
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
    let path = format!("{}:{}", PROGRAM.parent().unwrap().display(), std::env::var("PATH").unwrap());
    for line in commands {
        let ran = Command::new("sh")
            .args(["-c", line])
            .current_dir(folder.path())
            .env("PATH", &path)
            .env("FIRNBOOK_STORE", folder.path().join("tour.firnstore"))
            .output()
            .unwrap();
        assert!(ran.status.success(), "{line}: {}", String::from_utf8_lossy(&ran.stderr));
    }
}
