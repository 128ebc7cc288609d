//! The rows about trends (c01 to c12), most of them textbook methods that the rules do without.
use serde_json::{Value, json};

use super::{
    data::{number, numbers, times},
    handbook::{self, Pooled, PowerLaw},
};
use crate::rules::statistics::{
    tails::{chi_squared_above, normal_above},
    trend::{irwin_hall_at_least, laplace, variation},
};

pub fn trend_to_time(inputs: &Value) -> Value {
    let (times, end) = (numbers(&inputs["times"]), number(inputs, "T"));
    let (u, law) = (laplace(&times, end).unwrap(), PowerLaw::of(&times, end));
    let (n, c) = (times.len() as f64, law.chi_squared());
    json!({
        "n": n, "laplace_U": u, "p_worse_normal": normal_above(u), "p_better_normal": normal_above(-u),
        "mil_chi2": c, "df": 2.0 * n, "p_worse_mil": handbook::chi_squared_below(c, 2.0 * n),
        "p_better_mil": chi_squared_above(c, 2.0 * n), "beta_mle": law.beta(), "lambda_mle": law.lambda(),
        "beta_unbiased": law.beta() * (n - 1.0) / n, "intensity_now": law.intensity(),
        "mtbf_now": 1.0 / law.intensity(), "mtbf_now_unbiased": law.gap_now(0.8).0,
    })
}

pub fn gap_now(inputs: &Value) -> Value {
    let law = PowerLaw::of(&numbers(&inputs["times"]), number(inputs, "T"));
    let (_, low, high) = law.gap_now(number(inputs, "confidence"));
    json!({"lower": low, "upper": high})
}

pub fn pooled_trend(inputs: &Value) -> Value {
    let units: Vec<_> = inputs["units"].as_object().unwrap().values().collect();
    let units: Vec<_> = units.iter().map(|unit| (numbers(&unit["times"]), number(unit, "T"))).collect();
    let pooled = Pooled(&units);
    let (u, c, n) = (pooled.laplace(), pooled.chi_squared(), pooled.n());
    let (beta, lambda) = pooled.power_law();
    json!({
        "n": n, "units": units.len() as f64, "total_time": units.iter().map(|(_, end)| end).sum::<f64>(),
        "laplace_U": u, "p_worse": normal_above(u), "mil_chi2": c, "df": 2.0 * n,
        "p_worse_mil": handbook::chi_squared_below(c, 2.0 * n), "powerlaw_beta": beta,
        "powerlaw_eta": lambda.powf(-1.0 / beta), "powerlaw_lambda": lambda,
    })
}

/// The last failure ended the watching: it is the end, and no longer one of the times.
pub fn trend_to_failure(inputs: &Value) -> Value {
    let gaps = numbers(&inputs["intervals"]);
    let times = times(&gaps);
    let (end, before) = times.split_last().unwrap();
    let (u, law, cv) =
        (laplace(before, *end).unwrap(), PowerLaw::of(before, *end), variation(&gaps).unwrap());
    let (n, c) = (gaps.len() as f64, law.chi_squared());
    // All n failures and the same sum of logs; the last adds ln 1.
    let beta = 2.0 * n / c;
    json!({
        "laplace_U": u, "p_worse": normal_above(u), "cv_ddof1": cv, "lewis_robinson": u / cv,
        "p_worse_LR": normal_above(u / cv), "mil_chi2": c, "df": 2.0 * (n - 1.0),
        "p_worse_mil": handbook::chi_squared_below(c, 2.0 * (n - 1.0)), "beta_mle": beta,
        "beta_unbiased": beta * (n - 2.0) / n,
    })
}

pub fn small_trend_tails(inputs: &Value) -> Value {
    let cases: Vec<Vec<f64>> = inputs["fractions_of_T"].as_array().unwrap().iter().map(numbers).collect();
    json!({
        "exact": cases.iter().map(|f| irwin_hall_at_least(f.len(), f.iter().sum())).collect::<Vec<_>>(),
        "normal": cases.iter().map(|f| normal_above(laplace(f, 1.0).unwrap())).collect::<Vec<_>>(),
    })
}

pub fn trend_from_sums(inputs: &Value) -> Value {
    let law = PowerLaw {
        n: number(inputs, "n"),
        sum: number(inputs, "sum_t"),
        sum_of_logs: number(inputs, "sum_ln_t"),
        end: number(inputs, "T"),
    };
    json!({"laplace_U": law.laplace(), "mil_chi2": law.chi_squared(), "beta_mle": law.beta()})
}
