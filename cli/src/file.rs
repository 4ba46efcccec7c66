//! Files that are whole or not there: written beside their place, put on the disk, then renamed into it.

use crate::failure::Failure;
use std::io::Write;
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// Writes a file whole; one that was there before is replaced, and stays as it was if this fails.
///
/// # Errors
/// What the system says, with what to do.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write(path, bytes, 0o644)
}

/// Writes a file whole that only its owner may read.
///
/// # Errors
/// What the system says, with what to do.
pub fn write_private(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write(path, bytes, 0o600)
}

/// Writes several files, all of them or none: each is put on the disk beside its place before the first takes it.
///
/// # Errors
/// What the system says, with what to do.
pub fn write_all_whole(files: &[(PathBuf, String)]) -> Result<(), Failure> {
    let beside: Vec<NamedTempFile> =
        files.iter().map(|(path, text)| beside(path, text.as_bytes(), 0o644)).collect::<Result<_, _>>()?;
    files.iter().zip(beside).try_for_each(|((path, _), file)| put(file, path))
}

fn write(path: &Path, bytes: &[u8], mode: u32) -> Result<(), Failure> {
    put(beside(path, bytes, mode)?, path)
}

/// A file in the folder of another, on the disk, gone when it is dropped.
#[cfg_attr(not(unix), expect(unused_variables, reason = "only there a file has a mode"))]
fn beside(path: &Path, bytes: &[u8], mode: u32) -> Result<NamedTempFile, Failure> {
    let failed = |e: std::io::Error| Failure::file(path, &e);
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".firnbook-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(mode));
    }
    let mut file = builder.tempfile_in(folder).map_err(failed)?;
    file.write_all(bytes).and_then(|()| file.as_file().sync_all()).map_err(failed)?;
    Ok(file)
}

fn put(file: NamedTempFile, path: &Path) -> Result<(), Failure> {
    file.persist(path).map(|_| ()).map_err(|e| Failure::file(path, &e.error))
}

/// Makes a folder and those above it.
///
/// # Errors
/// What the system says, with what to do.
pub fn make_folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path).map_err(|e| Failure::file(path, &e))
}
