//! What the shop's forms share: whom one was shown to, when something was done, whose password signs.
pub use crate::web::signature::another_signer;
use crate::{
    base::{Instant, SignIn, Zone, instant::MINUTE},
    people::{Act, Permit, Role, person},
    web::{App, Me, Oops, signature},
};

/// When something was done: now, or a time that is written down later. `first`: what it cannot be before, and when that was.
pub fn moment(
    typed: &str,
    zone: &Zone,
    now: Instant,
    first: Option<(&str, Instant)>,
) -> Result<Instant, String> {
    if typed.trim().is_empty() {
        return Ok(now);
    }
    let Some(at) = zone.parse_local(typed.trim()) else {
        return Err("Set a date and a time, or leave it empty for now.".to_owned());
    };
    if at > now.plus(5 * MINUTE) {
        return Err(format!("That is still to come: now it is {}.", zone.in_words(now)));
    }
    match first {
        // What is typed has no seconds.
        Some((what, first)) if at.plus(MINUTE) <= first => {
            Err(format!("{what} at {}, which is later.", zone.in_words(first)))
        }
        Some((_, first)) => Ok(at.max(first).min(now)),
        None => Ok(at.min(now)),
    }
}

/// Whose signature it is: on a screen that several share, each types their own name and password.
pub enum Signed {
    By(Permit),
    /// The sentence beside the name, and the one beside the password.
    Not {
        name: Option<String>,
        password: Option<String>,
    },
}

impl Signed {
    fn name(says: impl Into<String>) -> Self {
        Self::Not { name: Some(says.into()), password: None }
    }
    fn password(says: impl Into<String>) -> Self {
        Self::Not { name: None, password: Some(says.into()) }
    }
}

/// Signs as whoever is named, by their own password; nothing typed is oneself.
pub async fn sign_as(app: &App, me: &Me, named: &str, password: &str) -> Result<Signed, Oops> {
    let mine = named.trim().is_empty() || named.trim() == me.sign_in().as_str();
    if mine {
        return Ok(match signature::sign(app, me, password).await? {
            Err(says) => Signed::password(says),
            Ok(()) => Signed::By(me.permit(Act::WorkOnUnits)?),
        });
    }
    let world = app.world();
    let known = person::sign_in(named).filter(|name| world.people.person(name).is_some());
    let Some(who) = known else {
        return Ok(Signed::name("Nobody has this sign-in name. Whoever did it signs with their own."));
    };
    let permit = world.people.person(&who).and_then(|person| person.permit(Act::WorkOnUnits));
    let Some(permit) = permit else {
        return Ok(Signed::name(format!(
            "{who} does not work in the shop, by the book: {} signs here.",
            Role::Shop
        )));
    };
    Ok(match signature::sign_for(app, &who, password).await? {
        Err(says) => Signed::password(says),
        Ok(()) => Signed::By(permit),
    })
}

/// A fresh id, for a form that must be written once however often it arrives.
pub fn fresh() -> uuid::Uuid {
    uuid::Uuid::new_v4()
}

/// The id in an address or a form.
pub fn id_of(text: &str) -> Option<uuid::Uuid> {
    uuid::Uuid::try_parse(text).ok()
}

/// The reader, in a hidden field.
pub fn signer(me: &Me) -> String {
    SignIn::to_string(me.sign_in())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_now_or_earlier_and_never_before_what_it_follows() {
        let zone = Zone::named("America/Chicago").unwrap();
        let at = |text| Instant::parse(text).unwrap();
        let now = at("2026-03-03T12:00:30Z");
        let opened = Some(("It was opened", at("2026-03-03T11:00:30Z")));
        assert_eq!(moment(" ", &zone, now, None), Ok(now));
        assert_eq!(moment("2026-03-03T05:30", &zone, now, opened), Ok(at("2026-03-03T11:30:00Z")));
        assert_eq!(moment("2026-03-03T05:00", &zone, now, opened), Ok(at("2026-03-03T11:00:30Z")));
        assert_eq!(moment("2026-03-03T06:03", &zone, now, None), Ok(now));
        for (typed, says) in [
            ("2026-03-03T04:59", "It was opened at 3 Mar 2026 05:00"),
            ("2026-03-03T07:00", "That is still to come"),
            ("noon", "Set a date and a time"),
        ] {
            let refused = moment(typed, &zone, now, opened).unwrap_err();
            assert!(refused.starts_with(says), "{refused}");
        }
    }
}
