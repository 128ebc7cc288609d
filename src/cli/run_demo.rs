//! `demo`: our own invented railway, its year of history filed through the desk, then served.
use std::{collections::HashMap, path::PathBuf, process::ExitCode};

use super::{Failed, Outcome, demo, say, serve};
use crate::{
    base::{Clock, EntryId, Instant, SignIn, Tag, UnitName, Zone, instant::DAY},
    book::Channel,
    db::{OpenError, WriterOptions},
    desk::{
        Desk, DeskOptions, Refused, begin,
        body::{Body, HandoverRead, Hold, HoldReason, Judgement, Release, RepairClosed, RepairOpened},
        figures::TakeFigures,
        keep_people::KeepSecret,
        reports::{FileReport, Filer, ReadingFailed},
        shop::ShopAct,
    },
    people::password::{Password, hash_now},
};

#[derive(clap::Args, Debug)]
pub struct Args {
    /// The demo's book; kept and served again if it is there. Default: breakerbook-demo.db in the temporary folder.
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
    #[command(flatten)]
    listening: serve::Listening,
    /// Fill the book and stop.
    #[arg(long)]
    fill_only: bool,
}

pub async fn run(args: Args) -> Outcome {
    let path = args.db.unwrap_or_else(serve::demo_file);
    if !path.exists() {
        fill(&path, Clock::machine().now()).await?;
    }
    if args.fill_only {
        say(&format!("filled {}", path.display()));
        sign_ins();
        return Ok(ExitCode::SUCCESS);
    }
    let desk = Desk::open(&path, DeskOptions::default()).await?;
    if !desk.world().railway.demo {
        return Err(Failed::from(format!(
            "{} is a railway's own book, not a demo: give another file",
            path.display()
        )));
    }
    serve::serve(desk, &args.listening, |url| {
        say(&format!("listening {url}"));
        sign_ins();
    })
    .await
}

fn sign_ins() {
    for (role, name, password) in demo::SIGN_INS {
        say(&format!("sign-in {role} {name} {password}"));
    }
}

/// Begins the demo's book and files its year, ending now. A book that could not be finished is taken away again.
pub async fn fill(path: &std::path::Path, ends: Instant) -> Result<(), Failed> {
    let ends = Instant(ends.0 - ends.0.rem_euclid(60_000_000));
    let outcome = fill_new(path, ends).await;
    if outcome.is_err() && !matches!(outcome, Err(Filling::Open(OpenError::AlreadyThere(_)))) {
        for end in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(format!("{}{end}", path.display()));
        }
    }
    outcome.map_err(|why| match why {
        Filling::Open(why) => Failed::from(why),
        Filling::Other(why) => why,
    })
}

enum Filling {
    Open(OpenError),
    Other(Failed),
}
impl From<OpenError> for Filling {
    fn from(why: OpenError) -> Self {
        Self::Open(why)
    }
}
impl From<Failed> for Filling {
    fn from(why: Failed) -> Self {
        Self::Other(why)
    }
}

async fn fill_new(path: &std::path::Path, ends: Instant) -> Result<(), Filling> {
    let clock = Clock::standing_at(ends.minus(366 * DAY));
    let book = begin::NewBook {
        railway: demo::RAILWAY.to_owned(),
        mark: demo::MARK.to_owned(),
        time_zone: demo::ZONE.to_owned(),
        demo: true,
    };
    begin::create(path, &book, &clock).await?;
    let desk =
        Desk::open(path, DeskOptions { clock, writer: WriterOptions::default(), ..DeskOptions::default() })
            .await?;
    let zone = desk.world().railway.zone.clone();
    load_lists(&desk, &demo::files(ends, &zone)).await?;
    file_year(&desk, ends, &zone).await?;
    desk.close().await;
    Ok(())
}

async fn load_lists(desk: &Desk, files: &demo::Csvs) -> Result<(), Failed> {
    use super::import;
    for (what, text) in [
        (import::List::People, &files.people),
        (import::List::Schedules, &files.schedules),
        (import::List::Units, &files.units),
        (import::List::Authorisations, &files.authorisations),
    ] {
        let done = import::list(desk, what, text.as_bytes(), None, None).await?;
        if let Some(first) = done.rejects.first() {
            return Err(Failed::from(format!("the demo's {what:?}, line {}: {}", first.line, first.reason)));
        }
    }
    for (_, name, password) in demo::SIGN_INS {
        let hash = hash_now(&Password::typed(password)).map_err(|why| Failed::from(format!("{why:?}")))?;
        let of = SignIn::from(*name);
        desk.act(KeepSecret::password(&of, hash, false, None, desk.clock().now()))
            .await
            .map_err(|why| Failed::from(why.says()))?;
    }
    Ok(())
}

async fn file_year(desk: &Desk, ends: Instant, zone: &Zone) -> Result<(), Failed> {
    let mut waiting = std::collections::VecDeque::new();
    let mut repairs = HashMap::new();
    for (n, event) in demo::history(demo::SEED, ends, zone).into_iter().enumerate() {
        // These two read the book before they write: what was filed before them must be on the disk.
        if matches!(event.act, demo::Act::ClassFigures { .. } | demo::Act::BypassReviewed { .. }) {
            while !waiting.is_empty() {
                settle(waiting.pop_front()).await?;
            }
        }
        waiting.extend(hand_over(desk, n, event, &mut repairs).await?);
        while waiting.len() > 256 {
            settle(waiting.pop_front()).await?;
        }
    }
    while !waiting.is_empty() {
        settle(waiting.pop_front()).await?;
    }
    Ok(())
}

type Promise = std::pin::Pin<Box<dyn Future<Output = Result<(), Refused>> + Send>>;

async fn settle(promise: Option<Promise>) -> Result<(), Failed> {
    if let Some(promise) = promise {
        promise
            .await
            .map_err(|why| Failed::from(format!("the demo's history was refused: {}", why.says())))?;
    }
    Ok(())
}

/// Hands one event over with its own time of recording; what comes back settles when it is on the disk.
async fn hand_over(
    desk: &Desk,
    n: usize,
    event: demo::Event,
    repairs: &mut HashMap<(String, Option<String>), uuid::Uuid>,
) -> Result<Vec<Promise>, Failed> {
    let at = Some(event.at_recorded);
    let by = |name: &str| Some(SignIn::from(name));
    let bodies: Vec<(Option<SignIn>, Instant, Body)> = match event.act {
        demo::Act::Report(report) => return Ok(vec![report_of(desk, &report, event.at_recorded).await?]),
        demo::Act::Amended(amendment) => return Ok(vec![amendment_of(desk, &amendment, at).await?]),
        demo::Act::ClassFigures { as_of } => {
            let pending = desk.hand_over_patiently(TakeFigures::prepare(desk, as_of).await?, at).await;
            let pending = pending.map_err(|why| Failed::from(why.says()))?;
            return Ok(vec![Box::pin(async move { pending.answer().await.map(drop) })]);
        }
        demo::Act::RepairClosed { unit, device, by: who, at, cause, new_life } => {
            let id = uuid::Uuid::from_u64_pair(demo::SEED, n as u64);
            repairs.insert((unit.clone(), device.clone()), id);
            let opened = RepairOpened {
                id,
                unit: UnitName::from(unit),
                device: device.map(Tag::from),
                at,
                findings: Vec::new(),
            };
            let closed = RepairClosed { id, at, cause, words: None, new_life };
            vec![
                (by(&who), at, Body::RepairOpened(Box::new(opened))),
                (by(&who), at, Body::RepairClosed(Box::new(closed))),
            ]
        }
        demo::Act::Held { unit, by: who, at, reason } => {
            let hold = Hold {
                unit: UnitName::from(unit),
                at,
                reason: HoldReason::parse(&reason).unwrap_or(HoldReason::Repair),
                words: Some(reason),
            };
            vec![(by(&who), at, Body::UnitHeld(Box::new(hold)))]
        }
        demo::Act::Released { unit, by: who, at, reason } => {
            let release = Release { unit: UnitName::from(unit), at, words: Some(reason) };
            vec![(by(&who), at, Body::UnitReleased(Box::new(release)))]
        }
        demo::Act::BypassReviewed { entry, by: who, at, judgement, words, .. } => {
            return Ok(vec![review_of(desk, &entry, &who, at, judgement, words).await?]);
        }
        demo::Act::HandoverRead { unit, by: who, at } => {
            let read = HandoverRead { unit: UnitName::from(unit), tree_size: 0 };
            vec![(by(&who), at, Body::HandoverRead(Box::new(read)))]
        }
    };
    let mut promises: Vec<Promise> = Vec::new();
    for (who, happened, body) in bodies {
        let act = ShopAct::of(body, who, Channel::Import, happened);
        let pending = desk.hand_over_patiently(act, at).await.map_err(|why| Failed::from(why.says()))?;
        promises.push(Box::pin(async move { pending.answer().await.map(drop) }));
    }
    Ok(promises)
}

async fn report_of(desk: &Desk, report: &serde_json::Value, recorded: Instant) -> Result<Promise, Failed> {
    let author = report["author"].as_str().map(SignIn::from);
    let filer = Filer { by: author, channel: Channel::Page };
    let act =
        FileReport::read(report.to_string().as_bytes(), &filer, &desk.world(), recorded).map_err(|why| {
            match why {
                ReadingFailed::Unreadable(why) => Failed::from(why.says()),
                ReadingFailed::Refused(why) => Failed::from(why.says()),
            }
        })?;
    let pending =
        desk.hand_over_patiently(act, Some(recorded)).await.map_err(|why| Failed::from(why.says()))?;
    Ok(Box::pin(async move { pending.answer().await.map(drop) }))
}

async fn amendment_of(
    desk: &Desk,
    amendment: &serde_json::Value,
    at: Option<Instant>,
) -> Result<Promise, Failed> {
    use crate::{
        desk::reports::{AmendEntry, role_of},
        people::{Act, Role},
        reports::stored,
    };
    let amendment = stored::amendment(&amendment.to_string()).map_err(Failed::from)?;
    let world = desk.world();
    let person =
        world.people.person(&amendment.author).ok_or_else(|| Failed::from("the demo amends as nobody"))?;
    let permit =
        person.permit(Act::AmendEntry).ok_or_else(|| Failed::from("the demo amends without a right"))?;
    let role = role_of(&world, &amendment.author).unwrap_or(Role::Crew);
    let act = AmendEntry::of(amendment, &permit, role, Channel::Page);
    let pending = desk.hand_over_patiently(act, at).await.map_err(|why| Failed::from(why.says()))?;
    Ok(Box::pin(async move { pending.answer().await.map(drop) }))
}

async fn review_of(
    desk: &Desk,
    entry: &str,
    by: &str,
    at: Instant,
    judgement: &str,
    words: String,
) -> Result<Promise, Failed> {
    use crate::{desk::oversee::ReviewBypass, people::Act};
    let entry: EntryId =
        entry.parse().map_err(|_| Failed::from("the demo reviews an entry without an id"))?;
    let world = desk.world();
    let mut db = desk.read().await?;
    let register = crate::oversight::store::register(&mut db, at).await?;
    let line = register.iter().find(|line| line.bypass.entries.contains(&entry));
    let bypass = &line
        .ok_or_else(|| Failed::from(format!("the demo reviews an opening that is not there: {entry}")))?
        .bypass;
    let permit = world.people.person(&SignIn::from(by)).and_then(|person| person.permit(Act::ReviewBypass));
    let permit = permit.ok_or_else(|| Failed::from("the demo reviews without a right"))?;
    let judgement = Judgement::parse(judgement).unwrap_or(Judgement::CannotTell);
    let act =
        ReviewBypass::of(bypass.id, bypass.unit.clone(), bypass.last_seq, judgement, words, &permit, at);
    let pending = desk.hand_over_patiently(act, Some(at)).await.map_err(|why| Failed::from(why.says()))?;
    Ok(Box::pin(async move { pending.answer().await.map(drop) }))
}
