//! A disk that is soon full: a small file system in memory. Mounting it needs the right to.

use std::path::Path;
use std::process::Command;

/// A small file system in memory, taken down at the end.
pub struct SmallDisk(tempfile::TempDir);

impl SmallDisk {
    /// One of so many MiB; `None` without the right to mount it.
    ///
    /// # Panics
    /// Where there is no temporary folder.
    #[must_use]
    pub fn of_mib(mib: usize) -> Option<SmallDisk> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let size = format!("size={mib}m");
        let mounted =
            Command::new("mount").args(["-t", "tmpfs", "-o", &size, "tmpfs"]).arg(folder.path()).status();
        mounted.is_ok_and(|s| s.success()).then_some(SmallDisk(folder))
    }

    /// Where it is mounted.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.0.path()
    }

    /// Nothing can be written to it from now on.
    ///
    /// # Panics
    /// Where the system does not do it.
    pub fn read_only(&self) {
        let remounted = Command::new("mount").args(["-o", "remount,ro"]).arg(self.path()).status();
        assert!(remounted.is_ok_and(|s| s.success()), "{} stays writable", self.path().display());
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(self.path()).status();
    }
}
