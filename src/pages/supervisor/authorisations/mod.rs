//! Rights to open a ground-relay cutout, by page: who holds what until when, one proposed and one confirmed, one taken back.
pub(super) mod grant;
pub(super) mod list;
pub(super) mod new;
pub(super) mod proposal;

use crate::{
    desk::World,
    oversight::store::{Tried, refused_to},
    people::{Act, Authorisation, authorisation::Standing},
    web::{App, Oops},
};

/// How a right stands, in a word.
pub(super) fn stands(standing: Standing) -> &'static str {
    match standing {
        Standing::InForce => "in force now",
        Standing::NotBegun => "not begun",
        Standing::Ended => "ended",
        Standing::Revoked => "revoked",
    }
}

/// What was tried and refused of it, a sentence each.
async fn tried(app: &App, about: &str, world: &World) -> Result<Vec<String>, Oops> {
    let mut db = app.desk().read().await?;
    let tried = refused_to(&mut db, Act::GrantAuthorisation, about).await?;
    let says = |tried: &Tried| {
        format!(
            "{} signed this {}, and it was refused: {} Page {} of the book.",
            tried.by,
            world.railway.zone.in_words(tried.at),
            tried.says,
            tried.seq
        )
    };
    Ok(tried.iter().map(says).collect())
}

/// Who granted it and how it came into the book.
fn came(grant: &Authorisation, world: &World) -> String {
    let recorded = world.railway.zone.in_words(grant.recorded_at);
    match (&grant.proposed_by, grant.from_list) {
        (_, true) => {
            format!("imported from a list {recorded}; the list names {} as granting it", grant.granted_by)
        }
        (Some(proposer), false) => {
            format!("proposed by {proposer}, confirmed by {} {recorded}", grant.granted_by)
        }
        (None, false) => format!("granted by {} {recorded}", grant.granted_by),
    }
}
