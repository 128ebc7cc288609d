//! A file in the temporary folder, gone with whoever made it.
use std::{
    io,
    path::{Path, PathBuf},
};

#[derive(Debug)]
pub struct Scratch(PathBuf);

impl Scratch {
    /// A name that nobody has.
    pub fn new(what: &str) -> Self {
        Self(std::env::temp_dir().join(format!("breakerbook-{what}-{}.db", uuid::Uuid::new_v4())))
    }

    /// A book as it lies there, with what its log holds. Nobody may be writing in it.
    pub fn copy_of(book: &Path) -> io::Result<Self> {
        let scratch = Self::new("read");
        super::open::private(&scratch.0)?;
        std::fs::copy(book, &scratch.0)?;
        let log = with(book, "-wal");
        if log.exists() {
            std::fs::copy(log, with(&scratch.0, "-wal"))?;
        }
        // What was copied has the rights that it had, and that may be none to write.
        for end in ["", "-wal"] {
            if let Ok(mut rights) = std::fs::metadata(with(&scratch.0, end)).map(|of| of.permissions()) {
                own(&mut rights);
                std::fs::set_permissions(with(&scratch.0, end), rights)?;
            }
        }
        Ok(scratch)
    }

    pub fn path(&self) -> &Path {
        &self.0
    }
}

/// Read and written by whoever runs this, and by nobody else.
fn own(rights: &mut std::fs::Permissions) {
    #[cfg(unix)]
    std::os::unix::fs::PermissionsExt::set_mode(rights, 0o600);
    #[cfg(not(unix))]
    rights.set_readonly(false);
}

fn with(path: &Path, end: &str) -> PathBuf {
    PathBuf::from(format!("{}{end}", path.display()))
}

impl Drop for Scratch {
    fn drop(&mut self) {
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(with(&self.0, end));
        }
    }
}
