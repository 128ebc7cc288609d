//! Sentences about one device of one unit: burst, often, worsening, did not hold, proving, held.
use std::collections::BTreeSet;

use breakerbook::{
    base::Instant,
    rules::{Finding, Rule},
};

use super::{
    Book,
    laws::{gamma_above, poisson_at_least, predictive_at_least, trend},
    ledger::{RELAY, START},
    normal::Normal,
    operations::Occurrence,
    words::{Told, counted, date, has_luck, luck, number, parts, rounded, same, service_days},
};

/// One line with what it is about.
pub struct Line<'a> {
    pub book: &'a Book<'a>,
    pub finding: &'a Finding,
    pub unit: &'a str,
    pub device: &'a str,
    all: &'a [Occurrence],
    /// Places of the occurrences that the entries it names belong to.
    named: Vec<usize>,
    /// Entries about the same device of another unit, which its part came from.
    elsewhere: BTreeSet<String>,
}

impl<'a> Line<'a> {
    pub fn of(book: &'a Book<'a>, finding: &'a Finding) -> Told<Self> {
        let unit = finding.unit.as_ref().ok_or("no unit")?.as_str();
        let device = finding.device.as_ref().ok_or("no device")?.as_str();
        let all = book.now.occurrences(unit, device);
        let (mut named, mut elsewhere) = (Vec::new(), BTreeSet::new());
        for entry in &finding.entries {
            let id = entry.to_string();
            let written =
                book.now.entries.get(&id).ok_or_else(|| format!("names {id}, which is not in the book"))?;
            same("device of a named entry", written.device.as_str(), device)?;
            if written.unit != unit {
                elsewhere.insert(id);
                continue;
            }
            named.extend((0..all.len()).filter(|i| all[*i].entries.contains(&id)));
        }
        named.sort_unstable();
        named.dedup();
        let in_a_row = named.windows(2).all(|two| two[1] == two[0] + 1);
        if named.is_empty() || !in_a_row {
            return Err(format!("names occurrences {named:?} of {}", all.len()));
        }
        same("entries of other units", !elsewhere.is_empty() && finding.rule != Rule::Worsening, false)?;
        Ok(Self { book, finding, unit, device, all, named, elsewhere })
    }

    fn first(&self) -> &Occurrence {
        &self.all[self.named[0]]
    }

    fn last(&self) -> &Occurrence {
        &self.all[self.named[self.named.len() - 1]]
    }

    fn normal(&self) -> Told<Normal> {
        self.book.figures.normal(self.unit, self.device).ok_or_else(|| "nothing is normal for it".to_owned())
    }

    fn weight(&self) -> f64 {
        self.book.figures.weight(&self.book.now.units[self.unit].class, self.device)
    }

    fn nouns(&self) -> (&'static str, &'static str) {
        match self.device {
            START => ("failed start", "failed starts"),
            RELAY => ("ground-relay operation", "ground-relay operations"),
            _ => ("trip", "trips"),
        }
    }

    fn trips(&self, said: &str) -> Told<i64> {
        let (one, many) = self.nouns();
        counted(said, one, many)
    }

    fn between(&self, after: i32, upto: i32) -> i64 {
        self.book.now.between(self.unit, after, upto)
    }

    /// When the part that it was about came in, and the day; long ago where nobody wrote of it.
    fn life_began(&self, by: &Occurrence) -> (Instant, i32) {
        let mut lives =
            self.book.now.repairs_of(self.unit, self.device).filter(|r| r.new_life && r.at <= by.at);
        lives.next_back().map_or((Instant(i64::MIN), -1_000_000), |r| (r.at, r.day))
    }

    pub fn burst(&self) -> Told<()> {
        let says = &self.finding.sentence;
        let found = parts(says, "{} in {} since {}; {}. {} would do this in a year.").ok_or("other words")?;
        same("occurrences", self.trips(found[0])?, self.named.len() as i64)?;
        same(
            "service days",
            service_days(found[1])?,
            self.between(self.first().day - 1, self.last().day).max(1),
        )?;
        same("since", date(found[2])?, self.first().day)?;
        same("what is normal", found[3], &self.normal()?.in_words())?;
        has_luck(found[4], "healthy unit").map(drop)
    }

    pub fn often(&self) -> Told<()> {
        let form = "{} in the {} up to {}; a unit at {} average has {}. {} % sure that its rate is over {} times that. {} has so many.";
        let found = parts(&self.finding.sentence, form).ok_or("other words")?;
        let (normal, weight) = (self.normal()?, self.weight());
        let n = self.trips(found[0])?;
        let days = service_days(found[1])?;
        let last = self.last().day;
        let (life, life_day) = self.life_began(self.last());
        same("service days", days, self.between(life_day - 1, last).clamp(1, 365))?;
        same("up to", date(found[2])?, last)?;
        let within = self
            .all
            .iter()
            .filter(|o| o.at <= self.last().at && o.at >= life && self.between(o.day, last) < days);
        same("occurrences", n, within.count() as i64)?;
        same("occurrences named", n, self.named.len() as i64)?;
        same("whose average", found[3], if normal.fleet { "the fleet's" } else { "the class's" })?;
        rounded("what is average", found[4], 1, normal.pooled() * days as f64)?;
        let over = number(found[6])?;
        same("how many times", over, self.book.now.set.often_ratio)?;
        let beta = weight / normal.pooled();
        let sure = gamma_above(over * normal.pooled(), weight + n as f64, beta + days as f64);
        rounded("how sure", found[5], 0, 100.0 * sure.min(0.99))?;
        luck(found[7], "healthy unit", predictive_at_least(n as usize, weight, beta, days as f64))
    }

    pub fn worsening(&self) -> Told<&'static str> {
        let form = "Gaps are shrinking: {} of {} fell in the last third of its {} up to {}; a steady device would have {} there. \
                    {} looks like this. {}.";
        let (says, brought) = match self.finding.sentence.split_once(" Of these, ") {
            Some((says, more)) => {
                let of = parts(more, "{} on the unit that the part came from.")
                    .ok_or("other words of the part")?;
                (says, self.trips(of[0])?)
            }
            None => (self.finding.sentence.as_str(), 0),
        };
        let found = parts(says, form).ok_or("other words")?;
        let upto = date(found[3])?;
        let (life, life_day) = self.life_began(self.last());
        let (days_before, mut times) = self.earlier_life(life)?;
        same("occurrences on the other unit", brought, times.len() as i64)?;
        let own = self.all.iter().filter(|o| o.at >= life && o.day <= upto);
        same("occurrences of this life here", self.named.len(), own.count())?;
        let clock = |day: i32| self.between(life_day - 1, day);
        let days = days_before + clock(upto);
        times.extend(self.named.iter().map(|i| days_before + clock(self.all[*i].day)));
        same("occurrences", self.trips(found[1])?, times.len() as i64)?;
        same("service days", service_days(found[2])?, days)?;
        let late = times.iter().filter(|day| 3 * **day > 2 * days).count();
        same("in the last third", number(found[0])? as usize, late)?;
        rounded("to expect there", found[4], 1, times.len() as f64 / 3.0)?;
        let middles: Vec<f64> = times.iter().map(|day| *day as f64 - 0.5).collect();
        luck(found[5], "steady device", trend(&middles, days as f64))?;
        same("what is normal", found[6].to_lowercase(), self.normal()?.in_words())?;
        Ok(if brought > 0 { "worsening: of a part that moved" } else { "worsening" })
    }

    /// Of the part that came in at this moment from another unit: its service days there, and on which of them it
    /// operated. All that the other unit's device did before, as nobody wrote of a repair there.
    fn earlier_life(&self, life: Instant) -> Told<(i64, Vec<i64>)> {
        let now = &self.book.now;
        let repair = now.repairs_of(self.unit, self.device).rfind(|r| r.at == life);
        let Some((repair, from)) = repair.and_then(|r| Some((r, r.from.as_ref()?))) else {
            return Ok((0, vec![]));
        };
        same("repairs on the other unit", now.repairs_of(from, self.device).count(), 0)?;
        let past: Vec<&Occurrence> =
            now.occurrences(from, self.device).iter().filter(|o| o.at < life).collect();
        let ids: BTreeSet<String> = past.iter().flat_map(|o| o.entries.clone()).collect();
        same("entries named of the other unit", &self.elsewhere, &ids)?;
        let clock = |day: i32| now.between(from, -1_000_000, day);
        Ok((clock(repair.day - 1), past.iter().map(|o| clock(o.day)).collect()))
    }

    pub fn did_not_hold(&self) -> Told<&'static str> {
        let says = &self.finding.sentence;
        let found = parts(says, "Repair closed {}; {}. {}: {}.").ok_or("other words")?;
        let closed = found[0].strip_suffix(" with no fault found");
        let closed_day = date(closed.unwrap_or(found[0]))?;
        let mut repairs = self.book.now.repairs_of(self.unit, self.device);
        let repair = repairs.rfind(|r| r.at <= self.first().at).ok_or("no repair before it")?;
        same("repair closed", closed_day, repair.day)?;
        same("no fault found", closed.is_some(), repair.no_fault_found)?;
        let answers = self.named[0] == 0 || self.all[self.named[0] - 1].at < repair.at;
        same("its first return is named first", answers, true)?;
        let normal = self.normal()?;
        let pooled = |days: i64| normal.pooled() * days as f64;
        let told_by = |n: usize| self.named.get(n - 1).map(|i| &self.all[*i]).ok_or("fewer entries named");
        let since = |o: &Occurrence| self.between(repair.day, o.day).max(1);
        let again = match self.device {
            START => "failed to start again",
            RELAY => "operated again",
            _ => "tripped again",
        };
        let one = parts(found[1], &format!("{again} {{}} later, {{}}"));
        if let Some(one) = &one {
            let first = told_by(1)?;
            same("service days", service_days(one[0])?, since(first))?;
            same("returned", date(one[1])?, first.day)?;
            let said = found[2].strip_suffix(" comes back that soon").ok_or("other words about luck")?;
            luck(said, "normal unit", 1.0 - (-pooled(since(first))).exp())?;
        } else if found[1] == format!("{again} the same day") {
            same("returned the same day", told_by(1)?.day, repair.day)?;
            let said = found[2].strip_suffix(" comes back that soon").ok_or("other words about luck")?;
            luck(said, "normal unit", 1.0 - (-pooled(1)).exp())?;
        } else {
            let many = parts(found[1], "{} in the {} since, up to {}").ok_or("other words about returns")?;
            let n = self.trips(many[0])? as usize;
            let crossed = told_by(n)?;
            same("service days", service_days(many[1])?, since(crossed))?;
            same("up to", date(many[2])?, crossed.day)?;
            let said = found[2].strip_suffix(" comes back that often").ok_or("other words about luck")?;
            luck(said, "normal unit", poisson_at_least(n, pooled(since(crossed))))?;
        }
        same("what is normal", found[3], &normal.in_words())?;
        Ok(if found[2].ends_with("that soon") {
            "did_not_hold: the first return"
        } else {
            "did_not_hold: many returns"
        })
    }

    /// `held`: the silence came.
    pub fn proving(&self, held: bool) -> Told<&'static str> {
        let says = &self.finding.sentence;
        let found = parts(says, "Repair closed {}, after {} in {}. {}.").ok_or("other words")?;
        let closed = date(found[0])?;
        let mut repairs = self
            .book
            .now
            .repairs_of(self.unit, self.device)
            .filter(|r| r.day == closed && r.at > self.last().at);
        let mark = format!("{}:{}:", self.unit, self.device);
        let repair = repairs
            .find(|r| self.finding.key.ends_with(&format!("{mark}{}", r.at.to_z())))
            .ok_or("no such repair")?;
        same("the entry before the repair", self.named.len(), 1)?;
        let next = self.all.get(self.named[0] + 1);
        same("the last before the repair", next.is_none_or(|o| o.at >= repair.at), true)?;
        let days = service_days(found[2])?;
        let (life, life_day) = self.life_began(self.last());
        same("service days before", days, self.between(life_day - 1, closed).min(365))?;
        // In those service days: counted back from the repair.
        let within = self
            .all
            .iter()
            .filter(|o| o.at < repair.at && o.at >= life && self.between(o.day, closed) < days);
        let n = self.trips(found[1])?;
        same("occurrences before", n, within.count() as i64)?;
        let (normal, weight) = (self.normal()?, self.weight());
        let (alpha, beta) = (weight + n as f64, weight / normal.pooled() + days as f64);
        let set = &self.book.now.set;
        let silence = beta * ((1.0 / set.proving_chance).powf(1.0 / alpha) - 1.0);
        let (_, plural) = self.nouns();
        let most = set.proving_days;
        if found[3]
            == format!("Silence cannot prove this one: it would take more than {most:.0} service days")
        {
            return same("cannot be proved", silence.ceil() > most && !held, true).map(|()| "proving: never");
        }
        let end = if held {
            format!("without any of these {plural} since: it held")
        } else {
            format!("without any of these {plural} would prove it")
        };
        let said = service_days(found[3].strip_suffix(&end).ok_or("other words about silence")?.trim())?;
        same("days of silence", said, (silence - 1e-9).ceil() as i64)?;
        let returned = next.map(|o| self.between(closed, o.day));
        same("silent for so long", !held || returned.is_none_or(|after| after > said), true)?;
        Ok("proving")
    }
}
