//! Sessions and tokens: random secrets of which only the SHA-256 is kept, and how long they last. Pure.
use std::fmt;

use sha2::{Digest, Sha256};

use super::Role;
use crate::base::{
    Instant, SignIn,
    instant::{DAY, HOUR, MINUTE},
};

/// 256 random bits, handed to a browser or a program once.
pub struct Token([u8; 32]);

impl Token {
    pub fn fresh() -> Result<Self, getrandom::Error> {
        let mut bits = [0; 32];
        getrandom::fill(&mut bits)?;
        Ok(Self(bits))
    }

    /// As it comes back: 64 hexadecimal digits.
    pub fn parse(text: &str) -> Option<Self> {
        let mut bits = [0; 32];
        hex::decode_to_slice(text, &mut bits).ok()?;
        Some(Self(bits))
    }

    /// Fast hashing is enough: nobody guesses 256 random bits.
    pub fn hash(&self) -> TokenHash {
        TokenHash(Sha256::digest(self.0).into())
    }

    /// As it goes out. Not `Display`, so that it is never printed by accident.
    pub fn reveal(&self) -> String {
        hex::encode(self.0)
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(..)")
    }
}

/// What is kept of a token; whoever reads it cannot sign in with it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct TokenHash(pub [u8; 32]);

/// How long a session lasts without a request, and in all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    pub idle: i64,
    pub absolute: i64,
}

impl Limits {
    /// By where the screen stands (ASVS 5.0 7.3; signatures ask for the password again in any case). A crew
    /// carries its own tablet through a shift of 12 hours, mostly without network; the shop's terminal is
    /// shared; a desk can be walked away from.
    pub fn of(role: Role) -> Self {
        match role {
            Role::Crew => Self { idle: 12 * HOUR, absolute: DAY },
            Role::Shop => Self { idle: 30 * MINUTE, absolute: 12 * HOUR },
            Role::Supervisor | Role::Administrator => Self { idle: HOUR, absolute: 12 * HOUR },
        }
    }

    fn allow(self, created_at: Instant, seen_at: Instant, now: Instant) -> bool {
        now.since(seen_at) < self.idle && now.since(created_at) < self.absolute
    }
}

/// One sign-in, as kept.
#[derive(Clone, Debug)]
pub struct Session {
    pub token_hash: TokenHash,
    pub sign_in: SignIn,
    pub created_at: Instant,
    pub seen_at: Instant,
    pub ended_at: Option<Instant>,
    /// The password it was opened with must be changed before anything else.
    pub must_change: bool,
    /// The person's name for display, where there is one.
    pub name: Option<String>,
    /// Parked forms that wait for them.
    pub kept_forms: u32,
    /// Reports that a tablet signed for them and they have not answered for.
    pub unanswered: u32,
    /// They have one-time codes.
    pub codes_set: bool,
    /// The book asks supervisors and administrators for them.
    pub codes_asked: bool,
}

/// What a browser said of itself at sign-in, and where it was.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Seen {
    /// In words.
    pub agent: String,
    /// Empty: not known.
    pub address: String,
}

/// A session as its person looks at it.
#[derive(Clone, Debug)]
pub struct Open {
    pub token_hash: TokenHash,
    pub created_at: Instant,
    pub seen_at: Instant,
    pub seen: Seen,
}

impl Open {
    pub fn is_alive(&self, limits: Limits, now: Instant) -> bool {
        limits.allow(self.created_at, self.seen_at, now)
    }

    /// What tells it from that person's others on a page. Nobody can sign in with it.
    pub fn id(&self) -> String {
        hex::encode(&self.token_hash.0[..8])
    }
}

impl Session {
    pub fn is_alive(&self, limits: Limits, now: Instant) -> bool {
        self.ended_at.is_none() && limits.allow(self.created_at, self.seen_at, now)
    }

    /// `seen_at` is written at most once a minute: a page is a read, and should stay one.
    pub fn wants_touch(&self, now: Instant) -> bool {
        now.since(self.seen_at) >= MINUTE
    }
}

/// How long somebody must wait after that many failures in a row: nothing for the first three, then doubling
/// from 4 seconds to 15 minutes. `None` once only an administrator can help (NIST SP 800-63B-4 3.2.2: no more
/// than 100 in a row).
pub fn wait_after(failures: u32) -> Option<i64> {
    use crate::base::instant::SECOND;
    match failures {
        0..=2 => Some(0),
        3..=10 => Some(((4 * SECOND) << (failures - 3)).min(15 * MINUTE)),
        11..=99 => Some(15 * MINUTE),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::instant::SECOND;

    #[test]
    fn waits_grow_and_end() {
        let waits: Vec<_> =
            [0, 2, 3, 4, 5, 10, 11, 99].into_iter().map(|n| wait_after(n).map(|w| w / SECOND)).collect();
        let want = [0, 0, 4, 8, 16, 512, 900, 900].map(Some);
        assert_eq!(waits, want);
        assert_eq!(wait_after(100), None);
    }

    #[test]
    fn a_session_ends_by_idling_by_age_and_by_signing_out() {
        let start = Instant(0);
        let session = |seen, ended| Session {
            token_hash: TokenHash([0; 32]),
            sign_in: SignIn::from("ann"),
            created_at: start,
            seen_at: Instant(seen),
            ended_at: ended,
            must_change: false,
            name: None,
            kept_forms: 0,
            unanswered: 0,
            codes_set: false,
            codes_asked: false,
        };
        let desk = Limits::of(Role::Supervisor);
        assert!(session(0, None).is_alive(desk, Instant(59 * MINUTE)));
        assert!(!session(0, None).is_alive(desk, Instant(60 * MINUTE)), "idle");
        assert!(!session(12 * HOUR - 1, None).is_alive(desk, Instant(12 * HOUR)), "too old");
        assert!(!session(0, Some(start)).is_alive(desk, Instant(1)), "signed out");
    }

    #[test]
    fn a_token_comes_back_as_it_went_out() {
        let token = Token::fresh().unwrap();
        assert_eq!(Token::parse(&token.reveal()).unwrap().hash(), token.hash());
        assert!(Token::parse("abc").is_none() && Token::parse(&"g".repeat(64)).is_none());
    }
}
