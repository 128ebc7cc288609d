//! One newtype per kind of name, so that a tag cannot be handed in where a unit is wanted.
use std::{fmt, str::FromStr, sync::Arc};

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! text_id {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(Arc<str>);

        impl $name {
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }
        impl From<&str> for $name {
            fn from(text: &str) -> Self {
                Self(Arc::from(text))
            }
        }
        impl From<String> for $name {
            fn from(text: String) -> Self {
                Self(Arc::from(text))
            }
        }
        impl AsRef<str> for $name {
            fn as_ref(&self) -> &str {
                &self.0
            }
        }
        impl std::borrow::Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{:?}", &*self.0)
            }
        }
    )*};
}

text_id! {
    /// A locomotive by reporting mark and road number, `QHB 412`: see [`UnitName::tidy`].
    UnitName;
    /// Units built alike, sharing one electrical schedule.
    ClassName;
    /// A device's tag on a schedule, `TC2`; also the two names of the book's own, see [`Tag::GROUND_RELAY`].
    Tag;
    /// A person's name at sign-in, normalised and folded: see `people::sign_in`.
    SignIn;
}

impl Tag {
    /// Ground-relay operations count under this name whatever relay was named.
    pub const GROUND_RELAY: &'static str = "ground_relay";
    /// Engine starts have no device of their own.
    pub const ENGINE_START: &'static str = "engine_start";
}

impl UnitName {
    /// Mark upper-cased, one space, no leading zeros: `qhb0412` and `QHB  412` are `QHB 412`.
    /// `None` unless it is one to four letters, then one to six digits (a letter may follow).
    pub fn tidy(typed: &str) -> Option<Self> {
        let typed = typed.trim();
        let split = typed.find(|c: char| !c.is_ascii_alphabetic())?;
        let (mark, rest) = typed.split_at(split);
        let number = rest.trim_start_matches([' ', '-', '_']).trim_start_matches('0');
        let digits = number.trim_end_matches(|c: char| c.is_ascii_alphabetic());
        let sane = (1..=4).contains(&mark.len())
            && (1..=6).contains(&digits.len())
            && digits.bytes().all(|b| b.is_ascii_digit())
            && number.len() - digits.len() <= 1;
        sane.then(|| Self::from(format!("{} {}", mark.to_ascii_uppercase(), number.to_ascii_uppercase())))
    }

    /// The name as it stands in an address, `QHB-412`; [`UnitName::tidy`] reads it back.
    pub fn slug(&self) -> String {
        self.0.replace(' ', "-")
    }
}

macro_rules! uuid_id {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, schemars::JsonSchema)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Uuid::try_parse(text).map(Self)
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(f)
            }
        }
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(f)
            }
        }
    )*};
}

uuid_id! {
    /// One crew's signed filing about one unit.
    ReportId;
    /// One thing that happened, inside one report. Amendments keep it.
    EntryId;
    /// One later correction of one entry, stored apart from it.
    AmendmentId;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unit_names_are_tidied() {
        for (typed, want) in [
            ("qhb 412", Some("QHB 412")),
            (" QHB  0412 ", Some("QHB 412")),
            ("QHB-412", Some("QHB 412")),
            ("QHB412b", Some("QHB 412B")),
            ("412", None),
            ("QHB", None),
            ("QHB 0", None),
            ("QHBXX 1", None),
            ("QHB 41 2", None),
            ("", None),
        ] {
            assert_eq!(UnitName::tidy(typed).as_ref().map(UnitName::as_str), want, "{typed:?}");
        }
    }
}
