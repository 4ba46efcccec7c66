//! The programs of this workspace, as processes of their own: never an older build than the tests that run them.

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Mutex;

static BUILT: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());

/// The path of a program, brought up to date with the source beside the test that asks, once a process.
///
/// # Panics
/// Where it can't be built.
#[must_use]
pub fn program(name: &str) -> PathBuf {
    let here = std::env::current_exe().expect("the path of this test");
    let folder = here.ancestors().find(|p| p.join("deps").is_dir()).expect("a folder that cargo builds into");
    let mut built = BUILT.lock().expect("no test panicked while it built");
    if !built.contains(name) {
        let profile = if folder.ends_with("debug") { "dev" } else { "release" };
        let target = folder.parent().expect("the target folder");
        // The whole workspace's features, so that nothing is compiled twice.
        let status = Command::new(env!("CARGO"))
            .args(["build", "--quiet", "--workspace", "--bin", name, "--profile", profile, "--manifest-path"])
            .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/../Cargo.toml"))
            .arg("--target-dir")
            .arg(target)
            .status()
            .expect("cargo runs");
        assert!(status.success(), "{name} can't be built");
        built.insert(name.to_owned());
    }
    folder.join(format!("{name}{}", std::env::consts::EXE_SUFFIX))
}
