//! How an object of the contract is read: field by field, every problem kept, no path built until there is one.
use std::fmt;

use super::sentences;
use crate::{
    base::{Code, Problems, text},
    reports::json::{Json, Object},
};

/// Where we are in the tree, as a chain on the stack.
#[derive(Clone, Copy, Debug)]
pub enum Path<'p> {
    Whole,
    Field(&'p Path<'p>, &'p str),
    Item(&'p Path<'p>, usize),
}

impl Path<'_> {
    /// The name of the field itself, whatever list it stands in.
    pub fn name(&self) -> &str {
        match self {
            Self::Whole => "",
            Self::Field(_, name) => name,
            Self::Item(list, _) => list.name(),
        }
    }
}

impl fmt::Display for Path<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole => Ok(()),
            Self::Field(Path::Whole, name) => f.write_str(name),
            Self::Field(parent, name) => write!(f, "{parent}.{name}"),
            Self::Item(list, place) => write!(f, "{list}[{place}]"),
        }
    }
}

/// Refuses what stands at `at`. Gives `None`, which is what a reader that refused returns.
pub fn refuse<T>(problems: &mut Problems, at: &Path, code: Code, says: impl Into<String>) -> Option<T> {
    problems.refuse(at.to_string(), code, says);
    None
}

/// Something that a stated (not null) JSON value can be read as.
pub trait Value: Sized {
    /// What to say when it is needed and not there; `name` is the field's.
    fn missing(name: &str) -> String {
        sentences::missing(name)
    }

    fn value(json: &Json, at: &Path, problems: &mut Problems) -> Option<Self>;
}

/// Something that a field, perhaps absent, can be read as. `None`: refused, and the problem is written down.
pub trait Field: Sized {
    fn field(fields: &mut Fields, name: &'static str) -> Option<Self>;
}

impl<T: Value> Field for Option<T> {
    fn field(fields: &mut Fields, name: &'static str) -> Option<Self> {
        let Some(json) = fields.stated(name) else { return Some(None) };
        T::value(json, &Path::Field(fields.path, name), fields.problems).map(Some)
    }
}

impl<T: Value> Field for Vec<T> {
    fn field(fields: &mut Fields, name: &'static str) -> Option<Self> {
        let Some(json) = fields.stated(name) else { return Some(Self::new()) };
        list(json, &Path::Field(fields.path, name), fields.problems)
    }
}

/// Reads every item, so that all problems are found.
pub fn list<T: Value>(json: &Json, at: &Path, problems: &mut Problems) -> Option<Vec<T>> {
    let Json::List(items) = json else {
        return refuse(problems, at, Code::WrongType, "This should be a list, in square brackets.");
    };
    let mut read = Vec::with_capacity(items.len());
    let mut sound = true;
    for (place, json) in items.iter().enumerate() {
        if problems.is_full() {
            return None;
        }
        match T::value(json, &Path::Item(at, place), problems) {
            Some(item) => read.push(item),
            None => sound = false,
        }
    }
    sound.then_some(read)
}

/// The fields of one object.
pub struct Fields<'a> {
    object: &'a Object<'a>,
    path: &'a Path<'a>,
    pub problems: &'a mut Problems,
    /// How many of the object's fields were asked for: if all were, none is unknown.
    found: usize,
}

impl<'a> Fields<'a> {
    pub fn of(json: &'a Json<'a>, path: &'a Path<'a>, problems: &'a mut Problems) -> Option<Self> {
        match json {
            Json::Object(object) => Some(Self { object, path, problems, found: 0 }),
            _ => refuse(
                problems,
                path,
                Code::WrongType,
                "This should be an object with named fields, in curly brackets.",
            ),
        }
    }

    /// A field's value if it is there and says something: null and empty text are 'not stated'. Ask once for each.
    pub fn stated(&mut self, name: &str) -> Option<&'a Json<'a>> {
        let (_, json) = self.object.iter().find(|(key, _)| key == name)?;
        self.found += 1;
        let silent = match json {
            Json::Null => true,
            Json::Text(text) => text.trim().is_empty(),
            _ => false,
        };
        (!silent).then_some(json)
    }

    pub fn take<T: Field>(&mut self, name: &'static str) -> Option<T> {
        T::field(self, name)
    }

    pub fn required<T: Value>(&mut self, name: &'static str) -> Option<T> {
        let Some(json) = self.stated(name) else {
            return self.refuse(name, Code::Missing, T::missing(name));
        };
        T::value(json, &Path::Field(self.path, name), self.problems)
    }

    pub fn refuse<T>(&mut self, name: &str, code: Code, says: impl Into<String>) -> Option<T> {
        refuse(self.problems, &Path::Field(self.path, name), code, says)
    }

    pub fn ask(&mut self, name: &str, code: Code, says: impl Into<String>) {
        self.problems.ask(Path::Field(self.path, name).to_string(), code, says);
    }

    /// Refuses by name what was never asked for; `known` are all the names that may stand here.
    pub fn no_others(&mut self, known: &[&[&'static str]]) -> Option<()> {
        if self.found == self.object.len() {
            return Some(());
        }
        let known = || known.iter().flat_map(|names| names.iter().copied());
        let mut sound = Some(());
        for (key, _) in self.object {
            if self.problems.is_full() {
                return None;
            }
            if !known().any(|name| name == key) {
                let likely = text::nearest(key, known()).or_else(|| sentences::other_name(key, known()));
                sound = self.refuse(key, Code::UnknownField, sentences::unknown_field(key, likely));
            }
        }
        sound
    }
}
