//! The values of the contract, one by one: words, times, ids, numbers, texts, people, devices, seals.
use uuid::Uuid;

use super::{
    fields::{Field, Fields, Path, Value, refuse},
    sentences,
};
use crate::{
    base::{
        AmendmentId, Code, EntryId, Instant, Problems, ReportId, SignIn, Stamp, Tag, UnitName, instant::DAY,
        text,
    },
    people::person::sign_in,
    reports::{
        entry::{DeviceRef, Seal, Who},
        json::Json,
        kinds::{Fuse, Kind, Reset},
        vocabulary::*,
    },
};

fn text_of<'j>(json: &'j Json, at: &Path, problems: &mut Problems) -> Option<&'j str> {
    match json {
        Json::Text(text) => Some(text.trim()),
        _ => refuse(problems, at, Code::WrongType, sentences::TEXT),
    }
}

macro_rules! words_values {
    ($($type:ty)*) => {$(
        impl Value for $type {
            fn missing(name: &str) -> String {
                sentences::one_of(&sentences::missing(name), &Self::spellings())
            }
            fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
                let word = text_of(json, at, problems)?;
                Self::parse(word).or_else(|| {
                    refuse(problems, at, Code::NotAllowed, sentences::not_allowed(word, &Self::spellings()))
                })
            }
        }
    )*};
}
words_values!(Occasion RunPosition Weather Throttle AtHow Signs YesNo Basis ResetResult Left Mode Circuit GroundReset
    After AuthorisedHow Purpose Protection FuseResult TestedWith Handling FuseSpeed TestCock Motors Outcome
    ShutdownCause MayGoOn Seen Kind);

/// Fields that an entry of their kind cannot do without.
macro_rules! needed {
    ($($type:ty)*) => {$(
        impl Field for $type {
            fn field(fields: &mut Fields, name: &'static str) -> Option<Self> {
                fields.required(name)
            }
        }
    )*};
}
needed!(Left FuseResult Outcome Seen DeviceRef);

impl Value for bool {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        match json {
            Json::Bool(yes) => Some(*yes),
            _ => refuse(problems, at, Code::WrongType, sentences::TRUE_FALSE),
        }
    }
}

impl Value for f64 {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        // To a millionth, finer than any gauge: such numbers are read back exactly as they were written out,
        // and adding zero leaves no minus before a zero.
        match json {
            Json::Number(n) if n.abs() < 1e9 => Some((n * 1e6).round() / 1e6 + 0.0),
            Json::Number(n) => Some(*n),
            _ => refuse(problems, at, Code::WrongType, sentences::NUMBER),
        }
    }
}

impl Value for u32 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the match has checked both")]
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        match json {
            Json::Number(n) if n.fract() != 0.0 => refuse(problems, at, Code::WrongType, sentences::WHOLE),
            Json::Number(n) if (0.0..=f64::from(Self::MAX)).contains(n) => Some(*n as Self),
            Json::Number(_) => refuse(problems, at, Code::OutOfRange, "No count can be that. Check it."),
            _ => refuse(problems, at, Code::WrongType, sentences::WHOLE),
        }
    }
}

/// Accounts get room; names, places and numbers are kept to a line.
pub fn most_letters(name: &str) -> usize {
    match name {
        "note" | "remarks" | "text" | "why" | "reason" | "restriction" | "warning_notice" => 10_000,
        _ => 200,
    }
}

impl Value for String {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        // Motors are numbered, and a program may well send the numbers as such.
        if let (Json::Number(n), "motors_cut_out") = (json, at.name())
            && n.fract() == 0.0
        {
            return Some(n.to_string());
        }
        let typed = text_of(json, at, problems)?;
        let most = most_letters(at.name());
        if typed.len() > most && typed.chars().count() > most {
            return refuse(problems, at, Code::OutOfRange, sentences::too_long(most, typed.chars().count()));
        }
        text::tidy(typed).or_else(|| refuse(problems, at, Code::Missing, sentences::missing(at.name())))
    }
}

impl Value for Stamp {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let typed = text_of(json, at, problems)?;
        let Some(stamp) = Self::parse(typed) else {
            return match Self::parse(&format!("{}Z", typed.get(..40).unwrap_or(typed))) {
                Some(_) => refuse(problems, at, Code::NoOffset, sentences::NO_OFFSET),
                None => refuse(problems, at, Code::WrongType, sentences::NOT_A_TIME),
            };
        };
        // However wrong a tablet's clock is, it stands after 1970, where it was born, and before the year 2200.
        let years = Instant(-DAY)..Instant(DAY * 365 * 230);
        if !years.contains(&stamp.at) {
            return refuse(problems, at, Code::OutOfRange, sentences::NO_SUCH_YEAR);
        }
        Some(stamp)
    }
}

fn uuid_of(json: &Json, at: &Path, problems: &mut Problems) -> Option<Uuid> {
    // Only the form with hyphens: the others of RFC 9562's relatives would be one more thing to write back.
    let typed = text_of(json, at, problems)?;
    let uuid = Some(typed).filter(|t| t.len() == 36).and_then(|t| Uuid::try_parse(t).ok());
    uuid.or_else(|| refuse(problems, at, Code::WrongType, sentences::NOT_A_UUID))
}

macro_rules! id_values {
    ($($type:ident)*) => {$(
        impl Value for $type {
            fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
                uuid_of(json, at, problems).map(Self)
            }
        }
    )*};
}
id_values!(ReportId EntryId AmendmentId);

impl Value for UnitName {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let typed = text_of(json, at, problems)?;
        Self::tidy(typed).or_else(|| refuse(problems, at, Code::WrongType, sentences::NOT_A_UNIT))
    }
}

impl Value for SignIn {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let typed = text_of(json, at, problems)?;
        person_of(typed).or_else(|| refuse(problems, at, Code::WrongType, sentences::NOT_A_SIGN_IN))
    }
}

/// The folding of `sign_in` costs more than all the rest of an entry; most names are plain already.
fn person_of(typed: &str) -> Option<SignIn> {
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'_');
    if (2..=40).contains(&typed.len()) && typed != "not_known" && typed.bytes().all(plain) {
        return Some(SignIn::from(typed));
    }
    sign_in(typed)
}

/// The one text of `{"key": "text"}`.
fn only(key: &'static str, json: &Json, at: &Path, problems: &mut Problems) -> Option<String> {
    let mut fields = Fields::of(json, at, problems)?;
    let text = fields.required(key);
    fields.no_others(&[&[key]])?;
    text
}

impl Value for Who {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        match json {
            Json::Text(typed) if typed.trim() == "not_known" => Some(Self::NotKnown),
            Json::Text(typed) => person_of(typed.trim())
                .map(Self::Person)
                .or_else(|| refuse(problems, at, Code::NotAllowed, sentences::NOT_A_PERSON)),
            Json::Object(_) => only("name", json, at, problems).map(Self::Named),
            _ => refuse(problems, at, Code::WrongType, sentences::NOT_A_PERSON),
        }
    }
}

impl Value for DeviceRef {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        match json {
            Json::Text(typed) => {
                let tag = text::tidy(typed).filter(|tag| tag.chars().count() <= 40);
                let Some(tag) = tag else {
                    return refuse(
                        problems,
                        at,
                        Code::OutOfRange,
                        sentences::too_long(40, typed.chars().count()),
                    );
                };
                if tag == Tag::GROUND_RELAY || tag == Tag::ENGINE_START {
                    return refuse(problems, at, Code::NotAllowed, sentences::OWN_NAME);
                }
                Some(Self::Tag(Tag::from(tag)))
            }
            Json::Object(_) => only("not_listed", json, at, problems).map(Self::NotListed),
            _ => refuse(problems, at, Code::WrongType, sentences::NOT_A_DEVICE),
        }
    }
}

impl Value for Seal {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        if matches!(json, Json::Number(_)) {
            return refuse(problems, at, Code::WrongType, sentences::SEAL_AS_TEXT);
        }
        let number: String = Value::value(json, at, problems)?;
        Some(SealWord::parse(&number).map_or(Self::Number(number), Self::Word))
    }
}

impl Value for Reset {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let mut fields = Fields::of(json, at, problems)?;
        let time = fields.take("at");
        let basis: Option<Option<Basis>> = fields.take("basis");
        let told_by = fields.take("told_by");
        let result = fields.take("result");
        fields.no_others(&[&["at", "basis", "told_by", "result"]])?;
        let (at, basis, told_by, result) = (time?, basis?, told_by?, result?);
        let basis = basis.unwrap_or_else(|| {
            fields.ask("basis", Code::Missing, sentences::NO_BASIS);
            Basis::NotDetermined
        });
        Some(Self { at, basis, told_by, result })
    }
}

impl Value for Fuse {
    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self> {
        let mut fields = Fields::of(json, at, problems)?;
        let rating_a = fields.take("rating_a");
        let rating_v = fields.take("rating_v");
        let speed = fields.take("speed");
        let body = fields.take("body");
        fields.no_others(&[&["rating_a", "rating_v", "speed", "body"]])?;
        Some(Self { rating_a: rating_a?, rating_v: rating_v?, speed: speed?, body: body? })
    }
}
