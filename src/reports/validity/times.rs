//! Times: none in the future when typed live, nothing closed before it was opened, the rest asked about once.
use super::{Around, ask};
use crate::{
    base::{
        Code, Problems, Stamp,
        instant::{DAY, HOUR, MINUTE},
    },
    reports::{
        Entry, Report, Run, What, When,
        kinds::{BreakerTrip, Bypass, GroundRelay},
        reading::fields::{Path, refuse},
    },
};

/// How far a clock in the cab may be ahead of ours.
const AHEAD: i64 = 5 * MINUTE;
/// No crew is on one run for longer; a date is wrong.
const LONG_RUN: i64 = 48 * HOUR;
/// Without a run to hold it against, an entry this much older than the signature has its date checked.
const LONG_AGO: i64 = 31 * DAY;

pub fn of_report(report: &Report, around: &Around, problems: &mut Problems) {
    not_future(Some(report.signed_at), "signed_at", &Path::Whole, around, problems);
    let Some(run) = &report.run else { return };
    let at = Path::Field(&Path::Whole, "run");
    not_future(run.started, "started", &at, around, problems);
    not_future(run.ended, "ended", &at, around, problems);
    let (Some(started), Some(ended)) = (run.started, run.ended) else { return };
    if ended.at < started.at {
        let says = "The run ends before it starts. Check both times.";
        if around.live {
            refuse::<()>(problems, &Path::Field(&at, "ended"), Code::OutOfRange, says);
        } else {
            // A tablet whose clock was set on the way did this; its queue is not held up by it.
            ask(problems, &at, "ended", Code::OutsideRun, says);
        }
    } else if ended.at.since(started.at) > LONG_RUN {
        ask(problems, &at, "ended", Code::Unusual, "This run is longer than 48 hours. Check both dates.");
    }
}

/// Refused only when typed live; from elsewhere it is a clock that is wrong, and both times are shown.
pub fn not_future(stamp: Option<Stamp>, field: &str, at: &Path, around: &Around, problems: &mut Problems) {
    let Some(stamp) = stamp.filter(|stamp| stamp.at > around.now.plus(AHEAD)) else { return };
    let when = around.zone.in_words(stamp.at);
    if around.live {
        let now = around.zone.in_words(around.now);
        let says = format!("{when} is in the future: it is {now} now. Check the date and the time.");
        refuse::<()>(problems, &Path::Field(at, field), Code::Future, says);
    } else {
        let says = format!(
            "{when} was still in the future when this came in. It is kept, with the time it came in."
        );
        ask(problems, at, field, Code::Future, says);
    }
}

pub fn of_entry(entry: &Entry, at: &Path, around: &Around, problems: &mut Problems) {
    let (happened, found) = entry.what.kind().time_fields();
    let field = if entry.when.is_found() { found } else { happened };
    not_future(Some(entry.when.stamp()), field, at, around, problems);
    within_run(entry, field, at, around, problems);
    match &entry.what {
        What::BreakerTrip(trip) => of_resets(trip, entry, at, around, problems),
        What::GroundRelay(GroundRelay { last_at: Some(last), .. }) => {
            not_future(Some(*last), "last_at", at, around, problems);
            if last.at < entry.when.at() {
                let says = "The last operation is before the first. Check both times.";
                ask(problems, at, "last_at", Code::Unusual, says);
            }
        }
        What::Bypass(bypass) => of_bypass(bypass, entry.when, at, around, problems),
        _ => {}
    }
}

fn within_run(entry: &Entry, field: &str, at: &Path, around: &Around, problems: &mut Problems) {
    let time = entry.when.at();
    let outside = match around.run {
        Some(Run { started: Some(started), .. }) if time < started.at => {
            Some(("before the run started", started.at))
        }
        Some(Run { ended: Some(ended), .. }) if time > ended.at => Some(("after the run ended", ended.at)),
        _ => match around.signed_at {
            Some(signed) if time > signed.at => Some(("after the report was signed", signed.at)),
            Some(signed) if around.run.is_none() && time < signed.at.minus(LONG_AGO) => {
                ask(problems, at, field, Code::Unusual, "This is more than a month ago. Is the date right?");
                None
            }
            _ => None,
        },
    };
    if let Some((how, than)) = outside {
        let (time, than) = (around.zone.in_words(time), around.zone.in_words(than));
        ask(problems, at, field, Code::OutsideRun, format!("{time} is {how} ({than}). Is the time right?"));
    }
}

fn of_resets(trip: &BreakerTrip, entry: &Entry, at: &Path, around: &Around, problems: &mut Problems) {
    let list = Path::Field(at, "resets");
    for (place, reset) in trip.resets.iter().enumerate() {
        let at = Path::Item(&list, place);
        not_future(reset.at, "at", &at, around, problems);
        if reset.at.is_some_and(|reset| reset.at < entry.when.at()) && !entry.when.is_found() {
            let says = "The reset is before the trip. Check both times.";
            ask(problems, &at, "at", Code::Unusual, says);
        }
    }
}

fn of_bypass(bypass: &Bypass, opened: When, at: &Path, around: &Around, problems: &mut Problems) {
    not_future(bypass.closed_at, "closed_at", at, around, problems);
    not_future(bypass.authorised_at, "authorised_at", at, around, problems);
    if bypass.closed_at.is_some_and(|closed| closed.at < opened.at()) {
        let how = if opened.is_found() { "found open" } else { "opened" };
        let says = format!("It was closed before it was {how}. Check both times.");
        refuse::<()>(problems, &Path::Field(at, "closed_at"), Code::ClosedBeforeOpened, says);
    }
    if bypass.authorised_at.is_some_and(|given| given.at > opened.at()) && !opened.is_found() {
        let says = "It was opened before it was authorised. If that is how it was, leave it as it is.";
        ask(problems, at, "authorised_at", Code::Unusual, says);
    }
}
