//! Reports from a file of lines. Good ones go in, bad ones to a file beside it with every reason.
use std::{collections::VecDeque, path::Path};

use super::{File, MOST_PRINTED, forget_rejects, importer, read, refused, reject_file, say_more, summary};
use crate::{
    base::Problem,
    book::Channel,
    cli::{Failed, Outcome, open, say},
    desk::{
        Act, Desk, Pending, Refused,
        keep_people::Kept,
        reports::{FileReport, Filer, ReadingFailed, Receipt},
        signed::Sent,
    },
    people,
};

/// A line that was not taken, as it goes to FILE.rejected.jsonl.
#[derive(serde::Serialize)]
struct RejectedReport<'a> {
    line: usize,
    problems: Vec<Problem>,
    report: &'a str,
}

/// Reports under way at once: some groups' worth, so that the writer never waits.
const UNDER_WAY: usize = 2 * crate::db::writer::BULK;

pub async fn run(file: File) -> Outcome {
    let desk = open(&file.book).await?;
    let filer =
        Filer { by: importer(&desk, file.by.as_deref(), people::Act::FileReport)?, channel: Channel::Import };
    let bytes = read(&file.file)?;
    let mut tally = Tally { file: &file.file, out: None, kept: Kept::default(), rejected: 0 };
    if !file.dry_run {
        forget_rejects(&file.file, "jsonl")?;
    }
    let taken = take_lines(&desk, &filer, &bytes, file.dry_run, &mut tally).await;
    say_more(tally.rejected, tally.out.is_some().then(|| reject_file(&file.file, "jsonl")).as_deref());
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
        // A tablet's queue saved to a file: signed by its key, whoever brings it.
        let became = match Sent::read(report) {
            Some(sent) => hand_over(desk, sent.check(desk).await, dry_run).await?,
            None => {
                let read = FileReport::read(report, filer, &desk.world(), desk.clock().now());
                hand_over(desk, read, dry_run).await?
            }
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

async fn hand_over<A: Act<Answer = Receipt>>(
    desk: &Desk,
    read: Result<A, ReadingFailed>,
    dry_run: bool,
) -> Result<Became, Failed> {
    Ok(match read {
        Err(why) => Became::Refused(problems(why)),
        Ok(_) if dry_run => Became::WouldBeFiled,
        Ok(act) => Became::HandedOver(desk.hand_over_patiently(act, None).await.map_err(refused)?),
    })
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
        if self.rejected < MOST_PRINTED {
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
