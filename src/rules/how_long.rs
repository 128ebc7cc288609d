//! How long judging takes, printed when asked for.
use super::{
    Dossier, Fact,
    dossier::Subject,
    properties::{BEGIN, days_of, judged, railway},
    sample::{at, position, trip_with},
    service_days::DaySet,
};
use crate::{
    base::{Day, instant::DAY},
    reports::vocabulary::Left,
};

/// Not a check but a figure: `cargo test --lib rules -- --ignored --nocapture how_long`.
#[test]
#[ignore = "prints a duration"]
fn how_long_one_judgement_takes() {
    let railway = railway();
    let trips: Vec<Fact> = (0..20)
        .map(|i| Fact { at: at(BEGIN).plus(i * 20 * DAY), ..trip_with(BEGIN, "D1", vec![], Left::On) })
        .collect();
    let burst: Vec<Fact> = (0..20)
        .map(|i| Fact { at: at(BEGIN).plus(i * DAY), ..trip_with(BEGIN, "D1", vec![], Left::On) })
        .collect();
    let heard_of: DaySet = (20_000..21_500).map(Day).collect();
    let days = days_of(&heard_of, &railway);
    for (name, facts) in [("20 facts, nothing found", trips), ("20 facts, a burst", burst)] {
        let dossier = Dossier::of(facts);
        let begun = std::time::Instant::now();
        let found: usize = (0..10_000)
            .map(|_| judged(&railway, &Subject::Device("D1".into()), &dossier, &days, &[]).findings.len())
            .sum();
        println!("{name}: {:?} each, {found} findings", begun.elapsed() / 10_000);
    }
    let reports: DaySet = (17_000..20_650).map(Day).collect();
    let begun = std::time::Instant::now();
    for _ in 0..10_000 {
        std::hint::black_box(days_of(&reports, &railway));
    }
    println!("service days of ten years: {:?}", begun.elapsed() / 10_000);
    let begin = at(BEGIN);
    let begun = std::time::Instant::now();
    for i in 0..10_000 {
        std::hint::black_box(railway.zone.start_of(Day(20_500 + std::hint::black_box(i) % 300)));
    }
    println!("start of a day: {:?}", begun.elapsed() / 10_000);
    let begun = std::time::Instant::now();
    for i in 0..10_000 {
        std::hint::black_box(railway.zone.day_of(begin.plus(std::hint::black_box(i) * DAY)));
    }
    println!("a day in the zone: {:?}", begun.elapsed() / 10_000);
    let begun = std::time::Instant::now();
    for i in 0..10_000 {
        std::hint::black_box(super::statistics::gamma_quantile(0.8, f64::from(i % 100 + 6)));
    }
    println!("a gamma quantile: {:?}", begun.elapsed() / 10_000);
    let positions =
        (0..3_000).map(|i| Fact { at: begin.plus(i * DAY), ..position(BEGIN, "D1", "closed", None) });
    let ground_protection = Dossier::of(positions.collect());
    let begun = std::time::Instant::now();
    for _ in 0..100 {
        std::hint::black_box(judged(&railway, &Subject::GroundProtection, &ground_protection, &days, &[]));
    }
    println!("3,000 times seen closed: {:?}", begun.elapsed() / 100);
    let packed = postcard::to_stdvec(&ground_protection).unwrap();
    let begun = std::time::Instant::now();
    for _ in 0..100 {
        std::hint::black_box(postcard::from_bytes::<Dossier>(&packed).unwrap());
    }
    println!("unpacking them, {} bytes: {:?}", packed.len(), begun.elapsed() / 100);
}
