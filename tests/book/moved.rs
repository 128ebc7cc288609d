//! Lives follow the part: a device that came from another unit is judged by what it did there, too.
use breakerbook::{
    base::Instant,
    book::Channel,
    desk::{
        Desk,
        body::{Body, RepairClosed, RepairOpened},
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
    let (id, at) = (uuid::Uuid::from_u64_pair(7, 3), Instant::parse(at).unwrap());
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
        cause: "not known".into(),
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
