//! Entries from a spreadsheet the shop already has: which column holds what (kept by name), a dry run, the rejects with
//! their reasons, then the signature.
pub mod mapping;
pub mod sheet;

use askama::Template;
use axum::{
    extract::{Multipart, State, multipart::MultipartRejection},
    http::StatusCode,
};

use self::{
    mapping::{FIELDS, Mapping},
    sheet::{Grid, MOST_ROWS},
};
use crate::{
    base::text,
    book::Channel,
    desk::{
        Refused,
        measure::{ShopPage, ShopTable},
        reports::{FileReport, Filer, ReadingFailed},
    },
    pages::drawn::form::Field,
    people::Act,
    shop::measurements::store,
    web::{Answer, App, Frame, Me, Oops, Route, forms::Fields, page, paths, signature},
};

pub fn routes() -> Vec<Route> {
    vec![
        Route::get(paths::Import::PATTERN, Act::ImportEntries, show),
        Route::post(paths::Import::PATTERN, Act::ImportEntries, upload),
        Route::post(paths::ImportRows::PATTERN, Act::ImportEntries, rows),
    ]
}

#[derive(Template)]
#[template(path = "shop/import.html")]
struct View {
    frame: Frame,
    most_rows: usize,
    on_top: Vec<String>,
    kept: Vec<String>,
    /// Once a file was read.
    map: Option<Map>,
    tried: Option<Tried>,
    done: Option<String>,
}

struct Map {
    says: String,
    header: Vec<String>,
    rows: Vec<MapRow>,
    hidden: Vec<(&'static str, String)>,
    keep_as: Field,
    password: Field,
    signer: String,
    /// Nothing stands against it: it can be signed.
    ready: bool,
}

struct MapRow {
    field: &'static str,
    label: &'static str,
    column: String,
    always: String,
}

/// What a dry run, or the real one, came to.
struct Tried {
    new: usize,
    same: usize,
    rejects: Vec<Reject>,
}

struct Reject {
    line: u64,
    why: String,
    row: String,
}

const KEPT: &str = "mapping:";
/// Of the two million bytes that a form may have.
const MOST_CARRIED: usize = 1_800_000;

pub async fn show(State(app): State<App>, frame: Frame) -> Answer {
    page(StatusCode::OK, &bare(&app, frame, Vec::new()).await?)
}

async fn bare(app: &App, frame: Frame, on_top: Vec<String>) -> Result<View, Oops> {
    let kept = store::tables(&mut *app.desk().read().await?, KEPT).await?;
    let kept = kept.into_iter().map(|(name, _)| name.trim_start_matches(KEPT).to_owned()).collect();
    Ok(View { frame, most_rows: MOST_ROWS, on_top, kept, map: None, tried: None, done: None })
}

async fn refuse(app: &App, frame: Frame, why: String) -> Answer {
    page(StatusCode::UNPROCESSABLE_ENTITY, &bare(app, frame, vec![why]).await?)
}

/// The file, and the mapping it is to be read by.
async fn upload(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    parts: Result<Multipart, MultipartRejection>,
) -> Answer {
    let (bytes, name) = sent(parts).await?;
    let Some(bytes) = bytes.filter(|bytes| !bytes.is_empty()) else {
        return refuse(&app, frame, "Choose a file first.".to_owned()).await;
    };
    let grid = match sheet::read(&bytes) {
        Ok(grid) => grid,
        Err(why) => return refuse(&app, frame, why).await,
    };
    // The rows are carried in the form, where bytes beyond letters and digits take three.
    if paths::encoded(&grid.to_csv()).len() > MOST_CARRIED {
        return refuse(&app, frame, "This is too much at once: bring it in parts.".to_owned()).await;
    }
    let kept = store::table(&mut *app.desk().read().await?, &format!("{KEPT}{name}")).await?;
    let kept = kept.and_then(|data| serde_json::from_str(&data).ok());
    let mapping = kept.unwrap_or_else(|| Mapping::likely(&grid));
    let mut view = bare(&app, frame, mapping.wrong(&grid)).await?;
    view.map = Some(map(&me, &grid, &mapping, &name, false, None));
    page(StatusCode::OK, &view)
}

/// What the form of the file held: its bytes, if there were any, and the name of a kept mapping.
async fn sent(
    parts: Result<Multipart, MultipartRejection>,
) -> Result<(Option<axum::body::Bytes>, String), Oops> {
    let unreadable = || Oops::Unreadable("This form could not be read. Choose the file again.".to_owned());
    let mut parts = parts.map_err(|_| unreadable())?;
    let (mut bytes, mut name) = (None, String::new());
    while let Some(part) = parts.next_field().await.map_err(|_| unreadable())? {
        match part.name() {
            Some("file") => bytes = Some(part.bytes().await.map_err(|_| Oops::TooLarge)?),
            Some("mapping") => name = part.text().await.map_err(|_| unreadable())?,
            _ => {}
        }
    }
    Ok((bytes, name))
}

fn map(me: &Me, grid: &Grid, mapping: &Mapping, name: &str, ready: bool, password: Option<String>) -> Map {
    Map {
        says: text::count(grid.rows.len() as u64, "row was read.", "rows were read."),
        header: grid.header.iter().filter(|h| !h.is_empty()).cloned().collect(),
        rows: FIELDS
            .iter()
            .map(|(field, label, _)| {
                let from = mapping.of(field);
                MapRow { field, label, column: from.column, always: from.always }
            })
            .collect(),
        hidden: vec![("grid", grid.to_csv())],
        keep_as: Field::text("keep_as", "Keep these columns under a name", name)
            .hint("To read the next file the same way. Blank: not kept."),
        password: Field::password("password", "Your password, as your signature").says(password),
        signer: me.sign_in().to_string(),
        ready,
    }
}

/// A dry run by the mapping as typed; with the password, the real one.
async fn rows(State(app): State<App>, frame: Frame, me: Me, fields: Fields) -> Answer {
    let permit = me.permit(Act::ImportEntries)?;
    let grid = match Grid::carried(fields.get("grid")) {
        Ok(grid) => grid,
        Err(why) => return refuse(&app, frame, why).await,
    };
    let (mapping, name) = (Mapping::typed(&fields), text::tidy(fields.get("keep_as")).unwrap_or_default());
    let wrong = mapping.wrong(&grid);
    let mut view = bare(&app, frame, wrong).await?;
    if !view.on_top.is_empty() {
        view.map = Some(map(&me, &grid, &mapping, &name, false, None));
        return page(StatusCode::UNPROCESSABLE_ENTITY, &view);
    }
    let signing = fields.get("do") == "sign";
    if signing && let Err(says) = signature::sign(&app, &me, fields.get("password")).await? {
        view.tried = Some(take(&app, &me, &grid, &mapping, true).await?);
        view.map = Some(map(&me, &grid, &mapping, &name, true, Some(says)));
        return page(StatusCode::UNPROCESSABLE_ENTITY, &view);
    }
    let tried = take(&app, &me, &grid, &mapping, !signing).await?;
    if signing {
        if !name.is_empty() {
            let table = serde_json::to_value(&mapping).map_err(|why| Oops::machine(&why))?;
            let kept = ShopTable { name: format!("{KEPT}{name}"), table };
            app.desk().act(ShopPage::table(kept, &permit, app.now())).await?;
        }
        view.done = Some(format!(
            "{} new, {} in the book already, {} rejected.",
            tried.new,
            tried.same,
            tried.rejects.len()
        ));
    } else {
        view.map = Some(map(&me, &grid, &mapping, &name, tried.new > 0, None));
    }
    view.tried = Some(tried);
    page(StatusCode::OK, &view)
}

async fn take(app: &App, me: &Me, grid: &Grid, mapping: &Mapping, dry_run: bool) -> Result<Tried, Oops> {
    let filer = Filer { by: Some(me.sign_in().clone()), channel: Channel::Import };
    let world = app.world();
    let (mut tried, mut under_way) = (Tried { new: 0, same: 0, rejects: Vec::new() }, Vec::new());
    for (line, row) in &grid.rows {
        let read = mapping.report(grid, row, me.sign_in().as_str(), &world.railway.zone).and_then(|report| {
            FileReport::read(report.to_string().as_bytes(), &filer, &world, app.now())
                .map_err(|why| says(&why))
        });
        match read {
            Err(why) => tried.reject(*line, why, row),
            Ok(_) if dry_run => tried.new += 1,
            Ok(act) => under_way.push((*line, row, app.desk().hand_over_patiently(act, None).await?)),
        }
    }
    for (line, row, pending) in under_way {
        match pending.answer().await {
            Ok(receipt) if receipt.is_new => tried.new += 1,
            Ok(_) => tried.same += 1,
            Err(Refused::Trouble(trouble)) => return Err(Refused::Trouble(trouble).into()),
            Err(why) => tried.reject(line, why.says(), row),
        }
    }
    tried.rejects.sort_by_key(|reject| reject.line);
    Ok(tried)
}

impl Tried {
    fn reject(&mut self, line: u64, why: String, row: &[String]) {
        self.rejects.push(Reject { line, why, row: row.join(" · ") });
    }
}

fn says(why: &ReadingFailed) -> String {
    match why {
        ReadingFailed::Unreadable(why) => why.says(),
        ReadingFailed::Refused(Refused::Problems(problems) | Refused::Conflict(problems)) => problems
            .iter()
            .map(|p| format!("{} {}", p.path.trim_start_matches("entries[0]."), p.says).trim().to_owned())
            .collect::<Vec<_>>()
            .join(" "),
        ReadingFailed::Refused(other) => other.says(),
    }
}
