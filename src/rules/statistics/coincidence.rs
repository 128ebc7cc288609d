//! How often different devices operate together by luck alone: Eckart and Shonka 1938 (statistics.md 1i).
//! Assumes clocks good to a minute.

/// A group each minute: more than the formula can mean, and what is answered where nothing sane was asked, so that
/// nonsense never looks rare.
const OFTEN: f64 = 1440.0;

const MINUTES_A_DAY: f64 = 1440.0;

/// Groups a day, by chance, of k different devices within these minutes: k delta^(k-1) e_k(rates a day). At most one
/// a minute. A device with a rate of zero never takes part.
pub fn by_chance(rates_per_day: &[f64], minutes: f64, k: usize) -> f64 {
    if !rates_per_day.iter().all(|rate| *rate >= 0.0) {
        return OFTEN;
    }
    // e_j of the rates read so far; each further rate adds itself times e_(j-1).
    let mut symmetric = vec![0.0; k + 1];
    symmetric[0] = 1.0;
    for rate in rates_per_day {
        for j in (1..=k).rev() {
            symmetric[j] += rate * symmetric[j - 1];
        }
    }
    groups(symmetric[k], minutes, k)
}

/// Groups a day, by chance, of one and the same device on k of the units of a consist within these minutes:
/// C(units, k) k delta^(k-1) rate^k. At most one a minute.
pub fn on_consist(units: u32, rate_per_day: f64, minutes: f64, k: usize) -> f64 {
    if rate_per_day.is_nan() || rate_per_day < 0.0 {
        return OFTEN;
    }
    let mut together = 1.0;
    for taken in 0..k {
        let left = f64::from(units) - taken as f64;
        if left <= 0.0 {
            return 0.0;
        }
        together *= left / (taken + 1) as f64 * rate_per_day;
    }
    groups(together, minutes, k)
}

fn groups(together: f64, minutes: f64, k: usize) -> f64 {
    let known = k > 0 && minutes.is_finite() && minutes >= 0.0;
    let span = (1..k).fold(1.0, |span, _| span * (minutes / MINUTES_A_DAY));
    let groups = k as f64 * span * together;
    // A comparison that NaN fails.
    if known && groups < OFTEN { groups } else { OFTEN }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_devices_by_hand() {
        // One a day each, within 72 minutes (a twentieth of a day): 2 x 0.05 x 1.
        assert!((by_chance(&[1.0, 1.0], 72.0, 2) - 0.1).abs() < 1e-12);
        assert!((on_consist(2, 1.0, 72.0, 2) - 0.1).abs() < 1e-12);
        // Alone, a device is its own group.
        assert!((by_chance(&[0.2, 0.3], 10.0, 1) - 0.5).abs() < 1e-12);
        // Simulated in row i04: rates .5, .3, .2 within .01 of a day give .0062 pairs and .000009 triples a day.
        assert!((by_chance(&[0.5, 0.3, 0.2], 14.4, 2) - 0.0062).abs() < 1e-12);
        assert!((by_chance(&[0.5, 0.3, 0.2], 14.4, 3) - 0.000_009).abs() < 1e-12);
    }

    #[test]
    fn too_few_never_meet_and_nonsense_is_never_rare() {
        assert!(by_chance(&[1.0], 10.0, 2).abs() < 1e-15);
        assert!(by_chance(&[1.0, 0.0], 10.0, 2).abs() < 1e-15);
        assert!(on_consist(1, 1.0, 10.0, 2).abs() < 1e-15);
        for rare in [
            by_chance(&[f64::NAN, 1.0], 10.0, 2),
            by_chance(&[-1.0, 1.0], 10.0, 2),
            by_chance(&[f64::INFINITY, 0.0], 10.0, 2),
            by_chance(&[1.0, 1.0], f64::NAN, 2),
            by_chance(&[1.0, 1.0], -10.0, 2),
            by_chance(&[1.0, 1.0], 10.0, 0),
            by_chance(&[1e300; 9], 10.0, 5),
            on_consist(4, f64::NAN, 10.0, 2),
            on_consist(4, f64::INFINITY, 10.0, 2),
        ] {
            assert!((rare - OFTEN).abs() < 1e-9, "{rare}");
        }
    }
}
