//! What the shop measures, inspects and keeps in tables, for a book with something in every projection.
use breakerbook::{
    base::Instant,
    desk::{
        Desk,
        measure::{IntervalSet, MeasurementTaken, ShopPage, ShopTable},
    },
    people::Permit,
    shop::{
        inspections::{InspectionDone, InspectionKind},
        measurements::{
            Measured,
            dead::{Found, TestedDead},
        },
    },
};

/// A test for dead, a periodic inspection, how often they are due, the railway's own breaker table.
pub async fn fill(desk: &Desk, shop: &Permit, office: &Permit, at: Instant) {
    let measured = Measured::TestedDead(TestedDead {
        circuit: "traction motor 2".into(),
        volts: Some(650.0),
        tester: Some("T7".into()),
        checked_before: Some(true),
        checked_after: Some(true),
        locked_or_tagged: Some(true),
        found: Found::Dead,
    });
    let judged = measured.judge();
    let taken = MeasurementTaken {
        id: uuid::Uuid::from_u128(0x3ea5),
        unit: "QHB 1".into(),
        repair: None,
        at,
        done_by: None,
        measured,
        judged,
        confirmed: vec![],
    };
    let done = InspectionDone {
        id: uuid::Uuid::from_u128(0x1_2_3),
        unit: "QHB 1".into(),
        kind: InspectionKind::Periodic,
        at,
        place: "Slate Gap".into(),
        conditions: "none".into(),
        repairs: None,
        repaired_by: None,
        certified_by: None,
    };
    let set = IntervalSet {
        class: None,
        unit: Some("QHB 1".into()),
        days: 184,
        reason: "condition monitoring fitted".into(),
    };
    let table = ShopTable { name: "breaker".into(), table: serde_json::json!([]) };
    let now = desk.clock().now();
    desk.act(ShopPage::measurement(taken, shop, now)).await.unwrap();
    desk.act(ShopPage::inspection(done, shop, now)).await.unwrap();
    desk.act(ShopPage::interval(set, office, now)).await.unwrap();
    desk.act(ShopPage::table(table, shop, now)).await.unwrap();
}
