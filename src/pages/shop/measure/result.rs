//! What one measurement says: verdict, arithmetic, source and how sure that is.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use uuid::Uuid;

use super::{super::repair::capital, unit_of};
use crate::{
    base::Zone,
    desk::world::is_late,
    shop::measurements::{
        Measured, Part, Verdict, figures, store,
        store::{Kept, Wanted},
        written_for,
    },
    web::{Answer, App, Frame, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "shop/measure_result.html")]
struct View {
    frame: Frame,
    unit: String,
    list: String,
    again: String,
    repair: Option<String>,
    battery: Option<(String, String)>,
    kind: &'static str,
    subject: String,
    verdict: &'static str,
    fails: bool,
    passes: bool,
    at: String,
    by: String,
    seq: i64,
    /// Written late, or by somebody else than whoever did it; asked about and signed all the same.
    flags: Vec<String>,
    warnings: Vec<String>,
    parts: Vec<PartView>,
    corrected: Option<String>,
}

struct PartView {
    about: String,
    verdict: Option<&'static str>,
    fails: bool,
    says: String,
    reckoned: Vec<String>,
    sources: Vec<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, Path((unit, id)): Path<(String, String)>) -> Answer {
    let unit = unit_of(&unit)?;
    let gone = || Oops::NotFound("There is no such measurement of this unit: look at its list.".to_owned());
    let id = Uuid::parse_str(&id).map_err(|_| gone())?;
    let wanted = Wanted { unit: Some(&unit), id: Some(id), ..Wanted::default() };
    let kept = store::taken(&mut *app.desk().read().await?, &wanted).await?.pop().ok_or_else(gone)?;
    let recorded = crate::desk::measure::recorded_at(&mut *app.desk().read().await?, kept.seq).await?;
    page(StatusCode::OK, &view(frame, &kept, recorded, &app.world().railway.zone))
}

fn view(frame: Frame, kept: &Kept, recorded: Option<crate::base::Instant>, zone: &Zone) -> View {
    let judged = &kept.judged;
    let late = recorded.filter(|recorded| is_late(kept.at, *recorded));
    let late =
        late.map(|at| format!("Written down {}, more than 24 hours after it was done.", zone.in_words(at)));
    let flags = late
        .into_iter()
        .chain(written_for(kept.by.as_str(), kept.done_by.as_deref()))
        .chain(kept.confirmed.iter().map(|asked| format!("Asked, and signed all the same: {asked}")));
    let battery = match &kept.measured {
        Measured::Battery(b) => Some((b.name.clone(), paths::Battery(b.name.clone()).to_string())),
        _ => None,
    };
    let kind = kept.measured.kind();
    let repair = kept.repair.map(|id| id.to_string()).unwrap_or_default();
    View {
        frame,
        unit: kept.unit.to_string(),
        list: paths::Measurements(kept.unit.clone()).to_string(),
        again: paths::MeasurementNew(kept.unit.clone()).with(&[("kind", kind.as_str()), ("repair", &repair)]),
        repair: kept.repair.map(|id| paths::Repair(id.to_string()).to_string()),
        battery,
        kind: kind.in_words(),
        subject: kept.measured.subject().unwrap_or_default(),
        verdict: judged.verdict.in_words(),
        fails: judged.verdict == Verdict::Fail,
        passes: judged.verdict == Verdict::Pass,
        at: zone.in_words(kept.at),
        by: kept.by.to_string(),
        seq: kept.seq,
        flags: flags.collect(),
        warnings: judged.warnings.clone(),
        parts: judged.parts.iter().map(PartView::of).collect(),
        corrected: judged.corrected.as_ref().map(|c| {
            let values: Vec<String> = c.values.iter().map(|v| figures(*v)).collect();
            format!("{} {}, corrected to {}", values.join(", "), c.unit, c.base)
        }),
    }
}

impl PartView {
    fn of(part: &Part) -> Self {
        Self {
            about: capital(&part.about),
            verdict: part.verdict.map(Verdict::in_words),
            fails: part.verdict == Some(Verdict::Fail),
            says: part.says.clone(),
            reckoned: part.reckoned.clone(),
            sources: part.sources.iter().map(|s| format!("{} ({})", s.what, s.sure.in_words())).collect(),
        }
    }
}
