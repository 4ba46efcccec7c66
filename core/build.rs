//! Names the source that answers are made by, so that rows kept by another one are made again (see `store::kept`).

use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hasher};
use std::path::{Path, PathBuf};

fn files(folder: &Path, found: &mut BTreeSet<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            files(&path, found);
        } else {
            found.insert(path);
        }
    }
}

fn main() {
    println!("cargo::rerun-if-changed=src");
    let mut found = BTreeSet::new();
    files(Path::new("src"), &mut found);
    let mut hasher = DefaultHasher::new();
    for path in found {
        hasher.write(&std::fs::read(path).unwrap_or_default());
    }
    println!("cargo::rustc-env=FIRNBOOK_SOURCE={:016x}", hasher.finish());
}
