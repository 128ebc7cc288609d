//! Many pairs judged at once: which p-values still mean something (Benjamini and Hochberg 1995, statistics.md 1f).

/// Benjamini-Hochberg adjusted p-values, in the order given: a pair is kept at a share q of false lines when its
/// value here is at most q. A p that is no number from 0 to 1 counts as 1: it says nothing.
pub fn adjusted(p: &[f64]) -> Vec<f64> {
    let p: Vec<f64> = p.iter().map(|p| if (0.0..=1.0).contains(p) { *p } else { 1.0 }).collect();
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*b].total_cmp(&p[*a]));
    let mut adjusted = vec![1.0; p.len()];
    let mut least = 1.0_f64;
    for (above, place) in order.into_iter().enumerate() {
        let rank = p.len() - above;
        least = least.min(p[place] * p.len() as f64 / rank as f64);
        adjusted[place] = least;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn by_hand() {
        assert!(adjusted(&[]).is_empty());
        assert_eq!(adjusted(&[0.03]), [0.03]);
        // 0.04 x 3/3 = 0.04 is below 0.03 x 3/2 = 0.045; 0.01 x 3/1 = 0.03.
        let got = adjusted(&[0.03, 0.01, 0.04]);
        for (got, want) in got.iter().zip([0.04, 0.03, 0.04]) {
            assert!((got - want).abs() < 1e-12, "{got} for {want}");
        }
    }

    #[test]
    fn ties_are_equal_and_nonsense_says_nothing() {
        assert_eq!(adjusted(&[0.02, 0.02]), [0.02, 0.02]);
        assert_eq!(adjusted(&[f64::NAN, f64::INFINITY, -0.5]), [1.0, 1.0, 1.0]);
    }
}
