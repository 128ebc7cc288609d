//! Form fields ready to print by `templates/parts/fields.html`: label, what was typed, the problem beside it.

/// One line or one area of text.
#[derive(Clone, Debug, Default)]
pub struct Field {
    pub name: String,
    /// What tells its id from those of the same name in other forms of the page.
    pub own: String,
    pub label: String,
    pub hint: String,
    pub value: String,
    /// The sentence beside the field when it was refused or is asked about.
    pub says: Option<String>,
    /// `type` of the input: text, password, datetime-local, search.
    pub input: &'static str,
    /// `inputmode`: numeric, decimal, or nothing.
    pub mode: &'static str,
    pub autocomplete: &'static str,
}

impl Field {
    pub fn text(name: &str, label: &str, value: &str) -> Self {
        Self {
            name: name.to_owned(),
            label: label.to_owned(),
            value: value.to_owned(),
            input: "text",
            autocomplete: "off",
            ..Self::default()
        }
    }

    pub fn password(name: &str, label: &str) -> Self {
        Self { input: "password", autocomplete: "current-password", ..Self::text(name, label, "") }
    }

    pub fn time(name: &str, label: &str, value: &str) -> Self {
        Self { input: "datetime-local", ..Self::text(name, label, value) }
    }

    pub fn number(name: &str, label: &str, value: &str) -> Self {
        Self { mode: "decimal", ..Self::text(name, label, value) }
    }

    pub fn hint(self, hint: &str) -> Self {
        Self { hint: hint.to_owned(), ..self }
    }

    pub fn says(self, says: Option<String>) -> Self {
        Self { says, ..self }
    }

    /// In one of several forms of a page.
    pub fn of(self, own: &str) -> Self {
        Self { own: format!(".{own}"), ..self }
    }
}

/// One of a list that may be long.
#[derive(Clone, Debug, Default)]
pub struct Select {
    pub name: String,
    /// What tells its id from those of the same name in other forms of the page.
    pub own: String,
    pub label: String,
    pub hint: String,
    pub value: String,
    pub says: Option<String>,
    /// Value and words.
    pub options: Vec<(String, String)>,
}

impl Select {
    pub fn of_list(name: &str, label: &str, value: &str, options: Vec<(String, String)>) -> Self {
        let (name, label, value) = (name.to_owned(), label.to_owned(), value.to_owned());
        Self { name, label, value, options, ..Self::default() }
    }

    /// What narrows a list: all of it, or one of these words.
    pub fn narrowing<T: ToString>(
        (name, label): (&str, &str),
        value: &str,
        words: impl IntoIterator<Item = (T, T)>,
    ) -> Self {
        let words = words.into_iter().map(|(value, says)| (value.to_string(), says.to_string()));
        let all = [(String::new(), "all".to_owned())];
        Self::of_list(name, label, value, all.into_iter().chain(words).collect())
    }

    pub fn hint(self, hint: &str) -> Self {
        Self { hint: hint.to_owned(), ..self }
    }

    /// In one of several forms of a page.
    pub fn of(self, own: &str) -> Self {
        Self { own: format!(".{own}"), ..self }
    }
}

/// One of several, as large keys.
#[derive(Clone, Debug, Default)]
pub struct Choice {
    pub name: String,
    pub label: String,
    pub hint: String,
    pub value: String,
    pub says: Option<String>,
    /// Short words: two or three keys side by side on a phone.
    pub few: bool,
    pub options: Vec<Opt>,
}

#[derive(Clone, Debug)]
pub struct Opt {
    pub value: &'static str,
    pub text: &'static str,
}

impl Choice {
    pub fn of(name: &str, label: &str, value: &str, options: &[(&'static str, &'static str)]) -> Self {
        Self {
            name: name.to_owned(),
            label: label.to_owned(),
            value: value.to_owned(),
            options: options.iter().map(|&(value, text)| Opt { value, text }).collect(),
            ..Self::default()
        }
    }

    pub fn few(self) -> Self {
        Self { few: true, ..self }
    }

    pub fn hint(self, hint: &str) -> Self {
        Self { hint: hint.to_owned(), ..self }
    }

    pub fn says(self, says: Option<String>) -> Self {
        Self { says, ..self }
    }
}
