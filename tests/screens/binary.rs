//! The program itself, as a shell runs it.

use firnbook_tests::program::program;
use std::io::Read;
use std::process::{Command, Stdio};

fn firnbook(folder: &tempfile::TempDir) -> Command {
    let mut command = Command::new(program("firnbook"));
    command
        .current_dir(folder.path())
        .env("FIRNBOOK_STORE", folder.path().join("a.firnstore"))
        .env_remove("NO_COLOR");
    command
}

#[test]
fn a_reader_that_has_had_enough_is_no_error() {
    let folder = tempfile::tempdir().unwrap();
    assert!(firnbook(&folder).args(["demo", "--quiet"]).stdout(Stdio::null()).status().unwrap().success());
    let mut long = firnbook(&folder)
        .args(["entries", "--json", "--store", "firnbook-demo/base.firnstore"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = [0; 10];
    long.stdout.take().unwrap().read_exact(&mut first).unwrap();
    let ended = long.wait_with_output().unwrap();
    assert_eq!(
        (ended.status.code(), String::from_utf8_lossy(&ended.stderr).contains("panicked")),
        (Some(0), false)
    );
}

#[test]
fn exit_status_and_streams() {
    let folder = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let out = firnbook(&folder).args(args).output().unwrap();
        (
            out.status.code().unwrap(),
            String::from_utf8(out.stdout).unwrap(),
            String::from_utf8(out.stderr).unwrap(),
        )
    };
    let (status, out, err) = run(&["settings", "me", "Lead"]);
    assert_eq!((status, out.is_empty(), err.as_str()), (0, false, ""));
    assert_eq!(run(&["--version"]).0, 0);
    let (status, out, err) = run(&["nonsense"]);
    assert_eq!((status, out.as_str()), (2, ""));
    assert!(err.starts_with("firnbook: error: unrecognized subcommand 'nonsense'"), "{err}");
    let (status, _, err) = run(&["day", "show"]);
    assert_eq!(status, 1);
    assert!(err.contains("holds no day yet; begin one with `firnbook day new"), "{err}");
    let (_, plain, _) = run(&["settings"]);
    let (_, coloured, _) = run(&["settings", "--color", "always"]);
    assert!(!plain.contains('\u{1b}') && coloured.contains('\u{1b}'));
}

#[test]
fn a_plan_leaves_nothing_behind_and_a_day_makes_the_folder_that_it_needs() {
    let home = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let mut command = Command::new(program("firnbook"));
        command
            .env_remove("FIRNBOOK_STORE")
            .env("HOME", home.path())
            .env("XDG_DATA_HOME", home.path().join("data"));
        command.args(args).output().unwrap().status.code().unwrap()
    };
    assert_eq!(run(&["plan", "lanes", "--width", "100", "--length", "150"]), 0);
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 0);
    assert_eq!(run(&["settings", "me", "Lead"]), 0);
    assert_eq!(run(&["day", "new", "--area", "Upper Bowl"]), 0);
    assert_eq!(std::fs::read_dir(home.path().join("data")).unwrap().count(), 1);
}

#[test]
fn a_read_only_folder_is_said_and_nothing_is_left() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let closed = folder.path().join("closed");
    std::fs::create_dir(&closed).unwrap();
    std::fs::set_permissions(&closed, std::fs::Permissions::from_mode(0o555)).unwrap();
    if std::fs::write(closed.join("probe"), "").is_ok() {
        // Root may write anywhere, so here this says nothing.
        return;
    }
    let out = firnbook(&folder).args(["--store", "closed/a.firnstore"]).output().unwrap();
    assert_eq!(out.status.code(), Some(1));
    assert_eq!(std::fs::read_dir(&closed).unwrap().count(), 0);
}

#[test]
fn shells_and_readers_of_manuals_are_served() {
    let folder = tempfile::tempdir().unwrap();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let out = firnbook(&folder).args(["completions", shell]).output().unwrap();
        assert!(out.status.success() && String::from_utf8_lossy(&out.stdout).contains("debrief"), "{shell}");
    }
    assert!(firnbook(&folder).args(["manual", "--output", "man", "--quiet"]).status().unwrap().success());
    let pages: Vec<String> = std::fs::read_dir(folder.path().join("man"))
        .unwrap()
        .map(|f| f.unwrap().file_name().into_string().unwrap())
        .collect();
    for page in ["firnbook.1", "firnbook-settle.1", "firnbook-log-strike.1", "firnbook-stats-depth.1"] {
        assert!(pages.iter().any(|p| p == page), "{pages:?}");
    }
    // Neither needs a store, so neither makes one.
    assert!(!folder.path().join("a.firnstore").exists());
}
