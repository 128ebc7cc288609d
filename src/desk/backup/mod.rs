//! Back-ups: a file of its own with every page of the book and what stands beside them, taken while the book is served,
//! checked before it has its name; and the way back.
pub mod check;
mod copy;
mod folder;
mod key_back;
pub mod restore;
pub mod schedule;
pub mod seal;
pub mod take;
pub mod told;

pub use copy::print_of;
pub use folder::Found;
pub use schedule::{Backups, TimeOfDay};
pub use take::{Pace, Taken, take};
pub use told::Told;

use crate::{book::Hash, db::writer::Trouble};

/// Not done, in a sentence that says what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotDone(pub String);

impl std::fmt::Display for NotDone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// The tree of a book at its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct End {
    pub size: u64,
    pub root: Hash,
}

/// What stands beside the pages and is not taken along. Sessions: whoever had one signs in again, and none that was ended
/// since comes back to life; nor does a sign-in that waits for its code. What is told of back-ups: it is about the file it stands in.
const LEFT_OUT: &[&str] = &["session", "sign_in_step", "backup_told"];

/// The disk's own refusals, told from everything else.
fn is_of_the_disk(why: &sqlx::Error) -> bool {
    let code = why.as_database_error().and_then(|e| e.code().map(|c| c.into_owned()));
    let primary = code.as_deref().and_then(|c| c.parse::<i32>().ok()).map(|c| c & 0xff);
    // 10 IOERR is what a quota or a limit on a file's size comes as.
    Trouble::from(why) == Trouble::DiskFull || primary == Some(10)
}
