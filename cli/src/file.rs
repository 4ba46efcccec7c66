//! Files that are whole or not there: written beside their place, put on the disk, then renamed into it.

use crate::failure::Failure;
use std::io::Write;
use std::path::Path;

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

#[cfg_attr(not(unix), expect(unused_variables, reason = "only there a file has a mode"))]
fn write(path: &Path, bytes: &[u8], mode: u32) -> Result<(), Failure> {
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
    file.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
}

/// Makes a folder and those above it.
///
/// # Errors
/// What the system says, with what to do.
pub fn make_folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path).map_err(|e| Failure::file(path, &e))
}
