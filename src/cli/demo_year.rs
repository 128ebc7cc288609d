//! The demo's year, event by event, through the desk: each with its own time of recording.
use std::collections::VecDeque;

use super::{Failed, demo};
use crate::{
    base::{EntryId, Instant, SignIn, Tag, UnitName, Zone},
    book::Channel,
    desk::{
        Desk, Refused,
        act::Act as DeskAct,
        body::{Body, HandoverRead, Hold, HoldReason, Judgement, Release, RepairClosed, RepairOpened},
        figures::TakeFigures,
        oversee::ReviewBypass,
        reports::{AmendEntry, FileReport, Filer, ReadingFailed, role_of},
        shop::ShopAct,
    },
    oversight,
    people::{Act, Permit, Role},
    reports::stored,
};

/// Events under way at once: a few groups' worth.
const UNDER_WAY: usize = 256;

type Promise = std::pin::Pin<Box<dyn Future<Output = Result<(), Refused>> + Send>>;

pub async fn file_year(desk: &Desk, ends: Instant, zone: &Zone) -> Result<(), Failed> {
    let mut under_way = VecDeque::new();
    for (n, event) in demo::history(demo::SEED, ends, zone).into_iter().enumerate() {
        // These two read the book before they write: what was filed before them must be on the disk.
        let reads = matches!(event.act, demo::Act::ClassFigures { .. } | demo::Act::BypassReviewed { .. });
        settle(&mut under_way, if reads { 0 } else { UNDER_WAY }).await?;
        hand_over(desk, n, event, &mut under_way).await?;
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

async fn hand_over(
    desk: &Desk,
    n: usize,
    event: demo::Event,
    to: &mut VecDeque<Promise>,
) -> Result<(), Failed> {
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
            let Some((by, at, bodies)) = plain(n, other) else { return Ok(()) };
            for body in bodies {
                let act = ShopAct::of(body, Some(by.clone()), Channel::Import, at);
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

/// Who did it, when, and the pages that say so, of acts that need nothing looked up.
fn plain(n: usize, act: demo::Act) -> Option<(SignIn, Instant, Vec<Body>)> {
    let (by, at, bodies) = match act {
        demo::Act::RepairClosed { unit, device, by, at, cause, new_life } => {
            let id = uuid::Uuid::from_u64_pair(demo::SEED, n as u64);
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
            let bodies = vec![Body::RepairOpened(Box::new(opened)), Body::RepairClosed(Box::new(closed))];
            (by, at, bodies)
        }
        demo::Act::Held { unit, by, at, reason } => {
            let known = HoldReason::parse(&reason).unwrap_or(HoldReason::Repair);
            let hold = Hold { unit: UnitName::from(unit), at, reason: known, words: Some(reason) };
            (by, at, vec![Body::UnitHeld(Box::new(hold))])
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
            (by, at, vec![Body::UnitReleased(Box::new(release))])
        }
        demo::Act::HandoverRead { unit, by, at } => {
            let read = HandoverRead { unit: UnitName::from(unit), tree_size: None };
            (by, at, vec![Body::HandoverRead(Box::new(read))])
        }
        _ => return None,
    };
    Some((SignIn::from(by), at, bodies))
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
