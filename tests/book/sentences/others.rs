//! Sentences about more than one device, about water, and about starting.
use std::collections::{BTreeMap, BTreeSet};

use breakerbook::{
    base::{
        Instant,
        instant::{DAY, MINUTE},
    },
    rules::Finding,
};

use super::{
    Book,
    laws::{at_least_of, gamma_quantile, median, normal_above},
    ledger::{Ledger, RELAY, START, Written},
    normal::Figures,
    operations::{Occurrence, told_operations},
    words::{Told, counted, date, luck, number, parts, rounded, same},
};

fn named<'a>(book: &Book<'a>, finding: &Finding) -> Told<Vec<&'a Written>> {
    let entry = |id: &breakerbook::base::EntryId| {
        book.now.entries.get(&id.to_string()).ok_or_else(|| format!("names {id}"))
    };
    let mut all = finding.entries.iter().map(entry).collect::<Told<Vec<_>>>()?;
    all.sort_by(|a, b| (a.at, &a.id).cmp(&(b.at, &b.id)));
    Ok(all)
}

pub fn class_wide(book: &Book<'_>, finding: &Finding) -> Told<()> {
    let form = "Class {} has {} of {} on {} units in {} service days up to {}: {} times as often as the same device elsewhere \
                ({} in {}), still {} times without the worst unit. {} stands out so far.";
    let found = parts(&finding.sentence, form).ok_or("other words")?;
    let (class, device) = (found[0], found[2]);
    let figures = Figures::of(book.month);
    same("up to", date(found[5])?, book.month.day(book.month.known.at))?;
    let of = figures.device(class, device).ok_or("no such device")?;
    let (_, days, squares) = figures.class_days(class);
    same("occurrences", number(found[1])? as i64, of.total)?;
    same("units", number(found[3])? as usize, of.counts.len())?;
    same("service days", number(found[4])? as i64, days)?;
    let rest = figures.same_legend(class, device).into_iter().filter(|(other, _)| *other != class);
    let (x, t) = rest.fold((0, 0), |(x, t), (other, of)| (x + of.total, t + figures.class_days(other).1));
    same("elsewhere", (number(found[7])? as i64, number(found[8])? as i64), (x, t))?;
    let elsewhere = x as f64 / t as f64;
    rounded("ratio", found[6], 1, of.total as f64 / days as f64 / elsewhere)?;
    let without =
        |unit: &String| (of.total - of.counts[unit]) as f64 / (days - figures.days[unit]) as f64 / elsewhere;
    let most = of.counts.values().max().ok_or("no unit")?;
    let worst = of.counts.keys().find(|unit| of.counts[*unit] == *most).ok_or("no unit")?;
    rounded("without the worst", found[9], 1, without(worst))?;
    let expected = elsewhere * days as f64;
    let z = (of.total as f64 - expected) / (expected + elsewhere * elsewhere * squares as f64 / 2.0).sqrt();
    luck(found[10], "ordinary class", normal_above(z))
}

pub fn wet(book: &Book<'_>, finding: &Finding) -> Told<()> {
    let (says, untold) = match finding.sentence.split_once(" Of ") {
        Some((says, more)) => (
            says,
            parts(more, "{} more nobody told the weather.")
                .map_or(Err("other words".to_owned()), |n| number(n[0]))?,
        ),
        None => (finding.sentence.as_str(), 0.0),
    };
    let found = parts(
        says,
        "{} of {} since {} fell on wet days, {} to expect from the wet days of those months; {}.",
    )
    .ok_or("other words")?;
    let unit = finding.unit.as_ref().ok_or("no unit")?.as_str();
    let ids: BTreeSet<String> = named(book, finding)?.iter().map(|e| e.id.clone()).collect();
    let all: Vec<&Occurrence> =
        book.now.occurrences(unit, RELAY).iter().filter(|o| !o.entries.is_disjoint(&ids)).collect();
    let weather = book.now.weather.get(unit).ok_or("no weather told")?;
    let told: Vec<i32> = all.iter().map(|o| o.day).filter(|day| weather.contains_key(day)).collect();
    same("operations", counted(found[1], "operation", "operations")? as usize, told.len())?;
    same("wet", number(found[0])? as usize, told.iter().filter(|day| weather[day]).count())?;
    same("untold", untold as usize, all.len() - told.len())?;
    same("since", date(found[2])?, all.first().ok_or("no entry named")?.day)?;
    let month = |day: i32| breakerbook::base::Day(day).to_string()[5..7].to_owned();
    let share = |day: &i32| {
        let of_month = || weather.iter().filter(|(other, _)| month(**other) == month(*day));
        of_month().filter(|(_, wet)| **wet).count() as f64 / of_month().count() as f64
    };
    let shares: Vec<f64> = told.iter().map(share).collect();
    rounded("to expect", found[3], 1, shares.iter().sum())?;
    let chance = at_least_of(&shares, number(found[0])? as usize);
    match found[4].strip_prefix("by chance about 1 healthy unit in ") {
        Some(n) => luck(&format!("About 1 healthy unit in {n}"), "healthy unit", chance),
        None => {
            let said = found[4].strip_prefix("by chance fewer than ").ok_or("other words about luck")?;
            luck(&format!("Fewer than {said}"), "healthy unit", chance)
        }
    }
}

pub fn starting(book: &Book<'_>, finding: &Finding) -> Told<&'static str> {
    let named = named(book, finding)?;
    if let Some(found) = parts(&finding.sentence, "Starting failed {} in {} since {}, each time: {}.") {
        let mut faults: Vec<Instant> = Vec::new();
        for start in &named {
            let outcome = start.detail["outcome"].as_str().unwrap_or_default().replace('_', " ");
            same("each time", found[3], &outcome)?;
            if faults.last().is_none_or(|at| start.at.since(*at) > 60 * MINUTE) {
                faults.push(start.at);
            }
        }
        let (first, last) = (book.now.day(faults[0]), book.now.day(faults[faults.len() - 1]));
        same("times", counted(found[0], "time", "times")?, faults.len() as i64)?;
        same("days", counted(found[1], "day", "days")?, i64::from(last - first) + 1)?;
        same("since", date(found[2])?, first)?;
        return Ok("starting_weakens: faults");
    }
    volts(book, finding, &named)
}

/// Volts of a start by the electric motors alone, at the first attempt.
fn volts_of(start: &Written) -> Option<f64> {
    let detail = &start.detail;
    let electric = !matches!(detail["motors"].as_str(), Some("air" | "both"));
    let first = detail["attempt"].as_u64().is_none_or(|nth| nth <= 1);
    detail["battery_cranking_v"].as_f64().filter(|v| electric && first && !start.found && *v > 0.0)
}

/// The class's median of its units' medians, fortnight by fortnight from the first one of 1970.
fn medians(ledger: &Ledger, class: &str) -> BTreeMap<i64, f64> {
    let from = ledger.day(ledger.known.at) - 364;
    let mut of: BTreeMap<(i64, &str), Vec<f64>> = BTreeMap::new();
    for start in ledger.entries.values().filter(|e| e.device == START && ledger.day(e.at) >= from) {
        if let (Some(v), true) =
            (volts_of(start), ledger.units.get(&start.unit).is_some_and(|card| card.class == class))
        {
            of.entry((start.at.0.div_euclid(14 * DAY), &start.unit)).or_default().push(v);
        }
    }
    let mut units: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
    for ((fortnight, _), values) in of {
        units.entry(fortnight).or_default().push(median(values));
    }
    units.into_iter().filter(|(_, of)| of.len() >= 6).map(|(fortnight, of)| (fortnight, median(of))).collect()
}

fn volts(book: &Book<'_>, finding: &Finding, named: &[&Written]) -> Told<&'static str> {
    let form = "Cranking volts fall {} V in 30 days against the class, and are {} V by that line; {}. From {} electric starts since {}.";
    let found = parts(&finding.sentence, form).ok_or("other words")?;
    let (first, last) = (named.first().ok_or("no start named")?, named.last().ok_or("no start named")?);
    let class = &book.now.units[&first.unit].class;
    let medians = medians(book.taken, class);
    let mut points = Vec::new();
    for start in named {
        let normal = medians.get(&start.at.0.div_euclid(14 * DAY)).ok_or("no median of that fortnight")?;
        let v = volts_of(start).ok_or("a start without volts")?;
        points.push((start.at.since(first.at) as f64 / DAY as f64, v - normal));
    }
    let mut slopes = Vec::new();
    for (i, a) in points.iter().enumerate() {
        slopes.extend(points[..i].iter().filter(|b| b.0 < a.0).map(|b| (a.1 - b.1) / (a.0 - b.0)));
    }
    let slope = median(slopes);
    let (x, y) = (median(points.iter().map(|p| p.0).collect()), median(points.iter().map(|p| p.1).collect()));
    let by_line = medians[&last.at.0.div_euclid(14 * DAY)] + y + slope * (points[points.len() - 1].0 - x);
    rounded("fall", found[0], 2, -30.0 * slope)?;
    rounded("volts by the line", found[1], 1, by_line)?;
    same("starts", number(found[3])? as usize, named.len())?;
    same("since", date(found[4])?, book.now.day(first.at))?;
    let least =
        book.now.schedule(class, last.at)["start"]["cranking_min_v"].as_f64().ok_or("no least volts")?;
    if let Some(meets) = parts(found[2], "at this rate {} V (the least of the schedule) in {}") {
        same("least", number(meets[0])?, least)?;
        let days = ((by_line - least) / -slope - 1e-9).ceil() as i64;
        return same("days", counted(meets[1], "day", "days")?, days).map(|()| "starting_weakens: volts");
    }
    let under = parts(found[2], "that is under the {} V that the schedule asks for").ok_or("other words")?;
    same("least", number(under[0])?, least)?;
    same("under it", by_line <= least, true).map(|()| "starting_weakens: under the least")
}

/// What the sentence says of the last group.
struct Group<'a> {
    /// Names with clock times.
    each: Vec<(&'a str, &'a str)>,
    minutes: i64,
    day: i32,
    luck: &'a str,
    advice: &'a str,
    /// What happened, before `within`.
    what: &'a str,
    before: Option<(i64, i32)>,
}

fn last_group(says: &str) -> Option<Told<Group<'_>>> {
    let (before, rest) = match parts(says, "{} such groups since {}, the last: {}") {
        Some(found) => (Some((found[0], found[1])), found[2]),
        None => (None, says),
    };
    let found = parts(rest, "{} within {} on {}: {}. By chance {}. Look at what they share, {}.")?;
    let read = || {
        let each = found[3]
            .split(", ")
            .map(|one| one.rsplit_once(' ').ok_or("no time"))
            .collect::<Result<_, _>>()?;
        let before =
            before.map(|(n, since)| Ok::<_, String>((number(n)? as i64, date(since)?))).transpose()?;
        let (minutes, day) = (counted(found[1], "minute", "minutes")?, date(found[2])?);
        Ok(Group { each, minutes, day, luck: found[4], advice: found[5], what: found[0], before })
    };
    Some(read())
}

pub fn shared(book: &Book<'_>, finding: &Finding) -> Told<&'static str> {
    let group = last_group(&finding.sentence).ok_or("other words")??;
    let all = named(book, finding)?;
    same("all by the clock", all.iter().all(|entry| by_the_clock(entry)), true)?;
    let set = &book.now.set;
    let on_units = group.what.ends_with(" units of one consist");
    let minutes = if on_units { set.consist_minutes } else { set.shared_minutes };
    let groups = runs(&all, minutes);
    same("groups", group.before.map_or(1, |b| b.0), groups.len() as i64)?;
    if let Some((_, since)) = group.before {
        same("the first group's day", since, book.now.day(groups[0][0].at))?;
    }
    let last = groups[groups.len() - 1];
    same("day", group.day, book.now.day(last[0].at))?;
    let name = |e: &&Written| if on_units { e.unit.clone() } else { e.device.clone() };
    let mut firsts: Vec<(String, String)> = Vec::new();
    for entry in last {
        if !firsts.iter().any(|(known, _)| *known == name(entry)) {
            firsts.push((name(entry), book.now.zone.time_in_words(entry.at)));
        }
    }
    let said: Vec<(String, String)> =
        group.each.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect();
    same("each with its time", &said, &firsts)?;
    let span = last[last.len() - 1].at.since(last[0].at);
    same("minutes", group.minutes, span.unsigned_abs().div_ceil(MINUTE as u64).max(1) as i64)?;
    let kind = kind(book, last);
    let before = format!("before the {}", kind.0);
    same("what not to look at first", group.advice.ends_with(&before), true)?;
    if on_units {
        of_consist(book, &group, last, kind, &firsts)
    } else {
        of_panel(book, &group, last, kind, &firsts)
    }
}

/// Entries no further from the first of their group than the setting.
fn runs<'a, 'b>(all: &'b [&'a Written], minutes: f64) -> Vec<&'b [&'a Written]> {
    let mut groups = Vec::new();
    let mut from = 0;
    for i in 1..=all.len() {
        if i == all.len() || all[i].at.since(all[from].at) as f64 > minutes * MINUTE as f64 {
            groups.push(&all[from..i]);
            from = i;
        }
    }
    groups
}

/// What they are all, and what such do.
fn kind(book: &Book<'_>, all: &[&Written]) -> (&'static str, &'static str) {
    let of = |e: &&Written| {
        book.now.scheduled(&e.unit, &e.device, e.at).map(|d| d["kind"].as_str().unwrap().to_owned())
    };
    let kinds: BTreeSet<Option<String>> = all.iter().map(of).collect();
    match kinds.into_iter().collect::<Vec<_>>().as_slice() {
        [Some(one)] if one == "breaker" => ("breakers", "tripped"),
        [Some(one)] if one == "fuse" => ("fuses", "blew"),
        _ => ("devices", "operated"),
    }
}

fn of_panel(
    book: &Book<'_>,
    group: &Group<'_>,
    last: &[&Written],
    kind: (&str, &str),
    firsts: &[(String, String)],
) -> Told<&'static str> {
    let unit = &last[0].unit;
    let class = &book.now.units[unit].class;
    let devices = book.now.schedule(class, last[0].at)["devices"].as_array().unwrap();
    let count = format!("{} {} ", firsts.len(), kind.0);
    let shared = group
        .what
        .strip_prefix(&count)
        .and_then(|rest| rest.strip_suffix(kind.1))
        .ok_or("other words")?
        .trim();
    let fed_by = |tag: &str, feed: &str| {
        let up = |tag: &str| devices.iter().find(|d| d["tag"] == tag).and_then(|d| d["feed"].as_str());
        std::iter::successors(up(tag), |tag| up(tag)).take(20).any(|up| up == feed)
    };
    let hangs_on = |tag: &str| match (shared.strip_prefix("fed by "), shared.strip_prefix("of panel ")) {
        (Some(feed), _) => fed_by(tag, feed),
        (_, Some(panel)) => {
            devices.iter().any(|d| d["tag"] == tag && d["place"]["on_panel"]["panel"] == panel)
        }
        _ => false,
    };
    same("all hang on it", firsts.iter().all(|(tag, _)| hangs_on(tag)), true)?;
    let figures = &book.figures;
    let rates = devices
        .iter()
        .map(|d| d["tag"].as_str().unwrap())
        .filter(|tag| hangs_on(tag))
        .map(|tag| rate(figures, unit, class, tag));
    // k delta^(k-1) e_k(rates), statistics.md 1i.
    let mut symmetric = vec![1.0];
    for rate in rates {
        symmetric.push(0.0);
        for j in (1..symmetric.len()).rev() {
            symmetric[j] += rate * symmetric[j - 1];
        }
    }
    let k = firsts.len();
    let delta = book.now.set.shared_minutes / 1440.0;
    let a_day = k as f64 * delta.powi(k as i32 - 1) * symmetric[k];
    fleet_years(group.luck, a_day * 365.0 * figures.fleet() as f64)?;
    Ok(if shared.starts_with("fed") { "shared_cause: feed" } else { "shared_cause: panel" })
}

fn of_consist(
    book: &Book<'_>,
    group: &Group<'_>,
    last: &[&Written],
    kind: (&str, &str),
    firsts: &[(String, String)],
) -> Told<&'static str> {
    let device = &last[0].device;
    same("one device", last.iter().all(|e| e.device == *device), true)?;
    let did = if device == START { "failed" } else { kind.1 };
    let end = format!(" {did} on {} units of one consist", firsts.len());
    let name = group.what.strip_suffix(&end).ok_or("other words")?;
    let legend = book.now.scheduled(&last[0].unit, device, last[0].at).and_then(|d| d["legend"].as_str());
    let want = match (device.as_str(), legend) {
        (RELAY, _) => "The ground relay".to_owned(),
        (START, _) => "Starting the engine".to_owned(),
        (tag, Some(legend)) if legend != tag => format!("{tag} ({legend})"),
        (tag, _) => tag.to_owned(),
    };
    same("name", name, &want)?;
    let coupled: BTreeSet<&String> = last.iter().flat_map(|e| e.consist.iter().chain([&e.unit])).collect();
    same("in one consist", firsts.iter().all(|(unit, _)| coupled.contains(unit)), true)?;
    for (unit, _) in firsts {
        same("the jumper between them", group.advice.contains(unit.as_str()), true)?;
    }
    let figures = &book.figures;
    let of = |unit: &str| book.now.units.get(unit).map(|card| rate(figures, unit, &card.class, device));
    let rate = firsts.iter().filter_map(|(unit, _)| of(unit)).fold(0.0, f64::max);
    let (m, k) = (coupled.len(), firsts.len());
    let ways: f64 = (0..k).map(|i| (m - i) as f64 / (i + 1) as f64).product();
    let delta = book.now.set.consist_minutes / 1440.0;
    let a_day = ways * k as f64 * delta.powi(k as i32 - 1) * rate.powi(k as i32);
    fleet_years(group.luck, a_day * 365.0 * (figures.fleet() as f64 / m as f64).max(1.0))?;
    Ok("shared_cause: consist")
}

/// The other units' average; where little is known, the most that they leave likely.
fn rate(figures: &Figures<'_>, unit: &str, class: &str, device: &str) -> f64 {
    match figures.normal(unit, device) {
        Some(normal) => 1.0 / normal.gap(),
        None => {
            let known = figures.of_fleet(unit, class, device);
            gamma_quantile(0.8, known.others as f64 + 1.0) / known.days as f64
        }
    }
}

/// How many years a fleet like this would wait for it.
fn fleet_years(said: &str, a_year: f64) -> Told<()> {
    let years = 1.0 / a_year;
    if said == "less than once in a million fleet-years" {
        return same("a million", years >= 0.999_999e6, true);
    }
    if let Some(often) = parts(said, "about {} times in a fleet-year") {
        return rounded("times in a fleet-year", often[0], 1, a_year);
    }
    let seldom = parts(said, "about once in {} fleet-years").ok_or("other words about chance")?;
    let told = number(seldom[0])?;
    let unit = 10_f64.powf(years.log10().floor() - 1.0);
    same(&format!("fleet-years {told} for {years}"), (told - years).abs() <= 0.5 * unit * (1.0 + 1e-6), true)
}

/// It tells when the device operated, by a clock.
fn by_the_clock(entry: &Written) -> bool {
    entry.detail["at_how"] == "clock" && !entry.found && told_operations(entry).0 > 0
}
