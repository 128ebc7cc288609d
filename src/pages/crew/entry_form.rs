//! The form of one entry, ready to print: its questions with what was typed and what is wrong beside them.
use super::{
    answers::Says,
    asking::{Answer, If, Part, Question, Words, parts},
    remembered::REMEMBERED,
    typed::Typed,
};
use crate::{
    pages::drawn::form::{Choice, Field},
    reports::kinds::Kind,
    roster::Device,
};

#[derive(Clone, Debug)]
pub struct PartView {
    /// Empty: in the open. Otherwise folded away under it.
    pub title: &'static str,
    pub class: &'static str,
    /// Something in it is stated or wrong, so it must not be folded.
    pub open: bool,
    /// What is filled in already, as it was last written.
    pub told: String,
    /// The answer that stands before the question whether it was closed again.
    pub answer: Vec<String>,
    pub cautions: &'static [&'static str],
    pub asks: Vec<AskView>,
}

#[derive(Clone, Debug)]
pub enum AskView {
    Keys(Choice),
    Line(Field),
    Area(Field),
    /// Keys and, for what none of them says, a line.
    KeysAndLine(Choice, Field, &'static str),
}

/// When it happened: keys, and a time for those who set one.
#[derive(Clone, Debug)]
pub struct WhenView {
    pub keys: Choice,
    pub set: Field,
    pub about: bool,
    /// What 'now' means on a form that came back; empty on a new one.
    pub now: String,
    pub now_says: String,
}

pub fn when_view(kind: Kind, typed: &Typed, says: &Says) -> WhenView {
    let found = if kind == Kind::Bypass { "Found open" } else { "Found so" };
    let keys = [
        ("now", "Now"),
        ("5", "5 min ago"),
        ("15", "15 min ago"),
        ("30", "30 min ago"),
        ("set", "Set a time"),
        ("not_known", "Not known"),
        ("found", found),
    ];
    let label = if kind == Kind::Bypass { "When was it opened?" } else { "When?" };
    let chosen = match typed.raw("when") {
        "" => "now",
        chosen => chosen,
    };
    WhenView {
        keys: Choice::of("when", label, chosen, &keys).few().says(says.get("when").cloned()),
        set: Field::time("when.set", "Date and time", typed.raw("when.set")),
        about: typed.raw("when.about") == "yes",
        now: typed.raw("when.now").to_owned(),
        now_says: typed.raw("when.now").replace('T', " "),
    }
}

pub fn part_views(
    kind: Kind,
    device: Option<&Device>,
    typed: &Typed,
    says: &Says,
    reset: &[String],
) -> Vec<PartView> {
    parts(kind, device).iter().map(|part| part_view(part, typed, says, reset)).collect()
}

fn part_view(part: &Part, typed: &Typed, says: &Says, reset: &[String]) -> PartView {
    let asks_reset = part.questions.iter().any(|q| q.name == "resets[0].result");
    let touched = |q: &Question| {
        let prefix = format!("{}.", q.name);
        typed.stated(q.name).is_some() || says.keys().any(|k| k == q.name || k.starts_with(&prefix))
    };
    // What was only remembered stays folded: beside the title stands what it is.
    let remembered = typed
        .stated(REMEMBERED)
        .filter(|_| part.questions.iter().any(|q| q.name == "place"))
        .unwrap_or_default();
    PartView {
        title: part.title,
        class: if part.only_if == If::Always { "" } else { part.only_if.class() },
        open: remembered.is_empty() && part.questions.iter().any(touched),
        told: remembered,
        answer: if asks_reset { reset.to_vec() } else { Vec::new() },
        cautions: part.caution,
        asks: part.questions.iter().map(|q| ask_view(q, typed, says)).collect(),
    }
}

/// Without these an entry says nothing.
const NEEDED: &[&str] = &["left", "result", "outcome", "seen", "text"];

fn ask_view(q: &Question, typed: &Typed, says: &Says) -> AskView {
    let value = typed.raw(q.name);
    let says_here = says.get(q.name).cloned();
    let hint = if NEEDED.contains(&q.name) && q.hint.is_empty() { "Has to be answered" } else { q.hint };
    let keys = |words: Words| Choice::of(q.name, q.label, value, words).hint(hint).says(says_here.clone());
    let line = |field: Field| field.hint(hint).says(says_here.clone());
    match q.answer {
        Answer::Words(words) => AskView::Keys(keys(words)),
        Answer::Few(words) | Answer::Gate(words) => AskView::Keys(keys(words).few()),
        Answer::Text | Answer::List | Answer::Person => {
            AskView::Line(line(Field::text(q.name, q.label, value)))
        }
        Answer::Lines => AskView::Area(line(Field::text(q.name, q.label, value))),
        Answer::Figure => AskView::Line(line(Field::number(q.name, q.label, value))),
        Answer::Count => {
            AskView::Line(line(Field { mode: "numeric", ..Field::text(q.name, q.label, value) }))
        }
        Answer::Time => AskView::Line(line(Field::time(q.name, q.label, value))),
        Answer::Who => {
            let words = &[("me", "Me"), ("other", "Somebody else"), ("not_known", "Not known")];
            let name = format!("{}.name", q.name);
            let field = Field::text(&name, "Who?", typed.raw(&name)).hint("Sign-in name or name");
            AskView::KeysAndLine(keys(words).few(), field, "if-other")
        }
        Answer::Seal => {
            let name = format!("{}.number", q.name);
            let field = Field { mode: "numeric", ..Field::text(&name, "Number on it", typed.raw(&name)) };
            AskView::KeysAndLine(keys(super::asking::words::SEAL).few(), field, "")
        }
    }
}
