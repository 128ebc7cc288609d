//! What operated together, through the whole desk: reports of several units, late and amended, the roster behind.
use breakerbook::{
    base::{Instant, UnitName},
    book::Channel,
    desk::{
        Desk,
        act::Act,
        body::{Body, RepairClosed, RepairOpened},
        figures::TakeFigures,
        keep_roster::KeepUnits,
        reports::AmendEntry,
        shop::ShopAct,
    },
    people::{self, Role},
    reports::stored,
    roster::UnitCard,
    rules::{Finding, Rule},
};
use serde_json::{Value, json};

use crate::{
    house::{House, file, id},
    order::{equals_the_batch, findings_and_bypasses},
};

/// Each unit was heard of through spring without anything happening, and class figures say so.
async fn quiet_spring(desk: &Desk) {
    for (n, unit) in ["QHB 1", "QHB 2", "QHB 3"].iter().enumerate() {
        for month in 2..6 {
            let at = format!("2026-{month:02}-15T12:00:00Z");
            let report = json!({"id": id(900 + 10 * n as u64 + month), "unit": unit, "author": "ann", "occasion": "yard",
                "entries": [], "signed_at": at});
            file(desk, &report, "ann", Channel::Token).await.unwrap();
        }
    }
    desk.act(TakeFigures::prepare(desk, desk.clock().now()).await.unwrap()).await.unwrap();
}

/// Trips told as `10:02 TC1`, on 3 March.
fn tripped(n: u64, unit: &str, consist: &[&str], told: &[&str]) -> Value {
    let entry = |(k, told): (usize, &&str)| {
        let at = format!("2026-03-03T{}:00-06:00", &told[..5]);
        json!({"id": id(n * 100 + k as u64), "kind": "breaker_trip", "at": at, "device": told[6..], "resets": [], "left": "on"})
    };
    json!({"id": id(n), "unit": unit, "author": "ann", "occasion": "yard", "consist": consist,
        "entries": told.iter().enumerate().map(entry).collect::<Vec<_>>(), "signed_at": "2026-03-03T20:00:00-06:00"})
}

async fn file_all(desk: &Desk, reports: &[&Value]) {
    for report in reports {
        file(desk, report, "ann", Channel::Token).await.unwrap();
    }
}

/// The k-th entry, told otherwise or (`null`) taken back.
async fn amend(desk: &Desk, n: u64, report: &Value, k: usize, change: impl FnOnce(&mut Value)) {
    let mut entry = report["entries"][k].clone();
    let of = entry["id"].clone();
    change(&mut entry);
    let amendment = json!({"id": id(n), "report": report["id"], "entry": of, "author": "ann",
        "at": "2026-05-20T00:00:00Z", "reason": "as it was", "replacement": entry});
    let amendment = stored::amendment(&amendment.to_string()).unwrap();
    let world = desk.world();
    let permit = world.people.person(&"ann".into()).unwrap().permit(people::Act::AmendEntry).unwrap();
    desk.act(AmendEntry::of(amendment, &permit, Role::Crew, Channel::Page)).await.unwrap();
}

/// The lines about shared causes; and that they are what judging everything at once says.
async fn lines(desk: &Desk) -> Vec<Finding> {
    equals_the_batch(desk).await;
    let (mut found, _) = findings_and_bypasses(desk).await;
    found.retain(|f| f.rule == Rule::SharedCause);
    found
}

async fn said(desk: &Desk) -> Vec<String> {
    let told = |line: Finding| {
        let (what, _) = line.sentence.split_once(" within").unwrap();
        format!("{}: {what}", line.unit.unwrap())
    };
    lines(desk).await.into_iter().map(told).collect()
}

const THREE_OF_LC: &str = "QHB 1: 3 breakers fed by LC tripped";

#[tokio::test]
async fn a_late_report_completes_a_group_and_amendments_undo_it() {
    let house = House::new().await;
    let desk = house.desk().await;
    quiet_spring(&desk).await;
    let one = tripped(1, "QHB 1", &[], &["10:02 TC1", "10:03 HL"]);
    let late = tripped(2, "QHB 1", &[], &["10:07 AL"]);
    file_all(&desk, &[&one]).await;
    assert_eq!(said(&desk).await, [""; 0]);
    file_all(&desk, &[&late]).await;
    assert_eq!(said(&desk).await, [THREE_OF_LC]);
    let nothing: [&str; 0] = [];
    let mut number = 50;
    for (what, change, want) in [
        ("another device", json!({"device": "BK"}), &nothing[..]),
        ("as before", json!({}), &[THREE_OF_LC]),
        ("another year", json!({"at": "2025-03-03T10:07:00-06:00"}), &nothing),
        ("as before", json!({}), &[THREE_OF_LC]),
        ("from memory", json!({"at_how": "about"}), &nothing),
        ("half an hour later", json!({"at": "2026-03-03T10:37:00-06:00"}), &nothing),
        ("as before", json!({}), &[THREE_OF_LC]),
    ] {
        number += 1;
        amend(&desk, number, &late, 0, |entry| {
            for (name, value) in change.as_object().unwrap() {
                entry[name] = value.clone();
            }
        })
        .await;
        assert_eq!(said(&desk).await, want, "{what}");
        house.is_clean().await;
    }
    amend(&desk, 99, &one, 1, |entry| *entry = Value::Null).await;
    assert_eq!(said(&desk).await, nothing);
    house.is_clean().await;
}

#[tokio::test]
async fn all_times_at_the_quarter_hour_count_only_within_one_report() {
    let house = House::new().await;
    let desk = house.desk().await;
    quiet_spring(&desk).await;
    let apart = [("10:15 TC1", 1), ("10:15 HL", 2), ("10:15 AL", 3)]
        .map(|(told, n)| tripped(n, "QHB 1", &[], &[told]));
    file_all(&desk, &apart.each_ref()).await;
    assert_eq!(said(&desk).await, [""; 0]);
    file_all(&desk, &[&tripped(4, "QHB 2", &[], &["10:15 TC1", "10:15 HL", "10:15 AL"])]).await;
    assert_eq!(said(&desk).await, ["QHB 2: 3 breakers fed by LC tripped"]);
    house.is_clean().await;
}

#[tokio::test]
async fn a_consist_is_told_of_once_also_when_the_office_list_was_behind() {
    let house = House::new().await;
    let desk = house.desk().await;
    quiet_spring(&desk).await;
    let consist = ["QHB 2", "QHA 7", "QHB 1"];
    let of_1 = tripped(1, "QHB 1", &consist, &["10:02 HL"]);
    let of_2 = tripped(2, "QHB 2", &consist, &["10:09 HL"]);
    let of_0 = tripped(3, "QHA 7", &consist, &["10:05 HL"]);
    let units = async || {
        let lines = lines(&desk).await;
        let said = |f: Finding| {
            format!(
                "{} tells of {}",
                f.unit.unwrap(),
                f.units.iter().map(UnitName::as_str).collect::<Vec<_>>().join(", ")
            )
        };
        lines.into_iter().map(said).collect::<Vec<_>>()
    };
    file_all(&desk, &[&of_1]).await;
    assert_eq!(units().await, [""; 0]);
    file_all(&desk, &[&of_2]).await;
    assert_eq!(units().await, ["QHB 1 tells of QHB 1, QHB 2"]);
    file_all(&desk, &[&of_0]).await;
    assert_eq!(units().await, ["QHB 1 tells of QHA 7, QHB 1, QHB 2"], "QHA 7 has no class to compare with");
    let card =
        UnitCard { unit: "QHA 7".into(), ..desk.world().roster.unit(&"QHB 1".into()).unwrap().clone() };
    desk.act(KeepUnits::of(vec![card], |_| false, None, Channel::Import)).await.unwrap();
    assert_eq!(units().await, ["QHA 7 tells of QHA 7, QHB 1, QHB 2"]);
    house.is_clean().await;
    amend(&desk, 51, &of_0, 0, |entry| entry["device"] = "AL".into()).await;
    assert_eq!(units().await, ["QHB 1 tells of QHB 1, QHB 2"]);
    amend(&desk, 52, &of_2, 0, |entry| entry["at"] = "2025-03-03T10:09:00-06:00".into()).await;
    assert_eq!(units().await, [""; 0]);
    house.is_clean().await;
}

#[tokio::test]
async fn a_repair_ends_it_and_what_tells_of_no_operation_is_not_kept() {
    let house = House::new().await;
    let desk = house.desk().await;
    quiet_spring(&desk).await;
    let mut db = desk.read().await.unwrap();
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM dossier WHERE subject = 'together'")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    drop(db);
    assert_eq!(kept, 0, "nothing operated");
    file_all(&desk, &[&tripped(1, "QHB 1", &[], &["10:02 TC1", "10:03 HL", "10:04 AL"])]).await;
    let repair = uuid::Uuid::from_u64_pair(7, 3);
    let at = Instant::parse("2026-03-05T12:00:00Z").unwrap();
    let opened = RepairOpened {
        id: repair,
        unit: "QHB 1".into(),
        device: Some("LC".into()),
        at,
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    let closed = RepairClosed {
        id: repair,
        at,
        cause: "loose terminal".into(),
        words: None,
        new_life: false,
        used_from: None,
        swapped_with: None,
        also_new: vec![],
        parts: None,
    };
    for body in [Body::RepairOpened(Box::new(opened)), Body::RepairClosed(Box::new(closed))] {
        let act = ShopAct::of(body, Some("sam".into()), Channel::Page, at);
        assert_eq!(act.pages().len(), 1);
        desk.act(act).await.unwrap();
    }
    let until: Vec<_> = lines(&desk).await.into_iter().map(|f| f.until).collect();
    assert_eq!(until, [Some(at)]);
    house.is_clean().await;
}
