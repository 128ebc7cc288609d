//! Reading a ZIP that may be anybody's: strictly what a pack is, or a sentence. The crate that writes packs keeps the last of
//! two files with one name and passes over bytes that belong to none; here both are refused, and nothing is unpacked before
//! all that is declared has been looked at.
use std::{
    collections::{BTreeMap, BTreeSet},
    io::Read as _,
};

use flate2::{Crc, read::DeflateDecoder};

use super::{LARGEST, MOST_FILES, MOST_UNPACKED, check::Unsound};

const END: [u8; 4] = *b"PK\x05\x06";
const CENTRAL: [u8; 4] = *b"PK\x01\x02";
const LOCAL: [u8; 4] = *b"PK\x03\x04";
const STORED: u16 = 0;
const DEFLATED: u16 = 8;
/// Flags that change nothing about how it is read: how hard was packed, and that names are UTF-8.
const HARMLESS: u16 = 0b1000_0000_0110;

fn no<T>(says: impl Into<String>) -> Result<T, Unsound> {
    Err(Unsound(says.into()))
}

/// Every file by its name.
pub fn unpack(zip: &[u8]) -> Result<BTreeMap<String, Vec<u8>>, Unsound> {
    if zip.len() > LARGEST {
        return no(format!("it is larger than a pack can be ({} MB)", LARGEST / 1_000_000));
    }
    let files = listed(zip)?;
    let unpacked: u64 = files.iter().map(|file| u64::from(file.size)).sum();
    if unpacked > MOST_UNPACKED {
        return no(format!(
            "unpacked it would be {} MB, and no pack is larger than {}: nothing of it was unpacked",
            unpacked / 1_000_000,
            MOST_UNPACKED / 1_000_000
        ));
    }
    files.into_iter().map(|file| Ok((file.name.to_owned(), file.unpack()?))).collect()
}

/// Reads from the front, and never past the end.
struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn bytes(&mut self, n: usize) -> Result<&'a [u8], Unsound> {
        let Some((taken, rest)) = self.0.split_at_checked(n) else { return no(CUT) };
        self.0 = rest;
        Ok(taken)
    }
    fn four(&mut self) -> Result<[u8; 4], Unsound> {
        self.bytes(4)?.try_into().or_else(|_| no(CUT))
    }
    fn u16(&mut self) -> Result<u16, Unsound> {
        self.bytes(2)?.try_into().map(u16::from_le_bytes).or_else(|_| no(CUT))
    }
    fn u32(&mut self) -> Result<u32, Unsound> {
        self.four().map(u32::from_le_bytes)
    }
    fn text(&mut self, n: u16) -> Result<&'a str, Unsound> {
        std::str::from_utf8(self.bytes(n.into())?).or_else(|_| no("a file's name in it is no text"))
    }
}

const CUT: &str = "it ends in the middle: a part of it is missing";

/// What is said of a file twice, in the list at the end and in front of its bytes.
#[derive(PartialEq, Eq)]
struct Told<'a> {
    flags: u16,
    method: u16,
    crc: u32,
    packed: u32,
    size: u32,
    name: &'a str,
}

struct File<'a> {
    name: &'a str,
    method: u16,
    crc: u32,
    size: u32,
    packed: &'a [u8],
}

/// The files in the order of their bytes, which have to follow each other from the first to the list without a gap.
fn listed(zip: &[u8]) -> Result<Vec<File<'_>>, Unsound> {
    let (count, list_at, list) = list(zip)?;
    let mut reader = Reader(list);
    let (mut told, mut names) = (Vec::new(), BTreeSet::new());
    for _ in 0..count {
        let (at, one) = central(&mut reader)?;
        is_plain(one.name)?;
        if !names.insert(one.name.to_ascii_lowercase()) {
            return no(format!("two files in it are called {}", one.name));
        }
        told.push((at, one));
    }
    if !reader.0.is_empty() {
        return no("its list of files is longer than it says");
    }
    told.sort_by_key(|(at, _)| *at);
    let mut files = Vec::with_capacity(told.len());
    let mut next = 0;
    for (at, one) in told {
        if usize::try_from(at).ok() != Some(next) {
            return no(format!("in front of {} there are bytes that belong to no file, or to two", one.name));
        }
        let Some(rest) = zip.get(next..list_at) else { return no(CUT) };
        let (file, length) = local(rest, one)?;
        files.push(file);
        next += length;
    }
    if next != list_at {
        return no("behind its last file there are bytes that belong to none");
    }
    Ok(files)
}

/// The end of it: how many files, where their list begins, the list.
fn list(zip: &[u8]) -> Result<(usize, usize, &[u8]), Unsound> {
    let not_one = "it is not a pack as it was made: it does not end as a ZIP does (a part may be missing)";
    let Some((before, end)) = zip.len().checked_sub(22).and_then(|at| zip.split_at_checked(at)) else {
        return no(not_one);
    };
    let mut reader = Reader(end);
    if reader.four()? != END {
        return no(not_one);
    }
    let (disk, of_list, here, count) = (reader.u16()?, reader.u16()?, reader.u16()?, reader.u16()?);
    let (size, at, comment) = (reader.u32()?, reader.u32()?, reader.u16()?);
    let (size, at) = (usize::try_from(size).unwrap_or(usize::MAX), usize::try_from(at).unwrap_or(usize::MAX));
    if disk != 0
        || of_list != 0
        || here != count
        || comment != 0
        || at.checked_add(size) != Some(before.len())
    {
        return no(not_one);
    }
    let count = usize::from(count);
    if count > MOST_FILES {
        return no(format!("there are {count} files in it, and no pack has more than {MOST_FILES}"));
    }
    let Some(list) = before.get(at..) else { return no(not_one) };
    Ok((count, at, list))
}

/// A line of the list, and where it says that its file begins.
fn central<'a>(reader: &mut Reader<'a>) -> Result<(u32, Told<'a>), Unsound> {
    if reader.four()? != CENTRAL {
        return no("its list of files is damaged");
    }
    reader.bytes(4)?;
    let (flags, method, _time) = (reader.u16()?, reader.u16()?, reader.u32()?);
    let (crc, packed, size) = (reader.u32()?, reader.u32()?, reader.u32()?);
    let (name, extra, comment) = (reader.u16()?, reader.u16()?, reader.u16()?);
    reader.bytes(8)?;
    let at = reader.u32()?;
    let name = reader.text(name)?;
    reader.bytes(usize::from(extra) + usize::from(comment))?;
    Ok((at, Told { flags, method, crc, packed, size, name }))
}

/// A file where its bytes are, and how many bytes it takes with what stands in front of them.
fn local<'a>(zip: &'a [u8], told: Told<'a>) -> Result<(File<'a>, usize), Unsound> {
    let mut reader = Reader(zip);
    let name = told.name;
    if reader.four()? != LOCAL {
        return no(format!("{name} is not where the list says"));
    }
    reader.bytes(2)?;
    let (flags, method, _time) = (reader.u16()?, reader.u16()?, reader.u32()?);
    let (crc, packed, size) = (reader.u32()?, reader.u32()?, reader.u32()?);
    let (name_length, extra) = (reader.u16()?, reader.u16()?);
    let here = Told { flags, method, crc, packed, size, name: reader.text(name_length)? };
    if here != told {
        return no(format!(
            "two things are said of {name}: it was packed again, or tampered with. Ask for it as it was made"
        ));
    }
    if flags & !HARMLESS != 0 || !matches!(method, STORED | DEFLATED) {
        return no(format!(
            "{name} is encrypted or packed in a way that no pack is. Ask for it as it was made"
        ));
    }
    reader.bytes(extra.into())?;
    let bytes = reader.bytes(usize::try_from(packed).unwrap_or(usize::MAX))?;
    let length = zip.len() - reader.0.len();
    Ok((File { name, method, crc, size, packed: bytes }, length))
}

impl File<'_> {
    /// Never more bytes than were declared, whatever comes out.
    fn unpack(&self) -> Result<Vec<u8>, Unsound> {
        let damaged = || format!("{} is damaged", self.name);
        let (bytes, read) = if self.method == STORED {
            (self.packed.to_vec(), self.packed.len() as u64)
        } else {
            let mut bytes = Vec::new();
            let mut unpacking = DeflateDecoder::new(self.packed).take(u64::from(self.size) + 1);
            unpacking.read_to_end(&mut bytes).or_else(|_| no(damaged()))?;
            (bytes, unpacking.into_inner().total_in())
        };
        let mut crc = Crc::new();
        crc.update(&bytes);
        if bytes.len() as u64 != u64::from(self.size) || crc.sum() != self.crc {
            return no(damaged());
        }
        if read != self.packed.len() as u64 {
            return no(format!("behind the end of {} something is hidden", self.name));
        }
        Ok(bytes)
    }
}

/// A name that means the same on every machine, inside the folder it is unpacked in.
fn is_plain(name: &str) -> Result<(), Unsound> {
    let part = |part: &str| {
        !part.is_empty()
            && !part.starts_with('.')
            && part.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'-' | b'_'))
    };
    if name.len() <= 100 && name.split('/').count() <= 2 && name.split('/').all(part) {
        Ok(())
    } else {
        no(format!("a file in it is called {}, and no pack has such a file", crate::base::text::quoted(name)))
    }
}
