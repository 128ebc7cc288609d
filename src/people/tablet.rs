//! Signing keys of tablets: made by the browser at an online sign-in, never to leave it, so that a report can be signed
//! where there is no network. Only the public half is on record. Pure.
use p256::ecdsa::{Signature, VerifyingKey, signature::Verifier as _};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::base::{
    Instant, ReportId, SignIn, Stamp,
    instant::{DAY, MINUTE},
};

/// How long a key signs after the sign-in that it was made at.
pub const SIGNS_FOR: i64 = 30 * DAY;
/// How long after its end what it signed before is still taken: a tablet may lie in a locker for a vacation.
pub const TAKEN_FOR: i64 = 60 * DAY;
/// A key is registered with the password fresh in hand: a session that was found open makes none.
pub const FRESH: i64 = 10 * MINUTE;

/// A key on record.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TabletKey {
    pub id: Uuid,
    pub sign_in: SignIn,
    /// An uncompressed point of SEC 1, in hexadecimal.
    pub public_key: String,
    pub registered_at: Instant,
    pub until: Instant,
    pub revoked_at: Option<Instant>,
    pub revoked_by: Option<SignIn>,
    pub reason: Option<String>,
}

/// A report that came signed by a tablet's key, and what its author said to it at a later sign-in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TabletReport {
    pub report: ReportId,
    pub author: SignIn,
    pub key: Uuid,
    /// The tablet's clock when it sent the report.
    pub clock: Option<Stamp>,
    pub received_at: Instant,
    pub answer: Option<TabletAnswer>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TabletAnswer {
    pub mine: bool,
    pub at: Instant,
    pub words: Option<String>,
}

impl TabletKey {
    /// Why what it signed at `signed_at` (by the tablet's own clock) is not taken now; `None`: it is.
    pub fn refuses(&self, signed_at: Instant, now: Instant) -> Option<&'static str> {
        let in_time = now <= self.until || (signed_at <= self.until && now <= self.until.plus(TAKEN_FOR));
        if self.revoked_at.is_some() {
            Some(
                "This tablet's key was revoked, so the report was not taken. It is kept as a draft: sign in and sign it with your password.",
            )
        } else if !in_time {
            Some(
                "This tablet's key had ended, so the report was not taken. It is kept as a draft: sign in and sign it with your password.",
            )
        } else {
            None
        }
    }
}

/// Whether it is a point of the curve, as a public key has to be.
pub fn is_key(public_key: &str) -> bool {
    key(public_key).is_some()
}

fn key(public_key: &str) -> Option<VerifyingKey> {
    let bytes = hex::decode(public_key).ok().filter(|bytes| bytes.len() == 65)?;
    VerifyingKey::from_sec1_bytes(&bytes).ok()
}

/// ECDSA P-256 over the SHA-256 of the message, `r` and `s` of 32 bytes each in hexadecimal, as browsers make it.
pub fn signed_by(public_key: &str, message: &[u8], signature: &str) -> bool {
    let signature = hex::decode(signature).ok().and_then(|bytes| Signature::from_slice(&bytes).ok());
    match (key(public_key), signature) {
        (Some(key), Some(signature)) => key.verify(message, &signature).is_ok(),
        _ => false,
    }
}

/// How far the tablet's clock was off when it sent something: positive if it was ahead.
pub fn clock_off(clock: Option<Stamp>, received_at: Instant) -> i64 {
    clock.map_or(0, |clock| clock.at.since(received_at))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6979, A.2.5: curve P-256, SHA-256, message "sample".
    const RFC_KEY: &str = "0460fed4ba255a9d31c961eb74c6356d68c049b8923b61fa6ce669622e60f29fb67903fe1008b8bc99a41ae9e95628bc64f2f1b20c2d7e9f5177a3c294d4462299";
    const RFC_SIGNATURE: &str = "efd48b2aacb6a8fd1140dd9cd45e81d69d2c877b56aaf991c34d0ea84eaf3716f7cb1c942d657c41d436c7a1b6e29f65f3e900dbb9aff4064dc4ab2f843acda8";

    #[test]
    fn a_signature_holds_for_its_key_and_its_bytes_only() {
        assert!(is_key(RFC_KEY) && signed_by(RFC_KEY, b"sample", RFC_SIGNATURE));
        assert!(!signed_by(RFC_KEY, b"samples", RFC_SIGNATURE), "other bytes");
        let other = RFC_SIGNATURE.replacen("efd4", "efd5", 1);
        assert!(!signed_by(RFC_KEY, b"sample", &other), "another signature");
        assert!(!signed_by(RFC_KEY, b"sample", "") && !signed_by(RFC_KEY, b"sample", "zz"));
        let off_curve = RFC_KEY.replacen("0460", "0461", 1);
        assert!(!is_key(&off_curve) && !signed_by(&off_curve, b"sample", RFC_SIGNATURE));
        assert!(!is_key(&RFC_KEY[..66]) && !is_key(""));
    }

    #[test]
    fn a_key_signs_for_its_time_and_what_it_signed_is_taken_a_while_longer() {
        let (start, until) = (Instant(0), Instant(SIGNS_FOR));
        let key = |revoked| TabletKey {
            id: Uuid::nil(),
            sign_in: "ann".into(),
            public_key: RFC_KEY.into(),
            registered_at: start,
            until,
            revoked_at: revoked,
            revoked_by: None,
            reason: None,
        };
        let at = |days: i64| start.plus(days * DAY);
        for (signed, now, taken) in [
            (at(1), at(1), true),
            // A tablet whose clock is a year ahead, and one whose clock was never set.
            (at(365), at(2), true),
            (at(-9_000), at(2), true),
            (at(29), at(31), true),
            (at(29), at(90), true),
            (at(29), at(91), false),
            (at(31), at(31), false),
        ] {
            assert_eq!(key(None).refuses(signed, now).is_none(), taken, "{signed:?} {now:?}");
        }
        assert!(key(Some(at(1))).refuses(at(1), at(1)).is_some(), "revoked");
    }
}
