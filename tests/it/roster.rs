//! A small railway: one class with one panel, three units.
use breakerbook::{
    base::{ClassName, Instant, Tag, UnitName, zone::Day},
    roster::{
        Check, Device, DeviceKind, Panel, Place, Schedule, UnitCard,
        check::{AppliesWhen, Prevents},
        schedule::{CrewResets, StartLimits, StartMotors},
    },
};

pub fn units() -> Vec<UnitCard> {
    let card = |name: &str| UnitCard {
        unit: UnitName::from(name),
        class: ClassName::from("HB6"),
        in_service: Day::parse("2020-01-01").unwrap(),
        retired: None,
        home_shop: Some("Slate Gap".into()),
    };
    ["QHB 412", "QHB 413", "QHB 431"].map(card).into()
}

pub fn schedule() -> Schedule {
    let device = |tag: &str, legend: &str, kind, row, column| Device {
        tag: Tag::from(tag),
        legend: legend.into(),
        kind,
        place: Place::OnPanel { panel: "A".into(), row, column },
        rating_a: Some(30.0),
        rating_v: Some(74.0),
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
        crew_resets: CrewResets { times: Some(1), hours: Some(24.0), wait_s: Some(120) },
        overload_by_design: false,
        before_closing: None,
        after_closing: None,
        if_left_off: None,
        off_effect: None,
        restricts_off: vec![],
        ground_protection: false,
        safety_device: false,
        severity: None,
    };
    let devices = vec![
        device("TC2", "Traction inverter 2", DeviceKind::Breaker, 1, 1),
        Device { start_group: true, ..device("FP", "Fuel pump", DeviceKind::Breaker, 1, 2) },
        Device { rating_a: Some(400.0), ..device("SF", "Start fuse", DeviceKind::Fuse, 1, 3) },
        Device { ground_protection: true, ..device("GRC", "Ground-relay cutout", DeviceKind::Switch, 2, 1) },
        Device { safety_device: true, ..device("ALR", "Alerter", DeviceKind::Breaker, 2, 2) },
    ];
    Schedule {
        class: ClassName::from("HB6"),
        effective: Instant::parse("2020-01-01T00:00:00Z").unwrap(),
        start: StartLimits {
            motors: Some(StartMotors::Both),
            control_min_v: Some(50.0),
            cranking_min_v: Some(55.0),
            crank_attempts: Some(3),
            long_shutdown_h: Some(48.0),
            ..StartLimits::default()
        },
        panels: vec![Panel {
            name: "A".into(),
            title: "Main panel".into(),
            at: "cab, rear wall".into(),
            rows: 2,
            columns: 3,
        }],
        devices,
        checks: checks(),
    }
}

fn checks() -> Vec<Check> {
    let check = |place: &str, text: &str, applies_when, device: Option<&str>, prevents: &[Prevents]| Check {
        place: place.into(),
        text: text.into(),
        right: "As it should be".into(),
        applies_when,
        device: device.map(Tag::from),
        prevents: prevents.to_vec(),
    };
    vec![
        check("Left side", "Start fuse", AppliesWhen::Start, Some("SF"), &[Prevents::Start]),
        check("Engine room", "Engine oil", AppliesWhen::Start, None, &[Prevents::Start]),
        check("Engine room", "Prelubrication", AppliesWhen::ColdStart, None, &[Prevents::Start]),
        check("Cab", "Fuel pump", AppliesWhen::Start, Some("FP"), &[Prevents::Start, Prevents::Load]),
        check("Cab", "Ground-relay cutout", AppliesWhen::Start, Some("GRC"), &[]),
        check("Cab", "Brake test", AppliesWhen::BrakeSetUp, None, &[Prevents::Lead]),
        check("Ground", "Hand brake", AppliesWhen::Parking, None, &[]),
    ]
}
