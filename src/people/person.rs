//! One person: a sign-in name and one role. Display names and crafts live outside the book.
use serde::{Deserialize, Serialize};
use unicode_normalization::UnicodeNormalization;

use crate::base::{Instant, SignIn, words::words};

words! { pub enum Role { Crew = "crew", Shop = "shop", Supervisor = "supervisor", Administrator = "administrator", } }

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Person {
    pub sign_in: SignIn,
    pub role: Role,
    pub added_at: Instant,
    /// False once they have left: their name stays theirs, they can no longer sign in.
    pub active: bool,
    #[serde(default)]
    pub last: LastChange,
}

/// The last page about a person: a form that was drawn before it is stale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LastChange {
    pub seq: u64,
    pub at: Instant,
    /// `None`: the console, or a list.
    pub by: Option<SignIn>,
    pub reason: Option<String>,
}

impl Default for LastChange {
    fn default() -> Self {
        Self { seq: 0, at: Instant(0), by: None, reason: None }
    }
}

/// Sign-in names are compared after NFKC and case folding, so that no two people can look the same:
/// letters, digits, `.`, `-`, `_`; 2 to 40 characters; `None` otherwise.
pub fn sign_in(typed: &str) -> Option<SignIn> {
    let folded: String = typed.trim().nfkc().flat_map(char::to_lowercase).nfkc().collect();
    let sane = (2..=40).contains(&folded.chars().count())
        && folded.chars().all(|c| c.is_alphanumeric() || matches!(c, '.' | '-' | '_'))
        && folded != "not_known";
    sane.then(|| SignIn::from(folded))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_look_alike_are_one_name() {
        // Vector V11 of the standards notes: case and Unicode variants are the same identity (49 CFR 229.20(b)(1)).
        for typed in ["n.okafor", " N.Okafor ", "Ｎ.ＯＫＡＦＯＲ"] {
            assert_eq!(sign_in(typed).unwrap().as_str(), "n.okafor", "{typed}");
        }
        for bad in ["", "a", "not_known", "two words", "semi;colon"] {
            assert_eq!(sign_in(bad), None, "{bad:?}");
        }
    }
}
