//! Why something was not done: values with words, for pages and programs alike.
use crate::{
    base::{Code, Problem},
    db::writer::Trouble,
};

#[derive(Clone, Debug, PartialEq)]
pub enum Refused {
    /// Fields are wrong: each problem is a sentence beside its field.
    Problems(Vec<Problem>),
    /// The same id with other content, or an id that is in use.
    Conflict(Vec<Problem>),
    /// Somebody else's to do.
    NotYours(String),
    /// There is no such thing.
    NotThere(String),
    /// The form is from before something changed: look again.
    Stale(String),
    /// The queue is full; come again after so many seconds.
    Busy { retry_after_s: u32 },
    /// The machine failed.
    Trouble(Trouble),
}

/// One field that cannot be as it is; an empty path is the whole.
pub(super) fn not_allowed(path: &str, says: String) -> Refused {
    Refused::Problems(vec![Problem { path: path.to_owned(), code: Code::NotAllowed, says }])
}

impl Refused {
    /// The sentence for a person, when there is no field to put it beside.
    pub fn says(&self) -> String {
        match self {
            Self::Problems(problems) | Self::Conflict(problems) => {
                problems.iter().map(|p| p.says.as_str()).collect::<Vec<_>>().join(" ")
            }
            Self::NotYours(says) | Self::NotThere(says) | Self::Stale(says) => says.clone(),
            Self::Busy { retry_after_s } => {
                format!(
                    "Too many are writing at once: nothing of this was kept. Send it again in {retry_after_s} seconds."
                )
            }
            Self::Trouble(trouble) => {
                let says = trouble.to_string();
                let mut letters = says.chars();
                let first = letters.next().map(|c| c.to_uppercase().to_string()).unwrap_or_default();
                format!("{first}{}.", letters.as_str())
            }
        }
    }
}

impl From<Trouble> for Refused {
    fn from(trouble: Trouble) -> Self {
        Self::Trouble(trouble)
    }
}
