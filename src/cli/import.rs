//! `import`: lists and reports from files. Good rows go in, bad ones to a file beside it with the reason; importing
//! the same again changes nothing.
mod changes;
mod reports;

use std::{
    path::{Path, PathBuf},
    process::ExitCode,
};

use changes::Changes;

use super::{Book, Failed, Outcome, open, say};
use crate::{
    base::{
        ClassName, Day, Instant, SignIn,
        table::{Import, Reject},
    },
    book::Channel,
    desk::{
        Desk, Refused, World,
        body::Grant,
        keep_people::{GrantAuthorisations, KeepPeople, Kept, PersonWanted, kept_names},
        keep_roster::{IssueSchedules, KeepUnits},
    },
    people::{self, Act, authorisation::Scope, person},
    roster::{self, Schedule},
};

#[derive(clap::Subcommand, Debug)]
pub enum What {
    /// Columns sign_in,name,role,craft.
    People(File),
    /// A row per device of each class.
    Schedules(SchedulesFile),
    /// Columns class,order,place,text,right,applies_when,device,prevents: what is looked at before a start, a row per
    /// check of each class in walking order. The file's checks take the place of those a class had, as a new version of
    /// its schedule. applies_when: start (also if blank), cold_start, brake_set_up, parking; device: a tag of
    /// the class; prevents, parted by spaces: start, lead, load, move.
    Checks(SchedulesFile),
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
    Checks,
    Units,
    Authorisations,
}

impl List {
    fn act(self) -> Act {
        match self {
            Self::People => Act::KeepPeople,
            Self::Schedules | Self::Checks | Self::Units => Act::KeepRoster,
            Self::Authorisations => Act::GrantAuthorisation,
        }
    }
}

/// What became of a list.
#[derive(Debug)]
pub struct Done {
    pub kept: Kept,
    pub changes: Changes,
    pub rejects: Vec<Reject>,
}

pub async fn run(what: What) -> Outcome {
    let (list, file, effective) = match what {
        What::Reports(reports) => return reports::run(reports.file).await,
        What::People(file) => (List::People, file, None),
        What::Schedules(schedules) => (List::Schedules, schedules.file, schedules.effective),
        What::Checks(checks) => (List::Checks, checks.file, checks.effective),
        What::Units(file) => (List::Units, file, None),
        What::Authorisations(file) => (List::Authorisations, file, None),
    };
    let desk = open(&file.book).await?;
    let by = importer(&desk, file.by.as_deref(), list.act())?;
    let bytes = read(&file.file)?;
    let good = Good::read(&desk, list, &bytes, effective, by.as_ref()).await?;
    let (kept, changes, rejects) = if file.dry_run {
        (Kept { new: good.rows, same: 0 }, good.changes, good.rejects)
    } else {
        let Done { kept, changes, rejects } = good.keep(&desk).await?;
        forget_rejects(&file.file, "csv")?;
        (kept, changes, rejects)
    };
    let beside = (!file.dry_run).then(|| reject_file(&file.file, "csv"));
    if let Some(path) = beside.as_ref().filter(|_| !rejects.is_empty()) {
        std::fs::write(path, crate::base::table::rejected_csv(&rejects))?;
    }
    say_rejects(&rejects, beside.as_deref());
    changes.says().iter().for_each(|line| say(line));
    desk.close().await;
    Ok(summary(kept, rejects.len(), file.dry_run))
}

/// Rejected lines that are printed; all of them are in the file beside.
const MOST_PRINTED: usize = 5;

/// Rows that are wrong themselves first: the others only wait for them.
fn say_rejects(rejects: &[Reject], beside: Option<&Path>) {
    let (waiting, wrong): (Vec<_>, Vec<_>) =
        rejects.iter().partition(|reject| roster::import::only_waits(&reject.reason));
    let first = wrong.iter().chain(&waiting).take(MOST_PRINTED);
    first.for_each(|reject| say(&format!("line {}: {}", reject.line, reject.reason)));
    say_more(rejects.len(), beside);
}

fn say_more(rejected: usize, beside: Option<&Path>) {
    let more = rejected.saturating_sub(MOST_PRINTED);
    let more = if more > 0 { format!("and {more} more rejected; ") } else { String::new() };
    match beside {
        Some(path) if rejected > 0 => say(&format!("{more}all of them, with reasons: {}", path.display())),
        _ if !more.is_empty() => say(more.trim_end_matches("; ")),
        _ => {}
    }
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

/// Imports a list: its good rows in one transaction.
pub async fn list(
    desk: &Desk,
    list: List,
    bytes: &[u8],
    effective: Option<Day>,
    by: Option<&SignIn>,
) -> Result<Done, Failed> {
    Good::read(desk, list, bytes, effective, by).await?.keep(desk).await
}

/// What a list asks of the book.
enum Wanted {
    People(KeepPeople),
    Schedules(IssueSchedules),
    Units(KeepUnits),
    Authorisations(GrantAuthorisations),
}

/// A list that was read against the book: nothing is written yet.
struct Good {
    wanted: Wanted,
    rows: usize,
    changes: Changes,
    rejects: Vec<Reject>,
}

impl Good {
    async fn read(
        desk: &Desk,
        list: List,
        bytes: &[u8],
        effective: Option<Day>,
        by: Option<&SignIn>,
    ) -> Result<Self, Failed> {
        let world = desk.world();
        let has = |class: &ClassName| world.roster.classes.contains_key(class);
        Ok(match list {
            List::People => people(desk, bytes, by).await?,
            List::Schedules => {
                let Import { good, rejects } = roster::import::schedules(bytes, begins(desk, effective))?;
                let good = good.into_iter().map(|schedule| keeping_checks(schedule, &world)).collect();
                Self::schedules(good, rejects, &world, by)
            }
            List::Checks => {
                let begins = begins(desk, effective);
                let next = |class: &ClassName| next_version(class, begins, &world);
                let Import { good, rejects } = roster::import::checks::checks(bytes, next)?;
                Self::schedules(good, rejects, &world, by)
            }
            List::Units => {
                let today = world.railway.zone.day_of(desk.clock().now());
                let Import { good, rejects } = roster::import::units(bytes, has, today)?;
                let known = |card: &roster::UnitCard| world.roster.unit(&card.unit).is_some();
                let (rows, changes) = (good.len(), Changes::of_units(&good, &world));
                let wanted = Wanted::Units(KeepUnits::of(good, known, by, Channel::Import));
                Self { wanted, rows, changes, rejects }
            }
            List::Authorisations => {
                let Import { good, rejects } = people::import::authorisations(bytes, &world.people, has)?;
                let grants: Vec<_> = good.into_iter().map(grant).collect();
                let (rows, changes) = (grants.len(), Changes::default());
                let wanted = Wanted::Authorisations(GrantAuthorisations::of(grants, by, Channel::Import));
                Self { wanted, rows, changes, rejects }
            }
        })
    }

    fn schedules(good: Vec<Schedule>, rejects: Vec<Reject>, world: &World, by: Option<&SignIn>) -> Self {
        let (rows, changes) = (good.len(), Changes::of_schedules(&good, world));
        let wanted = Wanted::Schedules(IssueSchedules::of(good, by, Channel::Import));
        Self { wanted, rows, changes, rejects }
    }

    async fn keep(self, desk: &Desk) -> Result<Done, Failed> {
        let kept = match self.wanted {
            Wanted::People(act) => desk.act(act).await,
            Wanted::Schedules(act) => desk.act(act).await,
            Wanted::Units(act) => desk.act(act).await,
            Wanted::Authorisations(act) => desk.act(act).await,
        };
        Ok(Done { kept: kept.map_err(refused)?, changes: self.changes, rejects: self.rejects })
    }
}

fn latest<'w>(class: &ClassName, world: &'w World) -> Option<&'w Schedule> {
    world.roster.classes.get(class)?.latest()
}

/// A list of devices says nothing of the checks: those that the class has stay.
fn keeping_checks(schedule: Schedule, world: &World) -> Schedule {
    match latest(&schedule.class, world) {
        Some(known) => schedule.with_checks_of(known),
        None => schedule,
    }
}

/// The version that new checks are put in: what the class has, from a day on.
fn next_version(class: &ClassName, begins: Instant, world: &World) -> Result<Schedule, String> {
    let known = latest(class, world)
        .ok_or_else(|| format!("There is no class {class} yet: import its schedule first."))?;
    if known.effective > begins {
        let day = world.railway.zone.day_of(known.effective);
        return Err(format!(
            "Class {class} has a schedule that holds from {day}. Give that day or a later one with --effective."
        ));
    }
    Ok(Schedule { effective: begins, ..known.clone() })
}

/// The moment from which imported schedules hold.
fn begins(desk: &Desk, effective: Option<Day>) -> Instant {
    let zone = &desk.world().railway.zone;
    zone.start_of(effective.unwrap_or_else(|| zone.day_of(desk.clock().now())))
}

async fn people(desk: &Desk, bytes: &[u8], by: Option<&SignIn>) -> Result<Good, Failed> {
    let Import { good, rejects } = people::import::people(bytes)?;
    let wanted = |row: people::import::PersonRow| PersonWanted {
        sign_in: row.sign_in,
        role: row.role,
        name: row.name,
        craft: row.craft.unwrap_or_default(),
    };
    let wanted: Vec<PersonWanted> = good.into_iter().map(wanted).collect();
    let names = kept_names(&mut *desk.read().await?).await?;
    let changes = Changes::of_people(&wanted, &names, &desk.world());
    let act = KeepPeople::of(&wanted, &names, by, Channel::Import)?;
    Ok(Good { wanted: Wanted::People(act), rows: wanted.len(), changes, rejects })
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
        proposed_by: None,
        proposal: None,
    }
}

fn refused(why: Refused) -> Failed {
    Failed::from(why.says())
}
