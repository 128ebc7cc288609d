//! A form as it was sent: what was typed, and the sentences beside its fields and above it when it goes back.
use std::collections::BTreeMap;

use axum::http::StatusCode;

use super::form::{Field, Select};
use crate::{
    base::{Day, text},
    desk::Refused,
    web::{App, Me, Oops, forms::Fields, signature},
};

/// A reason, a basis, a name: more than that is a letter.
const MOST_LETTERS: usize = 400;
/// A craft, a home shop.
const MOST_IN_LISTS: usize = 80;

#[derive(Default)]
pub struct Sent {
    /// Which of a page's several forms it is; empty where there is one, and for the one that comes first.
    own: &'static str,
    typed: Vec<(String, String)>,
    says: BTreeMap<String, String>,
    pub on_top: Vec<String>,
}

impl Sent {
    pub fn of(fields: Fields) -> Self {
        Self { typed: fields.0, ..Self::default() }
    }

    /// One of several forms of a page, by its name there.
    pub fn named(own: &'static str, fields: Fields) -> Self {
        Self { own, ..Self::of(fields) }
    }

    /// The page's form of this name: as it was typed if it is the one that was sent, else as it is shown to begin with.
    pub fn form<'s>(&'s self, own: &str, fresh: &'s Self) -> &'s Self {
        if self.own == own { self } else { fresh }
    }

    /// A form that nobody has typed in yet.
    pub fn showing(values: &[(&str, String)]) -> Self {
        let typed = values.iter().map(|(name, value)| ((*name).to_owned(), value.clone())).collect();
        Self { typed, ..Self::default() }
    }

    pub fn with(mut self, name: &str, value: &str) -> Self {
        self.typed.push((name.to_owned(), value.to_owned()));
        self
    }

    pub fn get(&self, name: &str) -> &str {
        self.typed.iter().find(|(n, _)| n == name).map_or("", |(_, value)| value.as_str())
    }

    pub fn wrong(&mut self, name: &str, says: impl Into<String>) {
        self.says.entry(name.to_owned()).or_insert_with(|| says.into());
    }

    pub fn is_fine(&self) -> bool {
        self.says.is_empty() && self.on_top.is_empty()
    }

    /// What has to be said in words; a sentence beside the field where it is not.
    pub fn words(&mut self, name: &str, missing: &str) -> String {
        let words = text::words(self.get(name)).unwrap_or_default();
        if words.is_empty() {
            self.wrong(name, missing);
        } else if words.chars().count() > MOST_LETTERS {
            self.wrong(name, format!("At most {MOST_LETTERS} letters, please."));
        }
        words
    }

    /// A few words that may be left out: they stand in lists and choices.
    pub fn short(&mut self, name: &str) -> Option<String> {
        let words = text::words(self.get(name))?;
        if words.chars().count() > MOST_IN_LISTS {
            self.wrong(name, format!("At most {MOST_IN_LISTS} letters, please: it stands in lists."));
        }
        Some(words)
    }

    /// `None` where nothing stands.
    pub fn day(&mut self, name: &str) -> Option<Day> {
        let typed = self.get(name).trim().to_owned();
        let day = Day::parse(&typed);
        if !typed.is_empty() && day.is_none() {
            self.wrong(name, "Write the day as in 2026-03-31.");
        }
        day
    }

    pub fn field(&self, name: &str, label: &str) -> Field {
        Field::text(name, label, self.get(name)).says(self.says.get(name).cloned())
    }

    pub fn date(&self, name: &str, label: &str) -> Field {
        Field { input: "date", ..self.field(name, label) }
    }

    pub fn password(&self) -> Field {
        let says = self.says.get("password").cloned();
        Field::password("password", "Your password, as your signature").says(says)
    }

    pub fn select(&self, name: &str, label: &str, options: Vec<(String, String)>) -> Select {
        Select { says: self.says.get(name).cloned(), ..Select::of_list(name, label, self.get(name), options) }
    }

    /// Whether it is signed: shown to the one who sends it, nothing wrong with it, and their password right.
    pub async fn is_signed(&mut self, app: &App, me: &Me) -> Result<bool, Oops> {
        let another = signature::another_signer(self.get("signer"), me);
        self.on_top.extend(another);
        if !self.is_fine() {
            return Ok(false);
        }
        match signature::sign(app, me, self.get("password")).await? {
            Ok(()) => Ok(true),
            Err(says) => {
                self.wrong("password", says);
                Ok(false)
            }
        }
    }

    /// Has what was read of the form filed, once it is signed. `Err` inside is the status under which the form goes back: the
    /// sentences stand beside its fields by then.
    pub async fn file<R, T, F: Future<Output = Result<T, Refused>>>(
        &mut self,
        (app, me): (&App, &Me),
        read: Option<R>,
        fields: &[&str],
        file: impl FnOnce(R) -> F,
    ) -> Result<Result<T, StatusCode>, Oops> {
        let signed = self.is_signed(app, me).await?;
        let Some(read) = read.filter(|_| signed) else { return Ok(Err(StatusCode::UNPROCESSABLE_ENTITY)) };
        match file(read).await {
            Ok(done) => Ok(Ok(done)),
            Err(refused) => self.refused(refused, fields).map(Err),
        }
    }

    /// What the desk said against it, where the page can say it; anything else is an error page's.
    pub fn refused(&mut self, refused: Refused, fields: &[&str]) -> Result<StatusCode, Oops> {
        match refused {
            Refused::Problems(problems) => {
                for problem in problems {
                    if fields.contains(&problem.path.as_str()) {
                        self.wrong(&problem.path, problem.says);
                    } else {
                        self.on_top.push(problem.says);
                    }
                }
                Ok(StatusCode::UNPROCESSABLE_ENTITY)
            }
            Refused::Stale(says) => {
                self.on_top.push(says);
                Ok(StatusCode::CONFLICT)
            }
            other => Err(other.into()),
        }
    }
}
