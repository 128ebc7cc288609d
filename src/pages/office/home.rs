//! The first page: where each role's work begins.
use crate::{
    people::Role,
    web::{Answer, Me, paths, see},
};

pub async fn send(me: Me) -> Answer {
    match me.role() {
        Role::Crew => see(&paths::Units),
        Role::Shop | Role::Administrator => see(&paths::Triage),
        Role::Supervisor => see(&paths::Bypasses),
    }
}
