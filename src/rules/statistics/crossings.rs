//! How often a healthy device brings the burst rule's score so high, by backward recursion over days on a grid of ln R.
//! The luck in the rule's sentence and the forecast of its chance lines both come from here.
use super::bad_spell::Score;

/// A cell at most, in units of ln R; half of it changes the third figure.
const CELL: f64 = 0.1;
/// Heights above the goal that are told apart, in rises.
const ABOVE: usize = 2;

/// Days after which it is looked whether the days have become alike, and the difference that no longer counts: what it
/// leaves out is far under the figures that the cells leave.
const LOOK: u32 = 32;
const SAME: f64 = 1e-6;

/// The lines to expect with some service days to go; if there is at most one, that is the chance of it. A rise is a whole
/// number of cells, and the score to reach lies half way between two.
#[derive(Clone, Debug)]
pub struct Crossings {
    /// ln R of the first cell.
    low: f64,
    step: f64,
    rise: usize,
    /// The first cell above the score to reach.
    goal: usize,
    /// Where the day's quiet takes each cell.
    quiet: Vec<Place>,
    /// Of 0, 1, 2, … occurrences on a day; the last: of so many or more.
    on_a_day: Vec<f64>,
    /// The cells below this one begin to count occurrences afresh.
    afresh: usize,
    /// To expect while no line stands, by how many occurrences were counted, the last: enough of them; by cell.
    lines: Vec<Vec<f64>>,
    /// To expect at a crossing, that line included, by cell from the goal on.
    crossed: Vec<f64>,
    after: Option<After>,
}

/// A place between cells: the nearest one, and the shares of the one below it, itself and the one above.
type Place = (usize, [f64; 3]);

/// What comes after a line.
#[derive(Clone, Debug)]
struct After {
    /// Days that a line stands.
    stands: usize,
    /// Where its last quiet takes the cells from the goal on.
    quiet: Vec<Place>,
    /// What was to expect with 0, 1, 2, … days to go, once enough are counted.
    by_days: Vec<Vec<f64>>,
}

impl Crossings {
    /// With no day to go, and nothing asked for after a first line. `rate`: what the device really does, per service day.
    /// `at_least`: occurrences counted since [`Score::begins_after`]. `day`: service days that are walked as one; in the names here
    /// a day is so many. All sane, the ratio above 1.
    pub fn new(score: Score, rate: f64, goal: f64, at_least: usize, day: f64) -> Self {
        let rise = (score.ratio.ln() / CELL).ceil().max(1.0);
        let step = score.ratio.ln() / rise;
        let below = ((goal.ln() - score.passed(0.0, day).ln()) / step).ceil().max(2.0);
        let low = goal.ln() - (below - 0.5) * step;
        let layers = if at_least as f64 <= score.fewest(goal) { 0 } else { at_least };
        let (rise, goal) = (whole(rise), whole(below));
        let cells = goal + ABOVE * rise;
        let after_a_day = |i: usize| score.passed((low + i as f64 * step).exp(), day);
        Self {
            low,
            step,
            rise,
            goal,
            quiet: (0..cells).map(|i| place((after_a_day(i).ln() - low) / step, cells)).collect(),
            on_a_day: on_a_day(rate * day),
            afresh: (0..cells).take_while(|i| score.begins_after(after_a_day(*i))).count(),
            lines: vec![vec![0.0; cells]; layers + 1],
            crossed: vec![1.0; ABOVE * rise],
            after: None,
        }
    }

    /// A line stands so many days, its last `quiet` ones without an occurrence, and then another may follow.
    pub fn with_more(mut self, score: Score, stands: usize, quiet: f64) -> Self {
        let cells = self.quiet.len();
        let fallen = |i: usize| score.passed((self.low + i as f64 * self.step).exp(), quiet).ln();
        let quiet = (self.goal..cells).map(|i| place((fallen(i) - self.low) / self.step, cells)).collect();
        self.after = Some(After { stands: stands.max(1), quiet, by_days: vec![vec![0.0; cells]] });
        self
    }

    /// So many more days to go: what is to expect from a score of 0 then.
    pub fn lengthen(&mut self, days: u32) -> f64 {
        (0..days).for_each(|_| self.by_a_day());
        self.lines[0][0]
    }

    /// What is to expect after so many days, and after so many more, nothing being asked for after a first line. Once each
    /// day adds the same share of what the day before it did, the rest is a geometric series.
    pub fn lengthen_twice(mut self, days: u32, more: u32) -> (f64, f64) {
        let (mut now, mut added, mut was, mut first) = (0.0, 0.0, f64::INFINITY, None);
        for day in 1..=days + more {
            let (next, before) = (self.lengthen(1), added);
            added = next - now;
            now = next;
            if day == days {
                first = Some(now);
            }
            let share = added / before;
            if day % LOOK == 0 {
                if (share - was).abs() < SAME && (0.0..1.0).contains(&share) {
                    let at = |last: u32| {
                        now + added * share * (1.0 - share.powf(f64::from(last - day))) / (1.0 - share)
                    };
                    return (first.unwrap_or_else(|| at(days)), at(days + more));
                }
                was = share;
            }
        }
        (first.unwrap_or(now), now)
    }

    fn by_a_day(&mut self) {
        let last = self.lines.len() - 1;
        let mut enough = self.lines[last].clone();
        enough[self.goal..].copy_from_slice(&self.crossed);
        let risen: Vec<Vec<f64>> = (0..=last).map(|n| self.over_a_day(n, &enough)).collect();
        for (n, lines) in self.lines.iter_mut().enumerate() {
            for (i, (line, fallen)) in lines.iter_mut().zip(&self.quiet).enumerate() {
                *line = at(if i < self.afresh { &risen[0] } else { &risen[n] }, *fallen);
            }
        }
        let Some(after) = &mut self.after else { return };
        if let Some(days) = after.by_days.len().checked_sub(after.stands) {
            let then = &after.by_days[days];
            let lines = self.crossed.iter_mut().zip(&after.quiet);
            lines.for_each(|(line, fallen)| *line = 1.0 + at(then, *fallen));
        }
        after.by_days.push(self.lines[last].clone());
    }

    /// What is to expect before a day's occurrences, its quiet already taken off. `enough`: after one that makes them enough.
    fn over_a_day(&self, n: usize, enough: &[f64]) -> Vec<f64> {
        let (last, top) = (self.lines.len() - 1, self.quiet.len() - 1);
        let mut sum: Vec<f64> = self.lines[n].iter().map(|lines| self.on_a_day[0] * lines).collect();
        for (k, share) in self.on_a_day.iter().enumerate().skip(1) {
            let to = if n + k >= last { enough } else { &self.lines[n + k] };
            let up = (k * self.rise).min(top);
            let (near, far) = sum.split_at_mut(top + 1 - up);
            near.iter_mut().zip(&to[up..]).for_each(|(sum, lines)| *sum += share * lines);
            far.iter_mut().for_each(|sum| *sum += share * to[top]);
        }
        sum
    }
}

/// By the parabola through the three cells: parting between two would smear the score a little every day, upwards as well.
fn place(at: f64, cells: usize) -> Place {
    let cell = whole((at + 0.5).max(1.0)).min(cells - 2);
    let t = (at - cell as f64).clamp(-1.0, 1.0);
    (cell, [t * (t - 1.0) / 2.0, 1.0 - t * t, t * (t + 1.0) / 2.0])
}

fn at(cells: &[f64], (cell, shares): Place) -> f64 {
    cells[cell - 1] * shares[0] + cells[cell] * shares[1] + cells[cell + 1] * shares[2]
}

/// Poisson; those beyond a dozen are in the last.
fn on_a_day(rate: f64) -> Vec<f64> {
    let mut shares = vec![(-rate).exp()];
    let mut left = 1.0 - shares[0];
    while left > 1e-7 && shares.len() < 13 {
        let next = shares[shares.len() - 1] * rate / shares.len() as f64;
        shares.push(next);
        left -= next;
    }
    if let Some(last) = shares.last_mut() {
        *last += left.max(0.0);
    }
    shares
}

/// A number of cells, all of them far below a million.
fn whole(x: f64) -> usize {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped; not a number counts as none"
    )]
    let whole = x.clamp(0.0, 1e6) as usize;
    whole
}
