//! Sample pages for looking at: `cargo test --lib sample` writes them to target/look/.
use askama::Template;

use super::{
    form::{Choice, Field},
    panel::{Drawing, draw},
    state::{Known, State},
};
use crate::{
    base::{Instant, instant::HOUR},
    roster::{
        Device, DeviceKind, Panel, Place, Schedule,
        schedule::{CrewResets, Restriction, StartLimits},
    },
    web::frame::{Frame, Link, Palette, SignedIn},
};

/// A frame as a signed-in conductor would see it.
pub fn frame(palette: Palette) -> Frame {
    let link = |href: &str, text: &str, here| Link { href: href.into(), text: text.into(), here };
    Frame {
        palette,
        who: Some(SignedIn { name: "Nkem Okafor".into(), sign_in: "n.okafor".into(), codes: false }),
        nav: vec![link("/", "Units", true), link("/reports", "My reports", false)],
        notices: vec![],
        railway: "Quarry & Harbor".into(),
        own_password: "/password",
        sign_out: "/sign-out",
        palette_action: "/palette",
        back: "/".into(),
        css: "../../static/book.css".into(),
        print_css: "../../static/print.css".into(),
        js: "../../static/book.js".into(),
        icon: "../../static/icon.svg".into(),
        online_js: "../../static/online.js".into(),
        manifest: "/manifest.webmanifest",
    }
}

/// Writes one page once in each palette, for a browser to take pictures of.
pub fn write(name: &str, page: impl Fn(Frame) -> String) {
    let dir = concat!(env!("CARGO_MANIFEST_DIR"), "/target/look");
    std::fs::create_dir_all(dir).unwrap();
    for palette in [Palette::Day, Palette::Night] {
        std::fs::write(format!("{dir}/{name}-{palette}.html"), page(frame(palette))).unwrap();
    }
}

#[derive(Template)]
#[template(
    source = r#"{% extends "layout.html" %}{% import "parts/fields.html" as form %}{% block title %}Sampler{% endblock %}
{% block main %}{% include "parts/law.html" %}<h1>Sampler</h1>{% call form::text(field) %}{% endcall %}
{% call form::choice(choice) %}{% endcall %}<button class="button first">Write it down</button>{% endblock %}"#,
    ext = "html"
)]
struct Sampler {
    frame: Frame,
    field: Field,
    choice: Choice,
}

#[test]
fn sample_of_the_form_parts() {
    write("sampler", |frame| {
        let field = Field::text("place", "Place", "MP 4<1").says(Some("No such place.".into()));
        let choice = Choice::of("left", "How is it left?", "off", &[("on", "On"), ("off", "Off")]).few();
        let html = Sampler { frame, field, choice }.render().unwrap();
        assert!(html.contains("MP 4&#60;1") && html.contains("No such place."), "{html}");
        html
    });
}

/// A device with nothing stated but what a drawing needs.
pub fn device(tag: &str, legend: &str, kind: DeviceKind, place: Place, amps: f64) -> Device {
    Device {
        tag: tag.into(),
        legend: legend.into(),
        kind,
        place,
        rating_a: (amps > 0.0).then_some(amps),
        rating_v: (kind == DeviceKind::Fuse).then_some(250.0),
        speed: None,
        body: None,
        feed: None,
        start_group: false,
        normal_lead: None,
        normal_trail: None,
        normal_dead: None,
        normal_shut_down: None,
        keep_on_running: false,
        keep_on_after_shutdown_min: None,
        crew_resets: CrewResets::default(),
        overload_by_design: false,
        before_closing: None,
        after_closing: None,
        if_left_off: None,
        off_effect: None,
        restricts_off: vec![],
        ground_protection: false,
        safety_device: false,
        severity: None,
    }
}

/// Two panels and two devices outside, as a class of our own invention has them.
pub fn schedule() -> Schedule {
    use DeviceKind::{Breaker, Fuse, Relay, Switch};
    let on = |panel: &str, row, column| Place::OnPanel { panel: panel.into(), row, column };
    let mut devices = vec![
        device("CTL", "Control and fuel pump", Breaker, on("A", 1, 1), 40.0),
        device("ECC", "Engine control computer", Breaker, on("A", 1, 2), 25.0),
        device("TLP", "Turbocharger lube pump", Breaker, on("A", 1, 3), 30.0),
        device("AUX", "Auxiliary generator", Breaker, on("A", 1, 4), 150.0),
        device("DSP", "Cab displays", Breaker, on("A", 1, 6), 15.0),
        device("BRC", "Brake computer supply", Breaker, on("A", 2, 1), 20.0),
        device("BRH", "Brake computer holding supply", Breaker, on("A", 2, 2), 10.0),
        device("CAB", "Cab signal", Breaker, on("A", 2, 3), 15.0),
        device("HLT", "Headlights", Breaker, on("A", 2, 4), 30.0),
        device("FLG", "Wheel flange lubrication", Breaker, on("A", 2, 5), 10.0),
        device("PKB", "Parking brake supply", Breaker, on("A", 2, 6), 30.0),
        device("TC1", "Traction controller 1", Breaker, on("B", 1, 1), 30.0),
        device("TC2", "Traction controller 2", Breaker, on("B", 1, 2), 30.0),
        device("TC3", "Traction controller 3", Breaker, on("B", 1, 3), 30.0),
        device("DYN", "Dynamic brake", Breaker, on("B", 1, 4), 60.0),
        device("GR", "Ground relay", Relay, on("B", 2, 1), 0.0),
        device("GRC", "Ground relay cutout", Switch, on("B", 2, 2), 0.0),
        device("CF1", "Cooling fan 1", Breaker, on("B", 2, 3), 60.0),
        device("CF2", "Cooling fan 2", Breaker, on("B", 2, 4), 60.0),
        device("SF", "Start fuse", Fuse, Place::Outside { at: "fuse box, left of the engine".into() }, 400.0),
        device("BKS", "Battery knife switch", Switch, Place::Outside { at: "below panel A".into() }, 0.0),
    ];
    for d in &mut devices {
        d.ground_protection = d.tag.as_str() == "GRC";
        if d.tag.as_str() == "TC2" {
            d.off_effect = Some("Loses the axles of truck 1, about a third of the tractive effort".into());
            d.restricts_off = vec![Restriction::ReducedLoad];
            d.crew_resets = CrewResets { times: Some(1), hours: Some(24.0), wait_s: Some(120) };
            d.before_closing = Some("Throttle idle, generator field off".into());
            d.after_closing = Some("Field on, watch the load meter through notch 2".into());
            d.feed = Some("AUX".into());
        }
    }
    let panel = |name: &str, title: &str, at: &str, columns| Panel {
        name: name.into(),
        title: title.into(),
        at: at.into(),
        rows: 2,
        columns,
    };
    Schedule {
        class: "M6".into(),
        effective: Instant(0),
        start: StartLimits::default(),
        panels: vec![
            panel("A", "Circuit breaker panel", "cab, behind the engineer", 6),
            panel("B", "Power panel", "electrical cabinet, left door", 4),
        ],
        devices,
        checks: Vec::new(),
    }
}

pub fn now() -> Instant {
    Instant::parse("2026-03-03T11:14:00Z").unwrap()
}

/// Some devices off, tripped, blown, open; others seen right; most with nothing written.
pub fn known(device: &Device) -> Option<Known> {
    let (state, hours) = match device.tag.as_str() {
        "TC2" => (State::Tripped, 3),
        "FLG" => (State::CutOut, 290),
        "CF1" => (State::Off, 31),
        "CF2" => (State::NotKnown, 31),
        "GRC" => (State::Off, 5),
        "GR" => (State::Tripped, 6),
        "SF" => (State::Blown, 12),
        "CTL" | "ECC" | "TLP" | "BKS" | "HLT" => (State::On, 9),
        _ => return None,
    };
    Some(Known { state, at: now().minus(hours * HOUR) })
}

#[derive(Template)]
#[template(
    source = r#"{% extends "layout.html" %}{% import "parts/panel.html" as drawn %}{% block title %}Panel{% endblock %}{% block room %}crew{% endblock %}{% block width %}wide{% endblock %}
{% block main %}{% include "parts/glyphs.html" %}<h1>Panels</h1>{% call drawn::panels(drawing) %}{% endcall %}{% endblock %}"#,
    ext = "html"
)]
struct Panels {
    frame: Frame,
    drawing: Drawing,
}

#[test]
fn sample_of_the_drawn_panel() {
    write("panel", |frame| {
        let drawing = draw(&schedule(), now(), known, |d| Some(format!("#{}", d.tag)));
        let html = Panels { frame, drawing }.render().unwrap();
        assert!(
            html.contains("aria-label=\"Traction controller 2, TC2 · 30 A, tripped, 3 h ago\""),
            "{html}"
        );
        assert!(!html.contains("style="));
        html
    });
}
