//! A device's outlines as the file has them: in chunks, packed, so that statistics can be reckoned without reading a fact.
use serde::{Deserialize, Serialize};

use super::{
    fact::Fact,
    outline::{Mending, Outline},
    reclosed::closings_of,
};
use crate::base::{EntryId, Instant};

/// One entry in so many ends a chunk.
const PER_CHUNK_BITS: u32 = 6;

/// Outlines of facts that follow one another, with what the certain rules ask of those before new ones.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chunk {
    pub outlines: Vec<Outline>,
    /// The latest closing again that they tell of.
    pub last_closing: Option<Instant>,
    /// The latest of the runs in which they were told: when it began.
    pub last_run: Option<Instant>,
    pub ended: bool,
}

/// Puts facts that follow after all others into chunks.
pub fn append(chunks: &mut Vec<Chunk>, facts: &[Fact]) {
    for fact in facts {
        match chunks.last_mut().filter(|last| !last.ended) {
            Some(last) => last.add(fact),
            None => {
                let mut chunk = Chunk::default();
                chunk.add(fact);
                chunks.push(chunk);
            }
        }
    }
}

impl Chunk {
    fn add(&mut self, fact: &Fact) {
        self.outlines.push(Outline::of(fact));
        self.last_closing = closings_of(fact).map(|closing| closing.at).max().max(self.last_closing);
        self.last_run = fact.run.max(self.last_run);
        self.ended = super::dossier::ends(fact.entry, PER_CHUNK_BITS);
    }

    pub fn pack(&self) -> Vec<u8> {
        let (mut at, mut seq) = (0, 0);
        let row = |outline: &Outline| {
            let of_now = (outline.at.0, i64::try_from(outline.seq).unwrap_or(i64::MAX));
            let before = std::mem::replace(&mut at, of_now.0);
            Row {
                gap: of_now.0.wrapping_sub(before),
                pages: of_now.1.wrapping_sub(std::mem::replace(&mut seq, of_now.1)),
                entry: outline.entry,
                flags: flags(outline),
                more: More::of(outline),
            }
        };
        let rows: Vec<Row> = self.outlines.iter().map(row).collect();
        let head = Head { last_closing: self.last_closing, last_run: self.last_run, ended: self.ended };
        postcard::to_stdvec(&(head, rows)).unwrap_or_default()
    }

    /// # Errors
    /// When these are no bytes of [`Self::pack`].
    pub fn unpack(packed: &[u8]) -> Result<Self, postcard::Error> {
        let mut outlines = Vec::new();
        let Head { last_closing, last_run, ended } = unpack_onto(&mut outlines, packed)?;
        Ok(Self { outlines, last_closing, last_run, ended })
    }
}

/// Puts a chunk's outlines behind others. Row by row: a fleet's are unpacked whenever new class figures are held against them.
///
/// # Errors
/// When these are no bytes of [`Chunk::pack`].
pub fn unpack_onto(outlines: &mut Vec<Outline>, packed: &[u8]) -> Result<Head, postcard::Error> {
    let mut from = postcard::Deserializer::from_bytes(packed);
    // Postcard's format: fields one after another, a list as its length and then its items.
    let (head, rows) = <(Head, usize)>::deserialize(&mut from)?;
    // Room for what comes in next, and no more than such bytes can hold.
    outlines.reserve(rows.min(packed.len() / size_of::<EntryId>()) + 4);
    let (mut at, mut seq) = (0_i64, 0_i64);
    for _ in 0..rows {
        let row = Row::deserialize(&mut from)?;
        (at, seq) = (at.wrapping_add(row.gap), seq.wrapping_add(row.pages));
        outlines.push(row.outline(Instant(at), seq));
    }
    Ok(head)
}

/// What a chunk says beside its outlines.
#[derive(Serialize, Deserialize)]
pub struct Head {
    last_closing: Option<Instant>,
    last_run: Option<Instant>,
    ended: bool,
}

/// An outline, with its time and page counted from the one before.
#[derive(Serialize, Deserialize)]
struct Row {
    gap: i64,
    pages: i64,
    entry: EntryId,
    flags: u8,
    more: Option<Box<More>>,
}

/// What few outlines have.
#[derive(Serialize, Deserialize)]
struct More {
    operations: u32,
    again: Box<[Instant]>,
    repaired: Option<Box<Mending>>,
}

const STANDS: u8 = 1;
const FOUND: u8 = 2;
const CLOSED: u8 = 4;
const OPEN: u8 = 8;
const OPERATED: u8 = 16;

fn flags(outline: &Outline) -> u8 {
    let bits = [
        (outline.stands, STANDS),
        (outline.found, FOUND),
        (outline.leaves_closed == Some(true), CLOSED),
        (outline.leaves_closed == Some(false), OPEN),
        (outline.operations == 1, OPERATED),
    ];
    bits.iter().filter(|(set, _)| *set).fold(0, |all, (_, bit)| all | bit)
}

impl More {
    fn of(outline: &Outline) -> Option<Box<Self>> {
        let plain = outline.operations <= 1 && outline.again.is_empty() && outline.repaired.is_none();
        (!plain).then(|| {
            let (operations, again) = (outline.operations, outline.again.clone());
            Box::new(Self { operations, again, repaired: outline.repaired.clone() })
        })
    }
}

impl Row {
    fn outline(self, at: Instant, seq: i64) -> Outline {
        let is = |bit: u8| self.flags & bit != 0;
        let more = self.more.map(|more| *more);
        let (operations, again, repaired) = match more {
            Some(More { operations, again, repaired }) => (operations, again, repaired),
            None => (u32::from(is(OPERATED)), Box::default(), None),
        };
        Outline {
            entry: self.entry,
            seq: seq.unsigned_abs(),
            at,
            stands: is(STANDS),
            found: is(FOUND),
            leaves_closed: is(CLOSED).then_some(true).or(is(OPEN).then_some(false)),
            operations,
            again,
            repaired,
        }
    }
}
