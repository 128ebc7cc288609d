//! People, what each may do, and the dated rights to open a ground-relay cutout.
pub mod authorisation;
pub mod codes;
pub mod codes_store;
pub mod import;
pub mod password;
pub mod permit;
pub mod person;
pub mod proposal;
pub mod secrets;
pub mod session;
pub mod tablet;
pub mod tokens_store;
pub mod tries_store;

use std::{collections::BTreeMap, sync::Arc};

pub use authorisation::Authorisation;
pub use permit::{Act, Permit};
pub use person::{Person, Role};
pub use proposal::Proposal;

use crate::base::SignIn;

/// Everybody in the book and every authorisation ever granted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct People {
    pub persons: BTreeMap<SignIn, Arc<Person>>,
    pub authorisations: Vec<Arc<Authorisation>>,
}

impl People {
    pub fn person(&self, sign_in: &SignIn) -> Option<&Person> {
        self.persons.get(sign_in).map(Arc::as_ref)
    }

    /// Whoever else still administers the book.
    pub fn another_administrator(&self, than: &SignIn) -> bool {
        let administers = |person: &Person| person.active && person.role == Role::Administrator;
        self.persons.values().any(|person| administers(person) && person.sign_in != *than)
    }

    /// Of a crew, or not on the office list: such a list is often behind, and crews are most of who writes.
    pub fn is_crew(&self, sign_in: &SignIn) -> bool {
        self.person(sign_in).is_none_or(|person| person.role == Role::Crew)
    }
}
