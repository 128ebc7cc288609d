//! The picture of one finding: its device, its unit and its class over one axis of time, with repairs and holds.
use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::{pictures_store as store, telling};
use crate::{
    base::{Instant, Tag, UnitName, instant::DAY},
    desk::{
        World,
        story::{Story, story},
    },
    pages::drawn::{
        picture::{
            Axis, Sheet,
            rates::Between,
            sum::{self, Sum},
            timeline::{Lasted, Row, Sketch, Timeline, wet_runs},
        },
        told,
    },
    rules::{Finding, figures::Normal, pair::gap_in_words},
    web::{Oops, paths},
};

/// So long after a line ended its picture goes on.
const AFTER: i64 = 28 * DAY;
/// A shared cause may name many.
const DEVICES: usize = 8;

/// What is drawn, before it is drawn.
pub struct Picture {
    key: String,
    named: String,
    axis: Axis,
    timeline: Sketch,
    /// Of a line about one device.
    sum: Option<sum::Sketch>,
    /// What is normal for it, with its interval.
    pub normal: Option<String>,
}

/// Ready to print.
pub struct Shown {
    pub sum: Option<Sum>,
    pub timeline: Timeline,
    pub normal: Option<String>,
}

impl Picture {
    /// `None`: a line about no unit of the roster.
    pub async fn read(
        db: &mut SqliteConnection,
        world: &World,
        finding: &Finding,
        now: Instant,
    ) -> Result<Option<Self>, sqlx::Error> {
        let known = |unit: &&UnitName| world.roster.unit(unit).is_some();
        let Some(unit) = finding.unit.as_ref().filter(known) else { return Ok(None) };
        let zone = &world.railway.zone;
        let end = finding.until.map_or(now, |until| until.plus(AFTER).min(now));
        let axis = Axis::year_up_to(zone.day_of(end), 0, zone);
        let span = (axis.from, axis.to);
        let told = story(db, world, unit, span).await?;
        let repairs = store::repairs_between(db, unit, span).await?;
        let openings = store::openings_between(db, unit, span).await?;
        let bars = telling::bars(&told.holds, &repairs, &openings, zone);
        let normal = normal(finding, unit, world);
        let own = finding.device.as_ref().map(|tag| occurrences(&told, tag));
        let rate = normal.map(|normal| normal.average());
        Ok(Some(Self {
            key: finding.key.clone(),
            named: named(finding, unit, world),
            sum: own.map(|own| sum::Sketch::of(&own, &told.clock, rate, &axis, zone)),
            timeline: Sketch {
                rows: rows(finding, unit, &told, bars, world),
                wet: wet_runs(told.weather.iter(), &axis),
            },
            normal: normal.as_ref().map(normal_in_words),
            axis,
        }))
    }

    fn csv(&self, what: &str) -> String {
        paths::FindingData(self.key.clone(), format!("{what}.csv")).to_string()
    }

    pub fn draw(self, world: &World) -> Shown {
        let zone = &world.railway.zone;
        let added = format!("{}: occurrences added up, and where healthy sister units would be", self.named);
        let line = format!("{}: each week, with repairs, holds and wet days", self.named);
        Shown {
            sum: self.sum.as_ref().map(|sum| sum.draw(("sum", &added, self.csv("sum")), &self.axis, zone)),
            timeline: self.timeline.draw(("timeline", &line, self.csv("timeline")), &self.axis, zone),
            normal: self.normal,
        }
    }

    pub fn sheet(&self, what: &str, world: &World) -> Result<Sheet, Oops> {
        match (what, &self.sum) {
            ("timeline.csv", _) => {
                Ok(self.timeline.sheet("finding-timeline".into(), &self.axis, &world.railway.zone))
            }
            ("sum.csv", Some(sum)) => Ok(sum.sheet("finding-sum".into(), &self.axis)),
            _ => Err(Oops::NotFound(
                "A line's pictures have timeline.csv, and sum.csv where it is about one device.".into(),
            )),
        }
    }
}

fn named(finding: &Finding, unit: &UnitName, world: &World) -> String {
    let schedule = world.roster.schedule_at(unit, finding.since);
    finding
        .device
        .as_ref()
        .map_or_else(|| unit.to_string(), |tag| format!("{unit} {}", told::named(tag, schedule)))
}

fn occurrences(told: &Story, tag: &Tag) -> Vec<Instant> {
    told.devices.get(tag).map(|of| of.occurrences.clone()).unwrap_or_default()
}

/// The devices it is about, then everything else of the unit together.
fn rows(
    finding: &Finding,
    unit: &UnitName,
    told: &Story,
    mut bars: BTreeMap<Option<Tag>, Vec<Lasted>>,
    world: &World,
) -> Vec<Row> {
    let schedule = world.roster.schedule_at(unit, finding.since);
    let about: Vec<&Tag> = finding.devices.iter().take(DEVICES).collect();
    let row = |tag: &&Tag| {
        let occurrences = occurrences(told, tag);
        let label = telling::label(tag, occurrences.len(), schedule);
        let bars = bars.remove(&Some((*tag).clone())).unwrap_or_default();
        Row { name: tag.to_string(), label, href: None, occurrences, bars }
    };
    let mut rows: Vec<Row> = about.iter().map(row).collect();
    let others = told.devices.iter().filter(|(tag, _)| !about.contains(tag));
    let mut occurrences: Vec<Instant> = others.flat_map(|(_, of)| of.occurrences.iter().copied()).collect();
    occurrences.sort_unstable();
    let mut of_unit: Vec<Lasted> = bars.into_values().flatten().collect();
    of_unit.sort_by_key(|bar| bar.from);
    let label = if about.is_empty() { "The whole unit" } else { "The rest of the unit" };
    let label = format!("{label} · {}", occurrences.len());
    rows.push(Row { name: "unit".into(), label, href: None, occurrences, bars: of_unit });
    rows
}

fn normal(finding: &Finding, unit: &UnitName, world: &World) -> Option<Normal> {
    let class = &world.roster.unit(unit)?.class;
    world.figures.as_ref()?.normal(unit, class, finding.device.as_ref()?)
}

/// `Sister units: 41 occurrences in 3,690 service days, one in 90 (nine times of ten between 72 and 115).`
fn normal_in_words(normal: &Normal) -> String {
    let who = if normal.fleet { "Units of the fleet with a device of that legend" } else { "Sister units" };
    let gap = gap_in_words(normal.gap());
    let between = Between::of(normal.others, normal.days).filter(|b| b.low > 0.0);
    let between = between.map_or_else(String::new, |b| {
        format!(
            " (nine times of ten the true figure is between {:.0} and {:.0})",
            365.0 / b.high,
            365.0 / b.low
        )
    });
    format!(
        "{who}, as the class figures now in force have them: {} occurrences in {} service days, one in {gap}{between}. The band is \
         reckoned from that average alone, by the Poisson law.",
        normal.others, normal.days
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact 90 % bounds of a count of 40: 30.20 and 52.07.
    #[test]
    fn what_is_normal_is_told_with_its_interval() {
        let normal = Normal { others: 40, days: 3_600, fleet: false, all: 44, all_days: 3_900 };
        let says = normal_in_words(&normal);
        assert!(
            says.contains("40 occurrences in 3600 service days, one in 90 service days (nine times of ten the true figure is between 69 and 119)"),
            "{says}"
        );
    }
}
