//! The register: a line for every opening of a ground-relay cutout. Open and unauthorised ones come first.
use std::collections::BTreeSet;

use askama::Template;
use axum::{extract::State, http::StatusCode};
use serde::Deserialize;

use super::{known, register_sheet, words};
use crate::{
    base::{Instant, SignIn, Zone, text},
    desk::World,
    oversight::{self, Line, Standing},
    pages::drawn::{
        form::Field,
        pager::{Pager, page_of},
        rules,
        told::said,
    },
    people::person,
    rules::{
        Bypass, Finding, Rule,
        fact::Hand,
        register::Authorised,
        store::{self, Wanted},
    },
    web::{Answer, App, Asked, Frame, naming, page, paths, sheet::Format},
};

#[derive(Template)]
#[template(path = "supervisor/bypasses.html")]
struct View {
    frame: Frame,
    unit: Field,
    person: Field,
    month: Field,
    shops: Vec<Pick>,
    shop_says: Option<String>,
    narrowed: bool,
    /// Something was asked for that is not known: the counts are of the whole register, and nothing is listed.
    wrong: bool,
    open: String,
    to_review: String,
    rows: Vec<Row>,
    pager: Pager,
    csv: String,
    xlsx: String,
    safety: Vec<Other>,
    others: Vec<Other>,
    /// Authorisations that end within 60 days, each with what to do.
    expiring: Vec<String>,
}

struct Pick {
    value: String,
    chosen: bool,
}

pub(super) struct Row {
    pub path: String,
    /// What part the person had whose page this is on.
    pub part: Option<String>,
    pub loud: bool,
    pub begins: String,
    pub unit: String,
    pub device: String,
    pub opened_by: String,
    pub found_by: String,
    pub authorised: &'static str,
    pub unauthorised: bool,
    pub why: String,
    pub purpose: String,
    pub lasted: String,
    pub open: bool,
    pub closed_at: String,
    pub closed_by: String,
    pub standing: &'static str,
    pub reviewed_by: String,
    pub findings: Vec<&'static str>,
}

/// A finding that is not about one opening: a safety device cut out, a relay heard while its cutout was open.
struct Other {
    path: String,
    unit: String,
    name: &'static str,
    sentence: String,
    since: String,
}

#[derive(Deserialize, Default)]
pub struct RegisterForm {
    #[serde(default)]
    unit: String,
    #[serde(default)]
    person: String,
    #[serde(default)]
    shop: String,
    #[serde(default)]
    month: String,
    #[serde(default)]
    page: String,
    #[serde(default)]
    format: String,
}

/// What was asked for, read; and the sentences beside the fields that could not be.
#[derive(Default)]
struct Filter {
    unit: naming::NamedUnit,
    person: Option<SignIn>,
    shop: Option<String>,
    /// `2026-03`.
    month: Option<String>,
    shop_says: Option<String>,
    person_says: Option<String>,
    month_says: Option<String>,
}

impl Filter {
    fn read(form: &RegisterForm, register: &[Line], world: &World) -> Self {
        let mut filter = Self { unit: naming::unit(&form.unit, world), ..Self::default() };
        if let Some(typed) = stated(&form.shop) {
            let known = world.roster.units.values().any(|card| card.home_shop.as_ref() == Some(&typed));
            filter.shop_says = (!known).then(|| "No unit has that home shop. Choose one of the list.".into());
            filter.shop = Some(typed);
        }
        if let Some(typed) = stated(&form.person) {
            filter.person = person::sign_in(&typed);
            filter.person_says = match &filter.person {
                None => Some("Give a sign-in name, as in n.okafor.".into()),
                Some(who) if is_known(who, register, world) => None,
                Some(who) => Some(format!("Nobody in this book has the sign-in name {who}.")),
            };
        }
        if let Some(typed) = stated(&form.month) {
            filter.month =
                crate::base::Day::parse(&format!("{typed}-01")).map(|day| day.to_string()[..7].to_owned());
            filter.month_says =
                filter.month.is_none().then(|| "Give a year and a month, as in 2026-03.".into());
        }
        filter
    }

    fn is_wrong(&self) -> bool {
        let no_unit = self.unit.unit.is_none() && self.unit.says.is_some();
        no_unit || self.person_says.is_some() || self.month_says.is_some() || self.shop_says.is_some()
    }

    fn takes(&self, bypass: &Bypass, world: &World) -> bool {
        let home = || world.roster.unit(&bypass.unit).and_then(|card| card.home_shop.clone());
        let month = || world.railway.zone.day_of(bypass.begins()).to_string();
        self.unit.unit.as_ref().is_none_or(|unit| *unit == bypass.unit)
            && self.person.as_ref().is_none_or(|person| had_a_part(bypass, person))
            && self.shop.as_ref().is_none_or(|shop| home().as_ref() == Some(shop))
            && self.month.as_ref().is_none_or(|m| month().starts_with(m.as_str()))
    }
}

fn is_known(who: &SignIn, register: &[Line], world: &World) -> bool {
    world.people.person(who).is_some() || register.iter().any(|line| had_a_part(&line.bypass, who))
}

fn stated(typed: &str) -> Option<String> {
    text::tidy(typed)
}

pub(super) fn had_a_part(bypass: &Bypass, person: &SignIn) -> bool {
    let is = |hand: &Hand| matches!(hand, Hand::Person(who) if who == person);
    is(&bypass.opened_by)
        || bypass.found_by.as_ref() == Some(person)
        || bypass.closed_by.as_ref().is_some_and(is)
        || bypass.authorised_by.as_ref().is_some_and(is)
        || bypass.hands.contains(person)
}

pub async fn show(State(app): State<App>, frame: Frame, Asked(form): Asked<RegisterForm>) -> Answer {
    let (world, now) = (app.world(), app.now());
    let mut db = app.desk().read().await?;
    let register = oversight::store::register(&mut db, now).await?;
    let asked = Filter::read(&form, &register, &world);
    let format = Format::asked(&form.format)?;
    if let Some(format) = format.filter(|_| !asked.is_wrong()) {
        let lines: Vec<Line> =
            register.into_iter().filter(|line| asked.takes(&line.bypass, &world)).collect();
        return register_sheet::sheet("bypasses", &lines, &world, now).answer(format);
    }
    let mut view = View::empty(frame, &form, &asked, &world);
    let wrong = view.wrong;
    let filter = if wrong { Filter::default() } else { asked };
    let unit = filter.unit.unit.as_ref();
    let about = Wanted { unit, rules: Some(&Rule::GROUND_PROTECTION), ..Wanted::default() };
    let mut findings = store::open_at(&mut db, &about, now).await?;
    let safety = Wanted { unit, rule: Some(Rule::SafetyDevice), ..Wanted::default() };
    let safety = store::open_at(&mut db, &safety, now).await?;
    drop(db);
    let mut joined = oversight::joined(&world.ground(), &register, now);
    joined.retain(|finding| finding.open_at(now));
    let (mut expiring, joined): (Vec<Finding>, _) =
        joined.into_iter().partition(|f| f.rule == Rule::Expiring);
    findings.extend(joined);
    // The one that ends first stands first.
    expiring.sort_by(|a, b| (a.until, &a.key).cmp(&(b.until, &b.key)));
    if !view.narrowed {
        view.expiring = expiring.into_iter().map(|finding| finding.sentence).collect();
    }
    view.put(register, &findings, &filter, &form, &world, now);
    view.safety = safety.iter().map(|finding| other(finding, &world)).collect();
    if wrong {
        view.list_nothing();
    }
    page(if wrong { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK }, &view)
}

impl View {
    fn empty(frame: Frame, form: &RegisterForm, filter: &Filter, world: &World) -> Self {
        let shops: BTreeSet<_> =
            world.roster.units.values().filter_map(|card| card.home_shop.clone()).collect();
        let field = |name, label, value: &str, says: &Option<String>| Field {
            input: "search",
            ..Field::text(name, label, value).says(says.clone())
        };
        Self {
            frame,
            unit: field("unit", "Unit", &form.unit, &filter.unit.says),
            person: field("person", "Person", &form.person, &filter.person_says),
            month: field("month", "Month", &form.month, &filter.month_says),
            shops: shops.into_iter().map(|shop| Pick { chosen: shop == form.shop, value: shop }).collect(),
            shop_says: filter.shop_says.clone(),
            wrong: filter.is_wrong(),
            narrowed: [&form.unit, &form.person, &form.month, &form.shop]
                .iter()
                .any(|typed| !typed.is_empty()),
            open: "0".into(),
            to_review: "0".into(),
            rows: Vec::new(),
            pager: Pager::default(),
            csv: String::new(),
            xlsx: String::new(),
            safety: Vec::new(),
            others: Vec::new(),
            expiring: Vec::new(),
        }
    }

    /// A list of everything would pass for what was asked for.
    fn list_nothing(&mut self) {
        (self.rows, self.safety, self.others) = (Vec::new(), Vec::new(), Vec::new());
        self.pager = Pager::default();
    }

    fn put(
        &mut self,
        register: Vec<Line>,
        findings: &[Finding],
        filter: &Filter,
        form: &RegisterForm,
        world: &World,
        now: Instant,
    ) {
        let mut lines: Vec<Line> =
            register.into_iter().filter(|line| filter.takes(&line.bypass, world)).collect();
        let standing = |line: &Line| line.standing(now);
        self.open = lines.iter().filter(|line| standing(line) == Standing::Open).count().to_string();
        self.to_review = lines.iter().filter(|line| line.review().is_none()).count().to_string();
        // A stable sort: within each group the latest stays first.
        lines.sort_by_key(|line| {
            (standing(line) != Standing::Open, line.bypass.authorised != Authorised::Neither)
        });
        let told: BTreeSet<_> = lines.iter().flat_map(|line| line.bypass.entries.iter()).collect();
        let apart = findings.iter().filter(|f| !f.entries.iter().any(|entry| told.contains(entry)));
        self.others = if self.narrowed { Vec::new() } else { apart.map(|f| other(f, world)).collect() };
        let link = |name: &str, value: &str| {
            let stated = [
                ("unit", form.unit.as_str()),
                ("person", &form.person),
                ("shop", &form.shop),
                ("month", &form.month),
            ];
            paths::Bypasses.with(&[&stated[..], &[(name, value)]].concat())
        };
        (self.csv, self.xlsx) = (link("format", "csv"), link("format", "xlsx"));
        let (lines, pager) = Pager::cut(lines, page_of(&form.page), |n| link("page", &n.to_string()));
        self.rows = lines.iter().map(|line| row(line, findings, world, now)).collect();
        self.pager = pager;
    }
}

fn is_authorised(line: &Line) -> bool {
    matches!(line.bypass.authorised, Authorised::OwnRight | Authorised::Ordered)
}

pub(super) fn row(line: &Line, findings: &[Finding], world: &World, now: Instant) -> Row {
    let (bypass, zone) = (&line.bypass, &world.railway.zone);
    let standing = line.standing(now);
    let open = standing == Standing::Open;
    let begins = zone.in_words(bypass.begins());
    Row {
        path: paths::Bypass(bypass.id).to_string(),
        part: None,
        loud: line.review().is_none() && (open || !is_authorised(line)),
        begins: if bypass.opened_at.is_some() { begins } else { format!("found open {begins}") },
        unit: bypass.unit.to_string(),
        device: bypass.device.to_string(),
        opened_by: words::hand(&bypass.opened_by),
        found_by: bypass.found_by.as_ref().map(ToString::to_string).unwrap_or_default(),
        authorised: words::authorised(bypass.authorised),
        unauthorised: bypass.authorised == Authorised::Neither,
        why: bypass.authorised_why.clone(),
        purpose: bypass.purpose.as_deref().map_or_else(|| "not stated".into(), said),
        lasted: known::lasted_short(bypass, now),
        open,
        closed_at: closed_at(bypass, zone),
        closed_by: bypass.closed_by.as_ref().map(words::hand).unwrap_or_default(),
        standing: words::standing(standing),
        reviewed_by: line
            .review()
            .map(|r| format!("{}: {}", r.by, words::judgement(&r.judgement)))
            .unwrap_or_default(),
        findings: findings
            .iter()
            .filter(|f| f.rule != Rule::NotAuthorised && about(f, bypass))
            .map(|f| rules::name(f.rule))
            .collect(),
    }
}

/// When it was closed; where that is not known, when it was seen closed.
fn closed_at(bypass: &Bypass, zone: &Zone) -> String {
    let seen = if bypass.seen_closed { "seen closed " } else { "" };
    bypass.closed_at.map(|at| format!("{seen}{}", zone.in_words(at))).unwrap_or_default()
}

/// A finding is about an opening when they rest on an entry in common.
pub(super) fn about(finding: &Finding, bypass: &Bypass) -> bool {
    finding.entries.iter().any(|entry| bypass.entries.contains(entry))
}

fn other(finding: &Finding, world: &World) -> Other {
    Other {
        path: paths::Finding(finding.key.clone()).to_string(),
        unit: finding.unit.as_ref().map(ToString::to_string).unwrap_or_default(),
        name: rules::name(finding.rule),
        sentence: finding.sentence.clone(),
        since: world.railway.zone.in_words(finding.since),
    }
}
