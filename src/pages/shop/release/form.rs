//! The form of a release: into what, what was checked, and what stands against it.
use askama::Template;
use serde::Deserialize;

use super::{
    super::{
        hold::held_says,
        repair::RepairLine,
        signing::{another_signer, moment, signer},
    },
    read::Here,
};
use crate::{
    base::{Instant, UnitName, Zone, text},
    desk::{
        World,
        body::{Release, ReleaseHow},
    },
    pages::drawn::{
        form::{Choice, Field},
        told::EntryLine,
    },
    reports::kinds,
    shop::against::{Against, Kind},
    web::{Frame, Me, paths},
};

#[derive(Template)]
#[template(path = "shop/release.html")]
pub struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    action: String,
    signer: String,
    seen: u64,
    held: Option<String>,
    restricted: Option<String>,
    problems: Vec<String>,
    /// What came since the page was shown.
    came: Vec<EntryLine>,
    against: Vec<Obstacle>,
    left_off: Vec<String>,
    repairs: Vec<RepairLine>,
    how: Choice,
    restrictions: Field,
    checked: Field,
    words: Field,
    at: Field,
    password: Field,
}

/// One thing against it, and where to put it right.
struct Obstacle {
    says: String,
    what_to_do: &'static str,
    path: String,
    link: &'static str,
    may_go_dead: bool,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Form {
    how: String,
    restrictions: String,
    checked: String,
    words: String,
    at: String,
    pub password: String,
    signer: String,
    seen: String,
}

#[derive(Default)]
pub struct Says {
    problems: Vec<String>,
    how: Option<String>,
    restrictions: Option<String>,
    checked: Option<String>,
    at: Option<String>,
    password: Option<String>,
}

impl Says {
    pub fn on_top(says: String) -> Self {
        Self { problems: vec![says], ..Self::default() }
    }

    pub fn of_password(says: String) -> Self {
        Self { password: Some(says), ..Self::default() }
    }

    fn nothing(&self) -> bool {
        let beside = [&self.how, &self.restrictions, &self.checked, &self.at];
        self.problems.is_empty() && beside.iter().all(|says| says.is_none())
    }
}

const HOW: &[(&str, &str)] = &[
    ("into_service", "Into service"),
    ("restricted", "Into service, restricted"),
    ("dead_for_repair", "Dead for repair: it stays held"),
];

impl Form {
    pub fn seen(&self) -> u64 {
        self.seen.parse().unwrap_or(0)
    }

    pub fn check(&self, here: &Here, me: &Me, zone: &Zone, now: Instant) -> Result<Release, Box<Says>> {
        let mut says =
            Says { problems: another_signer(&self.signer, me).into_iter().collect(), ..Says::default() };
        let how = ReleaseHow::parse(&self.how);
        if self.seen() == 0 {
            says.problems.push("This form was not complete. Look again, then sign.".to_owned());
        }
        match how {
            None => says.how = Some("Choose one of the three.".to_owned()),
            Some(ReleaseHow::DeadForRepair) if here.standing.held_since.is_none() => {
                says.how =
                    Some("Dead for repair it stays held, and nobody holds it: hold it first.".to_owned());
            }
            Some(how) => says.problems.extend(refused(how, here)),
        }
        let restrictions = text::tidy(&self.restrictions);
        says.restrictions = mismatched(how, restrictions.is_some()).map(str::to_owned);
        let checked = text::tidy(&self.checked);
        if checked.is_none() {
            says.checked = Some("Name what you checked: the signature stands for it.".to_owned());
        }
        let first = here.standing.held_since.map(|since| ("It was held", since));
        let at = moment(&self.at, zone, now, first).map_err(|why| says.at = Some(why)).unwrap_or(now);
        if !says.nothing() {
            return Err(Box::new(says));
        }
        let (unit, words) = (here.unit.clone(), text::tidy(&self.words));
        Ok(Release { unit, at, words, how, restrictions, checked })
    }
}

/// Why restrictions do not go with how it is released, or none do not.
fn mismatched(how: Option<ReleaseHow>, restrictions: bool) -> Option<&'static str> {
    match (how?, restrictions) {
        (ReleaseHow::Restricted, false) => Some("Say what the crew must keep to."),
        (ReleaseHow::IntoService, true) => {
            Some("Restrictions are written here: release it restricted, or take them out.")
        }
        _ => None,
    }
}

/// Why it is not released so; nothing if nothing stands against it.
fn refused(how: ReleaseHow, here: &Here) -> Option<String> {
    let dead = how == ReleaseHow::DeadForRepair;
    let mut against = here.found.against.iter().filter(|a| !dead || !a.kind.may_go_dead());
    let first = against.next()?;
    let more = match against.count() {
        0 => String::new(),
        1 => " One more thing is below.".to_owned(),
        n => format!(" {n} more things are below."),
    };
    Some(format!("It was not released. {} {}{more}", first.says, first.what_to_do))
}

pub fn view(frame: Frame, me: &Me, world: &World, here: &Here, typed: &Form, says: Says) -> View {
    let zone = &world.railway.zone;
    let restricted = here.standing.released.as_ref().and_then(|row| {
        let restricts = row.restricts()?;
        Some(format!("{restricts} (since {}, by {})", zone.in_words(Instant(row.at)), row.by))
    });
    let came = here.written.iter().filter(|(page, _)| typed.seen() > 0 && *page >= typed.seen());
    View {
        frame,
        unit: here.unit.to_string(),
        unit_path: paths::UnitShop(here.unit.clone()).to_string(),
        action: paths::Release(here.unit.clone()).to_string(),
        signer: signer(me),
        seen: here.size,
        held: held_says(&here.standing, zone),
        restricted,
        problems: says.problems,
        came: came.map(|(_, line)| line.clone()).collect(),
        against: here.found.against.iter().map(|a| obstacle(a, &here.unit)).collect(),
        left_off: here.found.left_off.iter().map(|left| left.says.clone()).collect(),
        repairs: here.repairs.iter().map(|repair| RepairLine::of(repair, world)).collect(),
        how: Choice::of("how", "Released", &typed.how, HOW).says(says.how),
        restrictions: Field::text("restrictions", "Restrictions", &typed.restrictions)
            .hint("What the crew must keep to: it stands on the handover until the unit is released without.")
            .says(says.restrictions),
        checked: Field::text("checked", "What you checked", &typed.checked)
            .hint("Breakers, seals, notices, tests under load: what your signature stands for.")
            .says(says.checked),
        words: Field::text("words", "Anything else", &typed.words),
        at: Field::time("at", "Released at", &typed.at).hint("Leave it empty for now.").says(says.at),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    }
}

fn obstacle(a: &Against, unit: &UnitName) -> Obstacle {
    let write = |kind: kinds::Kind| {
        let device = a.device.as_ref().map_or("", |tag| tag.as_str());
        paths::WriteKind(unit.clone(), kind.as_str().to_owned()).with(&[("device", device)])
    };
    let entry = a.entry.map(|id| id.to_string()).unwrap_or_default();
    let (path, link) = match a.kind {
        Kind::NoticeAttached => {
            (paths::RepairNew(unit.clone()).with(&[("entry", &entry)]), "Open a repair of this entry")
        }
        _ => (write(kinds::Kind::Position), "Write down how it stands now"),
    };
    Obstacle { says: a.says.clone(), what_to_do: a.what_to_do, path, link, may_go_dead: a.kind.may_go_dead() }
}
