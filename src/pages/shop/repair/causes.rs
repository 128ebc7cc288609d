//! The causes that a closing chooses from: what repairs of this device found before, the shop's list, and the two that
//! are always there.
use crate::{
    base::{Tag, UnitName},
    desk::World,
    shop::{Causes, NO_FAULT_FOUND, NOT_KNOWN, cause_key, store::CauseRow},
};

/// A heading in the list, and what stands under it.
#[derive(Clone, Debug)]
pub struct Group {
    pub title: &'static str,
    pub options: Vec<Opt>,
}

#[derive(Clone, Debug)]
pub struct Opt {
    pub value: String,
    pub text: String,
    pub chosen: bool,
}

impl Opt {
    fn of(cause: &str, text: String, chosen: &str) -> Self {
        Self { value: cause.to_owned(), text, chosen: cause_key(cause) == cause_key(chosen) }
    }
}

/// In the letters that the shop's list has.
fn as_listed<'c>(cause: &'c str, listed: &'c [CauseRow]) -> &'c str {
    let known = listed.iter().find(|row| cause_key(&row.cause) == cause_key(cause));
    known.map_or(cause, |row| &row.cause)
}

/// Each cause once, under the first heading that has it. What was chosen before is among them whatever became of the list.
pub fn groups(
    listed: &[CauseRow],
    before: &Causes,
    (unit, device): (&UnitName, Option<&Tag>),
    world: &World,
    chosen: &str,
) -> Vec<Group> {
    let mut had: Vec<String> = vec![NO_FAULT_FOUND.to_owned(), NOT_KNOWN.to_owned()];
    let mut take = |cause: &str, text: String| {
        let key = cause_key(cause);
        let new = !key.is_empty() && !had.contains(&key);
        new.then(|| {
            had.push(key);
            Opt::of(cause, text, chosen)
        })
    };
    let class = world.roster.unit(unit).map(|card| &card.class);
    let found = class.zip(device).map(|(class, device)| before.of(class, device)).unwrap_or_default();
    let found: Vec<Opt> = found
        .into_iter()
        .filter_map(|(cause, n)| {
            let cause = as_listed(cause, listed);
            take(cause, format!("{cause} ({n} before)"))
        })
        .collect();
    let mut list: Vec<Opt> = listed
        .iter()
        .filter(|row| row.listed)
        .filter_map(|row| take(&row.cause, row.cause.clone()))
        .collect();
    list.extend(take(chosen, chosen.to_owned()));
    let always = [NO_FAULT_FOUND, NOT_KNOWN].map(|cause| Opt::of(cause, cause.to_owned(), chosen));
    let all = [
        Group { title: "Found in this device before, in this class", options: found },
        Group { title: "The shop's list", options: list },
        Group { title: "Always", options: always.into() },
    ];
    all.into_iter().filter(|group| !group.options.is_empty()).collect()
}

/// What was chosen or typed: a cause, and whether it goes on the list with the closing. `Err` is the sentence beside it.
pub fn read(chosen: &str, another: &str, listed: &[CauseRow]) -> Result<(String, bool), &'static str> {
    let tidy = |typed: &str| typed.split_whitespace().collect::<Vec<_>>().join(" ");
    let (chosen, another) = (tidy(chosen), tidy(another));
    if !another.is_empty() {
        if !chosen.is_empty() {
            return Err("Choose one of the list, or write another below: not both.");
        }
        if another.chars().count() > 120 {
            return Err("A cause is a few words, at most 120 letters: the rest goes into the words below.");
        }
        let always = [NO_FAULT_FOUND, NOT_KNOWN].contains(&cause_key(&another).as_str());
        let known = listed.iter().any(|row| row.listed && cause_key(&row.cause) == cause_key(&another));
        return Ok((another, !always && !known));
    }
    if chosen.is_empty() {
        return Err("Say what was found: choose one, or 'no fault found', or 'not known'.");
    }
    Ok((chosen, false))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(cause: &str, listed: bool) -> CauseRow {
        CauseRow { cause: cause.into(), listed, by: "sam".into(), at: 0 }
    }

    #[test]
    fn a_cause_is_chosen_or_typed_and_a_new_one_goes_on_the_list() {
        let listed = [row("Jumper chafed", true), row("Old card", false)];
        assert_eq!(read("Jumper chafed", " ", &listed), Ok(("Jumper chafed".into(), false)));
        assert_eq!(read("", "  Loose   lug ", &listed), Ok(("Loose lug".into(), true)));
        assert_eq!(read("", "jumper CHAFED", &listed), Ok(("jumper CHAFED".into(), false)));
        assert_eq!(read("", "old card", &listed), Ok(("old card".into(), true)), "back on the list");
        assert_eq!(read("", "No fault found", &listed), Ok(("No fault found".into(), false)));
        assert!(read("", "", &listed).is_err() && read("not known", "Loose lug", &listed).is_err());
        assert!(read("", &"x".repeat(121), &listed).is_err());
    }
}
