//! A page: one UTF-8 JSON blob in a fixed field order, with its heading and a body that the desk gives it.
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;

use crate::base::{SignIn, Stamp, words::words};

/// The version written today. Older ones stay readable for ever.
pub const VERSION: u32 = 1;

words! {
    /// How something came into the book.
    pub enum Channel {
        /// Signed on a page by the re-entered password.
        Page = "page",
        /// By a program with a person's token.
        Token = "token",
        /// Signed by a tablet's own key.
        Device = "device",
        /// From a file.
        Import = "import",
        /// By whoever holds the machine.
        Console = "console",
    }
}

/// What stands above the body. `null` is never left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Heading {
    /// `None`: the program itself, or whoever held the console.
    pub author: Option<SignIn>,
    pub channel: Channel,
    /// Somebody else whose words the author wrote down.
    pub on_behalf_of: Option<SignIn>,
    pub recorded_at: Stamp,
    pub happened_at: Option<Stamp>,
}

/// A page read back, its body still as text.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Envelope<'a> {
    pub v: u32,
    pub seq: u64,
    pub kind: std::borrow::Cow<'a, str>,
    pub author: Option<SignIn>,
    pub channel: Channel,
    pub on_behalf_of: Option<SignIn>,
    pub recorded_at: Stamp,
    pub happened_at: Option<Stamp>,
    #[serde(borrow)]
    pub body: &'a RawValue,
}

impl<'a> Envelope<'a> {
    pub fn read(blob: &'a str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(blob)
    }

    pub fn heading(&self) -> Heading {
        Heading {
            author: self.author.clone(),
            channel: self.channel,
            on_behalf_of: self.on_behalf_of.clone(),
            recorded_at: self.recorded_at,
            happened_at: self.happened_at,
        }
    }
}

/// The bytes of a page, exactly as they are hashed.
pub fn write(seq: u64, kind: &str, heading: &Heading, body: &RawValue) -> Result<String, serde_json::Error> {
    serde_json::to_string(&Envelope {
        v: VERSION,
        seq,
        kind: kind.into(),
        author: heading.author.clone(),
        channel: heading.channel,
        on_behalf_of: heading.on_behalf_of.clone(),
        recorded_at: heading.recorded_at,
        happened_at: heading.happened_at,
        body,
    })
}
