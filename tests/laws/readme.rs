//! The README's tour of a day, run as it stands there.

use firnbook_tests::program::Program;

const README: &str = include_str!("../../README.md");

/// The commands that stand indented below the heading, without the program's name, cut into words as a shell does.
fn commands(heading: &str) -> Vec<Vec<String>> {
    let (_, chapter) = README.split_once(&format!("\n## {heading}\n")).unwrap();
    let chapter = chapter.split("\n## ").next().unwrap();
    let lines = chapter.lines().filter_map(|line| line.strip_prefix("    firnbook "));
    lines.map(words).collect()
}

fn words(line: &str) -> Vec<String> {
    let parts = line.split('"').enumerate();
    parts
        .flat_map(|(i, part)| if i % 2 == 1 { vec![part] } else { part.split_whitespace().collect() })
        .map(str::to_owned)
        .collect()
}

#[test]
fn the_tour_runs_as_it_stands() {
    let program = Program::new();
    let tour = commands("A day in ten lines");
    assert_eq!(tour.len(), 10);
    for command in tour {
        let words: Vec<String> = command
            .iter()
            .map(|w| if w.ends_with(".firn") { program.file(w).display().to_string() } else { w.clone() })
            .collect();
        let ran = program.ok(&words.iter().map(String::as_str).collect::<Vec<_>>());
        assert!(!ran.out.is_empty() || !ran.err.is_empty(), "{command:?} says nothing");
    }
}
