//! Passwords: what makes one acceptable, and hashing without letting sign-ins take the whole machine.
use std::{
    fmt,
    sync::{
        Arc, OnceLock,
        atomic::{AtomicUsize, Ordering},
    },
};

use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use tokio::sync::Semaphore;
use unicode_normalization::UnicodeNormalization;

use crate::base::SignIn;

/// NIST SP 800-63B-4 3.1.1.2: at least 15 characters where a password is the only factor.
pub const LEAST_CHARACTERS: usize = 15;
/// Long enough for any sentence; short enough that hashing it costs nothing extra.
pub const MOST_CHARACTERS: usize = 200;

/// What somebody typed. Never printed.
#[derive(Clone)]
pub struct Password(String);

impl Password {
    /// NFKC, so that two keyboards that spell a letter differently still agree.
    pub fn typed(text: &str) -> Self {
        Self(text.nfkc().collect())
    }
}

impl fmt::Debug for Password {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Password(..)")
    }
}

/// Words that somebody would try first in this book, beside its railway's name, its mark, its units and the sign-in name
/// (ASVS 5.0 6.1.2).
const CONTEXT: &[&str] = &[
    "breakerbook",
    "breaker",
    "logbook",
    "locomotive",
    "engine",
    "railway",
    "railroad",
    "ground relay",
    "cutout",
    "handover",
    "engineer",
    "conductor",
    "foreman",
    "supervisor",
    "administrator",
    "password",
];

/// Ten to this power guesses at least, as the estimator counts them: its own line for what even a stolen hash does not
/// give away soon.
const LEAST_GUESSES: f64 = 10.0;

/// Why a new password cannot be taken, as a sentence; `None` when it can. No rules of composition
/// (NIST SP 800-63B-4, ASVS 5.0 6.2): length, and not what somebody would guess first. `own`: the railway's name, its
/// mark, and whatever units of it stand in the password.
pub fn refusal(password: &Password, of: &SignIn, own: &[&str]) -> Option<String> {
    let chars: Vec<char> = password.0.chars().flat_map(char::to_lowercase).collect();
    if chars.len() < LEAST_CHARACTERS {
        let have = chars.len();
        return Some(format!(
            "At least {LEAST_CHARACTERS} characters: this one has {have}. Four plain words do well."
        ));
    }
    if chars.len() > MOST_CHARACTERS {
        return Some(format!("At most {MOST_CHARACTERS} characters."));
    }
    if is_one_piece_repeated(&chars) {
        return Some("It repeats one short piece over and over, which is guessed early. Choose several different words.".into());
    }
    if is_a_sequence(&chars) {
        return Some(
            "It runs along the alphabet, the digits or a row of keys, which is guessed early.".into(),
        );
    }
    let known: Vec<&str> = own.iter().chain(CONTEXT).copied().chain([of.as_str()]).collect();
    if known.iter().any(|word| is_mostly(&chars, word)) {
        return Some("It is little more than your sign-in name, the railway or a word of this book. Choose several other words.".into());
    }
    is_guessed_early(&chars, &known).then(|| {
        "It is made of passwords, names or words that are guessed first, however it is written. Choose several other words that have nothing to do with each other.".into()
    })
}

/// By the estimator's lists (30,000 of the most used passwords, common words and names), whole or put together, decorated,
/// doubled or spelled backwards, and the words of this book.
fn is_guessed_early(chars: &[char], known: &[&str]) -> bool {
    let parts = known.iter().flat_map(|word| word.split(['.', '-', '_', ' ', '&']).chain([*word]));
    let parts: Vec<String> = parts.map(str::to_lowercase).filter(|word| !word.is_empty()).collect();
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    let text: String = chars.iter().collect();
    zxcvbn::zxcvbn(&text, &parts).guesses_log10() < LEAST_GUESSES
}

/// `abcabcabcabcabca`: some piece of at most four characters makes up the whole.
fn is_one_piece_repeated(chars: &[char]) -> bool {
    (1..=4).any(|piece| chars.iter().enumerate().all(|(i, c)| *c == chars[i % piece]))
}

/// Most steps go to a neighbour in the alphabet, among the digits, or on a keyboard row.
fn is_a_sequence(chars: &[char]) -> bool {
    const ROWS: [&str; 4] = ["1234567890", "qwertyuiop", "asdfghjkl", "zxcvbnm"];
    let on_a_row = |a: char, b: char| {
        ROWS.iter().any(|row| matches!((row.find(a), row.find(b)), (Some(a), Some(b)) if a.abs_diff(b) <= 1))
    };
    let near = |a: char, b: char| (a as u32).abs_diff(b as u32) <= 1 || on_a_row(a, b);
    let near_steps = chars.windows(2).filter(|pair| near(pair[0], pair[1])).count();
    near_steps * 10 >= (chars.len() - 1) * 8
}

/// What is left once the word is taken out, wherever it stands, would not be a password by itself.
fn is_mostly(chars: &[char], word: &str) -> bool {
    let plain = |text: &str| text.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect::<String>();
    let word = plain(word);
    let text = plain(&chars.iter().collect::<String>());
    word.chars().count() >= 3 && text.contains(&word) && text.replace(&word, "").chars().count() < 8
}

/// A password to be handed over once and changed at first sign-in: 20 characters of 5 bits each, in fours.
pub fn one_time() -> Result<String, getrandom::Error> {
    // Without 0, 1, i, l, o and u: it is read off one screen and typed on another.
    const LETTERS: &[u8; 32] = b"23456789abcdefghjkmnpqrstvwxyzXY";
    let mut random = [0_u8; 20];
    getrandom::fill(&mut random)?;
    let letters: Vec<char> = random.iter().map(|b| char::from(LETTERS[usize::from(b % 32)])).collect();
    Ok(letters.chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join("-"))
}

#[derive(Debug)]
pub enum HashTrouble {
    /// Too many people are signing in at this moment.
    Busy,
    Failed(String),
}

/// Hashes with argon2id on the blocking pool, no more at a time than there are cores.
#[derive(Clone)]
pub struct Hasher {
    gate: Arc<Semaphore>,
    waiting: Arc<AtomicUsize>,
    decoy: Arc<OnceLock<String>>,
}

/// Waiting sign-ins beyond this are told to come back: each holds 19 MiB once it runs.
const MOST_WAITING: usize = 64;

impl Hasher {
    pub fn new() -> Self {
        let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
        Self { gate: Arc::new(Semaphore::new(cores)), waiting: Arc::default(), decoy: Arc::default() }
    }

    pub async fn hash(&self, password: Password) -> Result<String, HashTrouble> {
        self.run(move || hash_now(&password)).await
    }

    /// Against `hash`, or, for a name that has none, against a hash of nothing, so that both take as long.
    pub async fn verify(&self, password: Password, hash: Option<String>) -> Result<bool, HashTrouble> {
        let decoy = Arc::clone(&self.decoy);
        self.run(move || {
            let known = hash.is_some();
            let against = match hash {
                Some(hash) => hash,
                None => match decoy.get() {
                    Some(hash) => hash.clone(),
                    None => {
                        decoy.get_or_init(|| hash_now(&Password(String::new())).unwrap_or_default()).clone()
                    }
                },
            };
            let matches = argon2()?.verify_password(password.0.as_bytes(), against.as_str()).is_ok();
            Ok(matches && known)
        })
        .await
    }

    async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> Result<T, HashTrouble> + Send + 'static,
    ) -> Result<T, HashTrouble> {
        let _place = Place::take(&self.waiting).ok_or(HashTrouble::Busy)?;
        let _turn = self.gate.acquire().await.map_err(|_| HashTrouble::Busy)?;
        tokio::task::spawn_blocking(work).await.map_err(|e| HashTrouble::Failed(e.to_string()))?
    }
}

impl Default for Hasher {
    fn default() -> Self {
        Self::new()
    }
}

/// One place in the queue, given back when dropped, also by a client that hung up.
struct Place(Arc<AtomicUsize>);

impl Place {
    fn take(waiting: &Arc<AtomicUsize>) -> Option<Self> {
        let before = waiting.fetch_add(1, Ordering::SeqCst);
        let place = Self(Arc::clone(waiting));
        (before < MOST_WAITING).then_some(place)
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::SeqCst);
    }
}

/// For the console, which has no one else to wait for.
pub fn hash_now(password: &Password) -> Result<String, HashTrouble> {
    let hash =
        argon2()?.hash_password(password.0.as_bytes()).map_err(|e| HashTrouble::Failed(e.to_string()))?;
    Ok(hash.to_string())
}

/// OWASP's first choice for argon2id: 19 MiB, two passes, one lane.
fn argon2() -> Result<Argon2<'static>, HashTrouble> {
    let params = Params::new(19 * 1024, 2, 1, None).map_err(|e| HashTrouble::Failed(e.to_string()))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

#[cfg(test)]
mod tests {
    use super::*;

    const OWN: &[&str] = &["Quarry Hill Belt", "QHB", "QHB 412", "QHB 413"];

    #[test]
    fn guessable_passwords_are_refused_and_sentences_are_taken() {
        let of = SignIn::from("n.okafor");
        for bad in [
            "short",
            "fourteen chars",
            "aaaaaaaaaaaaaaaaaaaa",
            "abcabcabcabcabcabc",
            "12345678901234567890",
            "qwertyuiopasdfghjkl",
            "n.okafor-n.okafor1",
            "Quarry Hill Belt 2026",
            "breakerbook12345",
            "passwordpassword1",
            // On the estimator's own list, or put together from what is on it.
            "1qaz2wsx3edc4rfv",
            "q1w2e3r4t5y6u7i8o9p0",
            "iloveyouiloveyou",
            "letmein.letmein.letmein",
            "P@ssw0rd123456789",
            "drowssapdrowssap",
            "football baseball",
            "liverpoolfootballclub",
            "Supervisor2026!!",
        ] {
            assert!(refusal(&Password::typed(bad), &of, OWN).is_some(), "{bad}");
        }
        for good in [
            "correct horse battery staple",
            "nine wet sheep at the gate",
            "ja, vi elsker dette landet",
            "4417 0932 5561 2208",
            "seven dry goats on a roof",
            "copper lantern under slate",
            // 64 characters and more are taken (ASVS 5.0 6.2.9).
            "we kept the kettle warm beside the lathe until the last train had gone home",
        ] {
            assert_eq!(refusal(&Password::typed(good), &of, OWN), None, "{good}");
        }
    }

    #[test]
    fn a_one_time_password_passes_its_own_rules() {
        let made = one_time().unwrap();
        assert_eq!(made.len(), 24);
        assert_eq!(refusal(&Password::typed(&made), &SignIn::from("n.okafor"), OWN), None);
    }

    #[tokio::test]
    async fn hashes_verify_and_unknown_names_never_do() {
        let hasher = Hasher::new();
        let hash = hasher.hash(Password::typed("nine wet sheep at the gate")).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
        assert!(
            hasher.verify(Password::typed("nine wet sheep at the gate"), Some(hash.clone())).await.unwrap()
        );
        assert!(!hasher.verify(Password::typed("nine wet sheep at the gata"), Some(hash)).await.unwrap());
        assert!(!hasher.verify(Password::typed(""), None).await.unwrap(), "the decoy opens nothing");
    }
}
