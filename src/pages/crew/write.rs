//! Write it down: what happened, the device on the drawn panel, the form of that kind.
use askama::Template;

use super::{
    answers::{About, Says},
    entry_form::{AskView, PartView, WhenView, part_views, when_view},
    typed::Typed,
};
use crate::{
    base::{EntryId, Instant, UnitName},
    pages::drawn::{
        facts::DeviceFacts,
        form::Field,
        panel::{Drawing, draw},
        state::{Known, face_of},
    },
    reports::kinds::Kind,
    roster::{Device, DeviceKind, Schedule},
    web::{Frame, paths},
};

#[derive(Template)]
#[template(path = "crew/choose.html")]
pub struct ChoosePage {
    pub frame: Frame,
    pub unit: String,
    pub kinds: Vec<KindKey>,
    pub report: String,
    pub handover: String,
    /// Entries already in the draft.
    pub drafted: usize,
}

pub struct KindKey {
    pub href: String,
    pub glyph: &'static str,
    pub text: &'static str,
    pub small: &'static str,
}

/// In the order in which a crew needs them; all eight kinds are here.
const KINDS: [(Kind, &str, &str, &str); 8] = [
    (Kind::BreakerTrip, "breaker-tripped", "Breaker tripped", "It opened by itself"),
    (Kind::GroundRelay, "relay-tripped", "Ground relay operated", "Once or several times"),
    (Kind::Bypass, "cutout-off", "Ground-relay cutout open", "Opened, or found open"),
    (Kind::FuseCheck, "fuse-broken", "Fuse looked at", "Good, blown, wrong, replaced"),
    (Kind::EngineStart, "start", "Engine start", "Also one that failed"),
    (Kind::Shutdown, "stop", "Engine stopped", "By itself or by hand"),
    (Kind::Position, "position", "Found or moved", "A breaker or switch not where it should be"),
    (Kind::Defect, "defect", "Something else is wrong", "In your own words"),
];

/// The keys for one unit on the home page: what happens most, and where everything else is.
pub struct UnitKeys {
    pub unit: String,
    pub keys: Vec<KindKey>,
    pub write: String,
    pub handover: String,
}

impl UnitKeys {
    const MOST_WRITTEN: [Kind; 4] = [Kind::BreakerTrip, Kind::GroundRelay, Kind::Bypass, Kind::EngineStart];

    pub fn of(unit: &UnitName) -> Self {
        let often = KINDS.iter().filter(|(kind, ..)| Self::MOST_WRITTEN.contains(kind));
        Self {
            unit: unit.to_string(),
            keys: often.map(|kind| KindKey::of(unit, *kind)).collect(),
            write: paths::Write(unit.clone()).to_string(),
            handover: paths::Handover(unit.clone()).to_string(),
        }
    }
}

impl KindKey {
    fn of(
        unit: &UnitName,
        (kind, glyph, text, small): (Kind, &'static str, &'static str, &'static str),
    ) -> Self {
        let href = paths::WriteKind(unit.clone(), kind.as_str().to_owned()).to_string();
        Self { href, glyph, text, small }
    }
}

impl ChoosePage {
    pub fn kinds_of(unit: &UnitName) -> Vec<KindKey> {
        KINDS.map(|kind| KindKey::of(unit, kind)).into()
    }

    pub fn of(frame: Frame, unit: &UnitName, drafted: usize) -> Self {
        Self {
            frame,
            unit: unit.to_string(),
            kinds: Self::kinds_of(unit),
            report: paths::Report(unit.clone()).to_string(),
            handover: paths::Handover(unit.clone()).to_string(),
            drafted,
        }
    }
}

#[derive(Template)]
#[template(path = "crew/pick.html")]
pub struct PickPage {
    pub frame: Frame,
    pub unit: String,
    pub title: &'static str,
    pub question: &'static str,
    pub cautions: Vec<&'static str>,
    /// Nothing for a unit that is not on the roster.
    pub drawing: Option<Drawing>,
    pub not_listed: String,
    pub back: String,
}

impl PickPage {
    pub fn of(
        frame: Frame,
        unit: &UnitName,
        kind: Kind,
        schedule: Option<&Schedule>,
        now: Instant,
        known: impl Fn(&Device) -> Option<Known>,
    ) -> Self {
        let form = paths::WriteKind(unit.clone(), kind.as_str().to_owned());
        let link = |device: &Device| {
            can_be_about(kind, device).then(|| form.with(&[("device", device.tag.as_str())]))
        };
        Self {
            frame,
            unit: unit.to_string(),
            title: title(kind),
            question: "Tap it on the panel.",
            cautions: vec![
                "Before the cabinet: train stopped and secured, dispatcher told. Local instructions decide.",
            ],
            drawing: schedule.map(|schedule| draw(schedule, now, known, link)),
            not_listed: form.with(&[("device", "?")]),
            back: paths::Write(unit.clone()).to_string(),
        }
    }
}

/// Which devices a kind of entry can be about.
pub fn can_be_about(kind: Kind, device: &Device) -> bool {
    match kind {
        Kind::BreakerTrip => device.kind == DeviceKind::Breaker,
        Kind::FuseCheck => device.kind == DeviceKind::Fuse,
        Kind::GroundRelay => device.kind == DeviceKind::Relay,
        Kind::Bypass => device.ground_protection,
        Kind::Position => true,
        Kind::EngineStart | Kind::Shutdown | Kind::Defect => false,
    }
}

/// Whether it begins with the panel: the crew taps the device, and sees how it was last written down before
/// saying anything new. A ground-relay operation needs none where no relay is drawn.
pub fn begins_at_the_panel(kind: Kind, schedule: Option<&Schedule>) -> bool {
    let drawn = || schedule.is_some_and(|s| s.devices.iter().any(|d| can_be_about(kind, d)));
    match kind {
        Kind::BreakerTrip | Kind::FuseCheck | Kind::Bypass | Kind::Position => true,
        Kind::GroundRelay => drawn(),
        Kind::EngineStart | Kind::Shutdown | Kind::Defect => false,
    }
}

pub fn title(kind: Kind) -> &'static str {
    KINDS.iter().find(|(k, ..)| *k == kind).map_or("Entry", |(_, _, text, _)| text)
}

fn glyph(kind: Kind) -> &'static str {
    KINDS.iter().find(|(k, ..)| *k == kind).map_or("defect", |(_, glyph, ..)| glyph)
}

#[derive(Template)]
#[template(path = "crew/entry.html")]
pub struct EntryPage {
    pub frame: Frame,
    pub unit: String,
    pub title: String,
    pub action: String,
    pub hidden: Vec<(&'static str, String)>,
    pub glyph: &'static str,
    pub device: Option<DeviceFacts>,
    /// Before something is closed again, what the schedule says of it stands in the open.
    pub facts_open: bool,
    pub not_listed: Option<Field>,
    pub when: WhenView,
    /// When it happened decides what else is asked; otherwise 'now' stands there already, and comes after the questions
    /// that have to be answered.
    pub when_first: bool,
    pub parts: Vec<PartView>,
    /// Circumstances and a note, after the time.
    pub rest: Vec<PartView>,
    /// Field and label of each problem below.
    pub summary: Vec<(String, String)>,
    /// Sentences that belong to no field.
    pub problems: Vec<String>,
    /// Asked once: unusual, but it may be so.
    pub asked: Vec<String>,
    /// Not for an entry that is being changed: it is sent from the report.
    pub offers_send: bool,
    pub back: String,
}

/// What one form is about, whatever was typed in it so far.
pub struct Asked<'a> {
    pub unit: &'a UnitName,
    pub kind: Kind,
    pub about: &'a About,
    pub device: Option<&'a Device>,
    pub entry: EntryId,
    /// Of the draft, for an entry that lies in it.
    pub version: Option<i64>,
    /// Where the form goes.
    pub action: String,
    pub back: String,
    /// Whether it may be closed again, in lines; nothing where that is no question.
    pub reset: Vec<String>,
}

impl EntryPage {
    pub fn of(frame: Frame, asked: &Asked<'_>, typed: &Typed, says: &Says, again: &[String]) -> Self {
        let Asked { unit, kind, about, device, .. } = *asked;
        let legend = says.get("device.not_listed").cloned();
        let mut parts = part_views(kind, device, typed, says, &asked.reset);
        let rest = parts.split_off(parts.len().saturating_sub(2));
        Self {
            frame,
            unit: unit.to_string(),
            title: title(kind).to_owned(),
            action: asked.action.clone(),
            hidden: [("entry", asked.entry.to_string()), ("device", about.as_str().to_owned())]
                .into_iter()
                .chain(asked.version.map(|version| ("version", version.to_string())))
                .collect(),
            glyph: device.map_or(glyph(kind), |d| face_of(d, None).glyph),
            device: device.map(DeviceFacts::of),
            facts_open: kind == Kind::FuseCheck,
            not_listed: (*about == About::NotListed).then(|| {
                let typed = typed.raw("device.not_listed");
                Field::text("device.not_listed", "The words on its plate", typed).says(legend)
            }),
            when: when_view(kind, typed, says),
            when_first: matches!(kind, Kind::Bypass | Kind::Position),
            parts,
            rest,
            summary: summary(kind, device, says),
            problems: says.get("").cloned().into_iter().collect(),
            asked: again.to_vec(),
            offers_send: sends_at_once(kind),
            back: asked.back.clone(),
        }
    }
}

/// Each field with a problem, and its label: what stands on top leads down to it.
fn summary(kind: Kind, device: Option<&Device>, says: &Says) -> Vec<(String, String)> {
    let parts = super::asking::parts(kind, device);
    let label = |name: &str| match name {
        "when" => "When?",
        "device.not_listed" => "The words on its plate",
        _ => parts
            .iter()
            .flat_map(|part| part.questions)
            .find(|q| q.name == name)
            .map_or("Answer", |q| q.label),
    };
    let wrong = says.keys().filter(|name| !name.is_empty());
    wrong.map(|name| (name.clone(), label(name).to_owned())).collect()
}

/// 'Send this now': what others must know before the run ends.
pub fn sends_at_once(kind: Kind) -> bool {
    matches!(kind, Kind::GroundRelay | Kind::Bypass | Kind::Shutdown)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pages::drawn::sample;

    #[test]
    fn sample_of_choosing() {
        sample::write("choose", |frame| {
            let html = ChoosePage::of(frame, &"QHB 412".into(), 2).render().unwrap();
            for kind in Kind::ALL {
                assert!(html.contains(&format!("/units/QHB-412/write/{kind}\"")), "{kind} can be reached");
            }
            html
        });
    }

    #[test]
    fn sample_of_picking() {
        sample::write("pick", |frame| {
            let schedule = sample::schedule();
            let unit = "QHB 412".into();
            let page =
                PickPage::of(frame, &unit, Kind::BreakerTrip, Some(&schedule), sample::now(), sample::known);
            let html = page.render().unwrap();
            assert!(html.contains("/units/QHB-412/write/breaker_trip?device=TC2"));
            assert!(!html.contains("device=GRC"), "a switch does not trip");
            html
        });
    }

    fn form(frame: Frame, kind: Kind, tag: &str, typed: &Typed, says: &Says, again: &[String]) -> String {
        let schedule = sample::schedule();
        let asked = Asked {
            unit: &"QHB 412".into(),
            kind,
            about: &About::parse(tag),
            device: schedule.device(&tag.into()),
            entry: "0198f3a2-6c1e-7d3a-9b1f-2f0c5a9e7b11".parse().unwrap(),
            version: None,
            action: "/there".into(),
            back: "/back".into(),
            reset: match kind {
                Kind::BreakerTrip => vec![
                    "Do not reset: reset twice since yesterday 14:10, once by the crew before you.".into(),
                    "If it is left off: pull at reduced load, tell the dispatcher".into(),
                    crate::rules::reset_answer::DEFERS.into(),
                ],
                _ => vec![],
            },
        };
        EntryPage::of(frame, &asked, typed, says, again).render().unwrap()
    }

    /// Every question of every kind is on its form under its name, and what was typed comes back in it.
    #[test]
    fn every_form_has_every_question() {
        for (kind, tag) in [
            (Kind::BreakerTrip, "TC2"),
            (Kind::GroundRelay, ""),
            (Kind::Bypass, "GRC"),
            (Kind::FuseCheck, "SF"),
            (Kind::EngineStart, ""),
            (Kind::Shutdown, ""),
            (Kind::Defect, ""),
            (Kind::Position, "BKS"),
            (Kind::Position, "?"),
        ] {
            let typed = Typed::default().with("note", "kept <this>").with("when", "5");
            let html =
                form(sample::frame(crate::web::frame::Palette::Auto), kind, tag, &typed, &Says::new(), &[]);
            let schedule = sample::schedule();
            for q in super::super::asking::parts(kind, schedule.device(&tag.into()))
                .iter()
                .flat_map(|p| p.questions)
            {
                assert!(html.contains(&format!("name=\"{}\"", q.name)), "{kind}: {}", q.name);
            }
            assert!(html.contains("kept &#60;this&#62;") && html.contains("value=\"5\" checked"), "{kind}");
            assert!(
                html.contains("Only when stopped") && !html.contains("style=") && !html.contains("<script>")
            );
            assert_eq!(html.contains("send this now"), sends_at_once(kind), "{kind}");
        }
    }

    #[test]
    fn sample_of_a_trip() {
        let typed = Typed::default().with("resets[0].result", "held").with("speed_mph", "fast");
        let mut says = Says::new();
        says.insert("left".into(), "Say how it was left: on, off, tripped or cut out.".into());
        says.insert("speed_mph".into(), "Write a figure, like 64.5, or leave it empty.".into());
        let again = ["It was written down by somebody else 4 minutes earlier. The same one?".to_owned()];
        sample::write("trip", |frame| form(frame, Kind::BreakerTrip, "TC2", &typed, &says, &again));
        sample::write("trip-new", |frame| {
            form(frame, Kind::BreakerTrip, "TC2", &Typed::default(), &Says::new(), &[])
        });
        let typed = Typed::default().with("closed", "yes").with("by", "other");
        sample::write("bypass", |frame| form(frame, Kind::Bypass, "GRC", &typed, &Says::new(), &[]));
    }
}
