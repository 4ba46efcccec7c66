//! The recorder in a real terminal (tmux): a whole drill, a kill in the middle, signals, sizes, and what it leaves behind.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

use firnbook_tests::program::program;
use serde_json::Value;
use std::path::PathBuf;
use std::process::Command;
use std::time::{Duration, Instant};

/// What the terminal does with keys, as a line: line by line or each at once, shown or not.
const MODES: &str = "stty -a | grep -o -E -- '-?(icanon|echo) '";

/// A tmux server of its own with one window, in which a shell runs.
struct Window {
    folder: tempfile::TempDir,
    program: PathBuf,
}

impl Window {
    fn new(columns: u16, rows: u16) -> Window {
        let window = Window { folder: tempfile::tempdir().unwrap(), program: program("firnbook") };
        let (x, y) = (columns.to_string(), rows.to_string());
        let shell = "env -u BASH_ENV PS1='$ ' sh";
        let folder = window.folder.path().to_str().unwrap();
        window.tmux(&["-f", "/dev/null", "new-session", "-d", "-c", folder, "-x", &x, "-y", &y, shell]);
        window
    }

    fn tmux(&self, args: &[&str]) -> String {
        let socket = self.folder.path().join("tmux");
        let ran = Command::new("tmux")
            .arg("-S")
            .arg(socket)
            .args(args)
            .env("LC_ALL", "C.UTF-8")
            .env("FIRNBOOK_STORE", self.store())
            .env_remove("TMUX")
            .env_remove("NO_COLOR")
            .output()
            .unwrap();
        assert!(ran.status.success(), "tmux {args:?}: {}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).unwrap()
    }

    fn store(&self) -> PathBuf {
        self.folder.path().join("s.firnstore")
    }

    fn screen(&self) -> String {
        self.tmux(&["capture-pane", "-p"])
    }

    /// Waits until the screen shows a text.
    fn shows(&self, text: &str) -> String {
        self.until(text, |screen| screen.contains(text))
    }

    fn until(&self, what: &str, is: impl Fn(&str) -> bool) -> String {
        let begun = Instant::now();
        loop {
            let screen = self.screen();
            if is(&screen) {
                return screen;
            }
            assert!(begun.elapsed() < Duration::from_secs(30), "no \"{what}\" on the screen:\n{screen}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn types(&self, text: &str) {
        self.tmux(&["send-keys", "-l", text]);
    }

    fn key(&self, name: &str) {
        self.tmux(&["send-keys", name]);
    }

    /// Types a line into the shell.
    fn line(&self, text: &str) {
        self.types(text);
        self.key("Enter");
    }

    /// Presses a key and waits for what the recorder says of it.
    fn press(&self, key: &str, says: &str) {
        self.types(key);
        self.shows(says);
    }

    fn firnbook(&self, line: &str) -> String {
        let ran = Command::new(&self.program)
            .args(line.split(' '))
            .env("FIRNBOOK_STORE", self.store())
            .output()
            .unwrap();
        assert!(ran.status.success(), "{line}: {}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).unwrap()
    }

    fn entries(&self, kind: &str) -> Vec<Value> {
        let told: Value =
            serde_json::from_str(&self.firnbook(&format!("entries --kind {kind} --json"))).unwrap();
        told["entries"].as_array().unwrap().iter().map(|e| e["entry"].clone()).collect()
    }

    /// The recorder's process.
    fn recorder(&self) -> String {
        let pid = self.tmux(&["display-message", "-p", "#{pane_pid}"]);
        let children = std::fs::read_to_string(format!("/proc/{0}/task/{0}/children", pid.trim())).unwrap();
        children.split_whitespace().next().expect("the recorder runs").to_owned()
    }

    fn signal(&self, signal: &str) {
        assert!(Command::new("kill").args([signal, &self.recorder()]).status().unwrap().success());
    }

    /// Opens the recorder from the shell.
    fn opens(&self) {
        self.line(&format!("{} record --as Obs1; echo left with $?", self.program.display()));
    }
}

impl Drop for Window {
    fn drop(&mut self) {
        let _ =
            Command::new("tmux").arg("-S").arg(self.folder.path().join("tmux")).arg("kill-server").status();
    }
}

#[test]
fn a_whole_drill_with_a_kill_in_the_middle() {
    let window = Window::new(80, 24);
    window.firnbook("settings me Obs1");
    window.firnbook("settings rotation_interval_s 10");
    window.firnbook("day new --area Quillhorn");
    window.opens();
    window.shows("No drill is set up");
    window.types("+");
    window.shows("label of the new drill");
    window.key("Enter");
    window.shows("what is practised");
    window.types("5");
    window.shows("team that runs it");
    window.line("Red");
    window.shows("degrees from level");
    window.line("30");
    window.shows("labels of the targets");
    window.line("A B");
    window.shows("drill 1 is set up");
    window.press(" ", "written: start");
    window.press("g", "written: signal A");
    window.press("c", "written: coarse A");
    window.press("f", "written: fine A");
    window.press("p", "written: probing A");
    window.press("h", "written: strike A");
    window.press("112", "depth of the strike of A");
    window.key("Enter");
    window.shows("strike A 112 cm");
    window.key("Tab");
    window.shows("in focus: target B");
    window.press("g", "written: signal B");

    // The battery dies.
    window.signal("-KILL");
    window.shows("left with 137");
    // A kill leaves the terminal raw: Enter is no end of a line there.
    window.types("stty sane; clear");
    window.key("C-j");
    window.until("an empty screen", |s| !s.contains("LAST"));
    window.opens();
    let screen = window.shows("LAST signal B");
    assert!(
        screen.contains("DRILL 1") && screen.contains("coarse search ends"),
        "it stands where it stood:\n{screen}"
    );

    window.press("d", "written: digging B");
    window.press("r", "who is at the head");
    window.line("Alder");
    window.shows("Alder is at the head");
    window.until("CHANGE", |s| s.contains("CHANGE"));
    window.press("r", "who is at the head");
    window.press("+", "a call sign");
    window.line("Birch");
    window.shows("Birch is at the head");
    window.press("x", "written: transmitter off B");
    window.press("u", "taken back: transmitter off B");
    window.press("i", "what disturbs");
    window.press("2", "written: interference");
    window.press("n", "note, general");
    window.line("cold hands");
    window.shows("written: note");
    window.press(".", "PAUSED");
    std::thread::sleep(Duration::from_millis(800));
    window.press(".", "written: resume");
    window.press("a", "written: airway B");
    window.press("e", "why did it end");
    window.press("1", "ended: done");

    // Another size: nothing is torn.
    window.tmux(&["resize-window", "-x", "40", "-y", "20"]);
    let small = window
        .until("the small screen", |s| s.contains("? keys") && s.lines().all(|l| l.chars().count() <= 40));
    assert!(small.contains("ENDED: done"), "{small}");
    window.tmux(&["resize-window", "-x", "80", "-y", "24"]);
    window.shows("SPACE next");
    window.types("qq");
    window.shows("left with 0");

    let steps: Vec<String> =
        window.entries("moment").iter().map(|m| m["step"].as_str().unwrap().to_owned()).collect();
    let expected = [
        "start", "signal", "coarse", "fine", "probing", "signal", "digging", "pause", "resume", "airway",
        "end",
    ];
    assert_eq!(steps, expected);
    assert_eq!(window.entries("strike")[0]["depth_cm"], 112.0);
    let turns: Vec<Value> = window.entries("rotation").iter().map(|r| r["front"].clone()).collect();
    assert_eq!(turns, ["Alder", "Birch"]);
    assert!(window.entries("rotation").iter().all(|r| r["ended_at"].is_string()));
    assert!(window.firnbook("verify --json").contains("\"ok\": true"));
}

#[test]
fn signals_give_the_terminal_back() {
    for signal in ["-TERM", "-INT", "-HUP"] {
        let window = Window::new(60, 20);
        window.firnbook("day new --area Quillhorn --by Obs1");
        window.firnbook("log drill --label 1 --by Obs1");
        window.line(&format!("{MODES} > before"));
        window.opens();
        window.shows("drill 1");
        window.signal(signal);
        window.shows("left with 0");
        let alternate = window.tmux(&["display-message", "-p", "#{alternate_on} #{cursor_flag}"]);
        assert_eq!(alternate.trim(), "0 1", "{signal}: the screen and the cursor are back");
        window.line(&format!("{MODES} > after; cmp before after && echo as be''fore"));
        window.shows("as before");
    }
}

#[test]
fn the_bell_reaches_the_terminal() {
    let window = Window::new(60, 20);
    window.firnbook("settings rotation_interval_s 10");
    window.firnbook("day new --area Quillhorn --by Obs1");
    window.firnbook("log drill --label 1 --by Obs1");
    let log = window.folder.path().join("bytes");
    window.tmux(&["pipe-pane", "-o", &format!("cat > {}", log.display())]);
    window.opens();
    window.shows("drill 1");
    window.press("1", "not started");
    window.press(" ", "written: start");
    window.press("r", "who is at the head");
    window.key("Escape");
    let rung = || std::fs::read(&log).unwrap().iter().filter(|b| **b == 7).count();
    assert_eq!(rung(), 0);
    window.shows("CHANGE");
    let begun = Instant::now();
    while rung() == 0 {
        assert!(begun.elapsed() < Duration::from_secs(5), "no bell");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_panic_gives_the_terminal_back_before_it_speaks() {
    let window = Window::new(60, 20);
    let startled = program("startled");
    window.line(&format!(
        "{MODES} > before; RUST_BACKTRACE=0 {} {}; echo left with $?",
        startled.display(),
        window.store().display()
    ));
    let screen = window.shows("left with 101");
    assert!(screen.contains("a clock that has stopped"), "{screen}");
    let alternate = window.tmux(&["display-message", "-p", "#{alternate_on} #{cursor_flag}"]);
    assert_eq!(alternate.trim(), "0 1");
    window.line(&format!("{MODES} > after; cmp before after && echo as be''fore"));
    window.shows("as before");
}

#[test]
fn a_terminal_that_is_gone_takes_the_recorder_with_it() {
    let window = Window::new(80, 24);
    window.firnbook("settings me Obs1");
    window.firnbook("day new --area Bowl");
    window.opens();
    window.shows("DRILLS");
    let running = PathBuf::from("/proc").join(window.recorder());
    window.tmux(&["kill-server"]);
    let begun = Instant::now();
    while running.exists() {
        assert!(begun.elapsed() < Duration::from_secs(10), "the recorder runs on without a terminal");
        std::thread::sleep(Duration::from_millis(50));
    }
}
