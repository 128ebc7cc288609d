//! Merkle proofs: that a page is in the tree (RFC 6962 section 2.1.1), and that one tree is the beginning of another
//! (2.1.2). How they are checked is said in RFC 9162, sections 2.1.3.2 and 2.1.4.2.
use std::collections::HashMap;

use super::tree::{Frontier, Hash, empty_root, node_hash};

/// The pages from `from` up to, not with, `to`: one node of a path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    pub from: u64,
    pub to: u64,
}

/// Where a tree of `size` leaves is split: the largest power of two below it. `size` is at least 2.
fn split(size: u64) -> u64 {
    1 << (u64::BITS - 1 - (size - 1).leading_zeros())
}

/// The nodes that lead from a page up to the root of a tree of `size` pages; empty if there is no such page.
pub fn inclusion(index: u64, size: u64) -> Vec<Span> {
    let mut spans = Vec::new();
    let (mut from, mut to) = (0, size);
    while index < size && to - from > 1 {
        let middle = from + split(to - from);
        if index < middle {
            spans.push(Span { from: middle, to });
            to = middle;
        } else {
            spans.push(Span { from, to: middle });
            from = middle;
        }
    }
    spans.reverse();
    spans
}

/// The nodes from which both roots can be reckoned, of the tree of `old` pages and of the one of `new` that goes on from
/// it; empty if there are none to give.
pub fn consistency(old: u64, new: u64) -> Vec<Span> {
    let mut spans = Vec::new();
    if old == 0 || old >= new {
        return spans;
    }
    let (mut from, mut to) = (0, new);
    while to != old {
        let middle = from + split(to - from);
        if old <= middle {
            spans.push(Span { from: middle, to });
            to = middle;
        } else {
            spans.push(Span { from, to: middle });
            from = middle;
        }
    }
    // A perfect subtree that begins with the first page is the old tree: whoever checks has its root.
    if from > 0 {
        spans.push(Span { from, to });
    }
    spans.reverse();
    spans
}

/// Picks the nodes of many proofs out of one walk over the leaves. Holds no more than was asked for.
#[derive(Debug, Default)]
pub struct Nodes {
    /// By level and place in it.
    wanted: HashMap<(u32, u64), Option<Hash>>,
    frontier: Frontier,
}

impl Nodes {
    pub fn want(&mut self, spans: &[Span]) {
        for place in spans.iter().flat_map(|span| perfect(*span)) {
            self.wanted.insert(place, None);
        }
    }

    /// The next leaf.
    pub fn push(&mut self, leaf: Hash) {
        let wanted = &mut self.wanted;
        self.frontier.push_seeing(leaf, |level, place, hash| {
            if let Some(kept) = wanted.get_mut(&(level, place)) {
                *kept = Some(hash);
            }
        });
    }

    pub fn frontier(&self) -> &Frontier {
        &self.frontier
    }

    /// `None`: not all of it was asked for, or the walk has not come so far.
    pub fn path(&self, spans: &[Span]) -> Option<Vec<Hash>> {
        spans.iter().map(|span| self.node(*span)).collect()
    }

    fn node(&self, span: Span) -> Option<Hash> {
        let parts: Vec<Hash> =
            perfect(span).map(|place| self.wanted.get(&place).copied().flatten()).collect::<Option<_>>()?;
        parts.into_iter().rev().reduce(|right, left| node_hash(left, right))
    }
}

/// The perfect subtrees that a node is made of, left to right.
fn perfect(span: Span) -> impl Iterator<Item = (u32, u64)> {
    let mut from = span.from;
    std::iter::from_fn(move || {
        let left = span.to.checked_sub(from).filter(|left| *left > 0)?;
        let level = (u64::BITS - 1 - left.leading_zeros()).min(from.trailing_zeros());
        let place = (level, from >> level);
        from += 1 << level;
        Some(place)
    })
}

/// The root that a leaf and its path make; `None` where no tree of that size has such a path.
pub fn root_by(leaf: Hash, index: u64, size: u64, path: &[Hash]) -> Option<Hash> {
    if index >= size {
        return None;
    }
    let (mut place, mut last, mut root) = (index, size - 1, leaf);
    for node in path {
        if last == 0 {
            return None;
        }
        if place & 1 == 1 || place == last {
            root = node_hash(*node, root);
            while place & 1 == 0 && place != 0 {
                (place, last) = (place >> 1, last >> 1);
            }
        } else {
            root = node_hash(root, *node);
        }
        (place, last) = (place >> 1, last >> 1);
    }
    (last == 0).then_some(root)
}

/// A tree's size and root.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    pub size: u64,
    pub root: Hash,
}

/// Whether the path proves that `new` goes on from `old`.
pub fn goes_on(old: Head, new: Head, path: &[Hash]) -> bool {
    if old.size == new.size {
        return path.is_empty() && old.root == new.root;
    }
    if old.size == 0 {
        return path.is_empty() && old.root == empty_root();
    }
    if old.size > new.size {
        return false;
    }
    let whole = old.size.is_power_of_two().then_some(old.root);
    let mut nodes = whole.iter().chain(path);
    let Some(first) = nodes.next() else { return false };
    let shared = (old.size - 1).trailing_ones();
    let (mut place, mut last) = ((old.size - 1) >> shared, (new.size - 1) >> shared);
    let (mut of_old, mut of_new) = (*first, *first);
    for node in nodes {
        if last == 0 {
            return false;
        }
        if place & 1 == 1 || place == last {
            (of_old, of_new) = (node_hash(*node, of_old), node_hash(*node, of_new));
            while place & 1 == 0 && place != 0 {
                (place, last) = (place >> 1, last >> 1);
            }
        } else {
            of_new = node_hash(of_new, *node);
        }
        (place, last) = (place >> 1, last >> 1);
    }
    last == 0 && of_old == old.root && of_new == new.root
}

#[cfg(test)]
#[expect(clippy::cast_possible_truncation, reason = "trees of some thousand pages")]
mod tests {
    use super::*;
    use crate::book::tree::{audit_path, leaf_hash, reference_leaves, root_of};

    fn nodes_of(leaves: &[Hash], spans: &[Span]) -> Vec<String> {
        let mut nodes = Nodes::default();
        nodes.want(spans);
        leaves.iter().for_each(|leaf| nodes.push(*leaf));
        nodes.path(spans).unwrap().iter().map(Hash::to_string).collect()
    }

    const N: [&str; 8] = [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "b08693ec2e721597130641e8211e7eedccb4c26413963eee6c1e2ed16ffb1a5f",
    ];

    /// The inclusion and consistency vectors of the Certificate Transparency reference tests, as several public
    /// repositories carry them; (5, 8) is row m02 of the check values.
    #[test]
    fn paths_are_the_published_ones() {
        let leaves = reference_leaves();
        for (index, size, want) in
            [(0, 8, vec![N[0], N[1], N[2]]), (5, 8, vec![N[3], N[4], N[5]]), (0, 1, vec![])]
        {
            assert_eq!(
                nodes_of(&leaves[..size as usize], &inclusion(index, size)),
                want,
                "{index} of {size}"
            );
        }
        for (old, new, want) in [
            (1, 1, vec![]),
            (1, 8, vec![N[0], N[1], N[2]]),
            (6, 8, vec![N[6], N[4], N[5]]),
            (2, 5, vec![N[1], N[3]]),
            (6, 7, vec![N[6], N[7], N[5]]),
        ] {
            assert_eq!(nodes_of(&leaves[..new as usize], &consistency(old, new)), want, "{old} to {new}");
        }
    }

    fn leaves(n: u64) -> Vec<Hash> {
        (0..n).map(|i| leaf_hash(&i.to_be_bytes())).collect()
    }

    fn head(leaves: &[Hash]) -> Head {
        Head { size: leaves.len() as u64, root: root_of(leaves) }
    }

    /// Every tree up to 70 pages, every page, every older size: what is given is taken, and nothing else.
    #[test]
    fn every_proof_of_small_trees_holds_and_no_other_does() {
        for size in 1..=70 {
            let all = leaves(size);
            let now = head(&all);
            let mut nodes = Nodes::default();
            (0..size).for_each(|index| nodes.want(&inclusion(index, size)));
            (0..=size).for_each(|old| nodes.want(&consistency(old, size)));
            all.iter().for_each(|leaf| nodes.push(*leaf));
            assert_eq!(nodes.frontier().root(), now.root);
            for index in 0..size {
                let path = nodes.path(&inclusion(index, size)).unwrap();
                assert_eq!(path, audit_path(index as usize, &all));
                let leaf = all[index as usize];
                assert_eq!(root_by(leaf, index, size, &path), Some(now.root), "{index} of {size}");
                let other = (index + 1) % size;
                assert!(size == 1 || root_by(leaf, other, size, &path) != Some(now.root), "another place");
                let longer: Vec<_> = path.iter().copied().chain([leaf]).collect();
                assert_ne!(root_by(leaf, index, size, &longer), Some(now.root));
            }
            for old in 0..=size {
                let before = head(&all[..old as usize]);
                let path = nodes.path(&consistency(old, size)).unwrap();
                assert!(goes_on(before, now, &path), "{old} to {size}");
                let wrong = Head { root: leaf_hash(b"other"), ..before };
                assert!(!goes_on(wrong, now, &path), "{old} to {size}");
                // Whatever there is goes on from nothing.
                let other = Head { root: wrong.root, ..now };
                assert_eq!(goes_on(before, other, &path), old == 0, "{old} to {size}");
                assert!(path.is_empty() || !goes_on(before, now, &path[1..]));
            }
        }
    }

    proptest::proptest! {
        #[test]
        fn proofs_of_any_size_hold(size in 1_u64..3_000, at in 0.0..1.0_f64, flip in 0_usize..64) {
            #[expect(clippy::cast_sign_loss, reason = "within 0 and size")]
            let place = (at * size as f64) as u64;
            let all = leaves(size);
            let (spans, since) = (inclusion(place, size), consistency(place, size));
            let mut nodes = Nodes::default();
            nodes.want(&spans);
            nodes.want(&since);
            all.iter().for_each(|leaf| nodes.push(*leaf));
            let now = head(&all);
            let leaf = all[place as usize];
            let path = nodes.path(&spans).unwrap();
            proptest::prop_assert_eq!(root_by(leaf, place, size, &path), Some(now.root));
            let before = head(&all[..place as usize]);
            let since = nodes.path(&since).unwrap();
            proptest::prop_assert!(goes_on(before, now, &since));
            for (path, is_page) in [(path, true), (since, false)] {
                let mut bad = path.clone();
                let n = bad.len().max(1);
                let Some(node) = bad.get_mut(flip % n) else { continue };
                node.0[flip % 32] ^= 1;
                if is_page {
                    proptest::prop_assert_ne!(root_by(leaf, place, size, &bad), Some(now.root));
                } else {
                    proptest::prop_assert!(!goes_on(before, now, &bad));
                }
            }
        }

        #[test]
        fn no_numbers_make_it_panic(index: u64, size: u64, old: u64, raw in proptest::collection::vec(proptest::array::uniform32(0_u8..), 0..70)) {
            let path: Vec<Hash> = raw.into_iter().map(Hash).collect();
            let leaf = leaf_hash(b"");
            let _ = (inclusion(index, size).len(), consistency(old, size).len());
            let _ = root_by(leaf, index, size, &path);
            let (old, new) = (Head { size: old.max(1), root: leaf }, Head { size: size.max(2), root: leaf });
            let taken = goes_on(old, new, &path);
            proptest::prop_assert!(!taken || old.size == new.size);
        }
    }
}
