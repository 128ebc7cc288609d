//! Somebody with a tool of their own changes the file through SQL: `verify` says so and names what was changed.
use breakerbook::{
    base::{Instant, SignIn, Tag, UnitName},
    book::{Channel, tree::leaf_hash},
    desk::{
        Desk,
        body::{
            Body, CauseListed, Change, GrantProposed, Hold, HoldReason, Judgement, Release, ReleaseHow,
            RepairClosed, RepairOpened, SetAside, Statement, ThresholdsChanged,
        },
        figures::TakeFigures,
        grants::{ConfirmGrant, ProposeGrant, RevokeGrant, WithdrawProposal},
        keep_fleet::KeepUnit,
        keep_person::{Deed, KeepPerson, Wanted},
        oversee::{KeepRefused, ReviewBypass, SignHandover},
        rebuild,
        reports::{AddStatement, AmendEntry},
        shop::ShopAct,
        signed::Sent,
        tablets::RegisterKey,
    },
    people::{Act, Permit, Role},
    reports::stored,
    roster::UnitCard,
    rules::{Rule, dossier::ends},
};
use p256::ecdsa::{Signature, SigningKey, signature::Signer as _};
use sqlx::{AssertSqlSafe, Connection, SqliteConnection};
use tokio::sync::OnceCell;

use crate::house::{self, House, every_kind, file, trip};

/// A book with something in every projection.
pub async fn full() -> House {
    static BYTES: OnceCell<Vec<u8>> = OnceCell::const_new();
    let bytes = BYTES
        .get_or_init(async || {
            let house = House::new().await;
            let desk = house.desk().await;
            fill(&desk).await;
            drop(desk);
            house.bytes().await
        })
        .await;
    let house = House::bare();
    std::fs::write(&house.path, bytes).unwrap();
    house
}

async fn fill(desk: &Desk) {
    let now = desk.clock().now();
    file(desk, &every_kind(), "ann", Channel::Token).await.unwrap();
    for n in 1..9 {
        file(desk, &trip(n, n as u32 * 20), "ann", Channel::Token).await.unwrap();
    }
    // One that ends a chunk of outlines, and one after it.
    let ends_chunk = |n: &u64| ends(house::id(n + 1_000_000).parse().unwrap(), 6);
    let ending = (100..).find(ends_chunk).unwrap();
    for (n, hour) in [(ending, 180), (9, 200)] {
        file(desk, &trip(n, hour), "ann", Channel::Token).await.unwrap();
    }
    correct_and_read(desk).await;
    by_the_office(desk).await;
    by_a_tablet(desk).await;
    in_the_shop(desk).await;
    let (shop, office) = (permit(desk, "sam", Act::WorkOnUnits), permit(desk, "ada", Act::KeepRoster));
    crate::measured::fill(desk, &shop, &office, now).await;
    desk.act(TakeFigures::prepare(desk, now).await.unwrap()).await.unwrap();
    let mut db = desk.read().await.unwrap();
    let opening: Option<(String, String)> =
        sqlx::query_as("SELECT id, unit FROM bypass LIMIT 1").fetch_optional(&mut *db).await.unwrap();
    drop(db);
    let (bypass, unit) = opening.expect("an opening to review");
    let permit = permit(desk, "max", Act::ReviewBypass);
    desk.act(KeepRefused::of(bypass.clone(), "You opened it.", &permit, now)).await.unwrap();
    let (bypass, unit) = (bypass.parse().unwrap(), UnitName::from(unit.as_str()));
    let review = ReviewBypass::of(bypass, unit, 1000, Judgement::InOrder, "looked".into(), &permit, now);
    desk.act(review).await.unwrap();
}

fn permit(desk: &Desk, who: &str, act: Act) -> Permit {
    desk.world().people.person(&SignIn::from(who)).unwrap().permit(act).unwrap()
}

/// A tablet's key, and a report that came signed by it.
async fn by_a_tablet(desk: &Desk) {
    let now = desk.clock().now();
    let (key, id) = (SigningKey::from_slice(&[7; 32]).unwrap(), uuid::Uuid::from_u128(0x7ab1e7));
    let public = hex::encode(key.verifying_key().to_sec1_point(false).as_bytes());
    desk.act(RegisterKey::of(&permit(desk, "ann", Act::FileReport), id, public, now)).await.unwrap();
    let mut report = trip(40, 400);
    report["signed_at"] = now.to_z().into();
    let text = report.to_string();
    let signature: Signature = key.sign(text.as_bytes());
    let sent = serde_json::json!({"v": 1, "key": id, "report": text, "signature": hex::encode(signature.to_bytes()),
        "clock": now.to_z()});
    let signed = Sent::read(sent.to_string().as_bytes()).unwrap().check(desk).await.unwrap();
    desk.act(signed).await.unwrap();
}

/// An amendment, a statement, a handover read.
async fn correct_and_read(desk: &Desk) {
    let now = desk.clock().now();
    let fixed = trip(1, 20);
    let mut entry = fixed["entries"][0].clone();
    entry["note"] = "looked again".into();
    let amendment = serde_json::json!({"id": house::id(77), "report": fixed["id"], "entry": entry["id"], "author": "ann",
        "at": "2026-03-20T00:00:00Z", "reason": "forgot to say", "replacement": entry});
    let amendment = stored::amendment(&amendment.to_string()).unwrap();
    let by = permit(desk, "ann", Act::AmendEntry);
    desk.act(AmendEntry::of(amendment, &by, Role::Crew, Channel::Page)).await.unwrap();
    let said = Statement { entry: house::id(1_000_002).parse().unwrap(), words: "it was raining".into() };
    let by = permit(desk, "bob", Act::MakeStatement);
    desk.act(AddStatement::of(said, &by, Channel::Page, now)).await.unwrap();
    let by = permit(desk, "bob", Act::ReadHandover);
    desk.act(SignHandover::of("QHB 1".into(), 5, &by, now)).await.unwrap();
}

/// A right proposed and confirmed, another withdrawn; somebody new, and a new unit.
async fn by_the_office(desk: &Desk) {
    let now = desk.clock().now();
    let (sue, max) =
        (permit(desk, "sue", Act::GrantAuthorisation), permit(desk, "max", Act::GrantAuthorisation));
    for n in [1, 2] {
        let wanted = GrantProposed {
            id: uuid::Uuid::from_u128(n),
            sign_in: "bob".into(),
            classes: vec![],
            from: desk.world().railway.zone.day_of(now),
            to: None,
            basis: format!("course {n}"),
        };
        desk.act(ProposeGrant::of(wanted, &sue, now)).await.unwrap();
        let proposal = desk.world().proposals[&uuid::Uuid::from_u128(n)].clone();
        if n == 1 {
            desk.act(WithdrawProposal::of(proposal.id, "another".into(), &max, now)).await.unwrap();
        } else {
            desk.act(ConfirmGrant::of(&proposal, &max, now)).await.unwrap();
        }
    }
    let grant = desk.world().people.authorisations.last().unwrap().seq;
    desk.act(RevokeGrant::of(grant, "left a cutout open".into(), &sue, now)).await.unwrap();
    let wanted = Wanted {
        sign_in: "eve".into(),
        role: Role::Crew,
        name: "Eve".into(),
        craft: String::new(),
        reason: "hired".into(),
    };
    let ada = permit(desk, "ada", Act::KeepPeople);
    desk.act(KeepPerson::of(Deed::Add, wanted, None, 0, &ada, now).unwrap()).await.unwrap();
    let ada = permit(desk, "ada", Act::KeepRoster);
    let card =
        UnitCard { unit: "QHB 9".into(), ..desk.world().roster.unit(&"QHB 1".into()).unwrap().clone() };
    desk.act(KeepUnit::of(card, "bought".into(), "", &ada, now)).await.unwrap();
}

/// A hold, a repair opened and closed, a finding set aside, a setting changed.
async fn in_the_shop(desk: &Desk) {
    let now = desk.clock().now();
    let (unit, device) = (UnitName::from("QHB 1"), Some(Tag::from("TC1")));
    let at = |day: &str| Instant::parse(&format!("2026-03-{day}T08:00:00Z")).unwrap();
    let id = uuid::Uuid::from_u128(7);
    let opened = RepairOpened {
        id,
        unit: unit.clone(),
        device: device.clone(),
        at: at("25"),
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    let closed = RepairClosed {
        id,
        at: at("26"),
        cause: "chafed wire".into(),
        words: None,
        new_life: false,
        used_from: None,
        swapped_with: None,
        also_new: vec![],
        parts: None,
    };
    let until = now.plus(1);
    for body in [
        Body::UnitHeld(Box::new(Hold {
            unit: unit.clone(),
            at: at("25"),
            reason: HoldReason::Repair,
            words: None,
        })),
        Body::RepairOpened(Box::new(opened)),
        Body::RepairClosed(Box::new(closed)),
        Body::CauseListed(Box::new(CauseListed { cause: "chafed wire".into(), listed: true })),
        Body::UnitReleased(Box::new(Release {
            unit: unit.clone(),
            at: at("26"),
            words: None,
            how: Some(ReleaseHow::Restricted),
            restrictions: Some("trail only".into()),
            checked: Some("breakers, seals".into()),
        })),
        Body::FindingSetAside(Box::new(SetAside {
            rule: Rule::Burst,
            unit,
            device,
            until,
            reason: "known".into(),
        })),
        Body::ThresholdsChanged(Box::new(ThresholdsChanged {
            changes: vec![Change { setting: "quiet_days".into(), old: 90.0, new: 60.0 }],
            reason: "the board was too long".into(),
        })),
    ] {
        desk.act(ShopAct::of(body, Some("sam".into()), Channel::Page, now)).await.unwrap();
    }
}

#[tokio::test]
async fn the_full_book_is_clean_and_no_projection_is_empty() {
    let house = full().await;
    house.is_clean().await;
    let mut db = house.raw().await;
    for table in rebuild::tables() {
        let rows: i64 = sqlx::query_scalar(AssertSqlSafe(format!("SELECT count(*) FROM {table}")))
            .fetch_one(&mut db)
            .await
            .unwrap();
        assert!(rows > 0, "{table} is empty: nothing is tried on it");
    }
    db.close().await.unwrap();
}

/// What a cell can be changed to that its column takes: first one that is really another value.
async fn change(db: &mut SqliteConnection, table: &str, column: &str, kind: &str) -> bool {
    let others: &[&str] = match kind {
        "TEXT" => &["# || 'x'", "# || char(0) || 'x'", "'x'", "NULL"],
        "INTEGER" => &["# + 1", "1 - #", "7", "NULL"],
        "REAL" => &["# + 0.000000001", "7.0"],
        _ => &["# || x'00'", "CAST(# || x'00' AS BLOB)", "x'00'"],
    };
    let mut changed = false;
    for other in others {
        let other = other.replace('#', column);
        let one = last_of(table);
        let sql = format!("UPDATE {table} SET {column} = {other} WHERE {one} AND {column} IS NOT {other}");
        if let Ok(done) = sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *db).await {
            changed |= done.rows_affected() > 0;
        }
        if changed {
            break;
        }
    }
    changed
}

/// One row of a table, by rowid or, where there is none, by key.
fn last_of(table: &str) -> String {
    match table {
        "dossier" => {
            format!(
                "(unit, subject) = (SELECT unit, subject FROM {table} ORDER BY unit DESC, subject DESC LIMIT 1)"
            )
        }
        _ => format!("rowid = (SELECT max(rowid) FROM {table})"),
    }
}

#[tokio::test]
async fn any_changed_cell_of_any_projection_is_named_by_its_table() {
    let original = full().await;
    let mut cells = Vec::new();
    let mut db = original.raw().await;
    for table in rebuild::tables() {
        let columns: Vec<(String, String)> = sqlx::query_as("SELECT name, type FROM pragma_table_info(?)")
            .bind(table)
            .fetch_all(&mut db)
            .await
            .unwrap();
        cells.extend(columns.into_iter().map(|(name, kind)| (table, name, kind)));
    }
    db.close().await.unwrap();
    let mut tried = 0;
    for (table, column, kind) in cells {
        let house = full().await;
        let mut db = house.raw().await;
        let changed = change(&mut db, table, &column, &kind).await;
        db.close().await.unwrap();
        if !changed {
            assert_eq!(column, "one", "{table}.{column} could not be changed at all");
            continue;
        }
        tried += 1;
        let flaws = house.flaws().await;
        assert!(flaws.iter().any(|f| f.starts_with(&format!("{table}:"))), "{table}.{column}: {flaws:?}");
    }
    assert!(tried > 100, "{tried}");
}

#[tokio::test]
async fn text_hidden_behind_a_zero_byte_is_seen() {
    let house = full().await;
    let mut db = house.raw().await;
    sqlx::raw_sql(
        "UPDATE report SET remarks = coalesce(remarks, '') || char(0) || 'and more' WHERE symbol = 'K17'",
    )
    .execute(&mut db)
    .await
    .unwrap();
    sqlx::raw_sql("UPDATE finding SET rule = rule || char(0) || 'x'").execute(&mut db).await.unwrap();
    db.close().await.unwrap();
    let flaws = house.flaws().await;
    for table in ["report:", "finding:"] {
        assert!(flaws.iter().any(|f| f.starts_with(table)), "{table} {flaws:?}");
    }
}

#[tokio::test]
async fn rows_taken_out_or_put_in_are_named_by_their_table() {
    for table in rebuild::tables() {
        let house = full().await;
        let mut db = house.raw().await;
        let sql = format!("DELETE FROM {table} WHERE {}", last_of(table));
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut db).await.unwrap();
        db.close().await.unwrap();
        let flaws = house.flaws().await;
        assert!(flaws.iter().any(|f| f.starts_with(&format!("{table}:"))), "{table}: {flaws:?}");
    }
    let house = full().await;
    let mut db = house.raw().await;
    sqlx::raw_sql(
        "INSERT INTO statement (seq, entry, author, at, words) VALUES (9999, 'x', 'ann', 0, 'never said')",
    )
    .execute(&mut db)
    .await
    .unwrap();
    db.close().await.unwrap();
    assert!(house.flaws().await.iter().any(|f| f.starts_with("statement:")));
}

/// Without the triggers, as a determined person would.
async fn without_triggers(house: &House, sql: &str) {
    let mut db = house.raw().await;
    let triggers = drop_triggers(&mut db).await;
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut db).await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(triggers)).execute(&mut db).await.unwrap();
    db.close().await.unwrap();
}

/// Takes every trigger away, and hands back what makes them again.
pub async fn drop_triggers(db: &mut SqliteConnection) -> String {
    let sql = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'";
    let triggers: Vec<(String, String)> = sqlx::query_as(sql).fetch_all(&mut *db).await.unwrap();
    for (name, _) in &triggers {
        sqlx::raw_sql(AssertSqlSafe(format!("DROP TRIGGER {name}"))).execute(&mut *db).await.unwrap();
    }
    triggers.into_iter().map(|(_, sql)| sql + ";\n").collect()
}

#[tokio::test]
async fn pages_changed_behind_the_triggers_are_named() {
    let last = full().await.is_clean().await - 1;
    for (sql, says) in [
        ("UPDATE page SET blob = replace(blob, 'QHB 1', 'QHB 2') WHERE seq = 12", vec!["page 12:"]),
        (
            "UPDATE page SET blob = CAST(x'ff' || blob AS TEXT) WHERE seq IN (3, 12)",
            vec!["page 3:", "page 12:"],
        ),
        ("UPDATE page SET blob = blob || char(0) WHERE seq = 12", vec!["page 12:"]),
        ("UPDATE page SET leaf = zeroblob(32) WHERE seq = 12", vec!["page 12:"]),
        ("DELETE FROM page WHERE seq = 12", vec!["page 12 is missing"]),
        ("DELETE FROM page WHERE seq = 0", vec!["page 0 is missing"]),
        ("DELETE FROM page", vec!["head:"]),
        ("DELETE FROM page WHERE seq = (SELECT max(seq) FROM page)", vec!["head:"]),
        (
            "UPDATE page SET seq = seq + 1 WHERE seq = (SELECT max(seq) FROM page)",
            vec![&*format!("page {last} is missing")],
        ),
        // Before the first, where nobody would look.
        ("INSERT INTO page SELECT -5, blob, leaf FROM page WHERE seq = 12", vec!["page -5"]),
        (
            "INSERT INTO page SELECT 9223372036854775807, blob, leaf FROM page WHERE seq = 12",
            vec!["page 9223372036854775807"],
        ),
        ("UPDATE head SET root = zeroblob(32)", vec!["head:"]),
        ("UPDATE head SET root = x'00'", vec!["head:"]),
        ("UPDATE head SET size = -1", vec!["head:"]),
        ("UPDATE head SET world_seq = 0", vec!["head:"]),
        ("DROP TRIGGER IF EXISTS x; CREATE TRIGGER x AFTER INSERT ON page BEGIN SELECT 1; END", vec!["x:"]),
        ("DROP INDEX entry_of_unit", vec!["entry_of_unit:"]),
        ("CREATE TABLE hidden (words TEXT)", vec!["hidden:"]),
        ("ALTER TABLE report ADD COLUMN more TEXT", vec!["report:"]),
        ("UPDATE shape SET hash = 'other'", vec!["shape:"]),
        ("DELETE FROM shape", vec!["shape:"]),
        ("UPDATE _sqlx_migrations SET checksum = x'00' WHERE version = 1", vec!["migrations"]),
        ("DELETE FROM _sqlx_migrations WHERE version = 2", vec!["migrations"]),
        ("DROP TABLE finding", vec!["finding:"]),
        ("DROP TABLE page", vec!["page:"]),
    ] {
        let house = full().await;
        if sql == "DROP TABLE page" {
            let mut db = house.raw().await;
            sqlx::raw_sql(sql).execute(&mut db).await.unwrap();
            db.close().await.unwrap();
        } else {
            without_triggers(&house, sql).await;
        }
        let flaws = house.flaws().await;
        for says in says {
            assert!(flaws.iter().any(|f| f.contains(says)), "{sql}: {says:?} is not in {flaws:?}");
        }
    }
}

#[tokio::test]
async fn a_missing_or_softened_trigger_is_named() {
    let house = full().await;
    let mut db = house.raw().await;
    let triggers: Vec<(String, String)> =
        sqlx::query_as("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
            .fetch_all(&mut db)
            .await
            .unwrap();
    db.close().await.unwrap();
    assert!(triggers.len() >= 3, "{triggers:?}");
    for (name, sql) in triggers {
        for soft in [None, Some(sql.replace("RAISE(ABORT", "RAISE(IGNORE); SELECT coalesce(1"))] {
            let house = full().await;
            let mut db = house.raw().await;
            sqlx::raw_sql(AssertSqlSafe(format!("DROP TRIGGER {name}"))).execute(&mut db).await.unwrap();
            if let Some(soft) = soft {
                sqlx::raw_sql(AssertSqlSafe(soft)).execute(&mut db).await.unwrap();
            }
            db.close().await.unwrap();
            let flaws = house.flaws().await;
            assert!(flaws.iter().any(|f| f.starts_with(&format!("{name}:"))), "{name}: {flaws:?}");
        }
    }
}

/// A page put in with a right hash of its own, and the head made to fit: its contents still have to be a page's.
#[tokio::test]
async fn a_forged_last_page_is_seen() {
    for blob in ["{}", "", "null", r#"{"v":1,"seq":3,"kind":"handover_read"}"#] {
        let house = full().await;
        let mut db = house.raw().await;
        let size: i64 = sqlx::query_scalar("SELECT count(*) FROM page").fetch_one(&mut db).await.unwrap();
        let leaf = leaf_hash(blob.as_bytes());
        sqlx::query("INSERT INTO page (seq, blob, leaf) VALUES (?, ?, ?)")
            .bind(size)
            .bind(blob)
            .bind(&leaf.0[..])
            .execute(&mut db)
            .await
            .unwrap();
        db.close().await.unwrap();
        assert!(!house.flaws().await.is_empty(), "{blob:?}");
    }
    // A whole page of another number.
    let house = full().await;
    let mut db = house.raw().await;
    let blob: String = sqlx::query_scalar("SELECT blob FROM page WHERE blob LIKE '%handover_read%'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    let leaf = leaf_hash(blob.as_bytes());
    let size: i64 = sqlx::query_scalar("SELECT count(*) FROM page").fetch_one(&mut db).await.unwrap();
    sqlx::query("INSERT INTO page (seq, blob, leaf) VALUES (?, ?, ?)")
        .bind(size)
        .bind(&blob)
        .bind(&leaf.0[..])
        .execute(&mut db)
        .await
        .unwrap();
    db.close().await.unwrap();
    let flaws = house.flaws().await;
    assert!(flaws.iter().any(|f| f.contains(&format!("page {size}"))), "{flaws:?}");
}
