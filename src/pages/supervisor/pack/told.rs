//! What a pack has for reading: a cover, and every page of it in words. Ready for the printer, with no script and nothing from
//! elsewhere.
use askama::Template;

use super::super::{bypass, page_told::PageTold, rights, told_of::ToldOf};
use crate::{
    base::{Instant, text},
    book::Hash,
    desk::{
        Desk, World,
        evidence::{About, Evidence, NoPack},
    },
    oversight::{self, pack::Readable},
    reports,
};

/// What the first sheet says, beside the list of pages.
#[derive(Clone, Debug, Default)]
pub struct Cover {
    /// What the pack is about, in a line.
    pub about: String,
    pub facts: Vec<(String, String)>,
    /// Headed paragraphs.
    pub parts: Vec<(&'static str, Vec<String>)>,
}

impl Cover {
    pub async fn of(desk: &Desk, about: &About, now: Instant) -> Result<Self, NoPack> {
        let days = |days: &crate::desk::evidence::Days| {
            format!("recorded from {} to {}", days.from.in_words(), days.to.in_words())
        };
        match about {
            About::Bypass(id) => of_bypass(desk, *id, now).await,
            About::Unit(unit, None) => Ok(Self::titled(format!("Everything about unit {unit}"))),
            About::Unit(unit, Some(span)) => {
                Ok(Self::titled(format!("Everything about unit {unit}, {}", days(span))))
            }
            About::Days(span) => Ok(Self::titled(format!("Every page {}", days(span)))),
        }
    }

    fn titled(about: String) -> Self {
        Self { about, ..Self::default() }
    }
}

async fn of_bypass(desk: &Desk, id: crate::base::EntryId, now: Instant) -> Result<Cover, NoPack> {
    let (world, mut db) = (desk.world(), desk.read().await?);
    let line = oversight::store::by_id(&mut db, id).await?;
    let line = line.ok_or_else(|| NoPack::NotThere("The register holds no such opening.".to_owned()))?;
    let findings = bypass::findings_about(&mut db, &line, &world, now).await?;
    let own = reports::store::Wanted { ids: Some(&line.bypass.entries), ..Default::default() };
    let own = reports::store::entries(&mut db, &own).await?;
    let zone = &world.railway.zone;
    let told = ToldOf::of(&own, line.bypass.id, zone);
    let review = |review: &oversight::KeptReview| {
        format!(
            "{}, {}: {}. “{}”",
            review.by,
            zone.in_words(review.at),
            super::super::words::judgement(&review.judgement),
            review.words
        )
    };
    Ok(Cover {
        about: format!(
            "Opening of {} on unit {}, {}",
            line.bypass.device,
            line.bypass.unit,
            zone.in_words(line.bypass.begins())
        ),
        facts: bypass::facts(&line, &told, &world, now),
        parts: vec![
            (
                "What the book's rules say of it",
                findings.into_iter().map(|finding| finding.sentence).collect(),
            ),
            ("Rights held by the opener and by whoever gave the word", rights::of_hands(&line, &world)),
            ("Reviews", line.reviews.iter().map(review).collect()),
        ],
    })
}

#[derive(Template)]
#[template(path = "pack/index.html")]
struct Index<'a> {
    railway: &'a str,
    cover: &'a Cover,
    by: &'a str,
    made: String,
    size: u64,
    root: Hash,
    key: String,
    note: &'a str,
    pages: Vec<Listed<'a>>,
    earlier: Vec<String>,
}

struct Listed<'a> {
    told: &'a PageTold,
}

#[derive(Template)]
#[template(path = "pack/records.html")]
struct Records<'a> {
    railway: &'a str,
    cover: &'a Cover,
    pages: &'a [PageTold],
}

/// The files for reading.
pub fn readable(
    evidence: &Evidence,
    cover: &Cover,
    by: &str,
    now: Instant,
    world: &World,
) -> Result<Vec<Readable>, NoPack> {
    let (railway, zone) = (world.railway.name.as_str(), &world.railway.zone);
    let pages: Vec<PageTold> =
        evidence.pages.iter().map(|page| PageTold::of(page.seq, &page.blob, world)).collect();
    let earlier = evidence.earlier.iter().map(|earlier| {
        let pages = text::count(earlier.kept.size, "page", "pages");
        format!("{}, of {pages}", zone.in_words(earlier.kept.made_at))
    });
    let index = Index {
        railway,
        cover,
        by,
        made: zone.in_words(now),
        size: evidence.head.size,
        root: evidence.head.root,
        key: evidence.key.public().to_string(),
        note: &evidence.note,
        pages: pages.iter().map(|told| Listed { told }).collect(),
        earlier: earlier.collect(),
    };
    let records = Records { railway, cover, pages: &pages };
    let html = |page: Result<String, askama::Error>| page.map_err(|why| super::fault(&why));
    Ok(vec![
        Readable { name: "index.html", contents: html(index.render())? },
        Readable { name: "records.html", contents: html(records.render())? },
        Readable {
            name: "pack.css",
            contents: include_str!("../../../../templates/pack/pack.css").to_owned(),
        },
    ])
}
