//! One-time codes of RFC 6238 (SHA-1, six digits, 30 seconds, one step either way), and recovery codes. Pure.
use std::fmt;

use sha2::{Digest, Sha256};
use totp_rs::{Builder, Secret};

use crate::base::{Instant, instant::SECOND};

/// What a telephone and the book share: 160 random bits, as RFC 4226 recommends.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Seed(pub [u8; 20]);

impl fmt::Debug for Seed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Seed(..)")
    }
}

impl Seed {
    pub fn fresh() -> Result<Self, getrandom::Error> {
        let mut bits = [0; 20];
        getrandom::fill(&mut bits)?;
        Ok(Self(bits))
    }

    pub fn from_slice(bytes: &[u8]) -> Option<Self> {
        bytes.try_into().ok().map(Self)
    }

    /// The step whose code this is, if it is the code of now, of the step before, or of the one after.
    pub fn step_of(&self, code: &str, now: Instant) -> Option<i64> {
        let seconds = u64::try_from(now.0.div_euclid(SECOND)).ok()?;
        let totp = Builder::new().with_secret(Secret::from(self.0)).with_skew(1).build().ok()?;
        totp.check(code, seconds).and_then(|step| i64::try_from(step).ok())
    }

    /// As it is typed where no picture can be taken: base32, in fours.
    pub fn in_fours(&self) -> String {
        fours(&self.base32())
    }

    fn base32(&self) -> String {
        Secret::from(self.0).to_base32()
    }

    /// What the square says to a telephone. Both names are percent-encoded already.
    pub fn uri(&self, book: &str, sign_in: &str) -> String {
        let secret = self.base32();
        format!(
            "otpauth://totp/{book}:{sign_in}?secret={secret}&issuer={book}&algorithm=SHA1&digits=6&period=30"
        )
    }
}

/// What somebody typed where a code is asked for.
#[derive(Clone, PartialEq, Eq)]
pub enum Typed {
    /// Six digits.
    Code(String),
    Recovery(RecoveryHash),
}

/// What is kept of a recovery code.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RecoveryHash(pub [u8; 32]);

/// Without i, l, o and u; what is easily read for one of these is taken for the digit.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// Five bits each: 120, so that a plain hash may keep them (ASVS 5.0 6.5.2 asks 112 for that).
const RECOVERY_LETTERS: usize = 24;
pub const RECOVERY_CODES: usize = 10;

impl Typed {
    /// `None`: neither kind of code. Blanks and hyphens do not count.
    pub fn read(text: &str) -> Option<Self> {
        let plain: String = text.chars().filter(|c| !c.is_whitespace() && *c != '-').collect();
        if plain.len() == 6 && plain.bytes().all(|b| b.is_ascii_digit()) {
            return Some(Self::Code(plain));
        }
        let letters: String = plain.chars().map(|c| letter(c.to_ascii_lowercase())).collect();
        let is_one = letters.len() == RECOVERY_LETTERS && letters.bytes().all(|b| LETTERS.contains(&b));
        is_one.then(|| Self::Recovery(hash_of(&letters)))
    }
}

fn letter(c: char) -> char {
    match c {
        'o' => '0',
        'i' | 'l' => '1',
        c => c,
    }
}

fn hash_of(letters: &str) -> RecoveryHash {
    RecoveryHash(Sha256::digest(letters.as_bytes()).into())
}

/// Ten new ones as they are shown, once, and what is kept of them.
pub fn recovery_codes() -> Result<Vec<(String, RecoveryHash)>, getrandom::Error> {
    let one = || {
        let mut random = [0_u8; RECOVERY_LETTERS];
        getrandom::fill(&mut random)?;
        let letters: String = random.iter().map(|b| char::from(LETTERS[usize::from(b % 32)])).collect();
        Ok((fours(&letters), hash_of(&letters)))
    };
    (0..RECOVERY_CODES).map(|_| one()).collect()
}

fn fours(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    letters.chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238 appendix B, SHA-1: its codes have eight digits, of which the last six are the code of six.
    const RFC_6238: &[(i64, &str)] = &[
        (59, "94287082"),
        (1_111_111_109, "07081804"),
        (1_111_111_111, "14050471"),
        (1_234_567_890, "89005924"),
        (2_000_000_000, "69279037"),
        (20_000_000_000, "65353130"),
    ];

    #[test]
    fn codes_are_those_of_rfc_6238() {
        let seed = Seed(*b"12345678901234567890");
        for (seconds, eight) in RFC_6238 {
            let at = Instant(seconds * SECOND);
            assert_eq!(seed.step_of(&eight[2..], at), Some(seconds / 30), "{seconds}");
            assert_eq!(seed.step_of(&eight[2..], at.plus(30 * SECOND)), Some(seconds / 30), "a step late");
            assert_eq!(seed.step_of(&eight[2..], at.plus(60 * SECOND)), None, "two steps late");
        }
        assert_eq!(
            seed.step_of(&RFC_6238[1].1[2..], Instant(RFC_6238[1].0 * SECOND).minus(30 * SECOND)),
            Some(37_037_036)
        );
        assert_eq!(seed.step_of("", Instant(0)), None);
        assert_eq!(seed.in_fours(), "GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ");
        assert_eq!(
            seed.uri("Quarry%20%26%20Harbor", "sue"),
            "otpauth://totp/Quarry%20%26%20Harbor:sue?secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ&issuer=Quarry%20%26%20Harbor&algorithm=SHA1&digits=6&period=30"
        );
    }

    #[test]
    fn recovery_codes_are_read_however_they_are_typed() {
        let made = recovery_codes().unwrap();
        assert_eq!(made.len(), 10);
        for (shown, hash) in &made {
            let sloppy = shown.to_uppercase().replace(' ', "-").replace('0', "O").replace('1', "l");
            assert!(matches!(Typed::read(&sloppy), Some(Typed::Recovery(read)) if read == *hash), "{shown}");
        }
        assert!(made.windows(2).all(|two| two[0].1 != two[1].1));
        assert!(matches!(Typed::read(" 123 456"), Some(Typed::Code(code)) if code == "123456"));
        for neither in ["", "12345", "1234567", "nine wet sheep at the gate", "uuuu uuuu uuuu uuuu uuuu uuuu"]
        {
            assert!(Typed::read(neither).is_none(), "{neither}");
        }
    }
}
