//! One room per reader, and what is drawn alike in all of them.
pub mod crew;
pub mod drawn;
pub mod office;
pub mod shop;
pub mod supervisor;

use crate::web::Route;

/// Every reader's pages.
pub fn routes() -> Vec<Route> {
    [office::routes(), crew::routes(), shop::routes(), supervisor::routes()].into_iter().flatten().collect()
}
