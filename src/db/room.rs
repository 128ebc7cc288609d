//! How much room there is on a disk.
use std::path::Path;

/// Bytes that this program may still write beside a file; `None` where that cannot be asked.
#[cfg(unix)]
pub fn free_beside(file: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(file).ok()?;
    Some(disk.f_bavail.saturating_mul(disk.f_frsize))
}

#[cfg(not(unix))]
pub fn free_beside(_: &Path) -> Option<u64> {
    None
}
