//! What a notice says on its way out: what, which unit, when, and where more is written. Nothing that a person typed. Pure.
use serde_json::json;

use super::{About, Notice};
use crate::{base::Zone, desk::world::Railway};

/// Addresses of the site's pages, for letters: by whoever knows them, behind the address that people use.
#[derive(Clone, Debug)]
pub struct Links {
    /// `https://book.example.com`; empty: letters have the path alone.
    pub base: String,
    pub path: fn(&About) -> String,
    pub mine: String,
}

impl Links {
    pub fn to(&self, about: &About) -> String {
        format!("{}{}", self.base, (self.path)(about))
    }

    fn mine(&self) -> String {
        format!("{}{}", self.base, self.mine)
    }
}

/// More than this in one letter are counted.
const MOST: usize = 50;

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letter {
    pub subject: String,
    pub body: String,
}

/// `QHB 412: ground-relay cutout opened, 3 Mar 2026 05:14 -06:00`
pub fn line(notice: &Notice, zone: &Zone) -> String {
    format!("{}, {}", title(notice), zone.in_words(notice.at))
}

/// `QHB 412: ground-relay cutout opened`
pub fn title(notice: &Notice) -> String {
    let what = notice.what.in_words();
    match &notice.unit {
        Some(unit) => format!("{unit}: {what}"),
        None => {
            let mut letters = what.chars();
            letters
                .next()
                .map(|first| first.to_uppercase().collect::<String>() + letters.as_str())
                .unwrap_or_default()
        }
    }
}

/// Everything that is due to one person, the oldest first.
pub fn letter(notices: &[Notice], railway: &Railway, links: &Links) -> Letter {
    let subject = match notices {
        [one] => title(one),
        several => format!("{} notices", several.len()),
    };
    let mut body = String::new();
    for notice in notices.iter().take(MOST) {
        body.push_str(&format!("{}\n{}\n\n", line(notice, &railway.zone), links.to(&notice.about)));
    }
    if let Some(more) = notices.len().checked_sub(MOST).filter(|more| *more > 0) {
        body.push_str(&format!("And {more} more: {}\n\n", links.to(&About::Notices)));
    }
    body.push_str(&format!(
        "The book of {} sent this; what it says may have changed since. Read the book, and go by the railway's instructions \
         and qualified people.\nWhat you are told, and how: {}\n",
        railway.name,
        links.mine()
    ));
    Letter { subject: format!("[{}] {subject}", railway.mark), body }
}

/// A message to a webhook, in the form that the Standard Webhooks specification recommends.
pub fn message(notice: &Notice, railway: &Railway, links: &Links) -> String {
    json!({
        "type": notice.what,
        "timestamp": notice.made_at.to_z(),
        "data": {
            "notice": notice.id,
            "book": railway.book_id,
            "unit": notice.unit,
            "at": notice.at.to_z(),
            "says": line(notice, &railway.zone),
            "link": links.to(&notice.about),
        },
    })
    .to_string()
}
