//! Exports, pages and forms on a disk that gets full: said in a sentence, no file half written, and what stood there before stays as it was.

use firnbook_tests::small_disk::SmallDisk;
use firnbook_tests::world::World;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Every file below a folder, and what it holds.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.insert(path.clone(), std::fs::read(&path).unwrap());
            }
        }
    }
    found
}

/// What writes files, with the place it writes to.
const WRITE: [&str; 8] = [
    "export --format csv -o TO/csv",
    "export --format jsonl --full -o TO/jsonl",
    "export --format parquet -o TO/parquet",
    "export --format geojson --full -o TO/geojson",
    "debrief --html TO/day.html",
    "debrief --sheets TO/sheets",
    "stats times --html TO/season.html",
    "paper forms -o TO/forms.html",
];

#[test]
fn a_full_disk_is_said_and_nothing_half_written_stays() {
    let Some(disk) = SmallDisk::of_mib(1) else {
        eprintln!("SKIPPED: a full disk of files for others; mounting a small file system needs root");
        return;
    };
    let world = World::played();
    let to = disk.path();
    std::fs::write(to.join("other"), vec![7_u8; 1_048_576]).unwrap();
    let before = files(to);
    for line in WRITE {
        let line = line.replace("TO", &to.display().to_string());
        let refused = world.run(&line);
        assert_eq!(refused.status, 1, "{line}: {}", refused.out);
        assert!(refused.err.contains("does not fit on the disk; make room"), "{line}: {}", refused.err);
        assert!(files(to) == before, "{line} left {:?}", files(to).keys());
    }
    // With room again, each is done.
    std::fs::remove_file(to.join("other")).unwrap();
    for line in WRITE {
        world.run(&line.replace("TO", &to.display().to_string())).ok();
        for (path, held) in files(to) {
            assert!(!held.is_empty(), "{} is empty", path.display());
            std::fs::remove_file(path).unwrap();
        }
        for folder in std::fs::read_dir(to).unwrap() {
            std::fs::remove_dir_all(folder.unwrap().path()).unwrap();
        }
    }
}

#[test]
fn what_was_written_before_stays_where_the_new_does_not_fit() {
    let Some(disk) = SmallDisk::of_mib(1) else {
        eprintln!("SKIPPED: a full disk under an export of before; mounting a small file system needs root");
        return;
    };
    let world = World::played();
    let to = disk.path();
    let lines = ["export --format csv -o TO/csv --force", "debrief --html TO/day.html"];
    let lines = lines.map(|line| line.replace("TO", &to.display().to_string()));
    for line in &lines {
        world.run(line).ok();
    }
    let taken: usize = files(to).values().map(|held| held.len().next_multiple_of(4096)).sum();
    std::fs::write(to.join("other"), vec![7_u8; 1_048_576 - taken - 32_768]).unwrap();
    let before = files(to);
    for line in &lines {
        let refused = world.run(line);
        assert!(refused.status == 1 && refused.err.contains("does not fit"), "{line}: {}", refused.err);
        assert!(files(to) == before, "{line} changed something");
    }
}
