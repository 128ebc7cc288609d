//! One class: where on its panels it trips, which few devices make most of the work, what repairs found, which are on trial.
//! All of it from the class figures, the causes and the open lines, which are in hand: a class of a thousand units costs no
//! more than one of ten.
use std::collections::BTreeMap;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use serde::Deserialize;

use super::lines::{Eyes, Line};
use crate::{
    base::{ClassName, Instant, Tag, UnitName},
    desk::{Board, World},
    pages::drawn::{
        panel::{Drawing, draw},
        picture::{
            Sheet,
            bars::{self, Bars, Counted},
            heat::Heat,
            rates::Between,
        },
        told,
    },
    roster::Schedule,
    rules::{ClassFigures, Rule, figures::DeviceFigures, pair::gap_in_words, store::Wanted},
    shop::Causes,
    web::{Answer, App, Asked, Frame, Me, Oops, page, paths},
};

#[derive(Template)]
#[template(path = "shop/class.html")]
struct View {
    frame: Frame,
    class: String,
    about: String,
    board: String,
    heat: Heat,
    drawing: Option<Drawing>,
    /// Devices that are on no schedule, and the two that are none.
    others: Vec<(String, String)>,
    bars: Bars,
    chosen: Option<Chosen>,
    causes: Vec<Cause>,
    causes_csv: String,
    proving: Vec<Line>,
    /// Where those are listed that are not shown here.
    more_proving: Option<(String, String)>,
}

/// One device across the fleet.
struct Chosen {
    named: String,
    says: String,
    units: Vec<OfUnit>,
    elsewhere: Vec<String>,
    causes: String,
    lines: Vec<Line>,
    csv: String,
}

struct OfUnit {
    path: String,
    unit: String,
    says: String,
}

struct Cause {
    path: String,
    device: String,
    says: String,
    repairs: u32,
}

#[derive(Deserialize, Default)]
pub struct ClassForm {
    #[serde(default)]
    device: String,
}

/// So many lines, units and causes are listed.
const LISTED: usize = 12;

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(class): Path<String>,
    Asked(form): Asked<ClassForm>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let of = OfClass::known(&class, &world, now)?;
    let mut db = app.desk().read().await?;
    let board = app.desk().board(&mut db, now).await?;
    drop(db);
    let eyes = Eyes::of(&me, &world, now, &board.causes);
    let chosen = Some(form.device.trim()).filter(|tag| !tag.is_empty()).map(Tag::from);
    let chosen = chosen.map(|tag| of.chosen(&tag, &board, &eyes)).transpose()?;
    page(StatusCode::OK, &of.view(frame, chosen, &board, &eyes))
}

/// `/classes/QA6/data/devices.csv` and its like.
pub async fn data(
    State(app): State<App>,
    Path((class, what)): Path<(String, String)>,
    Asked(form): Asked<ClassForm>,
) -> Answer {
    let (world, now) = (app.world(), app.now());
    let of = OfClass::known(&class, &world, now)?;
    let name = |what: &str| format!("{class}-{what}");
    let sheet = match what.as_str() {
        "devices.csv" => bars::sheet(&of.counted(), name("devices")),
        "units.csv" => of.units_sheet(&Tag::from(form.device.trim()), name("units"))?,
        "causes.csv" => {
            let mut db = app.desk().read().await?;
            let board = app.desk().board(&mut db, now).await?;
            causes_sheet(of.class, &board.causes, name("causes"))
        }
        _ => {
            return Err(Oops::NotFound(
                "A class has devices.csv, causes.csv and units.csv of a device. Follow the link beneath a picture."
                    .into(),
            ));
        }
    };
    sheet.answer()
}

struct OfClass<'a> {
    class: &'a ClassName,
    schedule: Option<&'a Schedule>,
    figures: Option<&'a ClassFigures>,
    world: &'a World,
}

impl<'a> OfClass<'a> {
    fn known(class: &str, world: &'a World, now: Instant) -> Result<Self, Oops> {
        let found = world.roster.classes.get_key_value(&ClassName::from(class));
        let (class, of) = found.ok_or_else(|| {
            let known = world.roster.classes.keys().map(ToString::to_string).collect::<Vec<_>>().join(", ");
            Oops::NotFound(format!("There is no such class. The classes are: {known}."))
        })?;
        Ok(Self { class, schedule: of.at(now), figures: world.figures.as_deref(), world })
    }

    fn devices(&self) -> impl Iterator<Item = &'a DeviceFigures> + use<'a> {
        let class = self.class;
        self.figures.into_iter().flat_map(|f| &f.devices).filter(move |d| d.class == *class)
    }

    fn days(&self) -> (i64, u32) {
        let of = self.figures.and_then(|f| f.class_days.get(self.class));
        of.map_or((0, 0), |of| (of.days, of.units))
    }

    fn named(&self, tag: &Tag) -> String {
        told::named(tag, self.schedule)
    }

    fn link(&self, tag: &str) -> String {
        format!("{}#device", paths::Class(self.class.to_string()).with(&[("device", tag)]))
    }

    fn csv(&self, what: &str, device: &str) -> String {
        paths::ClassData(self.class.to_string(), format!("{what}.csv")).with(&[("device", device)])
    }

    fn counted(&self) -> Vec<Counted> {
        let counted = |of: &DeviceFigures| Counted {
            name: of.device.to_string(),
            label: self.named(&of.device),
            href: Some(self.link(of.device.as_str())),
            n: of.total,
        };
        bars::in_order(self.devices().map(counted).collect())
    }

    fn about(&self) -> String {
        let (days, units) = self.days();
        let zone = &self.world.railway.zone;
        match self.figures {
            None => "No class figures have been taken yet: they come with the first reports.".to_owned(),
            Some(f) => format!(
                "{units} units in service, {days} service days in the 365 days up to {}.",
                zone.day_in_words(f.as_of)
            ),
        }
    }

    fn view(&self, frame: Frame, chosen: Option<Chosen>, board: &Board, eyes: &Eyes<'_>) -> View {
        let class = self.class.to_string();
        let heat = Heat::of(self.devices().map(|d| (d.device.clone(), d.total)), self.days().0);
        let here = chosen.as_ref().map(|c| c.named.clone());
        let drawing = self.schedule.map(|schedule| {
            let mut drawing = draw(schedule, eyes.now, |_| None, |d| Some(self.link(d.tag.as_str())));
            let places = drawing.panels.iter_mut().flat_map(|p| &mut p.rows).flatten().flatten();
            for device in places.chain(&mut drawing.outside) {
                device.here = here.as_deref() == Some(self.named(&Tag::from(device.tag.as_str())).as_str());
            }
            drawing
        });
        let title = format!("{class}: occurrences by device, the most first");
        let (proving, more_proving) = self.proving(board, eyes);
        View {
            frame,
            about: self.about(),
            board: paths::Triage.with(&[("class", &class)]),
            others: self.off_the_panels(&heat),
            drawing,
            bars: bars::draw(&self.counted(), ("pareto", &title, self.csv("devices", ""))),
            heat,
            chosen,
            causes: self.causes(&board.causes),
            causes_csv: self.csv("causes", ""),
            proving,
            more_proving,
            class,
        }
    }

    /// The ground relay, engine starts and devices that crews named beyond the schedule.
    fn off_the_panels(&self, heat: &Heat) -> Vec<(String, String)> {
        let scheduled = |tag: &Tag| self.schedule.is_some_and(|s| s.device(tag).is_some());
        let off = self.devices().filter(|d| d.total > 0 && !scheduled(&d.device));
        let says = |d: &DeviceFigures| format!("{}: {}", self.named(&d.device), heat.told(d.device.as_str()));
        off.map(|d| (self.link(d.device.as_str()), says(d))).collect()
    }

    fn causes(&self, causes: &Causes) -> Vec<Cause> {
        let of_class = causes.0.iter().filter(|((class, _), _)| class == self.class);
        let cause = |((_, tag), found): (&(ClassName, Tag), &BTreeMap<String, u32>)| Cause {
            path: self.link(tag.as_str()),
            device: self.named(tag),
            says: in_words(found),
            repairs: found.values().sum(),
        };
        let mut all: Vec<Cause> = of_class.map(cause).collect();
        all.sort_by(|a, b| b.repairs.cmp(&a.repairs).then_with(|| a.device.cmp(&b.device)));
        all.truncate(LISTED);
        all
    }

    fn proving(&self, board: &Board, eyes: &Eyes<'_>) -> (Vec<Line>, Option<(String, String)>) {
        let wanted =
            Wanted { class: Some(self.class.as_str()), rule: Some(Rule::Proving), ..Wanted::default() };
        let state = |f| board.decisions.state(f, eyes.now);
        let all: Vec<_> = board.open(&wanted).collect();
        let shown = all.iter().take(LISTED).map(|f| Line::of(f, state(f), &BTreeMap::new(), eyes)).collect();
        let link = paths::Triage.with(&[("class", self.class.as_str()), ("rule", Rule::Proving.as_str())]);
        let more = (all.len() > LISTED).then(|| (link, format!("All {} repairs on trial", all.len())));
        (shown, more)
    }

    fn chosen(&self, tag: &Tag, board: &Board, eyes: &Eyes<'_>) -> Result<Chosen, Oops> {
        let of = self.devices().find(|d| d.device == *tag);
        let known = of.is_some() || self.schedule.is_some_and(|s| s.device(tag).is_some());
        if !known {
            return Err(Oops::NotFound(format!(
                "Class {} has no device {}. Choose one on its panel.",
                self.class,
                crate::base::text::quoted(tag.as_str())
            )));
        }
        let total = of.map_or(0, |of| of.total);
        let wanted = Wanted { class: Some(self.class.as_str()), ..Wanted::default() };
        let about = board.open(&wanted).filter(|f| f.device.as_ref() == Some(tag));
        let about = about.filter(|f| !f.rule.is_ground_protection() || super::ground::is_shown(f.rule));
        let line = |f| Line::of(f, board.decisions.state(f, eyes.now), &BTreeMap::new(), eyes);
        let found = board.causes.0.get(&(self.class.clone(), tag.clone()));
        Ok(Chosen {
            named: self.named(tag),
            says: rate_in_words(total, self.days().0),
            units: of.map(|of| self.units_of(of)).unwrap_or_default(),
            elsewhere: of.map(|of| self.elsewhere(of)).unwrap_or_default(),
            causes: found.map(in_words).unwrap_or_default(),
            lines: about.take(LISTED).map(line).collect(),
            csv: self.csv("units", tag.as_str()),
        })
    }

    /// Those that had the most of it.
    fn units_of(&self, of: &DeviceFigures) -> Vec<OfUnit> {
        let row = |(unit, n): (&UnitName, u32)| OfUnit {
            path: paths::Unit(unit.clone()).to_string(),
            unit: unit.to_string(),
            says: rate_in_words(n, self.days_of(unit)),
        };
        most_first(of).into_iter().take(10).map(row).collect()
    }

    fn days_of(&self, unit: &UnitName) -> i64 {
        self.figures.and_then(|f| f.unit_days.get(unit)).copied().unwrap_or(0)
    }

    /// The devices of other classes that bear its legend.
    fn elsewhere(&self, of: &DeviceFigures) -> Vec<String> {
        let Some(figures) = self.figures else { return Vec::new() };
        let others = figures.same_legend(of).filter(|d| d.class != *self.class);
        let says = |d: &DeviceFigures| {
            let days = figures.class_days.get(&d.class).map_or(0, |c| c.days);
            format!("Class {}, {}: {}", d.class, d.device, rate_in_words(d.total, days))
        };
        others.map(says).collect()
    }

    fn units_sheet(&self, tag: &Tag, name: String) -> Result<Sheet, Oops> {
        let of = self.devices().find(|d| d.device == *tag);
        let of =
            of.ok_or_else(|| Oops::NotFound("Name a device of this class: units.csv?device=TC2.".into()))?;
        let row = |(unit, n): (&UnitName, u32)| {
            vec![unit.to_string(), n.to_string(), self.days_of(unit).to_string()]
        };
        let columns = &["unit", "occurrences", "service_days"];
        Ok(Sheet { name, columns, rows: most_first(of).into_iter().map(row).collect() })
    }
}

fn most_first(of: &DeviceFigures) -> Vec<(&UnitName, u32)> {
    let mut units: Vec<_> = of.occurrences.iter().map(|(unit, n)| (unit, *n)).collect();
    units.sort_by_key(|(unit, n)| (std::cmp::Reverse(*n), *unit));
    units
}

/// `6 in 340 service days, one in 57 service days: 6.4 a year (2.8 to 12.7)`.
fn rate_in_words(n: u32, days: i64) -> String {
    let Some(b) = Between::of(n, days) else { return format!("{n}; no service days known") };
    let gap =
        if n > 0 { format!(", one in {}", gap_in_words(days as f64 / f64::from(n))) } else { String::new() };
    format!(
        "{n} in {days} service days{gap}: {:.1} a year of service ({:.1} to {:.1})",
        b.point, b.low, b.high
    )
}

/// `jumper (6); chafed wire (2); no fault found (1)`: every cause, the most frequent first.
fn in_words(found: &BTreeMap<String, u32>) -> String {
    let mut all: Vec<_> = found.iter().collect();
    all.sort_by_key(|(cause, n)| (std::cmp::Reverse(**n), *cause));
    let told = all.into_iter().take(6).map(|(cause, n)| format!("{} ({n})", cause.replace('_', " ")));
    told.collect::<Vec<_>>().join("; ")
}

fn causes_sheet(class: &ClassName, causes: &Causes, name: String) -> Sheet {
    let of_class = causes.0.iter().filter(|((of, _), _)| of == class);
    let row = |tag: &Tag, cause: &str, n: u32| vec![tag.to_string(), cause.to_owned(), n.to_string()];
    let rows = of_class.flat_map(|((_, tag), found)| found.iter().map(move |(cause, n)| row(tag, cause, *n)));
    Sheet { name, columns: &["device", "cause", "repairs"], rows: rows.collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_and_causes_are_told_with_their_numbers() {
        // Exact 90 % bounds of a count of 6: 2.613 and 11.842.
        assert_eq!(
            rate_in_words(6, 365),
            "6 in 365 service days, one in 61 service days: 6.0 a year of service (2.6 to 11.8)"
        );
        assert_eq!(rate_in_words(0, 365), "0 in 365 service days: 0.0 a year of service (0.0 to 3.0)");
        assert_eq!(rate_in_words(2, 0), "2; no service days known");
        let found = [("jumper", 6), ("no_fault_found", 1), ("chafed wire", 6)];
        let found = found.iter().map(|(cause, n)| ((*cause).to_owned(), *n)).collect();
        assert_eq!(in_words(&found), "chafed wire (6); jumper (6); no fault found (1)");
    }
}
