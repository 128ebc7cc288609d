//! No number that is none, whatever the figures and settings are.
use breakerbook::{
    base::{Instant, instant::DAY},
    desk::{
        Desk,
        body::{Body, RepairClosed, RepairOpened},
        figures::TakeFigures,
        history,
        judge::judge_batch,
    },
    rules::{ClassFigures, Thresholds, class_wide, thresholds::SETTINGS},
};
use proptest::{prelude::*, sample::select, test_runner::TestRunner};
use serde_json::{Value, json};

use super::{FLEET, day, file_all, lines, one_bad_unit, sound, told};
use crate::{
    house::{House, id},
    order::{act_of_shop, eager},
};

/// Figures as no honest book would have them: each number replaced by one of these.
fn figures_of(real: &Value, picks: &[usize]) -> ClassFigures {
    const COUNTS: [u64; 6] = [0, 1, 4, 5, 40, 400_000_000];
    const DAYS: [i64; 5] = [0, 1, 30, 365, 4_000_000_000];
    let mut picks = picks.iter().cycle().copied();
    let mut pick = |of: usize| picks.next().unwrap_or(0) % of;
    let mut figures = real.clone();
    for device in figures["devices"].as_array_mut().unwrap() {
        let mut total = 0;
        for count in device["occurrences"].as_object_mut().unwrap().values_mut() {
            let n = COUNTS[pick(COUNTS.len())];
            total += n;
            *count = n.into();
        }
        device["total"] = total.into();
    }
    for days in figures["unit_days"].as_object_mut().unwrap().values_mut() {
        *days = DAYS[pick(DAYS.len())].into();
    }
    for class in figures["class_days"].as_object_mut().unwrap().values_mut() {
        let days = DAYS[pick(DAYS.len())];
        *class = json!({"days": days, "units": pick(12), "squares": days.saturating_mul(365)});
    }
    for row in figures["cranking"].as_array_mut().into_iter().flatten() {
        row["volts"] = [0.0, 1e-300, 60.0, 1e300][pick(4)].into();
        row["units"] = pick(12).into();
    }
    figures["repairs"] = COUNTS[pick(COUNTS.len())].into();
    serde_json::from_value(figures).unwrap()
}

/// Every setting at its default or at one of its bounds.
fn settings_of(picks: &[usize]) -> Thresholds {
    let mut set = Thresholds::default();
    for (setting, pick) in SETTINGS.iter().zip(picks.iter().cycle()) {
        set.set(setting.name, [setting.default, setting.least, setting.most][pick % 3]).unwrap();
    }
    set
}

/// One bad unit among nine, repaired once; relays in rain, and starts.
async fn eventful(desk: &Desk) {
    one_bad_unit(desk).await;
    for n in 0..14_u32 {
        let mut report = told(80_000 + u64::from(n), FLEET[n as usize % 2], &day(3 * n as i32), &[]);
        let (at, rains) = (report["signed_at"].clone(), n % 4 < 2);
        let outcome = if n % 4 == 0 { "no_crank" } else { "running" };
        let mut entries = vec![
            json!({"id": id(8_200_000 + u64::from(n)), "kind": "engine_start", "at": at, "motors": "electric",
            "battery_cranking_v": 60.0 - f64::from(n), "outcome": outcome}),
        ];
        if rains {
            entries.push(
                json!({"id": id(8_100_000 + u64::from(n)), "kind": "ground_relay", "at": at, "operations": 2}),
            );
        }
        report["weather"] = if rains { "rain" } else { "dry" }.into();
        report["entries"] = entries.into();
        file_all(desk, &[report]).await;
    }
    file_all(desk, &[told(85_000, "QHB 1", &day(95), &[("10:01", "TC1"), ("10:02", "HL"), ("10:03", "AL")])])
        .await;
    let id = uuid::Uuid::from_u64_pair(4, 4);
    let at = Instant::parse(&format!("{}T18:00:00Z", day(75))).unwrap();
    let opened = RepairOpened {
        id,
        unit: "QHB 1".into(),
        device: Some("TC1".into()),
        at,
        findings: vec![],
        also: vec![],
        entries: vec![],
        words: None,
    };
    let (cause, words, used_from, swapped_with) = ("not known".into(), None, None, None);
    let closed = RepairClosed {
        id,
        at,
        cause,
        words,
        new_life: false,
        used_from,
        swapped_with,
        also_new: vec![],
        parts: None,
    };
    act_of_shop(desk, Body::RepairOpened(Box::new(opened))).await;
    act_of_shop(desk, Body::RepairClosed(Box::new(closed))).await;
    act_of_shop(desk, eager()).await;
    desk.act(TakeFigures::prepare(desk, desk.clock().now().plus(DAY)).await.unwrap()).await.unwrap();
}

#[test]
fn whatever_the_figures_no_number_is_none() {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let (world, all, real) = runtime.block_on(async {
        let house = House::new().await;
        let desk = house.desk().await;
        eventful(&desk).await;
        lines(&desk).await;
        let mut db = desk.read().await.unwrap();
        let all = history::whole(&mut db, &desk.world()).await.unwrap();
        let world = desk.world();
        let real = serde_json::to_value(world.figures.as_deref().unwrap()).unwrap();
        ((*world).clone(), all, real)
    });
    let cases = std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok()).unwrap_or(300);
    let config = ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() };
    let mut heard = std::collections::BTreeSet::new();
    let heard_in = std::sync::Mutex::new(&mut heard);
    let picks = || proptest::collection::vec(select((0..60).collect::<Vec<usize>>()), 40..60);
    let case = |(figures, settings, is_default): (Vec<usize>, Vec<usize>, bool)| {
        let mut world = world.clone();
        if !is_default {
            world.thresholds = settings_of(&settings);
        }
        let mut figures = figures_of(&real, &figures);
        let lists = class_wide::list(&world.thresholds, &figures, &[]);
        figures.monthly.as_mut().unwrap().class_wide = lists;
        world.figures = Some(std::sync::Arc::new(figures));
        let judged = judge_batch(&world, &all.units, &all.dossiers, &all.runs);
        judged.findings.iter().for_each(sound);
        heard_in.lock().unwrap().extend(judged.findings.iter().map(|f| f.rule.as_str()));
        Ok(())
    };
    TestRunner::new(config)
        .run(&(picks(), picks(), any::<bool>()), case)
        .unwrap_or_else(|why| panic!("{why}"));
    println!("{cases} cases; rules that spoke: {heard:?}");
    for rule in ["burst", "often", "did_not_hold", "proving", "wet", "shared_cause", "starting_weakens"] {
        assert!(heard.contains(rule), "{rule} never spoke: the property says nothing about it");
    }
}
