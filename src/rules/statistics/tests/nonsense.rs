//! Whatever comes in, no NaN and no infinity comes out, chances lie between 0 and 1, and everything returns.
use proptest::{collection::vec, prelude::*};

use crate::rules::statistics::{
    coincidence::{by_chance, on_consist},
    discovery::adjusted,
    posterior::{Posterior, clamped, marshall},
    rates::{Ended, Exposed, MeanGap, Sides, TwoRates, mean_gap, share_interval},
    slope::theil_sen,
    tails::*,
    trend::{irwin_hall_at_least, laplace, trend, variation},
    wet::wet_at_least,
};

/// Any f64 at all, and often those that are near to what is asked, or at an edge.
fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        2 => proptest::num::f64::ANY,
        3 => 0.0..1.0,
        3 => 0.0..1000.0,
        1 => (-300.0..300.0).prop_map(|log| 10_f64.powf(log)),
        2 => prop::sample::select(vec![
            0.0, -0.0, 1.0, -1.0, 0.5, 1e-300, 5e-324, f64::MAX, f64::MIN, f64::EPSILON, f64::NAN, f64::INFINITY,
            f64::NEG_INFINITY, 1e7, 1e4, 10_001.0, 1e16, 1.0 - f64::EPSILON,
        ]),
    ]
}

fn any_count() -> impl Strategy<Value = u64> {
    prop_oneof![
        3 => 0_u64..50,
        2 => 0_u64..30_000,
        1 => any::<u64>(),
        1 => prop::sample::select(vec![10_000, 10_001, 20_002, 10_000_000, 10_000_001, u64::MAX]),
    ]
}

fn chance(what: &str, p: impl Into<Option<f64>>) {
    let p = p.into();
    assert!(p.is_none_or(|p| (0.0..=1.0).contains(&p)), "{what} is {p:?}");
}

fn number(what: &str, x: impl Into<Option<f64>>) {
    let x = x.into();
    assert!(x.is_none_or(f64::is_finite), "{what} is {x:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn tails(k in any_count(), n in any_count(), a in any_number(), b in any_number(), c in any_number()) {
        chance("poisson_at_least", poisson_at_least(k, a));
        chance("poisson_at_most", poisson_at_most(k, a));
        chance("gamma_above", gamma_above(a, b, c));
        chance("binomial_at_least", binomial_at_least(k, n, a));
        chance("binomial_at_most", binomial_at_most(k, n, a));
        chance("normal_above", normal_above(a));
        chance("chi_squared_above", chi_squared_above(a, b));
        chance("predictive_at_least", predictive_at_least(k, a, b, c));
        chance("predictive_at_most", predictive_at_most(k, a, b, c));
        number("gamma_quantile", gamma_quantile(a, b));
        number("chi_squared_quantile", chi_squared_quantile(a, b));
        number("normal_quantile", normal_quantile(a));
    }

    #[test]
    fn beliefs(mean in any_number(), weight in any_number(), x in any::<u32>(), t in any_number(), c in any_number()) {
        if let Some(pair) = Posterior::prior(mean, weight).map(|prior| prior.after(x, t)) {
            number("mean", pair.mean());
            chance("chance_above", pair.chance_above(c));
            chance("silence", pair.silence(c));
            let days = pair.days_of_silence(c);
            prop_assert!(days.is_finite() && days >= 0.0, "{days}");
        }
        number("clamped", clamped(Some(c)));
    }

    #[test]
    fn rates(
        k in any_count(), n in any_count(), a in any_number(), b in any_number(), confidence in any_number(),
        units in vec((any_number(), any_number()), 0..6),
    ) {
        for (ended, sides) in [(Ended::AtTime, Sides::Two), (Ended::AtOccurrence, Sides::One)] {
            if let Some(MeanGap { point, low, high }) = mean_gap(a, k, confidence, ended, sides) {
                number("point", point);
                number("low", low);
                number("high", high);
            }
        }
        let two = TwoRates { first: (k, a), second: (n, b) };
        chance("first_at_least", two.first_at_least());
        chance("first_at_most", two.first_at_most());
        number("ratio", two.ratio());
        if let Some((low, high)) = two.interval(confidence) {
            number("low", low);
            number("high", high);
        }
        if let Some((low, high)) = share_interval(k, n, confidence) {
            chance("low", low);
            chance("high", high);
        }
        if let Some(against) = Exposed::of(units.iter().copied()).against((a, b)) {
            number("ratio", against.ratio);
            number("expected", against.expected);
            number("z", against.z);
            chance("p", against.p);
        }
        number("marshall", marshall(units.into_iter(), a));
    }

    #[test]
    fn lists(list in vec(any_number(), 0..12), a in any_number(), k in 0_usize..14, units in any::<u32>()) {
        number("laplace", laplace(&list, a));
        number("variation", variation(&list));
        chance("irwin_hall_at_least", irwin_hall_at_least(k, a));
        if let Some(trend) = trend(&list, a) {
            number("u", trend.u);
            number("variation", trend.variation);
            number("z", trend.z);
            chance("p", trend.p);
        }
        let adjusted = adjusted(&list);
        prop_assert_eq!(adjusted.len(), list.len());
        adjusted.into_iter().for_each(|q| chance("adjusted", q));
        number("by_chance", by_chance(&list, a, k));
        number("on_consist", on_consist(units, a, list.first().copied().unwrap_or(10.0), k));
        chance("wet_at_least", wet_at_least(&list, k));
        let points: Vec<(f64, f64)> = list.chunks_exact(2).map(|pair| (pair[0], pair[1])).collect();
        if let Some(slope) = theil_sen(&points, a) {
            number("slope", slope.slope);
            number("low", slope.low);
            number("high", slope.high);
            number("intercept", slope.intercept);
        }
    }
}
