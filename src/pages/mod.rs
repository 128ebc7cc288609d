//! One room per reader, and what is drawn alike in all of them.
pub mod crew;
pub mod drawn;
pub mod office;

use crate::web::Route;

/// Every reader's pages.
pub fn routes() -> Vec<Route> {
    let mut routes = office::routes();
    routes.extend(crew::routes());
    routes
}
