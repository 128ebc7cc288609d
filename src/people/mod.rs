//! People, what each may do, and the dated rights to open a ground-relay cutout.
pub mod authorisation;
pub mod import;
pub mod password;
pub mod permit;
pub mod person;
pub mod secrets;
pub mod session;

use std::{collections::BTreeMap, sync::Arc};

pub use authorisation::Authorisation;
pub use permit::{Act, Permit};
pub use person::{Person, Role};

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
}
