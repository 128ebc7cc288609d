//! `import`: lists and reports from files. Good rows go in, bad ones to a file beside it with the reason; importing
//! the same again changes nothing.
use std::{
    collections::VecDeque,
    path::{Path, PathBuf},
    process::ExitCode,
};

use super::{Book, Failed, Outcome, open, say};
use crate::{
    base::{
        Day, Problem, SignIn,
        table::{Import, Reject},
    },
    book::Channel,
    desk::{
        Desk, Pending, Refused,
        body::Grant,
        keep_people::{GrantAuthorisations, KeepPeople, Kept, PersonWanted, kept_names},
        keep_roster::{IssueSchedules, KeepUnits},
        reports::{FileReport, Filer, ReadingFailed, Receipt},
    },
    people::{self, Act, authorisation::Scope, person},
    roster,
};

#[derive(clap::Subcommand, Debug)]
pub enum What {
    /// Columns sign_in,name,role,craft.
    People(File),
    /// A row per device of each class.
    Schedules(SchedulesFile),
    /// Columns unit,class,in_service,home_shop.
    Units(File),
    /// Columns sign_in,classes,from,to,basis,granted_by.
    Authorisations(File),
    /// One report of the interchange contract a line.
    Reports(ReportsFile),
}

#[derive(clap::Args, Debug)]
pub struct File {
    /// The file to import.
    file: PathBuf,
    #[command(flatten)]
    book: Book,
    /// Who imports: a sign-in name of this book. Without it, whoever holds the console.
    #[arg(long = "as", value_name = "SIGN_IN")]
    by: Option<String>,
    /// Read and check everything, write nothing.
    #[arg(long)]
    dry_run: bool,
}

#[derive(clap::Args, Debug)]
pub struct SchedulesFile {
    #[command(flatten)]
    file: File,
    /// The day from which these schedules hold; today unless given.
    #[arg(long, value_name = "DATE", value_parser = |text: &str| Day::parse(text).ok_or("a date is wanted, as in 2026-03-03"))]
    effective: Option<Day>,
}

#[derive(clap::Args, Debug)]
pub struct ReportsFile {
    #[command(flatten)]
    file: File,
}

/// The lists that come as CSV.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum List {
    People,
    Schedules,
    Units,
    Authorisations,
}

impl List {
    fn act(self) -> Act {
        match self {
            Self::People => Act::KeepPeople,
            Self::Schedules | Self::Units => Act::KeepRoster,
            Self::Authorisations => Act::GrantAuthorisation,
        }
    }
}

/// What became of a list.
#[derive(Debug)]
pub struct Done {
    pub kept: Kept,
    pub rejects: Vec<Reject>,
}

pub async fn run(what: What) -> Outcome {
    let (list, file, effective) = match what {
        What::Reports(reports) => return reports_of(reports.file).await,
        What::People(file) => (List::People, file, None),
        What::Schedules(schedules) => (List::Schedules, schedules.file, schedules.effective),
        What::Units(file) => (List::Units, file, None),
        What::Authorisations(file) => (List::Authorisations, file, None),
    };
    let desk = open(&file.book).await?;
    let by = importer(&desk, file.by.as_deref(), list.act())?;
    let bytes = read(&file.file)?;
    let done = if file.dry_run {
        check(&desk, list, &bytes, effective)?
    } else {
        self::list(&desk, list, &bytes, effective, by.as_ref()).await?
    };
    if !file.dry_run {
        forget_rejects(&file.file, "csv")?;
    }
    if !done.rejects.is_empty() && !file.dry_run {
        std::fs::write(reject_file(&file.file, "csv"), crate::base::table::rejected_csv(&done.rejects))?;
    }
    let first = done.rejects.iter().take(5).map(|r| format!("line {}: {}", r.line, r.reason));
    first.for_each(|line| say(&line));
    desk.close().await;
    Ok(summary(done.kept, done.rejects.len(), file.dry_run))
}

/// The last line of every import, and its exit code: 0 all good, 1 some rejected, 2 nothing done.
fn summary(kept: Kept, rejected: usize, dry_run: bool) -> ExitCode {
    if dry_run {
        say("dry run: nothing was written");
    }
    say(&format!("new={} same={} rejected={rejected}", kept.new, kept.same));
    match (kept.new + kept.same, rejected) {
        (_, 0) => ExitCode::SUCCESS,
        (0, _) => ExitCode::from(2),
        _ => ExitCode::from(1),
    }
}

fn read(path: &Path) -> Result<Vec<u8>, Failed> {
    std::fs::read(path).map_err(|why| Failed::from(format!("{} cannot be read: {why}", path.display())))
}

/// Who imports must hold the right to it; whoever holds the console needs none.
fn importer(desk: &Desk, by: Option<&str>, act: Act) -> Result<Option<SignIn>, Failed> {
    let Some(typed) = by else { return Ok(None) };
    let nobody =
        || Failed::from(format!("nobody in this book signs in as {typed:?}: give another name with --as"));
    let name = person::sign_in(typed).ok_or_else(nobody)?;
    let world = desk.world();
    let person = world.people.person(&name).filter(|p| p.active).ok_or_else(nobody)?;
    match person.permit(act) {
        Some(permit) => Ok(Some(permit.by().clone())),
        None => Err(Failed::from(format!(
            "{name} is {} and may not do this: {act} is for {}",
            person.role,
            act.roles().iter().map(|r| r.as_str()).collect::<Vec<_>>().join(", ")
        ))),
    }
}

fn reject_file(of: &Path, end: &str) -> PathBuf {
    PathBuf::from(format!("{}.rejected.{end}", of.display()))
}

/// The list of what an earlier import of this file rejected would mislead once that is mended.
fn forget_rejects(of: &Path, end: &str) -> std::io::Result<()> {
    match std::fs::remove_file(reject_file(of, end)) {
        Err(why) if why.kind() != std::io::ErrorKind::NotFound => Err(why),
        _ => Ok(()),
    }
}

/// Reads a list and says what would be taken, without writing.
fn check(desk: &Desk, list: List, bytes: &[u8], effective: Option<Day>) -> Result<Done, Failed> {
    let world = desk.world();
    let done = |good: usize, rejects| Done { kept: Kept { new: good, same: 0 }, rejects };
    Ok(match list {
        List::People => people::import::people(bytes).map(|i| done(i.good.len(), i.rejects)),
        List::Schedules => {
            roster::import::schedules(bytes, begins(desk, effective)).map(|i| done(i.good.len(), i.rejects))
        }
        List::Units => roster::import::units(bytes).map(|i| done(i.good.len(), i.rejects)),
        List::Authorisations => {
            people::import::authorisations(bytes, &world.people).map(|i| done(i.good.len(), i.rejects))
        }
    }?)
}

/// Imports a list: its good rows in one transaction.
pub async fn list(
    desk: &Desk,
    list: List,
    bytes: &[u8],
    effective: Option<Day>,
    by: Option<&SignIn>,
) -> Result<Done, Failed> {
    let (kept, rejects) = match list {
        List::People => keep_people(desk, bytes, by).await?,
        List::Schedules => {
            let Import { good, rejects } = roster::import::schedules(bytes, begins(desk, effective))?;
            (desk.act(IssueSchedules::of(good, by, Channel::Import)).await, rejects)
        }
        List::Units => {
            let world = desk.world();
            let Import { good, rejects } = roster::import::units(bytes)?;
            let known = |card: &roster::UnitCard| world.roster.unit(&card.unit).is_some();
            (desk.act(KeepUnits::of(good, known, by, Channel::Import)).await, rejects)
        }
        List::Authorisations => {
            let Import { good, rejects } = people::import::authorisations(bytes, &desk.world().people)?;
            let grants = good.into_iter().map(grant).collect();
            (desk.act(GrantAuthorisations::of(grants, by, Channel::Import)).await, rejects)
        }
    };
    Ok(Done { kept: kept.map_err(refused)?, rejects })
}

/// The moment from which imported schedules hold.
fn begins(desk: &Desk, effective: Option<Day>) -> crate::base::Instant {
    let zone = &desk.world().railway.zone;
    zone.start_of(effective.unwrap_or_else(|| zone.day_of(desk.clock().now())))
}

async fn keep_people(
    desk: &Desk,
    bytes: &[u8],
    by: Option<&SignIn>,
) -> Result<(Result<Kept, Refused>, Vec<Reject>), Failed> {
    let Import { good, rejects } = people::import::people(bytes)?;
    let wanted = |row: people::import::PersonRow| PersonWanted {
        sign_in: row.sign_in,
        role: row.role,
        name: row.name,
        craft: row.craft.unwrap_or_default(),
    };
    let wanted: Vec<PersonWanted> = good.into_iter().map(wanted).collect();
    let names = kept_names(&mut *desk.read().await?).await?;
    Ok((desk.act(KeepPeople::of(&wanted, &names, by, Channel::Import)?).await, rejects))
}

fn grant(row: people::import::AuthorisationRow) -> Grant {
    Grant {
        sign_in: row.person,
        classes: match row.scope {
            Scope::All => Vec::new(),
            Scope::Classes(classes) => classes,
        },
        from: row.from,
        to: row.to,
        basis: row.basis,
        granted_by: row.granted_by,
        from_list: true,
    }
}

fn refused(why: Refused) -> Failed {
    Failed::from(why.says())
}

/// A line that was not taken, as it goes to FILE.rejected.jsonl.
#[derive(serde::Serialize)]
struct RejectedReport<'a> {
    line: usize,
    problems: Vec<Problem>,
    report: &'a str,
}

/// Reports under way at once: a few groups' worth, so that the writer never waits.
const UNDER_WAY: usize = 256;

async fn reports_of(file: File) -> Outcome {
    let desk = open(&file.book).await?;
    let filer = Filer { by: importer(&desk, file.by.as_deref(), Act::FileReport)?, channel: Channel::Import };
    let bytes = read(&file.file)?;
    let mut tally = Tally { file: &file.file, out: None, kept: Kept::default(), rejected: 0 };
    if !file.dry_run {
        forget_rejects(&file.file, "jsonl")?;
    }
    let taken = take_lines(&desk, &filer, &bytes, file.dry_run, &mut tally).await;
    let figures =
        if taken.is_ok() && !file.dry_run { desk.take_figures_if_due().await.map(drop) } else { Ok(()) };
    desk.close().await;
    // What went in before a failure is in: importing the same again goes on from there.
    let code = summary(tally.kept, tally.rejected, file.dry_run);
    taken?;
    figures.map_err(refused)?;
    Ok(code)
}

async fn take_lines<'a>(
    desk: &Desk,
    filer: &Filer,
    bytes: &'a [u8],
    dry_run: bool,
    tally: &mut Tally<'_>,
) -> Result<(), Failed> {
    let mut under_way: VecDeque<Line<'a>> = VecDeque::new();
    for (n, report) in bytes.split(|b| *b == b'\n').enumerate() {
        if report.trim_ascii().is_empty() {
            continue;
        }
        let became = match FileReport::read(report, filer, &desk.world(), desk.clock().now()) {
            Err(why) => Became::Refused(problems(why)),
            Ok(_) if dry_run => Became::WouldBeFiled,
            Ok(act) => Became::HandedOver(desk.hand_over_patiently(act, None).await.map_err(refused)?),
        };
        under_way.push_back(Line { number: n + 1, report, became });
        if under_way.len() >= UNDER_WAY {
            tally.settle(under_way.pop_front()).await?;
        }
    }
    while !under_way.is_empty() {
        tally.settle(under_way.pop_front()).await?;
    }
    Ok(())
}

/// A line under way. All wait in one queue, so that the rejected come out in the order of the file.
struct Line<'a> {
    number: usize,
    report: &'a [u8],
    became: Became,
}

enum Became {
    HandedOver(Pending<Receipt>),
    WouldBeFiled,
    Refused(Vec<Problem>),
}

fn problems(why: ReadingFailed) -> Vec<Problem> {
    match why {
        ReadingFailed::Unreadable(why) => vec![why.problem()],
        ReadingFailed::Refused(Refused::Problems(problems) | Refused::Conflict(problems)) => problems,
        ReadingFailed::Refused(other) => vec![in_words(&other)],
    }
}

fn in_words(why: &Refused) -> Problem {
    Problem { path: String::new(), code: crate::base::Code::NotAllowed, says: why.says() }
}

struct Tally<'a> {
    file: &'a Path,
    out: Option<std::fs::File>,
    kept: Kept,
    rejected: usize,
}

impl Tally<'_> {
    async fn settle(&mut self, next: Option<Line<'_>>) -> Result<(), Failed> {
        let Some(Line { number, report, became }) = next else { return Ok(()) };
        let pending = match became {
            Became::HandedOver(pending) => pending,
            Became::Refused(problems) => return self.reject(number, report, problems),
            Became::WouldBeFiled => {
                self.kept.new += 1;
                return Ok(());
            }
        };
        match pending.answer().await {
            Ok(receipt) if receipt.is_new => self.kept.new += 1,
            Ok(_) => self.kept.same += 1,
            // The machine failed: what follows would fail too, and is better tried again when it is mended.
            Err(Refused::Trouble(trouble)) => return Err(Failed::from(format!("line {number}: {trouble}"))),
            Err(why) => self.reject(number, report, problems(ReadingFailed::Refused(why)))?,
        }
        Ok(())
    }

    fn reject(&mut self, line: usize, report: &[u8], problems: Vec<Problem>) -> Result<(), Failed> {
        use std::io::Write as _;
        if self.out.is_none() {
            self.out = Some(std::fs::File::create(reject_file(self.file, "jsonl"))?);
        }
        if self.rejected < 5 {
            let says: Vec<String> = problems.iter().map(|p| format!("{} {}", p.path, p.says)).collect();
            say(&format!("line {line}: {}", says.join(" ")));
        }
        let report = String::from_utf8_lossy(report);
        let rejected = RejectedReport { line, problems, report: &report };
        if let Some(out) = &mut self.out {
            writeln!(out, "{}", serde_json::to_string(&rejected)?)?;
        }
        self.rejected += 1;
        Ok(())
    }
}
