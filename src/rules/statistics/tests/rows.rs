//! What our functions say to the inputs of each row of check-values.csv, in the shape of its expected JSON.
use serde_json::{Map, Value, json};
use statrs::stats_tests::{Alternative, fishers_exact};

use super::{
    cusum::Cusum,
    data::{self, counts, number, numbers, size, whole},
    handbook::{self, Fit},
    trend_rows,
};
use crate::{
    book::{Hash, tree},
    rules::statistics::{
        coincidence::{by_chance, on_consist},
        discovery::adjusted,
        posterior::{Posterior, clamped, marshall},
        rates::{Ended, Exposed, Sides, TwoRates, mean_gap},
        scan::{alm, naus, quiet_over_two_and_three, some_window},
        tails::{
            binomial_at_least, gamma_quantile, poisson_at_least, poisson_at_most, predictive_at_least,
            predictive_at_most,
        },
        wet::wet_at_least,
    },
};

/// Null for a row that nobody knows: the comparison then fails.
pub fn compute(id: &str, inputs: &Value) -> Value {
    match id {
        "u01" => run_lengths(inputs),
        "a01" | "a02" | "a03" | "a04" | "a05" => scan(inputs),
        "a11" => rule_of_thumb(inputs),
        "b01" | "b02" | "b03" | "b04" | "b05" | "b08" | "b09" => gap_bounds(inputs),
        "b06" => gap_bound_of_none(inputs),
        "c01" => trend_rows::trend_to_time(inputs),
        "c02" => trend_rows::gap_now(inputs),
        "c06" => trend_rows::pooled_trend(inputs),
        "c07" | "c08" | "c09" => trend_rows::trend_to_failure(inputs),
        "c11" => trend_rows::small_trend_tails(inputs),
        "c12" => trend_rows::trend_from_sums(inputs),
        "d01" | "d02" => two_rates(inputs),
        "d03" => one_rate(inputs),
        "d04" => one_rate_interval(inputs),
        "d05" => json!({"p_ge": poisson_at_least(whole(inputs, "x"), number(inputs, "mean"))}),
        "d06" | "d07" => units_against_fleet(inputs),
        "d09" => ship_types(),
        "e01" | "e02" | "e03" | "e04" => gamma_poisson(inputs),
        "e05" | "e06" => hauer(inputs),
        "e07" => {
            let (a, b) = handbook::prior_from_two_gaps(number(inputs, "mtbf50"), number(inputs, "mtbf05"));
            json!({"a": a, "b": b})
        }
        "e08" => forecasts(inputs),
        "e09" => board_example(inputs),
        "f01" | "f03" => discovery(inputs),
        "g01" | "g02" | "g03" | "g04" => before_and_after(inputs),
        "g08" => returns(inputs),
        "g09" => held(inputs),
        "h01" | "h02" => fisher(inputs),
        "h03" | "h04" | "h05" => wet(inputs),
        "h07" => wet_by_month(inputs),
        "i01" => groups(inputs),
        "i02" => coincidences(inputs),
        "i03" => consist(inputs),
        "m01" => tree_heads(inputs),
        "m02" => audit_path(inputs),
        _ => Value::Null,
    }
}

fn run_lengths(inputs: &Value) -> Value {
    let pairs = numbers(&inputs["r"]).into_iter().zip(numbers(&inputs["h"]));
    json!({"arl": pairs.map(|(r, h)| Cusum::new(r).run_length(h)).collect::<Vec<_>>()})
}

fn scan(inputs: &Value) -> Value {
    let (k, mean, windows) = (whole(inputs, "k"), number(inputs, "psi"), number(inputs, "L"));
    let (two, three) = quiet_over_two_and_three(i64::try_from(k).unwrap(), mean);
    let naus = naus(k, mean, windows);
    json!({"exact": naus, "naus": naus, "alm": alm(k, mean, windows), "Q2": two, "Q3": three})
}

fn rule_of_thumb(inputs: &Value) -> Value {
    let (k, days) = (whole(inputs, "k"), number(inputs, "w_days"));
    let windows = number(inputs, "horizon_days") / days;
    let chance = |gap: f64| some_window(k, days / gap, windows);
    json!({"naus": numbers(&inputs["mtbt_days"]).into_iter().map(chance).collect::<Vec<_>>()})
}

fn gap_bounds(inputs: &Value) -> Value {
    let ended = if inputs["termination"] == "time" { Ended::AtTime } else { Ended::AtOccurrence };
    let sides = if inputs["sided"] == 1 { Sides::One } else { Sides::Two };
    let (days, failures) = (number(inputs, "total_time"), whole(inputs, "failures"));
    let gap = mean_gap(days, failures, number(inputs, "confidence"), ended, sides).unwrap();
    json!({"point": gap.point, "lower": gap.low, "upper": gap.high})
}

fn gap_bound_of_none(inputs: &Value) -> Value {
    let (days, failures) = (number(inputs, "total_time"), whole(inputs, "failures"));
    let gap =
        mean_gap(days, failures, number(inputs, "confidence_one_sided"), Ended::AtTime, Sides::One).unwrap();
    assert_eq!((gap.point, gap.high), (None, None));
    json!({"lower": gap.low})
}

fn two_rates(inputs: &Value) -> Value {
    let side = |x, t| (whole(inputs, x), number(inputs, t));
    let rates = TwoRates { first: side("x1", "t1"), second: side("x2", "t2") };
    let share = rates.first.1 / (rates.first.1 + rates.second.1);
    json!({
        "p_greater": rates.first_at_least(), "p_less": rates.first_at_most(),
        "p_two_sided_minlike": handbook::two_sided(&rates), "rate_ratio": rates.ratio(),
        "ci95": rates.interval(0.95), "expected1": (rates.first.0 + rates.second.0) as f64 * share,
    })
}

fn one_rate(inputs: &Value) -> Value {
    let (x, t) = (whole(inputs, "x"), number(inputs, "t"));
    let mean = number(inputs, "rate0") * t;
    let (more, fewer) = (poisson_at_least(x, mean).unwrap(), poisson_at_most(x, mean).unwrap());
    json!({
        "p_ge": more, "p_le": fewer, "p_two_sided_central": (2.0 * more.min(fewer)).min(1.0),
        "ci95": handbook::rate_interval(x, t, 0.95),
    })
}

fn one_rate_interval(inputs: &Value) -> Value {
    let (x, t) = (whole(inputs, "x"), number(inputs, "t"));
    json!({"rate": x as f64 / t, "ci95": handbook::rate_interval(x, t, 0.95)})
}

/// Each unit's share of the fleet's occurrences against its share of the exposure. Units are in a map by name,
/// the answer is one too, or a list by number.
fn units_against_fleet(inputs: &Value) -> Value {
    let mut units: Vec<(&String, u64, f64)> = inputs["units"]
        .as_object()
        .unwrap()
        .iter()
        .map(|(name, unit)| (name, unit[0].as_u64().unwrap(), unit[1].as_f64().unwrap()))
        .collect();
    units.sort_by_key(|(name, ..)| name.parse::<u32>().unwrap());
    let total: u64 = units.iter().map(|(_, x, _)| x).sum();
    let exposure: f64 = units.iter().map(|(.., t)| t).sum();
    let p: Vec<f64> =
        units.iter().map(|(_, x, t)| binomial_at_least(*x, total, t / exposure).unwrap()).collect();
    let q = adjusted(&p);
    let spread: f64 = units
        .iter()
        .map(|(_, x, t)| {
            let expected = total as f64 * t / exposure;
            (*x as f64 - expected).powi(2) / expected
        })
        .sum();
    let degrees = (units.len() - 1) as f64;
    if inputs["dataset"] == "valveSeat" {
        let by_name = |values: &[f64]| -> Map<String, Value> {
            units.iter().zip(values).map(|((name, ..), value)| ((*name).clone(), json!(value))).collect()
        };
        return json!({
            "p": by_name(&p), "bh_q": by_name(&q), "dispersion_chi2": spread, "dispersion_df": degrees,
        });
    }
    json!({"p": p, "bh_q": q, "homogeneity_chi2": spread, "df": degrees})
}

fn ship_types() -> Value {
    let ships = data::ships();
    let sum = |class: &str, own: bool| {
        let rows = ships.iter().filter(|ship| (ship.r#type == class) == own);
        rows.fold((0, 0.0), |(x, t), ship| (x + u64::from(ship.incidents), t + ship.service))
    };
    let mut types = Map::new();
    for class in ["A", "B", "C", "D", "E"] {
        let (first, second) = (sum(class, true), sum(class, false));
        let own = ships.iter().filter(|ship| ship.r#type == class);
        let units = own.map(|ship| (f64::from(ship.incidents), ship.service));
        let against = Exposed::of(units).against((second.0 as f64, second.1)).unwrap();
        types.insert(
            class.to_owned(),
            json!({
                "x": first.0, "t": first.1, "ratio_vs_rest": against.ratio,
                "p_condbin": TwoRates { first, second }.first_at_least(), "z_nb_alpha2": against.z,
                "p_nb": against.p,
            }),
        );
    }
    Value::Object(types)
}

fn gamma_poisson(inputs: &Value) -> Value {
    let units: Vec<(f64, f64)> = numbers(&inputs["x"]).into_iter().zip(numbers(&inputs["t"])).collect();
    let (x, t) = units.iter().fold((0.0, 0.0), |(x, t), unit| (x + unit.0, t + unit.1));
    let mean = x / t;
    let fit = Fit(&units);
    let (alpha, beta) = fit.likeliest();
    let by_moments = marshall(units.iter().copied(), mean).unwrap();
    let clamped = Posterior::prior(mean, clamped(Some(by_moments))).unwrap();
    let (profile_alpha, profile_mean) = fit.penalised();
    let after = |prior: Posterior, figure: &dyn Fn(Posterior) -> f64| -> Vec<f64> {
        // A row's counts are whole numbers in f64's clothes.
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts below a hundred")]
        units.iter().map(|(x, t)| figure(prior.after(*x as u32, *t))).collect()
    };
    let twice = |pair: Posterior| pair.chance_above(2.0 * mean).unwrap();
    json!({
        "class_rate": mean,
        "ml": {"alpha": alpha, "beta": beta, "loglik": fit.log_likelihood(alpha, beta)},
        "mom_marshall": {"A": mean * mean / by_moments, "alpha": by_moments, "beta": by_moments / mean},
        "penalised_profile": {"alpha": profile_alpha, "mu": profile_mean},
        "clamped": {"alpha": clamped.alpha, "beta": clamped.beta},
        "post_mean_ml": after(Posterior { alpha, beta }, &Posterior::mean),
        "p_gt_2class_ml": after(Posterior { alpha, beta }, &twice),
        "ratio_clamped": after(clamped, &|pair| pair.mean() / mean),
        "p_gt_2class_clamped": after(clamped, &twice),
    })
}

/// Hauer's weights are the gamma prior's: alpha = phi L, mean = the model's for the whole length.
fn hauer(inputs: &Value) -> Value {
    assert_eq!(inputs["spf"], "0.0224*ADT^0.564 per km-yr");
    let mu = 0.0224 * number(inputs, "ADT").powf(0.564);
    let length = number(inputs, "L");
    let counts = counts(&inputs["counts"]);
    let years = counts.len() as f64;
    let prior = Posterior::prior(mu * length, number(inputs, "phi") * length).unwrap();
    let after = prior.after(u32::try_from(counts.iter().sum::<u64>()).unwrap(), years);
    let weight = prior.beta / after.beta;
    let estimate = after.mean() * years;
    let sd = ((1.0 - weight) * estimate).sqrt();
    json!({
        "mu": mu, "weight": weight, "estimate": estimate, "sd": sd,
        "per_year": estimate / years, "sd_per_year": sd / years,
        "per_km_year": estimate / years / length, "sd_per_km_year": sd / years / length,
    })
}

fn forecasts(inputs: &Value) -> Value {
    let cases = inputs["cases"].as_array().unwrap().iter();
    let p = cases.map(|case| {
        let x = case[0].as_u64().unwrap();
        let [_, alpha, beta, t] = numbers(case)[..] else { panic!("four figures in {case}") };
        predictive_at_least(x, alpha, beta, t)
    });
    json!({"p": p.collect::<Vec<_>>()})
}

fn board_example(inputs: &Value) -> Value {
    let mean = number(inputs, "class_rate");
    let prior = Posterior::prior(mean, number(inputs, "alpha")).unwrap();
    let pair = prior.after(u32::try_from(whole(inputs, "x")).unwrap(), number(inputs, "t"));
    let bound = |chance| gamma_quantile(chance, pair.alpha).unwrap() / pair.beta;
    json!({
        "post_mean": pair.mean(), "ratio": pair.mean() / mean, "p_gt_2": pair.chance_above(2.0 * mean),
        "extra_trips_next_30": 30.0 * (pair.mean() - mean), "lower5": bound(0.05), "upper95": bound(0.95),
    })
}

fn discovery(inputs: &Value) -> Value {
    let (p, q) = (numbers(&inputs["p"]), number(inputs, "q"));
    let adjusted = adjusted(&p);
    let below = |values: &[f64], limit: f64| values.iter().filter(|value| **value <= limit).count();
    if p.len() == 10 {
        return json!({"adjusted": adjusted});
    }
    json!({
        "rejected": below(&adjusted, q), "bonferroni_rejected": below(&p, q / p.len() as f64), "adjusted": adjusted,
    })
}

fn before_and_after(inputs: &Value) -> Value {
    let side = |n, t| (whole(inputs, n), number(inputs, t));
    let (before, after) = (side("n1", "t1"), side("n2", "t2"));
    let rates = TwoRates { first: after, second: before };
    // The occurrence that caused the repair belongs to the repair.
    let dropped = TwoRates { first: after, second: (before.0 - 1, before.1) };
    json!({
        "p_worse_binomial": rates.first_at_least(), "p_better": rates.first_at_most(),
        "p_worse_trigger_dropped": dropped.first_at_least(), "rate_ratio_after_over_before": rates.ratio(),
    })
}

fn returns(inputs: &Value) -> Value {
    let mean = 1.0 / number(inputs, "mtbt");
    let prior = Posterior::prior(mean, number(inputs, "alpha")).unwrap();
    let days = numbers(&inputs["d"]);
    json!({
        "exponential": days.iter().map(|d| poisson_at_least(1, d * mean)).collect::<Vec<_>>(),
        "lomax": days.iter().map(|d| 1.0 - prior.silence(*d)).collect::<Vec<_>>(),
    })
}

fn held(inputs: &Value) -> Value {
    let (alpha, beta) = (number(inputs, "alpha_post"), number(inputs, "beta_post"));
    let fewer = |n: u64| predictive_at_most(n, alpha, beta, number(inputs, "t2"));
    json!({"p": counts(&inputs["n2"]).into_iter().map(fewer).collect::<Vec<_>>()})
}

fn fisher(inputs: &Value) -> Value {
    let rows: Vec<u64> = inputs["table"].as_array().unwrap().iter().flat_map(counts).collect();
    let table: [u64; 4] = rows.try_into().unwrap();
    json!({
        "two_sided": fishers_exact(&table, Alternative::TwoSided).unwrap(),
        "greater": fishers_exact(&table, Alternative::Greater).unwrap(),
    })
}

/// Wet days against dry ones: two rates whose exposures are the shares of the days.
fn wet(inputs: &Value) -> Value {
    let (trips, on_wet, share) =
        (whole(inputs, "trips"), whole(inputs, "on_wet_days"), number(inputs, "wet_share"));
    let rates = TwoRates { first: (on_wet, share), second: (trips - on_wet, 1.0 - share) };
    json!({
        "p_greater": rates.first_at_least(), "rate_ratio": rates.ratio(), "ratio_ci95": rates.interval(0.95),
    })
}

/// The yearly share is that of row h03, from the same days.
fn wet_by_month(inputs: &Value) -> Value {
    let (shares, on_wet) = (numbers(&inputs["month_share"]), size(inputs, "on_wet_days"));
    let yearly = number(&data::row("h03").inputs(), "wet_share");
    json!({
        "p_greater": wet_at_least(&shares, on_wet),
        "p_unstratified": wet_at_least(&vec![yearly; shares.len()], on_wet),
    })
}

fn groups(inputs: &Value) -> Value {
    let (rates, minutes) = (numbers(&inputs["rates_per_day"]), number(inputs, "delta_min"));
    let sizes = counts(&inputs["k"]).into_iter().map(|k| usize::try_from(k).unwrap());
    let daily: Vec<f64> = sizes.map(|k| by_chance(&rates, minutes, k)).collect();
    let yearly: Vec<f64> = daily.iter().map(|groups| groups * 365.0).collect();
    let fleet: Vec<f64> = yearly.iter().map(|groups| groups * number(inputs, "units")).collect();
    json!({"per_unit_day": daily, "per_unit_year": yearly, "fleet_per_year": fleet})
}

fn coincidences(inputs: &Value) -> Value {
    let share = number(inputs, "delta_min") / (1440.0 * number(inputs, "T_days"));
    let expected = handbook::coincidences(whole(inputs, "n_i"), whole(inputs, "n_j"), share);
    json!({
        "expected": expected,
        "p_ge_observed": handbook::coincidences_at_least(whole(inputs, "observed"), expected),
    })
}

fn consist(inputs: &Value) -> Value {
    let (units, rate) = (u32::try_from(whole(inputs, "m")).unwrap(), number(inputs, "rate_per_day"));
    let sizes = counts(&inputs["k"]).into_iter().map(|k| usize::try_from(k).unwrap());
    let yearly = sizes.map(|k| 365.0 * on_consist(units, rate, number(inputs, "delta_min"), k));
    json!({"per_consist_year": yearly.collect::<Vec<_>>()})
}

fn leaves(inputs: &Value) -> Vec<Hash> {
    let leaves = inputs["leaves"].as_array().unwrap().iter();
    leaves.map(|leaf| tree::leaf_hash(&hex::decode(leaf.as_str().unwrap()).unwrap())).collect()
}

fn tree_heads(inputs: &Value) -> Value {
    let leaves = leaves(inputs);
    let head = |size: usize| (size.to_string(), Value::from(tree::root_of(&leaves[..size]).to_string()));
    Value::Object((0..=leaves.len()).map(head).collect())
}

/// The leaves are those of row m01.
fn audit_path(inputs: &Value) -> Value {
    let leaves = leaves(&data::row("m01").inputs());
    assert_eq!(leaves.len(), size(inputs, "size"));
    let path = tree::audit_path(size(inputs, "index"), &leaves);
    json!({"path": path.iter().map(Hash::to_string).collect::<Vec<_>>()})
}
