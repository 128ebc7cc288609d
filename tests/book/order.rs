//! A late report and one out of order end in the same findings as in order: the same deeds in two orders and two
//! groupings, against each other, against judging everything at once, and against a rebuild.
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Mutex,
};

use breakerbook::{
    base::{AmendmentId, ClassName, EntryId, Instant, ReportId, SignIn, Stamp, Tag, UnitName, instant::DAY},
    book::Channel,
    desk::{
        Desk, Pending, Refused,
        act::Act,
        body::{
            Body, CauseListed, Change, Hold, HoldReason, Release, ReleaseHow, RepairAmended, RepairClosed,
            RepairOpened, RepairWorked, SetAside, ThresholdsChanged,
        },
        figures::TakeFigures,
        history,
        judge::judge_batch,
        keep_roster::{IssueSchedules, KeepUnits},
        reports::{AmendEntry, FileReport},
        shop::ShopAct,
    },
    people::{self, Role},
    reports::{Amendment, Entry, Report},
    roster::UnitCard,
    rules::{Bypass, Finding, Rule, Thresholds},
};
use proptest::{prelude::*, test_runner::TestRunner};

use crate::{
    deeds::{Deed, deeds},
    house::{House, contents, file, filer, id, read, same_contents, trip},
    writing::hold,
};

/// What is really handed over, with what it must come after.
#[derive(Clone, Debug)]
enum Step {
    Report(Box<Report>),
    Amend(Box<Amendment>, Role),
    Shop(Body),
    Figures(Body),
}

/// The deeds as steps, each with the places of those it must follow.
fn steps(deeds: &[Deed]) -> Vec<(Step, Vec<usize>)> {
    let mut entries: Vec<(usize, ReportId, SignIn, EntryId)> = Vec::new();
    for (place, deed) in deeds.iter().enumerate() {
        if let Deed::Report(report) = deed {
            entries.extend(report.entries.iter().map(|e| (place, report.id, report.author.clone(), e.id)));
        }
    }
    let mut steps: Vec<(Step, Vec<usize>)> = Vec::new();
    // The shop's acts are one after the other; so are corrections of one entry.
    let (mut last_of_shop, mut last_amended) = (None, BTreeMap::new());
    let mut later = Vec::new();
    let mut place_of = BTreeMap::new();
    for (place, deed) in deeds.iter().enumerate() {
        if let Deed::Report(report) = deed {
            place_of.insert(place, steps.len());
            steps.push((Step::Report(report.clone()), Vec::new()));
        } else {
            later.push((place, deed));
        }
    }
    for (place, deed) in later {
        if let Deed::Amend { of, by_shop, replacement } = deed {
            if entries.is_empty() {
                continue;
            }
            let (report_place, report, author, entry) = entries[of.index(entries.len())].clone();
            let mut after = vec![place_of[&report_place]];
            after.extend(last_amended.insert(entry, steps.len()));
            let (author, role) =
                if *by_shop { (SignIn::from("sam"), Role::Shop) } else { (author, Role::Crew) };
            let amendment = Amendment {
                id: AmendmentId(uuid::Uuid::from_u64_pair(place as u64, 2)),
                report,
                entry,
                author,
                at: Stamp::parse("2026-05-20T12:00:00Z").unwrap(),
                reason: "as it really was".into(),
                replacement: replacement.as_deref().map(|r| Entry { id: entry, ..r.clone() }),
            };
            steps.push((Step::Amend(Box::new(amendment), role), after));
            continue;
        }
        let ids: Vec<EntryId> = entries.iter().map(|(.., id)| *id).collect();
        for body in shop(deed, place, &ids) {
            let after = last_of_shop.replace(steps.len()).into_iter().collect();
            steps.push((Step::Shop(body), after));
        }
    }
    steps
}

fn shop(deed: &Deed, place: usize, entries: &[EntryId]) -> Vec<Body> {
    match deed.clone() {
        Deed::Hold { unit, at, stored } => {
            let reason = if stored { HoldReason::Stored } else { HoldReason::Repair };
            vec![Body::UnitHeld(Box::new(Hold { unit, at, reason, words: None }))]
        }
        Deed::Release { unit, at } => {
            let how = [None, Some(ReleaseHow::Restricted), Some(ReleaseHow::DeadForRepair)][place % 3];
            let restrictions = how.map(|_| "trail only".to_owned());
            let release = Release { unit, at, words: None, how, restrictions, checked: None };
            vec![Body::UnitReleased(Box::new(release))]
        }
        Deed::Repair { unit, device, at, new_life, from, swapped } => {
            let (swapped_with, used_from) = if swapped { (from, None) } else { (None, from) };
            let id = uuid::Uuid::from_u64_pair(place as u64, 3);
            let of_it = RepairOf { id, unit, device, at, new_life, used_from, swapped_with };
            repair(of_it, place, entries)
        }
        Deed::Report(_) | Deed::Amend { .. } => Vec::new(),
    }
}

struct RepairOf {
    id: uuid::Uuid,
    unit: UnitName,
    device: Option<Tag>,
    at: Instant,
    new_life: bool,
    used_from: Option<UnitName>,
    swapped_with: Option<UnitName>,
}

/// A repair, now of one thing and now of several, with everything that the shop can sign about one.
fn repair(of: RepairOf, place: usize, entries: &[EntryId]) -> Vec<Body> {
    let RepairOf { id, unit, device, at, new_life, used_from, swapped_with } = of;
    let more: [&[Option<&str>]; 4] = [&[], &[Some("HL")], &[None], &[Some("engine_start"), None]];
    let more = more[place % 4].iter().map(|also| also.map(Tag::from));
    let also: Vec<Option<Tag>> = more.filter(|also| *also != device).collect();
    let named = |n: usize| place.is_multiple_of(3) && n.is_multiple_of(2);
    let named: Vec<EntryId> =
        entries.iter().enumerate().filter(|(n, _)| named(*n)).map(|(_, id)| *id).collect();
    let opened = RepairOpened {
        id,
        unit: unit.clone(),
        device: device.clone(),
        at,
        findings: vec![],
        also: also.clone(),
        entries: named,
        words: None,
    };
    let worked = RepairWorked { id, step: id, at, words: "looked".into(), parts: None };
    let closed = RepairClosed {
        id,
        at,
        cause: "not known".into(),
        words: None,
        new_life,
        used_from,
        swapped_with,
        also_new: also.into_iter().flatten().take(place % 2).collect(),
        parts: None,
    };
    let amended = RepairAmended {
        id,
        amendment: id,
        at,
        reason: "seen later".into(),
        cause: "no fault found".into(),
        words: None,
        parts: None,
        new_life: !new_life,
    };
    let aside =
        SetAside { rule: Rule::Burst, unit, device, until: at.plus(90 * DAY), reason: "known".into() };
    let mut bodies = vec![
        Body::RepairOpened(Box::new(opened)),
        Body::RepairWorked(Box::new(worked)),
        Body::RepairClosed(Box::new(closed)),
        Body::CauseListed(Box::new(CauseListed {
            cause: format!("Cause {}", place % 3),
            listed: place.is_multiple_of(2),
        })),
        Body::FindingSetAside(Box::new(aside)),
    ];
    if place.is_multiple_of(2) {
        bodies.insert(3, Body::RepairAmended(Box::new(amended)));
    }
    bodies
}

/// Shuffled by the keys, but nothing before what it must follow.
fn shuffled(steps: &[(Step, Vec<usize>)], keys: &[(u16, bool)]) -> Vec<usize> {
    let mut place: Vec<(u32, usize)> = Vec::new();
    for (n, (_, after)) in steps.iter().enumerate() {
        let own = u32::from(keys[n % keys.len()].0) * 1000;
        let least = after.iter().map(|before| place[*before].0 + 1).max().unwrap_or(0);
        place.push((own.max(least), n));
    }
    place.sort();
    place.into_iter().map(|(_, n)| n).collect()
}

enum Answer {
    Receipt(Pending<breakerbook::desk::reports::Receipt>),
    Filed(Pending<Option<breakerbook::desk::Filed>>),
}

fn hand_over(desk: &Desk, step: &Step) -> Answer {
    let world = desk.world();
    let now = desk.clock().now();
    match step {
        Step::Report(report) => {
            let report = serde_json::to_vec(&**report).unwrap();
            let author = SignIn::from(
                serde_json::from_slice::<serde_json::Value>(&report).unwrap()["author"].as_str().unwrap(),
            );
            let act = FileReport::read(&report, &filer(author.as_str(), Channel::Token), &world, now);
            Answer::Receipt(desk.hand_over(act.unwrap_or_else(|why| panic!("{why:?}")), None).unwrap())
        }
        Step::Amend(amendment, role) => {
            let permit =
                world.people.person(&amendment.author).unwrap().permit(people::Act::AmendEntry).unwrap();
            let act = AmendEntry::of((**amendment).clone(), &permit, *role, Channel::Page);
            Answer::Filed(desk.hand_over(act, None).unwrap())
        }
        Step::Shop(body) => Answer::Filed(
            desk.hand_over(ShopAct::of(body.clone(), Some("sam".into()), Channel::Page, now), None).unwrap(),
        ),
        Step::Figures(body) => Answer::Filed(
            desk.hand_over(ShopAct::of(body.clone(), None, Channel::Console, now), None).unwrap(),
        ),
    }
}

async fn settle(answer: Answer) {
    match answer {
        Answer::Receipt(pending) => assert!(done(pending).await.is_new),
        Answer::Filed(pending) => assert!(done(pending).await.is_some()),
    }
}

async fn done<T>(pending: Pending<T>) -> T {
    pending.answer().await.unwrap_or_else(|why: Refused| panic!("refused: {} ({why:?})", why.says()))
}

async fn one_by_one(desk: &Desk, steps: impl Iterator<Item = &Step>) {
    for step in steps {
        settle(hand_over(desk, step)).await;
    }
}

/// The figures as the whole book gives them, for every order alike.
async fn figures(desk: &Desk, as_of: Instant) -> Body {
    TakeFigures::prepare(desk, as_of).await.unwrap().pages()[0].body.clone()
}

/// Settings under which a handful of operations is enough for every rule to speak.
pub(crate) fn eager() -> Body {
    let changes = [
        ("burst_chance", 1.0),
        ("burst_ratio", 2.0),
        ("burst_at_least", 2.0),
        ("often_at_least", 2.0),
        ("often_ratio", 1.1),
        ("often_certainty", 0.5),
        ("worsening_at_least", 4.0),
        ("worsening_z", 0.5),
        ("worsening_tail", 0.5),
        ("worsening_discovery", 0.5),
        ("returned_chance", 0.5),
        ("returned_tail", 0.5),
        ("proving_chance", 0.5),
        ("class_wide_ratio", 1.1),
        ("class_wide_units", 2.0),
        ("class_wide_discovery", 0.5),
        ("wet_at_least", 3.0),
        ("wet_chance", 0.5),
        ("wet_ratio", 1.1),
        ("shared_devices", 2.0),
        ("shared_minutes", 60.0),
        ("consist_minutes", 60.0),
        ("shared_chance", 10.0),
        ("quiet_days", 7.0),
        ("starts_at_least", 4.0),
    ];
    let known = Thresholds::default();
    let change = |(setting, new): (&str, f64)| Change {
        setting: setting.into(),
        old: known.get(setting).unwrap(),
        new,
    };
    let changes = changes.into_iter().map(change).collect();
    Body::ThresholdsChanged(Box::new(ThresholdsChanged { changes, reason: "to hear every rule".into() }))
}

/// A page of the shop's, or the program's own, filed now.
pub(crate) async fn act_of_shop(desk: &Desk, body: Body) {
    let now = desk.clock().now();
    desk.act(ShopAct::of(body, Some("sam".into()), Channel::Page, now)).await.unwrap();
}

pub async fn findings_and_bypasses(desk: &Desk) -> (Vec<Finding>, Vec<Bypass>) {
    let mut db = desk.read().await.unwrap();
    let read = async |db: &mut sqlx::SqliteConnection, sql: &'static str| -> Vec<String> {
        sqlx::query_scalar(sql).fetch_all(db).await.unwrap()
    };
    let findings = read(&mut db, "SELECT data FROM finding ORDER BY key").await;
    let bypasses = read(&mut db, "SELECT data FROM bypass ORDER BY unit, begins, id, device").await;
    (
        findings.iter().map(|data| serde_json::from_str(data).unwrap()).collect(),
        bypasses.iter().map(|data| serde_json::from_str(data).unwrap()).collect(),
    )
}

/// What is kept after every deed is what judging everything at once makes of it.
pub(crate) async fn equals_the_batch(desk: &Desk) {
    let (findings, bypasses) = findings_and_bypasses(desk).await;
    let mut db = desk.read().await.unwrap();
    let all = history::whole(&mut db, &desk.world()).await.unwrap();
    let mut judged = judge_batch(&desk.world(), &all.units, &all.dossiers, &all.runs);
    judged.findings.sort_by(|a, b| a.key.cmp(&b.key));
    judged.bypasses.sort_by_key(|b| (b.unit.clone(), b.begins(), b.id, b.device.clone()));
    // As they come back from the file.
    let again: Vec<Finding> = judged
        .findings
        .iter()
        .map(|f| serde_json::from_str(&serde_json::to_string(f).unwrap()).unwrap())
        .collect();
    assert_eq!(findings, again, "kept (left) against judged at once (right)");
    assert_eq!(bypasses, judged.bypasses, "kept (left) against judged at once (right)");
}

/// Rules that had something to say in any case.
static HEARD: Mutex<BTreeSet<&str>> = Mutex::new(BTreeSet::new());

async fn holds(deeds: Vec<Deed>, keys: Vec<(u16, bool)>) {
    let steps = steps(&deeds);
    let in_order = House::new().await;
    let desk = in_order.desk().await;
    let mut order: Vec<usize> = (0..steps.len()).collect();
    let when =
        |n: &usize| if let Step::Report(report) = &steps[*n].0 { report.signed_at.at.0 } else { i64::MAX };
    order.sort_by_key(|n| (when(n), *n));
    one_by_one(&desk, order.iter().map(|n| &steps[*n].0)).await;
    let now = desk.clock().now();
    let taken = Step::Figures(figures(&desk, now).await);
    let eager = Step::Shop(eager());
    one_by_one(&desk, [&eager, &taken].into_iter()).await;
    equals_the_batch(&desk).await;

    let out_of_order = House::new().await;
    let other = out_of_order.desk().await;
    let mut order: Vec<&Step> = shuffled(&steps, &keys).into_iter().map(|n| &steps[n].0).collect();
    order.insert(usize::from(keys[0].0) % (order.len() + 1), &taken);
    order.insert(usize::from(keys[1].0) % (order.len() + 1), &eager);
    let mut group = Vec::new();
    for (n, step) in order.iter().enumerate() {
        group.push(*step);
        if keys[n % keys.len()].1 || n + 1 == order.len() {
            let gate = hold(&other).await;
            let answers: Vec<Answer> = group.drain(..).map(|step| hand_over(&other, step)).collect();
            gate.open().await;
            for answer in answers {
                settle(answer).await;
            }
        }
    }
    equals_the_batch(&other).await;
    let (found, _) = findings_and_bypasses(&desk).await;
    HEARD.lock().unwrap().extend(found.iter().map(|f| f.rule.as_str()));
    let (mut left, mut right) = (desk.read().await.unwrap(), other.read().await.unwrap());
    same_contents(
        &contents(&mut left).await,
        &contents(&mut right).await,
        "in order (left), out of order and in groups (right)",
    );
    drop((left, right));
    out_of_order.is_clean().await;
    refreshed(&desk, &other, now.plus(35 * DAY)).await;
    out_of_order.is_clean().await;
    in_order.is_clean().await;
}

/// Figures of the next month, taken by each book from what it holds itself.
async fn refreshed(desk: &Desk, other: &Desk, as_of: Instant) {
    for desk in [desk, other] {
        desk.act(TakeFigures::prepare(desk, as_of).await.unwrap()).await.unwrap();
        equals_the_batch(desk).await;
    }
    let (mut left, mut right) = (desk.read().await.unwrap(), other.read().await.unwrap());
    let after = "in order (left), out of order and in groups (right), after a refresh";
    same_contents(&contents(&mut left).await, &contents(&mut right).await, after);
}

/// How many cases: `BREAKERBOOK_ORDER_CASES=10000` for a long run.
fn cases() -> u32 {
    std::env::var("BREAKERBOOK_ORDER_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(500)
}

#[test]
fn any_order_and_grouping_ends_in_the_same() {
    let config = ProptestConfig {
        cases: cases(),
        max_shrink_iters: 300,
        failure_persistence: None,
        ..ProptestConfig::default()
    };
    let case = |(deeds, keys)| {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(holds(deeds, keys));
        Ok(())
    };
    TestRunner::new(config).run(&deeds(), case).unwrap_or_else(|why| panic!("{why}"));
    let heard = HEARD.lock().unwrap();
    println!("{} cases; rules that spoke: {heard:?}", cases());
    for rule in
        ["burst", "often", "did_not_hold", "proving", "held", "kept_tripping", "reported", "still_open"]
    {
        assert!(heard.contains(rule), "{rule} never had anything to say: the property says nothing about it");
    }
}

/// The small class's schedule as it would be without a computer that must stay on.
fn nothing_must_stay_on(desk: &Desk, effective: &str) -> IssueSchedules {
    let mut schedule = desk.world().roster.classes[&ClassName::from("T2")].latest().unwrap().clone();
    schedule.effective = Instant::parse(effective).unwrap();
    schedule.devices.iter_mut().for_each(|device| device.keep_on_running = false);
    IssueSchedules::of(vec![schedule], None, Channel::Import)
}

fn seen_off(n: u64, unit: &str) -> serde_json::Value {
    let mut report = trip(n, 30);
    report["unit"] = unit.into();
    let at = report["entries"][0]["at"].clone();
    report["entries"] = serde_json::json!([
        {"id": report["entries"][0]["id"], "kind": "position", "at": at, "device": "EC", "seen": "off", "throttle": "run_4"},
    ]);
    report
}

/// The roster catches up with a unit in the very group that reports about it again: its earlier history stays.
#[tokio::test]
async fn a_unit_added_together_with_a_report_keeps_its_history() {
    let house = House::new().await;
    let desk = house.desk().await;
    let mut start = seen_off(1, "QHB 9");
    start["entries"] = serde_json::json!([{"id": id(7), "kind": "defect", "at": start["signed_at"], "may_go_on": "no", "text": "smells burnt"}]);
    file(&desk, &start, "ann", Channel::Token).await.unwrap();
    let card =
        UnitCard { unit: "QHB 9".into(), ..desk.world().roster.unit(&"QHB 1".into()).unwrap().clone() };
    let gate = hold(&desk).await;
    let added = desk.hand_over(KeepUnits::of(vec![card], |_| false, None, Channel::Import), None).unwrap();
    let report =
        desk.hand_over(read(&desk, &seen_off(2, "QHB 9"), "ann", Channel::Token).unwrap(), None).unwrap();
    gate.open().await;
    added.answer().await.unwrap();
    report.answer().await.unwrap();
    equals_the_batch(&desk).await;
    let (findings, _) = findings_and_bypasses(&desk).await;
    let rules: Vec<_> = findings.iter().map(|f| f.rule.as_str()).collect();
    assert!(rules.contains(&"reported") && rules.contains(&"must_stay_on"), "{rules:?}");
    house.is_clean().await;
}

/// Where an entry was put by the schedule of its day, from there it is taken when it is amended.
#[tokio::test]
async fn an_amendment_after_a_new_schedule_leaves_nothing_behind() {
    let house = House::new().await;
    let desk = house.desk().await;
    let report = seen_off(1, "QHB 1");
    file(&desk, &report, "ann", Channel::Token).await.unwrap();
    let rules =
        async || findings_and_bypasses(&desk).await.0.iter().map(|f| f.rule.as_str()).collect::<Vec<_>>();
    assert!(rules().await.contains(&"must_stay_on"), "{:?}", rules().await);
    desk.act(nothing_must_stay_on(&desk, "2026-02-01T00:00:00Z")).await.unwrap();
    let amendment = serde_json::json!({"id": id(3), "report": report["id"], "entry": report["entries"][0]["id"], "author": "ann",
        "at": "2026-03-20T00:00:00Z", "reason": "wrong unit", "replacement": null});
    let amendment = breakerbook::reports::stored::amendment(&amendment.to_string()).unwrap();
    settle(hand_over(&desk, &Step::Amend(Box::new(amendment), Role::Crew))).await;
    // Back to a schedule by which it would count again, were it still there.
    let mut old = desk.world().roster.classes[&ClassName::from("T2")].schedules[0].as_ref().clone();
    old.effective = Instant::parse("2026-02-02T00:00:00Z").unwrap();
    desk.act(IssueSchedules::of(vec![old], None, Channel::Import)).await.unwrap();
    assert_eq!(rules().await, [""; 0]);
    equals_the_batch(&desk).await;
    house.is_clean().await;
}

/// A cutout opened for a repair, and two who told that it was to keep moving and took it back: whose report came in
/// first leaves no trace.
#[tokio::test]
async fn withdrawn_versions_do_not_tell_whose_report_came_first() {
    let told = |n: u64, hour: u32, mut entry: serde_json::Value| {
        let mut report = trip(n, hour);
        entry["id"] = id(n + 100).into();
        entry["device"] = "GRC".into();
        entry["opened_at"] = report["entries"][0]["at"].clone();
        report["entries"] = serde_json::json!([entry]);
        report
    };
    let reports = [
        told(1, 4, serde_json::json!({"kind": "bypass", "by": "sam", "purpose": "repair"})),
        told(2, 5, serde_json::json!({"kind": "bypass", "by": "sam", "purpose": "to_keep_moving"})),
        told(3, 6, serde_json::json!({"kind": "bypass", "by": "sam", "purpose": "to_keep_moving"})),
    ];
    let mut books = Vec::new();
    for order in [[0, 1, 2], [0, 2, 1]] {
        let house = House::new().await;
        let desk = house.desk().await;
        for n in order {
            file(&desk, &reports[n], "ann", Channel::Token).await.unwrap();
        }
        for (n, report) in reports.iter().enumerate().skip(1) {
            let amendment = serde_json::json!({"id": id(200 + n as u64), "report": report["id"], "entry": report["entries"][0]["id"],
                "author": "ann", "at": "2026-03-20T00:00:00Z", "reason": "it was not so", "replacement": null});
            let amendment = breakerbook::reports::stored::amendment(&amendment.to_string()).unwrap();
            settle(hand_over(&desk, &Step::Amend(Box::new(amendment), Role::Crew))).await;
        }
        let mut db = desk.read().await.unwrap();
        books.push(contents(&mut db).await);
        drop(db);
        house.is_clean().await;
    }
    let twice = books[0]["finding"]
        .iter()
        .filter(|line| line.starts_with("key=no_purpose") && line.contains("Withdrawn"))
        .count();
    assert_eq!(twice, 2, "{:#?}", books[0]["finding"]);
    same_contents(&books[0], &books[1], "one first (left), the other first (right)");
}

/// Somebody opened another switch than they first wrote: the correction is taken, and both stand on the register.
#[tokio::test]
async fn an_opening_moved_to_another_device_by_amendment() {
    let house = House::new().await;
    let desk = house.desk().await;
    let mut report = trip(1, 5);
    let at = report["signed_at"].clone();
    report["entries"] =
        serde_json::json!([{"id": id(101), "kind": "bypass", "opened_at": at, "device": "GRC", "by": "sam"}]);
    file(&desk, &report, "ann", Channel::Token).await.unwrap();
    for (n, device) in [
        serde_json::json!({"not_listed": "ground cutout"}),
        "GRC".into(),
        serde_json::json!({"not_listed": "test switch"}),
    ]
    .into_iter()
    .enumerate()
    {
        let mut entry = report["entries"][0].clone();
        entry["device"] = device;
        let amendment = serde_json::json!({"id": id(200 + n as u64), "report": report["id"], "entry": entry["id"],
            "author": "ann", "at": "2026-03-20T00:00:00Z", "reason": "it was the other one", "replacement": entry});
        let amendment = breakerbook::reports::stored::amendment(&amendment.to_string()).unwrap();
        settle(hand_over(&desk, &Step::Amend(Box::new(amendment), Role::Crew))).await;
        equals_the_batch(&desk).await;
        house.is_clean().await;
    }
    let (_, register) = findings_and_bypasses(&desk).await;
    let mut lines: Vec<(&str, bool)> = register.iter().map(|b| (b.device.as_str(), b.withdrawn)).collect();
    lines.sort_unstable();
    assert_eq!(
        lines,
        [("GRC", true), ("not listed: GROUND CUTOUT", true), ("not listed: TEST SWITCH", false)]
    );
    // Whoever follows the entry is shown what is told now, and nobody with a hand in either reviews it.
    let mut db = desk.read().await.unwrap();
    let line =
        breakerbook::oversight::store::by_id(&mut db, id(101).parse().unwrap()).await.unwrap().unwrap();
    assert!(!line.bypass.withdrawn);
}
