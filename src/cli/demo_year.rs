//! The demo's year, event by event, through the desk: each with its own time of recording.
use std::collections::VecDeque;

use super::{Failed, demo};
use crate::{
    base::{ClassName, EntryId, Instant, SignIn, Tag, UnitName, Zone},
    book::Channel,
    desk::{
        Desk, Refused,
        act::Act as DeskAct,
        body::{Body, HandoverRead, Hold, HoldReason, Judgement, Release, RepairClosed, RepairOpened},
        figures::TakeFigures,
        measure::{IntervalSet, MeasurementTaken, ShopPage, ShopTable},
        oversee::ReviewBypass,
        reports::{AmendEntry, FileReport, Filer, ReadingFailed, role_of},
        shop::ShopAct,
    },
    oversight,
    people::{Act, Permit, Role},
    reports::stored,
    shop::measurements::breaker::Row,
};

/// Events under way at once: a few groups' worth.
const UNDER_WAY: usize = 256;

type Promise = std::pin::Pin<Box<dyn Future<Output = Result<(), Refused>> + Send>>;

pub async fn file_year(desk: &Desk, ends: Instant, zone: &Zone) -> Result<(), Failed> {
    let mut under_way = VecDeque::new();
    for event in demo::history(demo::SEED, ends, zone) {
        // These two read the book before they write: what was filed before them must be on the disk.
        let reads = matches!(event.act, demo::Act::ClassFigures { .. } | demo::Act::BypassReviewed { .. });
        settle(&mut under_way, if reads { 0 } else { UNDER_WAY }).await?;
        hand_over(desk, event, &mut under_way).await?;
    }
    settle(&mut under_way, 0).await
}

async fn settle(under_way: &mut VecDeque<Promise>, down_to: usize) -> Result<(), Failed> {
    while under_way.len() > down_to
        && let Some(promise) = under_way.pop_front()
    {
        promise
            .await
            .map_err(|why| Failed::from(format!("the demo's history was refused: {}", why.says())))?;
    }
    Ok(())
}

async fn hand_over(desk: &Desk, event: demo::Event, to: &mut VecDeque<Promise>) -> Result<(), Failed> {
    let recorded = event.at_recorded;
    match event.act {
        demo::Act::Report(report) => {
            to.push_back(hand(desk, report_of(desk, &report, recorded)?, recorded).await?)
        }
        demo::Act::Amended(amendment) => {
            to.push_back(hand(desk, amendment_of(desk, &amendment)?, recorded).await?)
        }
        demo::Act::ClassFigures { as_of } => {
            to.push_back(hand(desk, TakeFigures::prepare(desk, as_of).await?, recorded).await?);
        }
        demo::Act::BypassReviewed { entry, by, at, judgement, words, .. } => {
            let review = review_of(desk, &entry, &by, at, judgement, words).await?;
            to.push_back(hand(desk, review, recorded).await?);
        }
        other => {
            if let Some(page) = shop_page(desk, &other, recorded)? {
                to.push_back(hand(desk, page, recorded).await?);
            }
            if let Some((by, at, body)) = plain(other) {
                let act = ShopAct::of(body, Some(by), Channel::Import, at);
                to.push_back(hand(desk, act, recorded).await?);
            }
        }
    }
    Ok(())
}

async fn hand<A: DeskAct>(desk: &Desk, act: A, recorded: Instant) -> Result<Promise, Failed> {
    let pending =
        desk.hand_over_patiently(act, Some(recorded)).await.map_err(|why| Failed::from(why.says()))?;
    Ok(Box::pin(async move { pending.answer().await.map(drop) }))
}

/// What was measured, inspected and set, judged as it is from a form.
fn shop_page(desk: &Desk, act: &demo::Act, recorded: Instant) -> Result<Option<ShopPage>, Failed> {
    let may = |by: &str, act: Act| permit(desk, &SignIn::from(by), act);
    Ok(Some(match act {
        demo::Act::Measured { id, unit, by, at, repair, measured } => {
            let taken = MeasurementTaken {
                id: *id,
                unit: UnitName::from(unit.as_str()),
                repair: *repair,
                at: *at,
                done_by: None,
                judged: measured.judge(),
                measured: (**measured).clone(),
                confirmed: Vec::new(),
            };
            ShopPage::measurement(taken, &may(by, Act::WorkOnUnits)?, recorded)
        }
        demo::Act::Inspected { by, done } => {
            ShopPage::inspection((**done).clone(), &may(by, Act::WorkOnUnits)?, recorded)
        }
        demo::Act::IntervalSet { class, days, by, reason } => {
            let class = Some(ClassName::from(class.as_str()));
            let set = IntervalSet { class, unit: None, days: *days, reason: reason.clone() };
            ShopPage::interval(set, &may(by, Act::KeepRoster)?, recorded)
        }
        demo::Act::BreakerTable { by, rows, from } => {
            let row =
                |(up_to_a, most_s): &(f64, f64)| Row { up_to_a: *up_to_a, up_to_v: None, most_s: *most_s };
            let rows: Vec<Row> = rows.iter().map(row).collect();
            let table = serde_json::json!({"rows": rows, "from": from});
            let table = ShopTable { name: "breaker".to_owned(), table };
            ShopPage::table(table, &may(by, Act::KeepRoster)?, recorded)
        }
        _ => return Ok(None),
    }))
}

/// Who did it, when, and the page that says so, of acts that need nothing looked up.
fn plain(act: demo::Act) -> Option<(SignIn, Instant, Body)> {
    let (by, at, body) = match act {
        demo::Act::RepairOpened { id, unit, device, by, at } => {
            let (unit, device) = (UnitName::from(unit), device.map(Tag::from));
            let opened = RepairOpened {
                id,
                unit,
                device,
                at,
                findings: Vec::new(),
                also: vec![],
                entries: vec![],
                words: None,
            };
            (by, at, Body::RepairOpened(Box::new(opened)))
        }
        demo::Act::RepairClosed { id, by, at, cause, new_life, .. } => {
            let closed = RepairClosed {
                id,
                at,
                cause,
                words: None,
                new_life,
                used_from: None,
                swapped_with: None,
                also_new: vec![],
                parts: None,
            };
            (by, at, Body::RepairClosed(Box::new(closed)))
        }
        demo::Act::Held { unit, by, at, reason } => {
            let known = HoldReason::parse(&reason).unwrap_or(HoldReason::Repair);
            let hold = Hold { unit: UnitName::from(unit), at, reason: known, words: Some(reason) };
            (by, at, Body::UnitHeld(Box::new(hold)))
        }
        demo::Act::Released { unit, by, at, reason } => {
            let release = Release {
                unit: UnitName::from(unit),
                at,
                words: Some(reason),
                how: None,
                restrictions: None,
                checked: None,
            };
            (by, at, Body::UnitReleased(Box::new(release)))
        }
        demo::Act::HandoverRead { unit, by, at } => {
            let read = HandoverRead { unit: UnitName::from(unit), tree_size: None };
            (by, at, Body::HandoverRead(Box::new(read)))
        }
        _ => return None,
    };
    Some((SignIn::from(by), at, body))
}

fn report_of(desk: &Desk, report: &serde_json::Value, recorded: Instant) -> Result<FileReport, Failed> {
    let filer = Filer { by: report["author"].as_str().map(SignIn::from), channel: Channel::Page };
    FileReport::read(report.to_string().as_bytes(), &filer, &desk.world(), recorded).map_err(
        |why| match why {
            ReadingFailed::Unreadable(why) => Failed::from(why.says()),
            ReadingFailed::Refused(why) => Failed::from(why.says()),
        },
    )
}

fn amendment_of(desk: &Desk, amendment: &serde_json::Value) -> Result<AmendEntry, Failed> {
    let amendment = stored::amendment(&amendment.to_string()).map_err(Failed::from)?;
    let permit = permit(desk, &amendment.author, Act::AmendEntry)?;
    let role = role_of(&desk.world(), &amendment.author).unwrap_or(Role::Crew);
    Ok(AmendEntry::of(amendment, &permit, role, Channel::Page))
}

async fn review_of(
    desk: &Desk,
    entry: &str,
    by: &str,
    at: Instant,
    judgement: &str,
    words: String,
) -> Result<ReviewBypass, Failed> {
    let entry: EntryId =
        entry.parse().map_err(|_| Failed::from("the demo reviews an entry without an id"))?;
    let register = oversight::store::register(&mut *desk.read().await?, at).await?;
    let line = register.iter().find(|line| line.bypass.entries.contains(&entry));
    let not_there = || Failed::from(format!("the demo reviews an opening that is not there: {entry}"));
    let line = line.ok_or_else(not_there)?;
    let (bypass, seen) = (&line.bypass, line.reviews.last().map_or(0, |review| review.seq));
    let permit = permit(desk, &SignIn::from(by), Act::ReviewBypass)?;
    let judgement = Judgement::parse(judgement).unwrap_or(Judgement::CannotTell);
    let review =
        ReviewBypass::of(bypass.id, bypass.unit.clone(), line.last_seq(), judgement, words, &permit, at);
    Ok(review.having_seen(seen))
}

fn permit(desk: &Desk, who: &SignIn, act: Act) -> Result<Permit, Failed> {
    let permit = desk.world().people.person(who).and_then(|person| person.permit(act));
    permit.ok_or_else(|| Failed::from(format!("in the demo {who} does what they may not: {act}")))
}
