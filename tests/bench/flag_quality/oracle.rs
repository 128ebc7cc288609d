//! Shiryaev-Roberts: the summed likelihood ratios of 'it jumped on that day' over all days so far, against 'it did
//! not'. It knows the class's true rate, how units differ, and the size of the jump; not the unit's own rate. Any pair
//! may jump on any day with the same small chance, so that the score, in days, ranks pairs of unlike rates by the
//! odds that they have jumped: no detector does better at a given number of false lines but by knowing more.

/// The score after each occurrence. `service`: the number of the service day of each, from 1.
pub fn scores(rate: f64, spread: Option<f64>, jump: f64, service: &[i64]) -> Vec<f64> {
    match spread {
        None => of_alike(rate, jump, service),
        Some(shape) => (0..service.len()).map(|n| of_unlike(rate, shape, jump, &service[..=n])).collect(),
    }
}

/// Units alike: between occurrences the score follows `R' = 1 - (jump - 1) rate R`; each multiplies it by the jump.
fn of_alike(rate: f64, jump: f64, service: &[i64]) -> Vec<f64> {
    let fall = (jump - 1.0) * rate;
    let (mut score, mut last) = (0.0, 0);
    let mut scores = Vec::with_capacity(service.len());
    for day in service {
        let left = (-fall * (day - last) as f64).exp();
        score = (score * left + (1.0 - left) / fall) * jump;
        last = *day;
        scores.push(score);
    }
    scores
}

/// Units unlike: own rate = `rate` times a gamma variable of that shape and mean 1, integrated out. With n occurrences
/// until day t, of which k after a jump on day s, the likelihood ratio is
/// `jump^k ((shape + rate t) / (shape + rate (s + jump (t - s))))^(shape + n)`; over s it integrates in closed form
/// between one occurrence and the next.
fn of_unlike(rate: f64, shape: f64, jump: f64, service: &[i64]) -> f64 {
    let n = service.len();
    let t = service[n - 1] as f64;
    let whole = shape + rate * t;
    let power = shape + n as f64 - 1.0;
    let exposure = |s: f64| shape + rate * (s + jump * (t - s));
    let mut score = 0.0;
    let mut from = 0.0;
    for (before, day) in service.iter().enumerate() {
        let until = *day as f64;
        let k = i32::try_from(n - before).unwrap_or(i32::MAX);
        let part = (whole / exposure(until)).powf(power) - (whole / exposure(from)).powf(power);
        score += jump.powi(k) * whole * part / (power * rate * (jump - 1.0));
        from = until;
    }
    score
}
