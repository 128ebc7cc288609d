//! A device's outlines in hand: all of them, or their last chunk.
use std::borrow::Cow;

use crate::rules::{
    Fact,
    chunk::{Chunk, append},
    outline::Outline,
    quiet::{Before, Ends},
};

#[derive(Clone, Debug, Default)]
pub struct Outlined {
    chunks: Vec<Chunk>,
    /// The number of the first chunk in hand: those before it are in the file only.
    first: usize,
    /// How many the file has.
    in_file: usize,
    /// The number of the first chunk that the file has not as it is here.
    changed: Option<usize>,
}

impl Outlined {
    /// Given the last chunk and its number.
    pub fn of_file(number: usize, last: Chunk) -> Self {
        Self { chunks: vec![last], first: number, in_file: number + 1, changed: None }
    }

    /// How many chunks are in the file only.
    pub fn missing(&self) -> usize {
        self.first
    }

    /// How many outlines are in hand.
    pub fn len(&self) -> usize {
        self.chunks.iter().map(|chunk| chunk.outlines.len()).sum()
    }

    /// The earlier chunks, read from the file after all.
    pub fn complete(&mut self, mut earlier: Vec<Chunk>) {
        earlier.append(&mut self.chunks);
        self.chunks = earlier;
        self.first = 0;
    }

    /// Facts that are later than all there are.
    pub fn append(&mut self, new: &[Fact]) {
        if new.is_empty() {
            return;
        }
        let whole = self.chunks.iter().filter(|chunk| chunk.ended).count();
        let from = self.first + whole;
        self.changed = Some(self.changed.map_or(from, |changed| changed.min(from)));
        append(&mut self.chunks, new);
    }

    /// All of a dossier's facts, some of which came in among the others.
    pub fn begin_again(&mut self, facts: &[Fact]) {
        (self.chunks, self.first, self.changed) = (Vec::new(), 0, Some(0));
        append(&mut self.chunks, facts);
    }

    /// What is known of the time before new facts; `None`: not all chunks are in hand.
    pub fn before(&self, ends: Ends) -> Option<Before> {
        (self.first == 0).then(|| Before {
            ends,
            last_closing: self.chunks.iter().filter_map(|chunk| chunk.last_closing).max(),
            last_run: self.chunks.iter().filter_map(|chunk| chunk.last_run).max(),
        })
    }

    /// All of them, one after the other; they have to be in hand.
    pub fn all(&self) -> Cow<'_, [Outline]> {
        if let [only] = self.chunks.as_slice() {
            return Cow::Borrowed(&only.outlines);
        }
        let mut all = Vec::with_capacity(self.len());
        self.chunks.iter().for_each(|chunk| all.extend_from_slice(&chunk.outlines));
        Cow::Owned(all)
    }

    /// The chunks before the last that the file does not have as they are here, by number and packed, and from which on it
    /// has some that there are no more.
    pub fn take_changed(&mut self) -> (Vec<(usize, Vec<u8>)>, Option<usize>) {
        let Some(from) = self.changed.take() else { return (Vec::new(), None) };
        let now = self.first + self.chunks.len();
        let before = std::mem::replace(&mut self.in_file, now);
        // What was the last is one among others once there is a later one.
        let from = from.min(before.saturating_sub(1));
        let numbered = self.chunks.iter().enumerate().map(|(n, chunk)| (self.first + n, chunk));
        let changed = numbered.filter(|(n, _)| *n >= from && n + 1 < now);
        let packed = changed.map(|(n, chunk)| (n, chunk.pack())).collect();
        (packed, (now < before).then(|| now.saturating_sub(1)))
    }

    /// The last chunk with its number, packed.
    pub fn last(&self) -> Option<(usize, Vec<u8>)> {
        let last = self.chunks.last()?;
        Some((self.first + self.chunks.len() - 1, last.pack()))
    }
}
