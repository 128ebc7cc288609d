//! Judging every dossier of a book again, beside 'k in T over all pairs' by an outside analytical engine on the same file.
use std::{path::Path, process::Command, sync::Arc, time::Instant as Moment};

use breakerbook::{
    db::{Opening, open},
    desk::{Draft, world},
};
use sqlx::Connection as _;

use super::filled::folder;
use crate::common::{server, table::note};

/// Wall and processor time of judging again every pair by everything that is reckoned, and whatever else rests on class
/// figures, as new ones do; or all there is by every rule, as another setting or a change in the list of persons does.
pub fn again(book: &Path, every_rule: bool) -> (f64, f64) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut db = open::writer(book, &Opening::default()).await.unwrap();
        let (frontier, _) = world::head(&mut db).await.unwrap();
        let world = Arc::new(world::load(&mut db).await.unwrap());
        let (began, cpu) = (Moment::now(), server::own_cpu());
        let mut tx = db.begin_with("BEGIN IMMEDIATE").await.unwrap();
        let mut draft = Draft::on(world, frontier);
        (draft.again.everything, draft.again.reckoned) = (every_rule, true);
        draft.judge_again(&mut tx).await.unwrap();
        tx.commit().await.unwrap();
        let took = (began.elapsed().as_secs_f64(), server::own_cpu() - cpu);
        db.close().await.unwrap();
        took
    })
}

/// What an outside engine says of itself.
pub struct Outside {
    pub seconds: f64,
    pub said: String,
}

/// The best of three runs.
pub fn best(book: &Path, every_rule: bool) -> (f64, f64) {
    let runs = (0..3).map(|_| again(book, every_rule));
    runs.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap()
}

/// What is reckoned and the outside engine, each three times, in turn: a machine that others use as well is then the same for
/// both. The best of each.
pub fn in_turn(book: &Path) -> ((f64, f64), Option<Outside>) {
    let turns: Vec<_> = (0..3).map(|_| (best(book, false), outside(book))).collect();
    let (ours, theirs): (Vec<_>, Vec<_>) = turns.into_iter().unzip();
    let ours = ours.into_iter().min_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
    (ours, theirs.into_iter().flatten().min_by(|a, b| a.seconds.total_cmp(&b.seconds)))
}

/// DuckDB with its SQLite reader, both from PyPI, into a folder of their own. `None` where PyPI cannot be had.
fn outside(book: &Path) -> Option<Outside> {
    let packages = folder().join("duckdb");
    if !packages.join("duckdb").exists() {
        note("fetching duckdb and its SQLite reader from PyPI");
        let wanted = ["duckdb==1.5.5", "duckdb-extension-sqlite-scanner==1.5.5"];
        let target = packages.to_str()?;
        let mut pip = Command::new("python3");
        pip.args(["-m", "pip", "install", "--quiet", "--no-deps", "--target", target]).args(wanted);
        if !pip.status().ok()?.success() {
            return None;
        }
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/bench/scale/outside.py");
    let output = Command::new("python3")
        .args([script, book.to_str()?, "3", "30"])
        .env("PYTHONPATH", &packages)
        .output()
        .ok()?;
    if !output.status.success() {
        note(&String::from_utf8_lossy(&output.stderr));
        return None;
    }
    // Its best run: the first one may have had the file to read from the disk.
    let said = String::from_utf8_lossy(&output.stdout);
    let runs = said.lines().filter_map(|line| Some((line.split_once(' ')?.0.parse::<f64>().ok()?, line)));
    let (seconds, line) = runs.min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Outside { seconds, said: line.to_owned() })
}
