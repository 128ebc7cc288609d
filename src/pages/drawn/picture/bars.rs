//! Which few devices make most of the work: bars in falling order, each with its share and what it and those above make
//! together.
use super::{
    axis::{em, hundredths},
    data::{Sheet, plain},
};

/// One device, or whatever is counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Counted {
    pub name: String,
    pub label: String,
    pub href: Option<String>,
    pub n: u32,
}

/// Ready to print.
#[derive(Clone, Debug)]
pub struct Bars {
    pub id: &'static str,
    pub title: String,
    pub says: String,
    pub height: String,
    pub bars: Vec<Bar>,
    /// Those that are only in the CSV.
    pub more: String,
    pub csv: String,
}

#[derive(Clone, Debug)]
pub struct Bar {
    pub name: String,
    pub label: String,
    pub href: Option<String>,
    pub label_y: String,
    pub y: String,
    pub width: String,
    /// Where the notch stands: this one and those above, of all.
    pub so_far_x: String,
    pub n: u32,
    pub share: String,
    pub so_far: String,
}

pub const DRAWN: usize = 15;
const LINE: f64 = 2.7;

/// The most first; those that never happened are left out.
pub fn in_order(mut all: Vec<Counted>) -> Vec<Counted> {
    all.retain(|one| one.n > 0);
    all.sort_by(|a, b| b.n.cmp(&a.n).then_with(|| a.name.cmp(&b.name)));
    all
}

pub fn draw(all: &[Counted], (id, title, csv): (&'static str, &str, String)) -> Bars {
    let most = all.first().map_or(1, |one| one.n).max(1);
    let shown = all.get(..DRAWN.min(all.len())).unwrap_or(&[]);
    let bars: Vec<Bar> = shares(all)
        .zip(shown)
        .zip(0_u32..)
        .map(|(((share, so_far), one), nth)| {
            let top = LINE * f64::from(nth);
            Bar {
                name: one.name.clone(),
                label: one.label.clone(),
                href: one.href.clone(),
                label_y: em(top + 1.1),
                y: em(top + 1.5),
                width: hundredths(f64::from(one.n) / f64::from(most) * 100.0),
                so_far_x: hundredths(so_far),
                n: one.n,
                share: format!("{share:.0}"),
                so_far: format!("{so_far:.0}"),
            }
        })
        .collect();
    let hidden = all.len() - shown.len();
    Bars {
        id,
        title: title.to_owned(),
        says: says(all, &bars),
        height: em(LINE * bars.len() as f64 + 0.3),
        more: if hidden > 0 { format!("{hidden} more are in the CSV.") } else { String::new() },
        bars,
        csv,
    }
}

fn says(all: &[Counted], bars: &[Bar]) -> String {
    let Some(first) = bars.first() else { return "Nothing happened.".to_owned() };
    let half = bars.iter().zip(1..).find(|(bar, _)| bar.so_far.parse::<u32>().is_ok_and(|s| s >= 50));
    let half = match half {
        Some((_, 1)) if all.len() > 1 => " It alone makes half of all or more.".to_owned(),
        Some((_, n)) if n > 1 => format!(" The first {n} of {} make half of all.", all.len()),
        _ => String::new(),
    };
    format!("The most: {}, {} ({} in a hundred).{half}", first.label, first.n, first.share)
}

/// Of each in turn: its share of all in a hundred, and that of it and those before.
fn shares(all: &[Counted]) -> impl Iterator<Item = (f64, f64)> + '_ {
    let total: f64 = all.iter().map(|one| f64::from(one.n)).sum::<f64>().max(1.0);
    let mut so_far = 0.0;
    all.iter().map(move |one| {
        let share = f64::from(one.n) / total * 100.0;
        so_far += share;
        (share, so_far)
    })
}

pub fn sheet(all: &[Counted], name: String) -> Sheet {
    let row = |((share, so_far), one): ((f64, f64), &Counted)| {
        vec![one.name.clone(), one.n.to_string(), plain(share), plain(so_far)]
    };
    let columns = &["device", "occurrences", "share_in_100", "so_far_in_100"];
    Sheet { name, columns, rows: shares(all).zip(all).map(row).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(n: u32) -> Counted {
        Counted { name: format!("B{n}"), label: format!("B{n}"), href: None, n }
    }

    #[test]
    fn the_most_come_first_with_what_they_make_together() {
        let all = in_order([1, 0, 6, 3].map(counted).into());
        let drawn = draw(&all, ("p", "P", String::new()));
        let told: Vec<_> = drawn.bars.iter().map(|b| (b.n, b.share.as_str(), b.so_far.as_str())).collect();
        assert_eq!(told, [(6, "60", "60"), (3, "30", "90"), (1, "10", "100")]);
        assert_eq!(drawn.bars[1].width, "50.00");
        assert!(drawn.says.ends_with("It alone makes half of all or more."), "{}", drawn.says);
        assert_eq!(sheet(&all, "x".into()).csv().unwrap().lines().nth(2), Some("B3,3,30,90"));
        let nothing = draw(&[], ("p", "P", String::new()));
        assert!(nothing.bars.is_empty() && nothing.says == "Nothing happened.");
        let many = in_order((1..=20).map(counted).collect());
        assert_eq!(draw(&many, ("p", "P", String::new())).more, "5 more are in the CSV.");
    }
}
