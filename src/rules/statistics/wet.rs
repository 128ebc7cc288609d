//! Ground-relay operations on wet days, each against its own month's share of wet days (statistics.md 1h): with one
//! yearly share, winter itself would look like a leak.

/// P(k or more of these operations fell on wet days) when rain has nothing to do with it; a share for each operation.
/// Exact: every count's chance is added up (Poisson-binomial). `None` without shares, or with one that is no number
/// from 0 to 1.
pub fn wet_at_least(shares: &[f64], k: usize) -> Option<f64> {
    if shares.is_empty() || !shares.iter().all(|share| (0.0..=1.0).contains(share)) {
        return None;
    }
    if k > shares.len() {
        return Some(0.0);
    }
    // chances[j]: of j wet ones so far; the last place holds "k or more" and is never left again.
    let mut chances = vec![0.0; k + 1];
    chances[0] = 1.0;
    for share in shares {
        for j in (0..=k).rev() {
            let stays = if j == k { chances[j] } else { chances[j] * (1.0 - share) };
            let comes = if j > 0 { chances[j - 1] * share } else { 0.0 };
            chances[j] = stays + comes;
        }
    }
    Some(chances[k].min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::statistics::tails::binomial_at_least;

    #[test]
    fn equal_shares_are_the_binomial() {
        for k in 1..=20 {
            let (got, want) =
                (wet_at_least(&[0.35; 20], k).unwrap(), binomial_at_least(k as u64, 20, 0.35).unwrap());
            assert!((got / want - 1.0).abs() < 1e-12, "{k}: {got} for {want}");
        }
    }

    #[test]
    fn ends_and_nonsense() {
        assert_eq!(wet_at_least(&[0.2, 0.4], 0), Some(1.0));
        assert_eq!(wet_at_least(&[0.5, 0.5], 2), Some(0.25));
        assert_eq!(wet_at_least(&[1.0, 0.0], 1), Some(1.0));
        assert_eq!(wet_at_least(&[1.0, 0.0], 2), Some(0.0));
        assert_eq!(wet_at_least(&[0.2], 2), Some(0.0));
        assert_eq!(wet_at_least(&[], 0), None);
        assert_eq!(wet_at_least(&[0.2, f64::NAN], 1), None);
        assert_eq!(wet_at_least(&[1.2], 1), None);
    }
}
