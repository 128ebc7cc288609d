//! Signed notes and the checkpoints that are written in them, as the open specifications of transparency logs have them
//! (C2SP signed-note and tlog-checkpoint): plain text, a blank line, a line for each Ed25519 signature.
use std::fmt;

use base64::{Engine as _, engine::general_purpose::STANDARD};
use ed25519_dalek::{Signature, Signer as _, VerifyingKey};
use sha2::{Digest, Sha256};

use super::{proof::Head, tree::Hash};

/// What a public key is marked with: Ed25519 over the note's text.
const ED25519: u8 = 1;
/// No note of ours is near it; whoever reads one need not read more.
pub const LONGEST: usize = 2_000_000;
const MOST_SIGNATURES: usize = 64;

/// A key that notes are checked with, under the name that stands in their signature lines. Written
/// `name+hash+base64`, as it is handed on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublicKey {
    name: String,
    key: VerifyingKey,
}

/// A key that notes are signed with.
pub struct SecretKey {
    name: String,
    key: ed25519_dalek::SigningKey,
}

/// Why something is no key, note or checkpoint, in a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotOne(pub String);

impl fmt::Display for NotOne {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for NotOne {}

fn not(what: &str, why: &str) -> NotOne {
    NotOne(format!("this is not {what}: {why}"))
}

fn is_name(name: &str) -> bool {
    !name.is_empty() && !name.contains(|c: char| c.is_whitespace() || c == '+' || c.is_control())
}

fn key_id(name: &str, key: &VerifyingKey) -> [u8; 4] {
    let mut sha = Sha256::new();
    sha.update(name.as_bytes());
    sha.update([b'\n', ED25519]);
    sha.update(key.as_bytes());
    let [a, b, c, d, ..] = <[u8; 32]>::from(sha.finalize());
    [a, b, c, d]
}

fn with_mark(key: &[u8; 32]) -> String {
    STANDARD.encode([&[ED25519][..], key].concat())
}

/// The 32 bytes behind the mark of Ed25519.
fn unmarked(text: &str) -> Option<[u8; 32]> {
    match STANDARD.decode(text).ok()?.split_first()? {
        (&ED25519, key) => key.try_into().ok(),
        _ => None,
    }
}

impl PublicKey {
    pub fn parse(text: &str) -> Result<Self, NotOne> {
        let no = |why| not("a public key", why);
        let mut parts = text.trim().splitn(3, '+');
        let (Some(name), Some(id), Some(key)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(no("a name, eight figures and the key are wanted, with a plus between them"));
        };
        if !is_name(name) {
            return Err(no("it has no name"));
        }
        let key =
            unmarked(key).ok_or_else(|| no("what follows the second plus is no Ed25519 key in base64"))?;
        let key =
            VerifyingKey::from_bytes(&key).map_err(|_| no("these 32 bytes are no point of the curve"))?;
        if hex::encode(key_id(name, &key)) != id {
            return Err(no("the figures between the pluses do not belong to the key: a letter is wrong"));
        }
        Ok(Self { name: name.to_owned(), key })
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    pub fn id(&self) -> [u8; 4] {
        key_id(&self.name, &self.key)
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}+{}+{}", self.name, hex::encode(self.id()), with_mark(self.key.as_bytes()))
    }
}

impl fmt::Debug for SecretKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the secret half of {}", self.public())
    }
}

impl SecretKey {
    /// `name` has neither white space nor a plus in it.
    pub fn of(name: &str, seed: &[u8; 32]) -> Self {
        Self { name: name.to_owned(), key: ed25519_dalek::SigningKey::from_bytes(seed) }
    }

    /// `PRIVATE+KEY+name+hash+base64`.
    pub fn parse(text: &str) -> Result<Self, NotOne> {
        let no = |why| not("a secret key", why);
        let rest = text.trim().strip_prefix("PRIVATE+KEY+").ok_or_else(|| no("it does not say so"))?;
        let mut parts = rest.splitn(3, '+');
        let (Some(name), Some(id), Some(seed)) = (parts.next(), parts.next(), parts.next()) else {
            return Err(no("parts of it are missing"));
        };
        let seed = unmarked(seed).filter(|_| is_name(name)).ok_or_else(|| no("it is damaged"))?;
        let key = Self::of(name, &seed);
        (hex::encode(key.public().id()) == id).then_some(key).ok_or_else(|| no("it is damaged"))
    }

    /// The secret itself: for its own file, and nowhere else.
    pub fn reveal(&self) -> String {
        let id = hex::encode(self.public().id());
        format!("PRIVATE+KEY+{}+{id}+{}", self.name, with_mark(self.key.as_bytes()))
    }

    pub fn public(&self) -> PublicKey {
        PublicKey { name: self.name.clone(), key: self.key.verifying_key() }
    }

    /// The whole note. `text` ends with a line end and has no control characters but line ends.
    pub fn sign(&self, text: &str) -> String {
        let signature = self.key.sign(text.as_bytes()).to_bytes();
        let line = STANDARD.encode([&self.public().id()[..], &signature].concat());
        format!("{text}\n\u{2014} {} {line}\n", self.name)
    }
}

/// A note as it is read: nothing in it is to be believed before [`Note::signed_by`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note<'a> {
    /// With its last line end.
    pub text: &'a str,
    signatures: Vec<Signed<'a>>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct Signed<'a> {
    name: &'a str,
    id: [u8; 4],
    bytes: Vec<u8>,
}

/// What a note says of one key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// Signed by it.
    Yes,
    /// There is a signature under its name and number, and it is not right.
    Wrong,
    /// It has not signed this.
    Not,
}

impl<'a> Note<'a> {
    pub fn read(whole: &'a str) -> Result<Self, NotOne> {
        let no = |why| not("a signed note", why);
        if whole.len() > LONGEST {
            return Err(no("it is too long for one"));
        }
        if whole.contains(|c: char| c < ' ' && c != '\n') {
            return Err(no(
                "there are control characters in it (a mail program may have changed its line ends)",
            ));
        }
        let at = whole.rfind("\n\n").ok_or_else(|| no("no empty line parts the text from its signatures"))?;
        let (text, lines) = (whole.get(..=at), whole.get(at + 2..));
        let (Some(text), Some(lines)) = (text, lines.and_then(|lines| lines.strip_suffix('\n'))) else {
            return Err(no("its last line has no end: a part is missing"));
        };
        let signatures: Option<Vec<_>> =
            lines.split('\n').take(MOST_SIGNATURES + 1).map(Signed::read).collect();
        match signatures {
            Some(signatures) if signatures.len() <= MOST_SIGNATURES => Ok(Self { text, signatures }),
            Some(_) => Err(no("there are too many signatures under it")),
            None => Err(no("a line under it is no signature")),
        }
    }

    pub fn signed_by(&self, key: &PublicKey) -> By {
        let id = key.id();
        let mut theirs = self.signatures.iter().filter(|s| s.name == key.name && s.id == id).peekable();
        if theirs.peek().is_none() {
            return By::Not;
        }
        let right = |s: &Signed<'_>| {
            Signature::from_slice(&s.bytes)
                .is_ok_and(|signature| key.key.verify_strict(self.text.as_bytes(), &signature).is_ok())
        };
        if theirs.all(right) { By::Yes } else { By::Wrong }
    }

    /// Under what names, and with keys of what numbers, it says it is signed.
    pub fn signers(&self) -> String {
        let each = self.signatures.iter().map(|s| format!("{} {}", s.name, hex::encode(s.id)));
        each.collect::<Vec<_>>().join(", ")
    }
}

impl<'a> Signed<'a> {
    fn read(line: &'a str) -> Option<Self> {
        let (name, bytes) = line.strip_prefix("\u{2014} ")?.split_once(' ')?;
        let bytes = STANDARD.decode(bytes).ok().filter(|_| is_name(name))?;
        let (id, bytes) = bytes.split_first_chunk::<4>()?;
        Some(Self { name, id: *id, bytes: bytes.to_vec() })
    }
}

/// How large a book was and what its root was then. Whose it is, the first line says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checkpoint {
    pub origin: String,
    pub head: Head,
}

impl Checkpoint {
    /// The text to be signed.
    pub fn text(&self) -> String {
        format!("{}\n{}\n{}\n", self.origin, self.head.size, STANDARD.encode(self.head.root.0))
    }

    /// Out of the text of a note. Further lines are none of ours; the specification has readers pass over them.
    pub fn read(text: &str) -> Result<Self, NotOne> {
        let no = |why| not("a checkpoint", why);
        let mut lines = text.lines();
        let (Some(origin), Some(size), Some(root)) = (lines.next(), lines.next(), lines.next()) else {
            return Err(no("it wants three lines: whose it is, the number of pages, the root"));
        };
        if origin.is_empty() {
            return Err(no("its first line does not say whose it is"));
        }
        let size = size.parse::<u64>().ok().filter(|n| n.to_string() == size);
        let size = size.ok_or_else(|| no("its second line is not the number of pages"))?;
        let root = STANDARD.decode(root).ok().and_then(|bytes| Hash::from_slice(&bytes));
        let root = root.ok_or_else(|| no("its third line is no root in base64"))?;
        Ok(Self { origin: origin.to_owned(), head: Head { size, root } })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The key and the note of the tests of Go's sumdb/note, as public repositories carry them.
    const SECRET: &str = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz";
    const PUBLIC: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    const TEXT: &str = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n";
    const LINE: &str = "\u{2014} PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";

    #[test]
    fn a_published_note_is_signed_and_checked_to_the_byte() {
        let key = SecretKey::parse(SECRET).unwrap();
        assert_eq!(key.public().to_string(), PUBLIC);
        assert_eq!(key.reveal(), SECRET);
        let note = key.sign(TEXT);
        assert_eq!(note, format!("{TEXT}\n{LINE}"));
        let public = PublicKey::parse(PUBLIC).unwrap();
        assert_eq!(Note::read(&note).unwrap().signed_by(&public), By::Yes);
        let changed = note.replace("your problem,", "my problem,");
        assert_eq!(Note::read(&changed).unwrap().signed_by(&public), By::Wrong);
        let other = SecretKey::of("PeterNeumann", &[7; 32]).public();
        assert_eq!(Note::read(&note).unwrap().signed_by(&other), By::Not, "a key of the same name");
    }

    /// The example of the specification of checkpoints (its key is not given there).
    #[test]
    fn the_specifications_checkpoint_is_read() {
        let whole = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n\u{2014} example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n";
        let note = Note::read(whole).unwrap();
        let checkpoint = Checkpoint::read(note.text).unwrap();
        assert_eq!(
            (checkpoint.origin.as_str(), checkpoint.head.size),
            ("example.com/behind-the-sofa", 20_852_163)
        );
        assert_eq!(checkpoint.text(), note.text);
        assert_eq!(note.signers(), "example.com/behind-the-sofa 033de0ae");
    }

    #[test]
    fn what_is_no_key_note_or_checkpoint_is_told_why() {
        let key = SecretKey::of("breakerbook/x", &[3; 32]);
        let public = key.public().to_string();
        for at in 0..public.len() {
            let mut bytes = public.clone().into_bytes();
            bytes[at] ^= 1;
            let changed = String::from_utf8(bytes).unwrap();
            assert!(PublicKey::parse(&changed).is_err(), "{changed}");
        }
        let note = key.sign("a\n1\nAAAA\n");
        for (whole, why) in [
            (note.replace('\n', "\r\n"), "control characters"),
            (note.trim_end().to_owned(), "part is missing"),
            (note.replace("\n\n", "\n"), "no empty line"),
            (note.replace('\u{2014}', "-"), "no signature"),
            (format!("x\n\n{}", LINE.repeat(65)), "too many"),
            ("x".repeat(LONGEST + 1), "too long"),
        ] {
            assert!(Note::read(&whole).unwrap_err().0.contains(why), "{why}");
        }
        for (text, why) in [
            ("a\n1\n", "three lines"),
            ("\n1\nx\n", "whose"),
            ("a\n01\nx\n", "second line"),
            ("a\n1\nAAAA\n", "third line"),
        ] {
            assert!(Checkpoint::read(text).unwrap_err().0.contains(why), "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_reading_panic(text in "\\PC{0,80}|[a-z+=\n\u{2014} ]{0,200}") {
            if let Ok(note) = Note::read(&text) {
                let _ = Checkpoint::read(note.text);
                proptest::prop_assert_ne!(note.signed_by(&SecretKey::of("a", &[1; 32]).public()), By::Yes);
            }
            let _ = (PublicKey::parse(&text).is_ok(), SecretKey::parse(&text).is_ok());
        }
    }
}
