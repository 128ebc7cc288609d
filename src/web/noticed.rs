//! Which page tells more of a notice, and how letters lead there.
use super::paths;
use crate::desk::notices::{About, letter::Links};

pub fn path(about: &About) -> String {
    match about {
        About::Bypass(id) => paths::Bypass(*id).to_string(),
        About::Finding(key) => paths::Finding(key.clone()).to_string(),
        About::Unit(unit) => paths::Unit(unit.clone()).to_string(),
        About::UnitInspections(unit) => paths::UnitInspections(unit.clone()).to_string(),
        About::Bypasses => paths::Bypasses.to_string(),
        About::Proposal(id) => paths::Proposal(id.to_string()).to_string(),
        About::Backups => paths::Backups.to_string(),
        About::Notices => paths::Notices.to_string(),
    }
}

/// Behind the address that people use, `https://book.example.com`; without one letters have the path alone.
pub fn links(base: &str) -> Links {
    Links { base: base.trim_end_matches('/').to_owned(), path, mine: paths::NoticesMine.to_string() }
}
