//! What became of a repair: on trial until silence proves it, held, or it did not hold.
use sqlx::SqliteConnection;

use crate::{
    base::{Day, Instant, Tag},
    desk::{World, history},
    rules::{Finding, Rule, service_days::ServiceDays, store::by_key},
    shop::Repair,
};

/// For one device that a repair is of.
#[derive(Clone, Debug)]
pub struct Proof {
    pub of: String,
    /// `on trial`, `held`, `did not hold`, `no proof`.
    pub word: &'static str,
    pub says: String,
    /// When silence proves it, in a sentence; empty where it cannot, or has.
    pub day: String,
}

/// Nothing for a repair that is open.
pub async fn proofs(
    db: &mut SqliteConnection,
    world: &World,
    repair: &Repair,
    now: Instant,
) -> Result<Vec<Proof>, sqlx::Error> {
    let Some(closed) = repair.closed_at else { return Ok(Vec::new()) };
    let mut all = Vec::new();
    for device in repair.subjects().flatten() {
        let key = |rule: Rule| format!("{rule}:{}:{device}:{}", repair.unit, closed.to_z());
        let of = super::of_what(Some(device), &repair.unit, closed, world);
        let returned = by_key(db, &key(Rule::DidNotHold)).await?.filter(|f| f.since <= now);
        let held = by_key(db, &key(Rule::Held)).await?.filter(|f| f.since <= now);
        let proof = match (returned, held, by_key(db, &key(Rule::Proving)).await?) {
            (Some(returned), ..) => {
                let mut proof = Proof::said(of, "did not hold", &returned);
                if repair.replaced(device) {
                    proof.says.push_str(" The device is another one since, and its old fault is back: look beyond the device itself.");
                }
                proof
            }
            (None, Some(held), _) => Proof::said(of, "held", &held),
            (None, None, Some(trial)) if trial.open_at(now) => {
                let day = earliest(db, world, repair, closed, &trial, now).await?;
                Proof { day, ..Proof::said(of, "on trial", &trial) }
            }
            (None, None, Some(trial)) => {
                let ended = trial.until.map(|at| {
                    format!(" Operated or was repaired again {}.", world.railway.zone.in_words(at))
                });
                let says = format!("{}{}", trial.sentence, ended.unwrap_or_default());
                Proof { of, word: "no proof", says, day: String::new() }
            }
            (None, None, None) => nothing_to_prove(of, device, world),
        };
        all.push(proof);
    }
    Ok(all)
}

impl Proof {
    fn said(of: String, word: &'static str, finding: &Finding) -> Self {
        Self { of, word, says: finding.sentence.clone(), day: String::new() }
    }
}

fn nothing_to_prove(of: String, device: &Tag, world: &World) -> Proof {
    let says = if world.figures.is_none() {
        "No class figures are taken yet, so nobody can say what its silence would prove."
    } else if device.as_str().starts_with("not listed") {
        "It is on no schedule: there are no sister units to reckon by."
    } else {
        "It answered nothing that silence could prove: nothing counted happened in the year before it, or too little is known of this device."
    };
    Proof { of, word: "no proof", says: says.to_owned(), day: String::new() }
}

/// The day from which silence proves it, if the unit serves every day until then.
async fn earliest(
    db: &mut SqliteConnection,
    world: &World,
    repair: &Repair,
    closed: Instant,
    trial: &Finding,
    now: Instant,
) -> Result<String, sqlx::Error> {
    let days =
        trial.figures.get("days_of_silence").and_then(serde_json::Value::as_f64).unwrap_or(f64::INFINITY);
    if days > world.thresholds.proving_days {
        return Ok(String::new());
    }
    let zone = &world.railway.zone;
    let history = history::of_unit(db, &repair.unit).await?;
    let served = ServiceDays::of(world.roster.unit(&repair.unit), &history.days, &history.holds, zone);
    let (from, today) = (zone.day_of(closed), zone.day_of(now));
    #[expect(clippy::cast_possible_truncation, reason = "at most the setting's 3,650")]
    let needed = days.ceil().max(1.0) as i64;
    let day = proved_on(&served, from, today, needed);
    Ok(format!(
        "Silence proves it on {} at the earliest: if the unit is in service and reported on until then, and nothing of this happens. Days held or without reports come on top.",
        day.in_words()
    ))
}

/// The day after the last of the service days it takes, those to come counted as served.
fn proved_on(served: &ServiceDays, from: Day, today: Day, needed: i64) -> Day {
    if let Some(known) = served.nth_after(from, needed).filter(|day| *day <= today) {
        return known.plus(1);
    }
    let so_far = served.between(from, today);
    today.plus(i32::try_from(needed - so_far).unwrap_or(i32::MAX / 2)).plus(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::Zone;
    use crate::roster::UnitCard;

    #[test]
    fn the_day_counts_what_was_served_and_takes_the_rest_for_served() {
        let day = |text| Day::parse(text).unwrap();
        let card = UnitCard {
            unit: "QHB 412".into(),
            class: "HB6".into(),
            in_service: day("2020-01-01"),
            retired: None,
            home_shop: None,
        };
        let zone = Zone::named("America/Chicago").unwrap();
        let reports = [day("2026-03-01")].into_iter().collect();
        let served = ServiceDays::of(Some(&card), &reports, &[], &zone);
        // Reported on until 14 March: of the 20 days that it takes from the 3rd, 11 were served by the 20th.
        assert_eq!(proved_on(&served, day("2026-03-03"), day("2026-03-20"), 20), day("2026-03-30"));
        assert_eq!(proved_on(&served, day("2026-03-03"), day("2026-03-03"), 5), day("2026-03-09"));
        // The rules say the same once the days are known.
        assert_eq!(proved_on(&served, day("2026-03-03"), day("2026-03-20"), 5), day("2026-03-09"));
    }
}
