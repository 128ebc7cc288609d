//! Answers of one form that do not go together: asked about once, and kept if they are meant so.
use super::typed::Typed;
use crate::reports::kinds::Kind;

pub fn doubts(kind: Kind, typed: &Typed) -> Vec<String> {
    match kind {
        Kind::BreakerTrip => left(typed).into_iter().collect(),
        Kind::Bypass => {
            let open = closing_time_of_an_open_one(kind, typed).map(|at| {
                let at = at.replace('T', " ");
                format!("You tapped 'Still open' and set when it was closed ({at}). Which of the two is it?")
            });
            let by = nameless("by", "Opened by", typed);
            let closed = typed.raw("closed") == "yes";
            let closer = closed.then(|| nameless("closed_by", "Closed by", typed)).flatten();
            open.into_iter().chain(by).chain(closer).collect()
        }
        Kind::Position => nameless("by", "Moved by", typed).into_iter().collect(),
        _ => Vec::new(),
    }
}

fn left(typed: &Typed) -> Option<String> {
    let last = match typed.raw("resets[1].result") {
        "" | "none" => typed.raw("resets[0].result"),
        second => second,
    };
    let says = match (last, typed.raw("left")) {
        ("none", "on") => {
            "You tapped 'Not reset' and that it is left 'On'. A breaker that tripped and was not reset is not on."
        }
        ("would_not_latch", "on") => {
            "You tapped 'Would not latch' and that it is left 'On'. Did it hold in the end?"
        }
        ("held", "tripped") => {
            "You tapped 'Reset, it held' and that it is left 'Tripped'. Did it trip again?"
        }
        ("tripped_again", "on") => {
            "You tapped 'Reset, tripped again' and that it is left 'On'. Was it closed once more?"
        }
        _ => return None,
    };
    Some(says.to_owned())
}

fn nameless(name: &str, label: &str, typed: &Typed) -> Option<String> {
    let no_name = typed.raw(name) == "other" && typed.stated(&format!("{name}.name")).is_none();
    no_name.then(|| format!("You tapped 'Somebody else' under '{label}' and wrote no name. Do you know it?"))
}

/// Typed, although the cutout is said to be open still: it is asked about, and never dropped.
pub fn closing_time_of_an_open_one(kind: Kind, typed: &Typed) -> Option<String> {
    typed.stated("closed_at").filter(|_| kind == Kind::Bypass && typed.raw("closed") != "yes")
}
