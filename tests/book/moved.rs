//! Lives follow the part: a device that came from another unit is judged by what it did there, too.
use breakerbook::{
    base::Instant,
    book::Channel,
    desk::{
        Desk,
        body::{Body, RepairAmended, RepairClosed, RepairOpened},
        figures::TakeFigures,
        shop::ShopAct,
    },
    rules::Rule,
};
use serde_json::{Value, json};

use crate::{
    house::{House, file, id},
    order::{equals_the_batch, findings_and_bypasses},
};

fn trip(n: u64, unit: &str, day: &str) -> Value {
    let at = format!("{day}T10:0{}:00Z", n % 10);
    json!({"id": id(n), "unit": unit, "author": "ann", "occasion": "yard", "signed_at": at, "entries": [
        {"id": id(n + 1000), "kind": "breaker_trip", "at": at, "at_how": "about", "device": "TC1", "left": "on"}]})
}

async fn file_all(desk: &Desk, reports: &[Value]) {
    for report in reports {
        file(desk, report, "ann", Channel::Token).await.unwrap();
    }
}

/// TC1 of the first unit was replaced by that of the second, which got the first's.
async fn swap(desk: &Desk, unit: &str, with: &str, at: &str) {
    swap_for(desk, unit, with, at, "not known").await;
}

const SWAP: uuid::Uuid = uuid::Uuid::from_u64_pair(7, 3);

async fn swap_for(desk: &Desk, unit: &str, with: &str, at: &str, cause: &str) {
    let (id, at) = (SWAP, Instant::parse(at).unwrap());
    let opened = RepairOpened {
        id,
        unit: unit.into(),
        device: Some("TC1".into()),
        at,
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    let closed = RepairClosed {
        id,
        at,
        cause: cause.into(),
        words: None,
        new_life: true,
        used_from: None,
        swapped_with: Some(with.into()),
        also_new: vec![],
        parts: None,
    };
    for body in [Body::RepairOpened(Box::new(opened)), Body::RepairClosed(Box::new(closed))] {
        desk.act(ShopAct::of(body, Some("sam".into()), Channel::Page, at)).await.unwrap();
    }
}

async fn worsening(desk: &Desk) -> Vec<(String, usize)> {
    equals_the_batch(desk).await;
    let (found, _) = findings_and_bypasses(desk).await;
    let worsening = found.into_iter().filter(|f| f.rule == Rule::Worsening);
    worsening.map(|f| (f.unit.unwrap().to_string(), f.entries.len())).collect()
}

#[tokio::test]
async fn a_late_report_about_the_unit_it_came_from_is_judged_here() {
    let house = House::new().await;
    let desk = house.desk().await;
    // Enough of QHB 3 that something is known of the class.
    let class: Vec<Value> = (0..6).map(|n| trip(10 + n, "QHB 3", &format!("2025-{:02}-01", 7 + n))).collect();
    file_all(&desk, &class).await;
    for month in 1..=12_u64 {
        for (n, unit) in ["QHB 1", "QHB 2", "QHB 3"].iter().enumerate() {
            for (half, day) in [(0, "05"), (1, "20")] {
                let at = format!("2025-{month:02}-{day}T08:00:00Z");
                let report = json!({"id": id(100 + 40 * n as u64 + 2 * month + half), "unit": unit, "author": "ann",
                    "occasion": "yard", "entries": [], "signed_at": at});
                file(&desk, &report, "ann", Channel::Token).await.unwrap();
            }
        }
    }
    let there = ["2025-03-01", "2025-08-01", "2025-11-20"];
    let here = ["2025-12-10", "2025-12-18", "2025-12-24", "2025-12-29"];
    let there: Vec<Value> = there.iter().zip(300..).map(|(day, n)| trip(n, "QHB 2", day)).collect();
    let here: Vec<Value> = here.iter().zip(310..).map(|(day, n)| trip(n, "QHB 1", day)).collect();
    file_all(&desk, &here).await;
    swap(&desk, "QHB 1", "QHB 2", "2025-12-01T12:00:00Z").await;
    file_all(&desk, &there[..2]).await;
    let as_of = Instant::parse("2026-01-02T00:00:00Z").unwrap();
    desk.act(TakeFigures::prepare(&desk, as_of).await.unwrap()).await.unwrap();
    assert_eq!(worsening(&desk).await, [("QHB 1".to_owned(), 6)], "four here, two on QHB 2");
    // Late, and of the other unit: it belongs to the part that is here now.
    file_all(&desk, &there[2..]).await;
    assert_eq!(worsening(&desk).await, [("QHB 1".to_owned(), 7)]);
    house.is_clean().await;
}

/// What is said of both units' parts where TC1 was swapped, tripped again on both, and the cause was `first`, then
/// corrected to `then`.
async fn did_not_hold_after(first: &str, then: Option<&str>) -> Vec<(String, String)> {
    let house = House::new().await;
    let desk = house.desk().await;
    let class: Vec<Value> = (0..3).map(|n| trip(10 + n, "QHB 3", &format!("2025-{:02}-01", 7 + n))).collect();
    file_all(&desk, &class).await;
    for month in 1..=12_u64 {
        for (n, unit) in ["QHB 1", "QHB 2", "QHB 3"].iter().enumerate() {
            let at = format!("2025-{month:02}-05T08:00:00Z");
            let report = json!({"id": id(100 + 40 * n as u64 + month), "unit": unit, "author": "ann",
                "occasion": "yard", "entries": [], "signed_at": at});
            file(&desk, &report, "ann", Channel::Token).await.unwrap();
        }
    }
    swap_for(&desk, "QHB 1", "QHB 2", "2025-12-01T12:00:00Z", first).await;
    for (n, unit) in [(300, "QHB 1"), (310, "QHB 2")] {
        let again = ["2025-12-02", "2025-12-03", "2025-12-04"];
        let again: Vec<Value> = again.iter().zip(n..).map(|(day, n)| trip(n, unit, day)).collect();
        file_all(&desk, &again).await;
    }
    let as_of = Instant::parse("2026-01-02T00:00:00Z").unwrap();
    desk.act(TakeFigures::prepare(&desk, as_of).await.unwrap()).await.unwrap();
    if let Some(cause) = then {
        let amended = RepairAmended {
            id: SWAP,
            amendment: uuid::Uuid::from_u64_pair(7, 4),
            at: as_of,
            reason: "looked again".into(),
            cause: cause.into(),
            words: None,
            parts: None,
            new_life: true,
        };
        let body = Body::RepairAmended(Box::new(amended));
        desk.act(ShopAct::of(body, Some("sam".into()), Channel::Page, as_of)).await.unwrap();
    }
    equals_the_batch(&desk).await;
    let (found, _) = findings_and_bypasses(&desk).await;
    let found = found.into_iter().filter(|f| f.rule == Rule::DidNotHold);
    let told = found.map(|f| (f.unit.unwrap().to_string(), f.sentence)).collect();
    desk.close().await;
    house.is_clean().await;
    told
}

#[tokio::test]
async fn a_corrected_swap_is_corrected_on_both_units() {
    let at_once = did_not_hold_after("no fault found", None).await;
    let units: Vec<&str> = at_once.iter().map(|(unit, _)| unit.as_str()).collect();
    assert_eq!(units, ["QHB 1", "QHB 2"], "{at_once:?}");
    assert!(at_once.iter().all(|(_, says)| says.contains("with no fault found")), "{at_once:?}");
    assert_eq!(did_not_hold_after("not known", Some("no fault found")).await, at_once);
    let found = did_not_hold_after("no fault found", Some("chafed lead")).await;
    assert!(found.len() == 2 && found.iter().all(|(_, says)| !says.contains("no fault")), "{found:?}");
}
