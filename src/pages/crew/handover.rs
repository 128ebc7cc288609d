//! The handover of a unit: how its panel stands as last written, what it loses by it, what the book holds.
use askama::Template;
use axum::{
    extract::{Path, Query, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::{
    handing::handed_over,
    heard::in_crew_words,
    holds::{Held, held},
    picture::Picture,
    receipt, run, store,
    unit_of::UnitHere,
    units::{LinkLine, report_line},
};
use crate::{
    base::{Instant, text},
    desk::oversee::SignHandover,
    pages::drawn::{
        form::Field,
        panel::{DeviceView, Drawing, draw},
        state::State as Drawn,
        tablet::signed_how,
    },
    people::Act,
    reports::{
        self,
        store::{EntryRow, ReportRow},
    },
    roster::Device,
    rules::{
        self, Finding, Rule,
        store::{Decisions, State as Stands},
    },
    shop::{self, store::Standing},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "crew/handover.html")]
pub struct HandoverPage {
    pub frame: Frame,
    pub unit: String,
    pub about: String,
    pub stood: String,
    pub done: bool,
    pub held: Held,
    /// What the last crew handed over, who and when.
    pub handed: Option<(String, String)>,
    pub cautions: &'static [&'static str],
    pub amiss: Vec<AmissLine>,
    pub drawing: Option<Drawing>,
    pub findings: Vec<FindingLine>,
    pub reports: Vec<ReportLines>,
    pub call: String,
    pub tree_size: u64,
    pub root: String,
    pub password: Field,
    pub action: String,
    pub write: String,
    pub report: String,
    pub start_check: String,
    /// The unit's page in the shop, for who may read it.
    pub in_shop: Option<String>,
}

/// A device that is not where it should be.
#[derive(Clone, Debug)]
pub struct AmissLine {
    pub device: DeviceView,
    pub since: String,
    pub told_by: String,
    pub why: String,
    pub loses: String,
}

#[derive(Clone, Debug)]
pub struct FindingLine {
    pub sentence: String,
    pub since: String,
    pub certain: bool,
    /// `in repair`, `set aside`, or nothing.
    pub state: String,
}

#[derive(Clone, Debug)]
pub struct ReportLines {
    pub report: LinkLine,
    pub author: String,
    /// Empty: none.
    pub remarks: String,
    pub entries: Vec<String>,
}

#[derive(Deserialize, Default)]
pub struct Came {
    #[serde(default)]
    read: String,
}

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(unit): Path<String>,
    Query(came): Query<Came>,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    handover(&app, StatusCode::OK, frame, &here, came.read == "yes", None).await
}

/// 'Read and understood', signed.
pub async fn read(
    State(app): State<App>,
    me: Me,
    frame: Frame,
    Path(unit): Path<String>,
    fields: Fields,
) -> Answer {
    let here = UnitHere::find(&app, &unit)?;
    if let Err(says) = signature::sign(&app, &me, fields.get("password")).await? {
        return handover(&app, StatusCode::UNPROCESSABLE_ENTITY, frame, &here, false, Some(says)).await;
    }
    let permit = me.permit(Act::ReadHandover)?;
    // The size of the book that was on the page, not the one it has grown to while it was read.
    let size = fields.get("tree_size").parse().unwrap_or(0);
    app.desk().act(SignHandover::of(here.unit.clone(), size, &permit, here.now)).await?;
    run::begin(&app, &me, &here, Some(here.now)).await?;
    see(&paths::Handover(here.unit).with(&[("read", "yes")]))
}

/// What the file holds of a unit, read at one moment.
struct Gathered {
    picture: Picture,
    findings: Vec<Finding>,
    decisions: Decisions,
    last: Vec<ReportRow>,
    entries: Vec<EntryRow>,
    /// How the shop left it.
    standing: Standing,
    /// Pages in the book, and the root over them.
    head: (u64, String),
}

async fn gather(app: &App, here: &UnitHere) -> Result<Gathered, Oops> {
    let mut db = app.desk().read().await?;
    let dossiers = store::dossiers_of(&mut db, &here.unit).await?;
    let of_unit = rules::store::Wanted { unit: Some(&here.unit), ..Default::default() };
    let recent = reports::store::Wanted { unit: Some(&here.unit), limit: Some(80), ..Default::default() };
    Ok(Gathered {
        picture: Picture::of(&dossiers, here.schedule()),
        findings: rules::store::open_at(&mut db, &of_unit, here.now).await?,
        decisions: rules::store::decisions(&mut db, Some(&here.unit), here.now).await?,
        last: reports::store::last_reports(&mut db, &here.unit, 5).await?,
        entries: reports::store::entries(&mut db, &recent).await?,
        standing: shop::store::standing(&mut db, &here.unit, here.now).await?,
        head: store::head(&mut db).await?,
    })
}

async fn handover(
    app: &App,
    status: StatusCode,
    frame: Frame,
    here: &UnitHere,
    done: bool,
    says: Option<String>,
) -> Answer {
    let Gathered { picture, findings, decisions, last, entries, standing, head } = gather(app, here).await?;
    let view = HandoverPage {
        in_shop: frame.reads_board().then(|| paths::Unit(here.unit.clone()).to_string()),
        frame,
        unit: here.unit.to_string(),
        about: about(here),
        stood: here.world.railway.zone.in_words(here.now),
        done,
        held: held(here, &picture, &findings, last.first(), &standing),
        handed: last.iter().find(|row| row.is_final).and_then(|row| handed(here, row)),
        cautions: cautions(here, &picture),
        amiss: amiss(here, &picture),
        drawing: here.schedule().map(|s| draw(s, here.now, |d| picture.known(d), |_| None)),
        findings: for_crews(&findings, &decisions, here),
        reports: last.iter().map(|row| report_lines(here, row, &entries)).collect(),
        call: call(here),
        tree_size: head.0,
        root: head.1,
        password: Field::password("password", "Your password, as your signature").says(says),
        action: paths::HandoverRead(here.unit.clone()).to_string(),
        write: paths::Write(here.unit.clone()).to_string(),
        report: paths::Report(here.unit.clone()).to_string(),
        start_check: paths::StartCheck(here.unit.clone()).to_string(),
    };
    page(status, &view)
}

fn handed(here: &UnitHere, row: &ReportRow) -> Option<(String, String)> {
    let says = handed_over(row.remarks.as_deref()?)?.to_owned();
    let signed = here.world.railway.zone.in_words(Instant(row.signed_at));
    Some((says, format!("{}, {signed}", row.author)))
}

fn about(here: &UnitHere) -> String {
    match here.card() {
        Some(card) => format!("Class {}", card.class),
        None => "Not on the roster: no panel of it can be drawn".to_owned(),
    }
}

fn call(here: &UnitHere) -> String {
    let shop = here.card().and_then(|card| card.home_shop.as_deref());
    shop.map_or_else(|| "The dispatcher".to_owned(), |shop| format!("The dispatcher; home shop {shop}"))
}

const CUTOUT_OPEN: &[&str] = &[
    "A ground-relay cutout stands open in the book. Look for a lock, a tag or a blue signal: leave it and call, somebody may be testing.",
    "Otherwise it is closed only at idle, isolated. While it is open, ground protection is off and the warning may be silent.",
    "Local instructions and a qualified electrician decide.",
];

/// Where something can hurt somebody, the usual caution stands before the list of it.
fn cautions(here: &UnitHere, picture: &Picture) -> &'static [&'static str] {
    let open = here.schedule().is_some_and(|s| {
        picture.amiss(s).any(|(d, known, _)| d.ground_protection && known.state == Drawn::Off)
    });
    if open { CUTOUT_OPEN } else { &[] }
}

fn amiss(here: &UnitHere, picture: &Picture) -> Vec<AmissLine> {
    let Some(schedule) = here.schedule() else { return Vec::new() };
    let line = |(device, known, state): (_, _, &rules::state::DeviceState)| AmissLine {
        device: DeviceView::of(device, Some(known), here.now),
        // How long it has carried current says nothing of the seal or the fuse that is wrong with it.
        since: if state.carries() { String::new() } else { text::span(here.now.since(state.since)) },
        told_by: state.told_by.to_string(),
        why: state.why.clone().unwrap_or_default(),
        loses: if state.carries() { String::new() } else { loses(device) },
    };
    picture.amiss(schedule).map(line).collect()
}

fn loses(device: &Device) -> String {
    device.off_effect.as_deref().unwrap_or("the schedule does not say").trim_end_matches('.').to_owned()
}

/// Equipment, and what of ground protection a crew must know before the unit moves. Who opened a cutout with
/// what right is the supervisor's matter.
fn for_crews(findings: &[Finding], decisions: &Decisions, here: &UnitHere) -> Vec<FindingLine> {
    let shown = |finding: &&Finding| {
        !finding.rule.is_ground_protection()
            || matches!(finding.rule, Rule::StillOpen | Rule::SecondGround | Rule::PositionDoubtful)
    };
    let line = |finding: &Finding| FindingLine {
        sentence: in_crew_words(finding, here.schedule(), &here.world.railway.zone),
        since: text::span(here.now.since(finding.since)),
        certain: finding.rule.is_certain(),
        state: match decisions.state(finding, here.now) {
            Stands::Open => String::new(),
            state => state.as_str().replace('_', " "),
        },
    };
    findings.iter().filter(shown).map(line).collect()
}

fn report_lines(here: &UnitHere, row: &ReportRow, entries: &[EntryRow]) -> ReportLines {
    let of_it = entries.iter().filter(|e| e.report == row.id && !e.withdrawn);
    let line = |e: &EntryRow| {
        let line = receipt::line(e, &here.world);
        format!("{}: {}", line.when, line.says)
    };
    let mut report = report_line(row, &here.world);
    report.main = std::mem::take(&mut report.sub);
    ReportLines {
        report,
        author: format!("{}{}", row.author, signed_how(row.confirmed)),
        remarks: row.remarks.clone().unwrap_or_default(),
        entries: of_it.map(line).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::drawn::sample;

    #[test]
    fn sample_of_a_handover() {
        sample::write("handover", |frame| sample_page(frame).render().unwrap());
    }

    #[expect(clippy::too_many_lines, reason = "one literal of a whole page")]
    fn sample_page(frame: Frame) -> HandoverPage {
        let schedule = sample::schedule();
        let view = |tag: &str| {
            let device = schedule.device(&tag.into()).unwrap();
            DeviceView::of(device, sample::known(device), sample::now())
        };
        let line = |tag: &str, since: &str, by: &str, why: &str, loses: &str| AmissLine {
            device: view(tag),
            since: since.into(),
            told_by: by.into(),
            why: why.into(),
            loses: loses.into(),
        };
        let finding = |sentence: &str, certain, state: &str| FindingLine {
            sentence: sentence.into(),
            since: "24 days".into(),
            certain,
            state: state.into(),
        };
        let report = |what: &str, author: &str, entries: &[&str]| ReportLines {
            report: LinkLine { href: "#".into(), main: what.into(), sub: String::new() },
            author: author.into(),
            remarks: String::new(),
            entries: entries.iter().map(|e| (*e).to_owned()).collect(),
        };
        HandoverPage {
            frame,
            unit: "QHB 412".into(),
            about: "Class M6".into(),
            stood: "3 Mar 2026 05:14 -06:00".into(),
            done: false,
            held: Held {
                lines: vec![
                    "TC2 tripped: the unit pulls with reduced load".into(),
                    "GRC open: the schedule does not say what the unit may not do. Ask".into(),
                ],
                sentence: "Last report 3 h ago. The inspection record on board and local rules decide."
                    .into(),
            },
            handed: Some((
                "Handed over to J. Sorrel: TC2 is left tripped since 23:12, and nothing says that it was closed again."
                    .into(),
                "a.lind, 3 Mar 2026 02:10 -06:00".into(),
            )),
            cautions: CUTOUT_OPEN,
            amiss: vec![
                line(
                    "TC2",
                    "3 h",
                    "a.lind",
                    "",
                    "Loses the axles of truck 1, about a third of the tractive effort",
                ),
                line("GRC", "5 h", "n.okafor", "", "the schedule does not say"),
                line("FLG", "12 days", "b.marsh", "no lube on board", "the schedule does not say"),
                line("SF", "12 h", "n.okafor", "", "starting from the battery"),
            ],
            drawing: Some(draw(&schedule, sample::now(), sample::known, |_| None)),
            findings: vec![
                finding(
                    "The ground-relay cutout GRC stands open since 2 March 23:10, engine running.",
                    true,
                    "",
                ),
                finding(
                    "5 trips of TC2 in the 24 days since 7 February; sister units average one in 90 days.",
                    false,
                    "in repair",
                ),
            ],
            reports: vec![
                report(
                    "K17, 2 Mar 2026 21:40 -06:00: 3 entries",
                    "a.lind",
                    &[
                        "2 Mar 2026 23:12 -06:00: TC2 tripped. Closed again (examined): tripped again. Left tripped. At: MP 41.2.",
                        "2 Mar 2026 23:40 -06:00: Ground relay operated 2 times. After it: loads again.",
                    ],
                ),
                report("K22, 1 Mar 2026 05:10 -06:00: nothing to report", "b.marsh", &[]),
            ],
            call: "The dispatcher; home shop Harrow Ferry".into(),
            tree_size: 20_418,
            root: "9f2c4e0b7d51a6c3880e4f1b2a9d7c5e6f3041b8d2e7a9c0514f6b3d8e2a7c19".into(),
            password: Field::password("password", "Your password, as your signature"),
            action: "#".into(),
            write: "#".into(),
            report: "#".into(),
            start_check: "#".into(),
            in_shop: None,
        }
    }
}
