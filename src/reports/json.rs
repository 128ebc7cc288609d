//! Bytes to a tree, strictly: what is not UTF-8, not JSON, too deep, too large or says a key twice is refused here.
use std::{borrow::Cow, cell::RefCell, fmt};

use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};

use crate::base::{Code, Problem, text};

/// More than any report of a run can need, and little enough to be read while others wait.
pub const MOST_BYTES: usize = 2_000_000;
/// A report is five deep. The limit keeps a hostile one from using up the stack.
pub const MOST_NESTED: usize = 32;

/// JSON as it was sent. Texts without escapes are borrowed from the bytes; no object has a key twice.
#[derive(Clone, Debug, PartialEq)]
pub enum Json<'a> {
    Null,
    Bool(bool),
    Number(f64),
    Text(Cow<'a, str>),
    List(Vec<Json<'a>>),
    Object(Object<'a>),
}

pub type Object<'a> = Vec<(Cow<'a, str>, Json<'a>)>;

/// Why bytes are no tree. The first two ends of the match in the API: 413, 400; a repeated key is 422.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unreadable {
    TooLarge,
    /// The place of the first byte that is not UTF-8.
    NotUtf8 {
        at: usize,
    },
    NotJson {
        why: String,
    },
    TooDeep,
    /// `path` is the object, `key` the name it has twice.
    Repeated {
        path: String,
        key: String,
    },
}

impl Unreadable {
    pub fn says(&self) -> String {
        match self {
            Self::TooLarge => {
                "This is larger than 2 MB, more than one report can be. Send the reports one by one."
                    .to_owned()
            }
            Self::NotUtf8 { at } => {
                format!("This is not UTF-8 text (byte {}). Save or send it as UTF-8.", at + 1)
            }
            Self::NotJson { why } => format!("This is not JSON: {why}."),
            Self::TooDeep => {
                format!("This is nested more than {MOST_NESTED} deep. A report is never nested so deep.")
            }
            Self::Repeated { key, .. } => {
                format!("The field {} is here twice. Keep the one that is right.", text::quoted(key))
            }
        }
    }

    /// As a problem beside its field; only a repeated key has one.
    pub fn problem(&self) -> Problem {
        let (path, code) = match self {
            Self::Repeated { path, key } if path.is_empty() => (key.clone(), Code::NotAllowed),
            Self::Repeated { path, key } => (format!("{path}.{key}"), Code::NotAllowed),
            Self::TooLarge => (String::new(), Code::OutOfRange),
            Self::NotUtf8 { .. } | Self::NotJson { .. } | Self::TooDeep => (String::new(), Code::WrongType),
        };
        Problem { path, code, says: self.says() }
    }
}

/// One JSON value and nothing after it. A byte order mark in front, as spreadsheets put it, is passed over.
pub fn parse(bytes: &[u8]) -> Result<Json<'_>, Unreadable> {
    if bytes.len() > MOST_BYTES {
        return Err(Unreadable::TooLarge);
    }
    let text = std::str::from_utf8(bytes).map_err(|e| Unreadable::NotUtf8 { at: e.valid_up_to() })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let trouble = RefCell::new(None);
    let mut reader = serde_json::Deserializer::from_str(text);
    let tree = Node { depth: 0, trouble: &trouble }.deserialize(&mut reader);
    tree.and_then(|tree| reader.end().map(|()| tree)).map_err(|error| {
        trouble.into_inner().map_or_else(|| Unreadable::NotJson { why: error.to_string() }, Trouble::told)
    })
}

/// What the parser itself cannot tell us: kept beside it, because its error holds only text.
enum Trouble {
    TooDeep,
    /// The steps from the object outwards.
    Repeated {
        key: String,
        steps: Vec<String>,
    },
}

impl Trouble {
    fn told(self) -> Unreadable {
        match self {
            Self::TooDeep => Unreadable::TooDeep,
            Self::Repeated { key, steps } => {
                let path: String = steps.iter().rev().map(String::as_str).collect();
                Unreadable::Repeated { path: path.trim_start_matches('.').to_owned(), key }
            }
        }
    }
}

struct Node<'t> {
    depth: usize,
    trouble: &'t RefCell<Option<Trouble>>,
}

impl Node<'_> {
    fn inner<E: serde::de::Error>(&self) -> Result<Self, E> {
        if self.depth < MOST_NESTED {
            return Ok(Self { depth: self.depth + 1, ..*self });
        }
        *self.trouble.borrow_mut() = Some(Trouble::TooDeep);
        Err(E::custom("too deep"))
    }

    /// On the way out of an error, each level adds where it stood.
    fn came_through(&self, step: impl FnOnce() -> String) {
        if let Some(Trouble::Repeated { steps, .. }) = &mut *self.trouble.borrow_mut() {
            steps.push(step());
        }
    }
}

impl<'de> DeserializeSeed<'de> for Node<'_> {
    type Value = Json<'de>;
    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Json<'de>, D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Node<'_> {
    type Value = Json<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_unit<E>(self) -> Result<Json<'de>, E> {
        Ok(Json::Null)
    }
    fn visit_bool<E>(self, yes: bool) -> Result<Json<'de>, E> {
        Ok(Json::Bool(yes))
    }
    // Our whole numbers are counts below 2^32; a larger one only has to stay too large.
    fn visit_u64<E>(self, n: u64) -> Result<Json<'de>, E> {
        Ok(Json::Number(n as f64))
    }
    fn visit_i64<E>(self, n: i64) -> Result<Json<'de>, E> {
        Ok(Json::Number(n as f64))
    }
    fn visit_f64<E>(self, n: f64) -> Result<Json<'de>, E> {
        Ok(Json::Number(n))
    }
    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Json<'de>, E> {
        Ok(Json::Text(Cow::Borrowed(text)))
    }
    fn visit_str<E>(self, text: &str) -> Result<Json<'de>, E> {
        Ok(Json::Text(Cow::Owned(text.to_owned())))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Json<'de>, A::Error> {
        let mut list = Vec::new();
        loop {
            let item = items.next_element_seed(self.inner()?);
            match item.inspect_err(|_| self.came_through(|| format!("[{}]", list.len())))? {
                Some(item) => list.push(item),
                None => return Ok(Json::List(list)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut pairs: A) -> Result<Json<'de>, A::Error> {
        let inner_depth = self.inner::<A::Error>()?.depth;
        let mut object = Object::new();
        while let Some(key) = pairs.next_key_seed(Key)? {
            let node = Node { depth: inner_depth, trouble: self.trouble };
            let value = pairs.next_value_seed(node);
            let value = value.inspect_err(|_| self.came_through(|| format!(".{key}")))?;
            object.push((key, value));
        }
        if let Some(key) = first_repeated(&object) {
            *self.trouble.borrow_mut() = Some(Trouble::Repeated { key: key.to_owned(), steps: Vec::new() });
            return Err(A::Error::custom("a key twice"));
        }
        Ok(Json::Object(object))
    }
}

/// Pairs are compared one by one while there are few; a hostile object with very many is sorted instead.
fn first_repeated<'o>(object: &'o Object<'_>) -> Option<&'o str> {
    if object.len() <= 48 {
        let repeated =
            |(i, (key, _)): &(usize, &(Cow<str>, Json))| object[..*i].iter().any(|(k, _)| k == key);
        return object.iter().enumerate().find(repeated).map(|(_, (key, _))| key.as_ref());
    }
    let mut keys: Vec<&str> = object.iter().map(|(key, _)| key.as_ref()).collect();
    keys.sort_unstable();
    keys.windows(2).find(|pair| pair[0] == pair[1]).map(|pair| pair[0])
}

struct Key;

impl<'de> DeserializeSeed<'de> for Key {
    type Value = Cow<'de, str>;
    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Cow<'de, str>, D::Error> {
        from.deserialize_str(self)
    }
}

impl<'de> Visitor<'de> for Key {
    type Value = Cow<'de, str>;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a name")
    }
    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Self::Value, E> {
        Ok(Cow::Borrowed(text))
    }
    fn visit_str<E>(self, text: &str) -> Result<Self::Value, E> {
        Ok(Cow::Owned(text.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tree_is_what_was_sent() {
        let tree = parse(b"\xef\xbb\xbf {\"a\": [1, 2.5, \"x\", null], \"b\\u0041\": true}\n").unwrap();
        let a = Json::List(vec![Json::Number(1.0), Json::Number(2.5), Json::Text("x".into()), Json::Null]);
        assert_eq!(tree, Json::Object(vec![("a".into(), a), ("bA".into(), Json::Bool(true))]));
    }

    #[test]
    fn every_way_to_be_unreadable_is_its_own_value() {
        assert_eq!(parse(b"{\"a\": \"\xff\"}"), Err(Unreadable::NotUtf8 { at: 7 }));
        for bad in ["", "{", "{\"a\" 1}", "[1,]", "{} {}", "nul", "\"\\ud800\"", "1e999", "'a'", "NaN", "01"]
        {
            let error = parse(bad.as_bytes()).unwrap_err();
            assert!(matches!(error, Unreadable::NotJson { .. }), "{bad}: {error:?}");
            assert!(error.says().starts_with("This is not JSON: "), "{}", error.says());
        }
        assert_eq!(parse(&vec![b' '; MOST_BYTES + 1]), Err(Unreadable::TooLarge));
    }

    #[test]
    fn nesting_is_limited_long_before_the_stack_is() {
        let nested = |n: usize| format!("{}{}", "[".repeat(n), "]".repeat(n));
        assert!(parse(nested(MOST_NESTED).as_bytes()).is_ok());
        assert_eq!(parse(nested(MOST_NESTED + 1).as_bytes()), Err(Unreadable::TooDeep));
        assert_eq!(parse("[".repeat(1_000_000).as_bytes()), Err(Unreadable::TooDeep));
        assert_eq!(parse("{\"a\":".repeat(300_000).as_bytes()), Err(Unreadable::TooDeep));
    }

    #[test]
    fn a_key_twice_is_refused_by_name_and_place() {
        for (sent, path) in [
            (r#"{"a": 1, "a": 1}"#, "a"),
            (r#"{"e": [{}, {"d": {"x": 1, "y": 2, "\u0078": 1}}]}"#, "e[1].d.x"),
            (r#"[{"a": 1, "b": 2, "b": 2}]"#, "[0].b"),
        ] {
            let problem = parse(sent.as_bytes()).unwrap_err().problem();
            assert_eq!((problem.path.as_str(), problem.code), (path, Code::NotAllowed), "{sent}");
        }
        let many: Vec<String> = (0..150_000).map(|n| format!("\"{n}\":0")).collect();
        assert!(parse(format!("{{{}}}", many.join(",")).as_bytes()).is_ok());
        let twice = format!("{{{},\"77\":1}}", many.join(","));
        assert_eq!(parse(twice.as_bytes()).unwrap_err().problem().path, "77");
    }
}
