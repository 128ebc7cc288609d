//! What kept a report from being signed, each sentence where it belongs.
use super::answers::Says;
use crate::base::{EntryId, Problem};

/// What is wrong with a report that was to be signed.
#[derive(Debug, Default)]
pub struct Wrong {
    pub says: Says,
    pub whole: Vec<String>,
    /// By the entry's id.
    pub entries: Vec<(EntryId, String)>,
    pub asked: Vec<String>,
    pub first: Vec<(String, String)>,
}

impl Wrong {
    pub fn password(says: String) -> Self {
        Self { says: Says::from([("password".to_owned(), says)]), ..Self::default() }
    }

    /// Each problem beside its field or its entry, the rest on top.
    pub fn of(problems: Vec<Problem>, entries: &[EntryId]) -> Self {
        const FIELDS: &[&str] = &[
            "occasion",
            "run.started",
            "run.ended",
            "run.symbol",
            "run.from",
            "run.to",
            "position",
            "weather",
            "remarks",
        ];
        let mut wrong = Self::default();
        for problem in problems {
            let place = problem.path.strip_prefix("entries[").and_then(|rest| rest.split_once(']'));
            let entry = place.and_then(|(n, _)| entries.get(n.parse::<usize>().ok()?));
            match entry {
                Some(id) => wrong.entries.push((*id, problem.says)),
                None if FIELDS.contains(&problem.path.as_str()) => {
                    wrong.says.insert(problem.path, problem.says);
                }
                None if problem.path.starts_with("consist") => {
                    wrong.says.insert("consist".to_owned(), problem.says);
                }
                None => wrong.whole.push(problem.says),
            }
        }
        if !wrong.says.is_empty() || !wrong.entries.is_empty() {
            wrong
                .whole
                .insert(0, "It was not signed yet: see below. Nothing that you wrote is lost.".to_owned());
        }
        wrong
    }
}
