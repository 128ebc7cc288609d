//! A form of an entry that comes already filled in: answers in the address, under the names of its questions.
use super::{asking::parts, typed::Typed};
use crate::{reports::kinds::Kind, roster::Device};

/// Longer than any answer that a page of ours puts into an address.
const MOST: usize = 400;

/// What was given for questions of this form; the rest of the address is none of its business.
pub fn typed(kind: Kind, device: Option<&Device>, given: &[(String, String)]) -> Typed {
    let parts = parts(kind, device);
    let asks = |name: &str| name == "when" || parts.iter().flat_map(|p| p.questions).any(|q| q.name == name);
    let given = given.iter().filter(|(name, value)| asks(name) && value.chars().count() <= MOST);
    given.cloned().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_answers_to_this_forms_questions_are_taken() {
        let given = [("attempt", "2"), ("outcome", ""), ("left", "on"), ("entry", "x"), ("when", "5")]
            .map(|(name, value)| (name.to_owned(), value.to_owned()));
        let typed = typed(Kind::EngineStart, None, &given);
        assert_eq!((typed.raw("attempt"), typed.raw("when")), ("2", "5"));
        assert!(!typed.asked("left") && !typed.asked("entry"));
    }
}
