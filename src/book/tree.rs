//! The Merkle tree of RFC 6962 section 2.1: leaf SHA-256(0x00 || page), node SHA-256(0x01 || left || right).
use std::fmt;

use sha2::{Digest, Sha256};

#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Hash(pub [u8; 32]);

impl Hash {
    /// `None` unless there are exactly 32 bytes.
    pub fn from_slice(bytes: &[u8]) -> Option<Self> {
        bytes.try_into().ok().map(Self)
    }
}
impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex::encode(self.0))
    }
}
impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

pub fn leaf_hash(page: &[u8]) -> Hash {
    let mut sha = Sha256::new();
    sha.update([0x00]);
    sha.update(page);
    Hash(sha.finalize().into())
}

pub fn node_hash(left: Hash, right: Hash) -> Hash {
    let mut sha = Sha256::new();
    sha.update([0x01]);
    sha.update(left.0);
    sha.update(right.0);
    Hash(sha.finalize().into())
}

/// The root of no leaves at all: the hash of nothing.
pub fn empty_root() -> Hash {
    Hash(Sha256::digest(b"").into())
}

/// The right edge of the tree: the roots of the perfect subtrees that its size is made of, largest first.
/// All that is needed to append and to know the root, at most 64 hashes.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    peaks: Vec<Hash>,
}

impl Frontier {
    pub fn size(&self) -> u64 {
        self.size
    }

    pub fn push(&mut self, leaf: Hash) {
        self.push_seeing(leaf, |_, _, _| {});
    }

    /// The same, and shows every node that it finishes: its level over the leaves, its place there, its hash.
    pub fn push_seeing(&mut self, leaf: Hash, mut see: impl FnMut(u32, u64, Hash)) {
        let mut carried = leaf;
        see(0, self.size, carried);
        // Each trailing one-bit of the size is a finished subtree that now gets its right half.
        for level in 1..=self.size.trailing_ones() {
            if let Some(left) = self.peaks.pop() {
                carried = node_hash(left, carried);
                see(level, self.size >> level, carried);
            }
        }
        self.peaks.push(carried);
        self.size += 1;
    }

    pub fn root(&self) -> Hash {
        self.peaks
            .iter()
            .rev()
            .copied()
            .reduce(|right, left| node_hash(left, right))
            .unwrap_or_else(empty_root)
    }

    pub fn to_bytes(&self) -> Vec<u8> {
        self.peaks.iter().flat_map(|peak| peak.0).collect()
    }

    /// `None` if these are not the peaks of a tree of that size.
    pub fn from_bytes(size: u64, bytes: &[u8]) -> Option<Self> {
        let peaks: Vec<Hash> = bytes.chunks(32).map(Hash::from_slice).collect::<Option<_>>()?;
        (peaks.len() == size.count_ones() as usize).then_some(Self { size, peaks })
    }
}

/// The hashes from a leaf's sibling up to the root's child, RFC 6962 section 2.1.1. Empty if there is no such leaf.
pub fn audit_path(index: usize, leaves: &[Hash]) -> Vec<Hash> {
    if index >= leaves.len() || leaves.len() < 2 {
        return Vec::new();
    }
    let split = leaves.len().next_power_of_two() / 2;
    let (left, right) = leaves.split_at(split);
    let (mut path, sibling) = if index < split {
        (audit_path(index, left), right)
    } else {
        (audit_path(index - split, right), left)
    };
    path.push(root_of(sibling));
    path
}

pub fn root_of(leaves: &[Hash]) -> Hash {
    let mut frontier = Frontier::default();
    leaves.iter().for_each(|leaf| frontier.push(*leaf));
    frontier.root()
}

/// The leaves of the Certificate Transparency reference tests.
#[cfg(test)]
pub fn reference_leaves() -> Vec<Hash> {
    let data =
        ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"];
    data.iter().map(|d| leaf_hash(&hex::decode(d).unwrap())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Row m01 of the check values: RFC 6962 section 2.1 over the leaves of the Certificate Transparency
    /// reference tests (leaves from memory, heads recomputed from the RFC's definition with Python's hashlib).
    #[test]
    fn tree_heads_are_those_of_rfc_6962() {
        let heads = [
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
            "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
            "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
            "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
            "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
            "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
            "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
            "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
        ];
        let leaves = reference_leaves();
        for (size, head) in heads.iter().enumerate() {
            assert_eq!(root_of(&leaves[..size]).to_string(), *head, "size {size}");
        }
    }

    /// Row m02: RFC 6962 section 2.1.1, leaf 5 of 8.
    #[test]
    fn audit_path_is_that_of_rfc_6962() {
        let path: Vec<String> = audit_path(5, &reference_leaves()).iter().map(Hash::to_string).collect();
        assert_eq!(
            path,
            [
                "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
                "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
                "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
            ]
        );
    }

    #[test]
    fn a_frontier_read_back_goes_on_the_same() {
        let leaves = reference_leaves();
        let mut straight = Frontier::default();
        for (n, leaf) in leaves.iter().enumerate() {
            let back = Frontier::from_bytes(n as u64, &straight.to_bytes()).unwrap();
            assert_eq!(back, straight);
            straight.push(*leaf);
        }
        assert_eq!(Frontier::from_bytes(3, &[0; 32]), None, "size 3 has two peaks");
    }
}
