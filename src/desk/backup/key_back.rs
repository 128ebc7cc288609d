//! The key that checkpoints are signed with, at a restoring. It lies beside a book and beside a back-up, in neither.
use std::path::Path;

use crate::book::key;

/// What becomes of it, and how that is said.
#[derive(Debug, PartialEq, Eq)]
pub struct Plan {
    /// The secret that is put beside the book.
    pub comes: Option<String>,
    /// What lies there goes with the book that is replaced.
    pub leaves: bool,
    pub says: String,
}

/// From beside the back-up at `from` to beside the book at `to`. One that is the book's own and lies there stays where none
/// comes; another book's never does: nothing could be signed with it.
pub fn plan(from: &Path, to: &Path, origin: &str) -> Plan {
    let secret = |at: &Path| key::read(at, origin).map(|secret| secret.map(|secret| secret.reveal()));
    let (along, at) = (key::beside(from), key::beside(to));
    let there = secret(&at);
    let what_then = |none: String| {
        let stays = matches!(there, Ok(Some(_)));
        let then = if stays {
            format!("The one in {} is this book's and stays.", at.display())
        } else {
            format!(
                "Put the book's own at {} before it is served, if you have it; else a new one is made, which whoever keeps checkpoints has to be told of. Those signed before stay good.",
                at.display()
            )
        };
        Plan { comes: None, leaves: !stays && at.exists(), says: format!("{none} {then}") }
    };
    match secret(&along) {
        Ok(Some(ours)) if matches!(&there, Ok(Some(theirs)) if *theirs == ours) => Plan {
            comes: None,
            leaves: false,
            says: format!(
                "The key that checkpoints are signed with, in {}, is the back-up's too, and stays.",
                at.display()
            ),
        },
        Ok(Some(ours)) => Plan {
            comes: Some(ours),
            leaves: at.exists(),
            says: format!("The key that checkpoints are signed with is back in {}.", at.display()),
        },
        Ok(None) => what_then("No key that checkpoints are signed with lies beside the back-up.".to_owned()),
        Err(why) => what_then(format!("The key that checkpoints are signed with did not come back: {why}.")),
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::book::note::SecretKey;

    #[test]
    fn each_way_in_which_keys_can_lie() {
        let dir = tempfile::tempdir().unwrap();
        let (from, to) = (dir.path().join("a.backup"), dir.path().join("b.db"));
        let key = |name, seed| SecretKey::of(name, &[seed; 32]).reveal();
        let (ours, newer, foreign) =
            (key("breakerbook/a", 1), key("breakerbook/a", 2), key("breakerbook/b", 3));
        let bad = "PRIVATE+KEY+".to_owned();
        let (back, stays, none) = ("is back in", "is this book's and stays", "else a new one is made");
        for (along, there, comes, leaves, says) in [
            (Some(&ours), None, true, false, back),
            (Some(&ours), Some(&ours), false, false, "is the back-up's too"),
            (Some(&ours), Some(&newer), true, true, back),
            (Some(&ours), Some(&foreign), true, true, back),
            (Some(&ours), Some(&bad), true, true, back),
            (None, None, false, false, none),
            (None, Some(&newer), false, false, stays),
            (None, Some(&foreign), false, true, none),
            (None, Some(&bad), false, true, none),
            (Some(&foreign), Some(&newer), false, false, "belongs to another book (breakerbook/b)"),
            (Some(&bad), None, false, false, "cannot be read"),
            (Some(&bad), Some(&foreign), false, true, none),
        ] {
            for (beside, text) in [(&from, along), (&to, there)] {
                let at = key::beside(beside);
                match text {
                    Some(text) => fs::write(at, text).unwrap(),
                    None => drop(fs::remove_file(at)),
                }
            }
            let plan = plan(&from, &to, "breakerbook/a");
            let case = format!("{along:?} over {there:?}: {plan:?}");
            assert_eq!(plan.comes.as_ref(), comes.then_some(&ours), "{case}");
            assert_eq!(plan.leaves, leaves, "{case}");
            assert!(plan.says.contains(says), "{case}");
        }
    }
}
