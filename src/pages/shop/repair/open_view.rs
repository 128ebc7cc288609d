//! The page on which a repair is opened: what it could answer, and what of that is in repair already.
use askama::Template;

use super::{
    super::signing::{fresh, signer},
    RepairLine, of_what,
    open::{Asked, Here, Says},
};
use crate::{
    base::Tag,
    desk::{World, body::RepairOpened},
    pages::drawn::{
        form::Field,
        rules,
        told::{EntryLine, named},
    },
    reports::store::EntryRow,
    rules::Finding,
    web::{Frame, Me, paths},
};

#[derive(Template)]
#[template(path = "shop/repair_new.html")]
pub struct View {
    frame: Frame,
    unit: String,
    unit_path: String,
    action: String,
    id: String,
    signer: String,
    problems: Vec<String>,
    /// Repairs of the same that are open, or that answered what is asked about.
    same: Vec<Same>,
    findings: Vec<Tick>,
    entries: Vec<Tick>,
    things: Vec<Pick>,
    things_says: Option<String>,
    words: Field,
    at: Field,
    password: Field,
}

struct Tick {
    value: String,
    what: String,
    sub: String,
    checked: bool,
}

struct Pick {
    value: String,
    text: String,
    chosen: bool,
}

/// A repair that somebody has to know of before another is opened.
struct Same {
    line: RepairLine,
    id: String,
    says: &'static str,
    known: bool,
}

/// The repair as it would be opened.
fn wanted(here: &Here, asked: &Asked, world: &World) -> RepairOpened {
    let wanted = RepairOpened {
        id: asked.id.unwrap_or_default(),
        unit: here.unit.clone(),
        device: None,
        at: here.now,
        findings: asked.findings.iter().cloned().collect(),
        also: here.subjects(asked, world),
        entries: asked.entries.iter().copied().collect(),
        words: None,
    };
    // Its own first place is no subject: what it is of stands in `also`.
    match wanted.also.split_first() {
        Some((first, rest)) => RepairOpened { device: first.clone(), also: rest.to_vec(), ..wanted },
        None => wanted,
    }
}

pub fn view(frame: Frame, me: &Me, world: &World, here: &Here, asked: &Asked, says: Says) -> View {
    let asks = !here.subjects(asked, world).is_empty();
    let same = here.same(&wanted(here, asked, world), asked).into_iter().filter(|_| asks);
    View {
        frame,
        unit: here.unit.to_string(),
        unit_path: paths::UnitShop(here.unit.clone()).to_string(),
        action: paths::RepairNew(here.unit.clone()).to_string(),
        id: asked.id.unwrap_or_else(fresh).to_string(),
        signer: signer(me),
        problems: says.problems,
        same: same
            .map(|(repair, says)| Same {
                line: RepairLine::of(repair, world),
                id: repair.id.to_string(),
                says,
                known: asked.known.contains(&repair.id),
            })
            .collect(),
        findings: here.findings.iter().map(|f| tick(f, here, asked, world)).collect(),
        entries: ticks(here, asked, world),
        things: things(here, asked, world),
        things_says: says.thing,
        words: Field::text("words", "What is to be done, or what the shop found", &asked.words),
        at: Field::time("at", "Begun at", &asked.at).hint("Leave it empty for now.").says(says.at),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    }
}

fn tick(finding: &Finding, here: &Here, asked: &Asked, world: &World) -> Tick {
    let ended = if finding.open_at(here.now) { "" } else { "Ended already. " };
    let of = finding.device.as_ref().map(|tag| of_what(Some(tag), &here.unit, finding.since, world));
    let device = of.map(|of| format!("{of} · ")).unwrap_or_default();
    Tick {
        value: finding.key.clone(),
        what: format!("{device}{}", rules::name(finding.rule)),
        sub: format!("{ended}{}", finding.sentence),
        checked: asked.findings.contains(&finding.key),
    }
}

/// Entries that are not only the usual; those that were asked for in any case.
fn ticks(here: &Here, asked: &Asked, world: &World) -> Vec<Tick> {
    let line = |row: &EntryRow| {
        let line = EntryLine::of(row, world);
        let checked = row.id.parse().is_ok_and(|id| asked.entries.contains(&id));
        (checked || !line.routine).then(|| Tick {
            value: row.id.clone(),
            what: line.says,
            sub: format!("{} · {}", line.at, line.by),
            checked,
        })
    };
    here.entries.iter().filter_map(line).take(60).collect()
}

fn things(here: &Here, asked: &Asked, world: &World) -> Vec<Pick> {
    let schedule = world.roster.schedule_at(&here.unit, here.now);
    // The relay itself may be a device of the schedule, too: these are what the board's lines are about.
    let own = [
        (Tag::GROUND_RELAY, "Ground relay: why it operates"),
        (Tag::ENGINE_START, "Engine start: why it fails to start"),
    ];
    let own =
        own.map(|(tag, text)| Pick { text: text.into(), chosen: asked.thing == tag, value: tag.to_owned() });
    let listed = schedule.into_iter().flat_map(|s| s.devices.iter().map(|d| d.tag.clone()));
    let device = |tag: Tag| Pick {
        text: named(&tag, schedule),
        chosen: asked.thing == tag.as_str(),
        value: tag.to_string(),
    };
    let of_ticks =
        Pick { value: String::new(), text: "what is ticked above".into(), chosen: asked.thing.is_empty() };
    let of_unit = Pick { value: "-".into(), text: "the unit itself".into(), chosen: asked.thing == "-" };
    [of_ticks, of_unit].into_iter().chain(listed.map(device)).chain(own).collect()
}
