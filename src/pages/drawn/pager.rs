//! Long lists in pages, of a hundred mostly, with the place in the address bar.
use std::ops::Range;

pub const PER_PAGE: usize = 100;

/// `1 to 100 of 1,234`, and where the next and the previous hundred are.
#[derive(Clone, Debug, Default)]
pub struct Pager {
    pub says: String,
    pub before: Option<String>,
    pub after: Option<String>,
}

impl Pager {
    /// The wanted page of a list, counted from 1; `link` makes the address of another. A page beyond the end is
    /// the last one.
    pub fn cut<T>(list: Vec<T>, wanted: usize, link: impl Fn(usize) -> String) -> (Vec<T>, Self) {
        let (range, pager) = Self::of(list.len(), wanted, link);
        (list.into_iter().skip(range.start).take(range.len()).collect(), pager)
    }

    /// The same for a list of which only the length is known: which of it to fetch.
    pub fn of(total: usize, wanted: usize, link: impl Fn(usize) -> String) -> (Range<usize>, Self) {
        Self::by(PER_PAGE, total, wanted, link)
    }

    /// The same in pages of so many.
    pub fn by(
        per_page: usize,
        total: usize,
        wanted: usize,
        link: impl Fn(usize) -> String,
    ) -> (Range<usize>, Self) {
        let last = total.div_ceil(per_page).max(1);
        let page = wanted.clamp(1, last);
        let from = (page - 1) * per_page;
        let to = (from + per_page).min(total);
        let says = if last == 1 { String::new() } else { format!("{} to {to} of {total}", from + 1) };
        let before = (page > 1).then(|| link(page - 1));
        let after = (page < last).then(|| link(page + 1));
        (from..to, Self { says, before, after })
    }
}

/// A page number as it stands in the address; anything else is the first.
pub fn page_of(typed: &str) -> usize {
    typed.parse().unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_are_cut_into_hundreds() {
        let link = |n| format!("?page={n}");
        let (shown, pager) = Pager::cut((0..250).collect(), 2, link);
        assert_eq!((shown[0], shown.len(), pager.says.as_str()), (100, 100, "101 to 200 of 250"));
        assert_eq!((pager.before.as_deref(), pager.after.as_deref()), (Some("?page=1"), Some("?page=3")));
        let (shown, pager) = Pager::cut(vec![1], 9, link);
        assert_eq!((shown.len(), pager.says.as_str(), pager.before, pager.after), (1, "", None, None));
        let (shown, pager) = Pager::cut(Vec::<u8>::new(), page_of("x"), link);
        assert!(shown.is_empty() && pager.says.is_empty());
    }
}
