//! An evidence pack as a file: what is asked for is gathered, told in words, and sealed.
mod told;

use std::time::Duration;

use axum::{
    extract::State,
    http::{HeaderValue, StatusCode, header},
    response::IntoResponse,
};
use serde::Deserialize;
use tokio::sync::Semaphore;

use super::book::{self, Typed};
use crate::{
    base::{EntryId, Instant, UnitName, text},
    desk::{
        Desk,
        evidence::{About, Evidence, NoPack},
    },
    oversight::pack::{Sealing, seal},
    web::{Answer, App, Asked, Frame, Me, Oops, naming},
};

#[derive(Deserialize, Default)]
pub struct Query {
    #[serde(default)]
    bypass: String,
    #[serde(default)]
    unit: String,
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
}

/// One at a time: a pack reads the whole book's leaves, and crews' pages come first.
static TURN: Semaphore = Semaphore::const_new(1);
const PATIENCE: Duration = Duration::from_secs(10);

pub async fn file(State(app): State<App>, frame: Frame, me: Me, Asked(query): Asked<Query>) -> Answer {
    let about = match query.about(&app) {
        Ok(about) => about,
        Err(typed) => return book::look_up(&app, frame, StatusCode::UNPROCESSABLE_ENTITY, *typed).await,
    };
    let turn = tokio::time::timeout(PATIENCE, TURN.acquire()).await;
    let Ok(Ok(_turn)) = turn else { return Err(Oops::Busy { retry_after_s: 20 }) };
    match packed(app.desk(), &about, me.sign_in().as_str(), app.now()).await {
        Ok(pack) => pack.answer(),
        Err(why) => {
            let typed = Typed { says: Some(text::sentence(&why.to_string())), ..query.typed() };
            book::look_up(&app, frame, status(&why), typed).await
        }
    }
}

fn status(why: &NoPack) -> StatusCode {
    match why {
        NoPack::NotThere(_) => StatusCode::NOT_FOUND,
        NoPack::TooLarge(_) => StatusCode::UNPROCESSABLE_ENTITY,
        NoPack::Damaged(_) | NoPack::NotSigned(_) | NoPack::Trouble(_) => StatusCode::SERVICE_UNAVAILABLE,
    }
}

impl Query {
    fn typed(&self) -> Typed {
        Typed { unit: self.unit.clone(), from: self.from.clone(), to: self.to.clone(), ..Typed::default() }
    }

    /// What it is to be about, or the page with the sentences beside what was typed.
    fn about(&self, app: &App) -> Result<About, Box<Typed>> {
        if !self.bypass.is_empty() {
            let id = self.bypass.parse::<EntryId>();
            let says = || Some("The register holds no such opening: choose it in the register.".to_owned());
            return id.map(About::Bypass).map_err(|_| Box::new(Typed { says: says(), ..self.typed() }));
        }
        let mut typed = self.typed();
        let named = naming::unit(&self.unit, &app.world());
        // A unit that the roster lacks may have reports all the same.
        typed.unit_says = named.says.filter(|_| named.unit.is_none());
        let dated = !(self.from.trim().is_empty() && self.to.trim().is_empty());
        let days = if dated || named.unit.is_none() { book::days(&mut typed) } else { None };
        match (named.unit, days) {
            (Some(unit), None) if !dated => Ok(About::Unit(unit, None)),
            (Some(unit), Some(days)) => Ok(About::Unit(unit, Some(days))),
            (None, Some(days)) if typed.unit_says.is_none() => Ok(About::Days(days)),
            _ => {
                // The fields are at the end of a long page.
                typed.says =
                    Some("No pack was made: what is wanted stands beside its field below.".to_owned());
                Err(Box::new(typed))
            }
        }
    }
}

/// A pack and what its file is called.
#[derive(Debug)]
pub struct Pack {
    pub name: String,
    pub zip: Vec<u8>,
    pub pages: usize,
}

impl Pack {
    fn answer(self) -> Answer {
        let named = format!("attachment; filename=\"{}\"", self.name);
        let named = HeaderValue::try_from(named).map_err(|why| Oops::machine(&why))?;
        let kind = HeaderValue::from_static("application/zip");
        Ok(([(header::CONTENT_TYPE, kind), (header::CONTENT_DISPOSITION, named)], self.zip).into_response())
    }
}

/// Makes the pack; `by` is who asked, as it stands in it.
///
/// # Errors
/// See [`Desk::evidence`].
pub async fn packed(desk: &Desk, about: &About, by: &str, now: Instant) -> Result<Pack, NoPack> {
    let evidence = desk.evidence(about).await?;
    let cover = told::Cover::of(desk, about, now).await?;
    let (world, by, name) = (desk.world(), by.to_owned(), name(about));
    // Thousands of pages told in words and packed: not on the web's own threads.
    let sealing = tokio::task::spawn_blocking(move || {
        let readable = told::readable(&evidence, &cover, &by, now, &world)?;
        let pages = evidence.pages.len();
        sealed(&evidence, &cover.about, &by, now, &world.railway.name, &readable).map(|zip| (zip, pages))
    });
    let (zip, pages) = sealing.await.map_err(|why| fault(&why))??;
    Ok(Pack { name, zip, pages })
}

fn sealed(
    evidence: &Evidence,
    about: &str,
    by: &str,
    now: Instant,
    railway: &str,
    readable: &[crate::oversight::pack::Readable],
) -> Result<Vec<u8>, NoPack> {
    let sealing = Sealing {
        railway,
        about,
        made_at: &now.to_z(),
        made_by: by,
        checkpoint: &evidence.note,
        pages: evidence
            .pages
            .iter()
            .map(|page| (page.seq, page.blob.as_str(), page.path.as_slice()))
            .collect(),
        earlier: evidence
            .earlier
            .iter()
            .map(|earlier| (earlier.kept.made_at.to_z(), earlier.kept.note.as_str(), earlier.path.as_slice()))
            .collect(),
        readable,
    };
    seal(&sealing, &evidence.key).map_err(|why| fault(&why))
}

fn fault(why: &dyn std::fmt::Display) -> NoPack {
    NoPack::Trouble(crate::db::writer::Trouble::Fault(why.to_string()))
}

fn name(about: &About) -> String {
    let slug = |unit: &UnitName| unit.slug();
    match about {
        About::Bypass(id) => format!("evidence-bypass-{id}.zip"),
        About::Unit(unit, None) => format!("evidence-{}.zip", slug(unit)),
        About::Unit(unit, Some(days)) => format!("evidence-{}-{}-to-{}.zip", slug(unit), days.from, days.to),
        About::Days(days) => format!("evidence-{}-to-{}.zip", days.from, days.to),
    }
}
