//! Run length of a Poisson CUSUM, which the burst rule went by before its present score (row u01): our own closed form,
//! no crate has it.

/// Run length of a Poisson CUSUM that falls by `r - 1` per mean gap, rises by `ln r` at each occurrence, and
/// signals when it reaches a score. Source: statistics.md section 6.
///
/// The alternating sum given there loses all digits near a score of 30, because W settles at a constant while
/// W' vanishes as `e^-x`. From `c W'(x) = W(x) - W(x - b)` one gets, for x >= b,
/// `c W'(x) = integral of W' over (x - b, x)`: positive terms only. On the j-th stretch of length b, W' is
/// `e^(t/c)` times a polynomial whose coefficients are `A_j, A_(j-1), …`, and `A_(j+1)` is the integral of W'
/// over that stretch. W and its own integral are then sums of W' at x, x - b, x - 2b, …
#[derive(Clone, Debug)]
pub struct Cusum {
    /// Fall per mean gap.
    c: f64,
    /// Rise at an occurrence.
    b: f64,
    /// `A_0, A_1, …`, far enough for [`Cusum::FAR`].
    a: Vec<f64>,
    /// The run length at [`Cusum::FAR`].
    far: f64,
}

impl Cusum {
    /// From here on the run length grows by `e` for each unit of score.
    const FAR: f64 = 30.0;

    /// `r`: how many times the normal rate it looks for; above 1.
    pub fn new(r: f64) -> Self {
        let (c, b) = (r - 1.0, r.ln());
        let mut a = vec![1.0 / c];
        let mut moments = Vec::new();
        let mut sign = 1.0 / c;
        while (a.len() as f64) < Self::FAR / b + 2.0 {
            moments.push(sign * moment(moments.len(), b, c));
            sign /= -c;
            a.push(moments.iter().zip(a.iter().rev()).map(|(m, a)| m * a).sum());
        }
        let mut this = Self { c, b, a, far: 0.0 };
        this.far = this.near(Self::FAR);
        this
    }

    /// Mean gaps until a healthy unit first reaches this score, from zero.
    pub fn run_length(&self, score: f64) -> f64 {
        if score <= Self::FAR { self.near(score) } else { self.far * (score - Self::FAR).exp() }
    }

    fn near(&self, score: f64) -> f64 {
        if score <= self.b {
            return 1.0;
        }
        // The stretch that ends at the score belongs below it: the CUSUM signals on reaching it.
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and FAR / b")]
        let n = ((score / self.b).ceil() as usize).saturating_sub(1).min(self.a.len() - 1);
        let t = score - n as f64 * self.b;
        let grow = (t / self.c).exp() / self.c;
        let (mut sum, mut weighted, mut top) = (0.0, 0.0, 1.0);
        for j in 0..=n {
            let (mut term, mut p) = (1.0, 0.0);
            for (k, a) in self.a[..=j].iter().rev().enumerate() {
                p += term * a;
                term *= -t / (self.c * (k + 1) as f64);
            }
            top = grow * p;
            sum += top;
            weighted += top * (n - j + 1) as f64;
        }
        self.c * self.c * (sum * sum / top - weighted) + (n + 1) as f64
    }
}

/// Integral of `e^(s/c) s^k / k!` for s from 0 to b, by its series of positive terms.
fn moment(k: usize, b: f64, c: f64) -> f64 {
    let mut power = (1..=k).fold(b, |p, i| p * b / i as f64);
    let mut sum = 0.0;
    for n in 0..200 {
        let term = power / (n + k + 1) as f64;
        sum += term;
        if term < sum * 1e-18 {
            break;
        }
        power *= b / (c * (n + 1) as f64);
    }
    sum
}

mod tests {
    use super::*;

    #[test]
    fn run_lengths_are_those_of_row_u01() {
        // check-values.csv u01, tolerance 1e-5 relative; (5, 4) also by a simulation of 4,000 runs: 35.27.
        for (r, h, want) in
            [(5.0, 4.0, 35.2553), (5.0, 6.5, 467.041), (3.0, 5.3, 312.193), (7.0, 6.5, 301.689)]
        {
            let got = Cusum::new(r).run_length(h);
            assert!((got / want - 1.0).abs() < 1e-5, "r {r} h {h}: {got} for {want}");
        }
    }

    #[test]
    fn far_out_it_grows_as_the_notes_say() {
        for (r, want) in [(5.0, 0.708), (7.0, 0.464)] {
            let constant = Cusum::new(r).run_length(30.0) / 30_f64.exp();
            assert!((constant / want - 1.0).abs() < 2e-3, "r {r}: {constant} for {want}");
        }
    }

    #[test]
    fn run_length_rises_without_steps() {
        for r in [3.0, 5.0, 7.0] {
            let cusum = Cusum::new(r);
            let step = 1e-3;
            let mut last = cusum.run_length(cusum.b + step);
            for i in 2..40_000 {
                let score = cusum.b + f64::from(i) * step;
                let next = cusum.run_length(score);
                assert!(next > last && next / last < 1.02, "r {r} at {score}: {last} then {next}");
                last = next;
            }
        }
    }

    /// The same run length by brute force: W' from its integral equation, trapezoids of b / 400.
    #[test]
    fn the_closed_form_is_the_integral_equation() {
        let (c, b, steps) = (6.0_f64, 7_f64.ln(), 400_usize);
        let dx = b / steps as f64;
        let mut w = vec![1.0 / c];
        for i in 1..=10 * steps {
            let delayed = |j: usize| if j >= steps { w[j - steps] } else { 0.0 };
            // Heun's step of c W' = W(x) - W(x - b); the jump of W at 0 is felt at exactly b.
            let now = (w[i - 1] - delayed(i - 1)) / c;
            let late = if i == steps { 0.0 } else { delayed(i) };
            let next = (w[i - 1] + dx * now - late) / c;
            w.push(w[i - 1] + dx * now.midpoint(next));
        }
        let h = 10.0 * b;
        let area: f64 = w.windows(2).map(|p| p[0].midpoint(p[1]) * dx).sum();
        let slope = (w[10 * steps] - w[9 * steps]) / c;
        let want = w[10 * steps].powi(2) / slope - area;
        let got = Cusum::new(7.0).run_length(h);
        assert!((got / want - 1.0).abs() < 0.01, "{got} for {want}");
    }
}
