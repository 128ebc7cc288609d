//! The watch list: the rule of thumb 'k in T', beside it how many healthy devices it takes along.
use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use crate::{
    base::text::count,
    desk::{
        World,
        watch::{WatchLine, watch_list},
    },
    pages::drawn::{
        pager::{Pager, page_of},
        told::named,
        watch,
    },
    web::{Answer, App, Asked, Frame, page, paths},
};

#[derive(Template)]
#[template(path = "shop/watch.html")]
struct View {
    frame: Frame,
    /// What puts a device here, and what that is worth.
    says: String,
    lines: Vec<Line>,
    pager: Pager,
}

struct Line {
    path: String,
    unit: String,
    device: String,
    sentence: String,
}

#[derive(Deserialize)]
pub struct WatchForm {
    #[serde(default)]
    page: String,
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(form): Asked<WatchForm>) -> Answer {
    let world = app.world();
    let mut db = app.desk().read().await?;
    let all = watch_list(&mut db, &world, app.now()).await?;
    drop(db);
    let link = |n: usize| paths::Watch.with(&[("page", &n.to_string())]);
    let (shown, pager) = Pager::cut(all, page_of(&form.page), link);
    let lines = shown.iter().map(|line| told(line, &world)).collect();
    page(StatusCode::OK, &View { frame, says: watch::says(&world), lines, pager })
}

fn told(line: &WatchLine, world: &World) -> Line {
    let (zone, watched) = (&world.railway.zone, line.watched);
    let schedule = world.roster.schedule_at(&line.unit, watched.last);
    Line {
        path: paths::Handover(line.unit.clone()).to_string(),
        unit: line.unit.to_string(),
        device: named(&line.device, schedule),
        sentence: format!(
            "{} within the last {} service days: the first on {}, the last on {}.",
            count(watched.occurrences as u64, "occurrence", "occurrences"),
            world.thresholds.watch_days,
            zone.day_in_words(watched.first),
            zone.day_in_words(watched.last),
        ),
    }
}
