//! As much of HTML as our own pages use: enough to find a form, its fields and what they hold.

#[derive(Debug, Clone)]
pub struct Tag {
    pub name: String,
    pub attributes: Vec<(String, String)>,
    /// The text up to the next tag.
    pub text: String,
}

impl Tag {
    pub fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }
    pub fn has(&self, name: &str) -> bool {
        self.get(name).is_some()
    }
}

pub fn tags(html: &str) -> Vec<Tag> {
    html.split('<').skip(1).filter(|piece| !piece.starts_with('!')).map(tag).collect()
}

fn tag(piece: &str) -> Tag {
    let end = end_of_tag(piece);
    let (inside, text) = (&piece[..end], piece.get(end + 1..).unwrap_or(""));
    let name_end = inside.find(|c: char| c.is_whitespace()).unwrap_or(inside.len());
    Tag {
        name: inside[..name_end].trim_end_matches('/').to_owned(),
        attributes: attributes(&inside[name_end..]),
        text: unescape(text),
    }
}

fn end_of_tag(piece: &str) -> usize {
    let mut quoted = false;
    for (i, c) in piece.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '>' if !quoted => return i,
            _ => {}
        }
    }
    piece.len()
}

fn attributes(mut text: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    loop {
        text = text.trim_start().trim_start_matches('/');
        if text.is_empty() {
            return found;
        }
        let end = text.find(|c: char| c == '=' || c.is_whitespace()).unwrap_or(text.len());
        let name = text[..end].to_owned();
        text = &text[end..];
        let value = match text.strip_prefix("=\"") {
            Some(rest) => {
                let close = rest.find('"').expect("every attribute is quoted and closed");
                text = &rest[close + 1..];
                unescape(&rest[..close])
            }
            None => {
                assert!(!text.starts_with('='), "unquoted attribute near {text:?}");
                String::new()
            }
        };
        found.push((name, value));
    }
}

pub fn unescape(text: &str) -> String {
    let mut out = text.to_owned();
    for (code, plain) in [
        ("&#60;", "<"),
        ("&lt;", "<"),
        ("&#62;", ">"),
        ("&gt;", ">"),
        ("&#34;", "\""),
        ("&quot;", "\""),
        ("&#39;", "'"),
        ("&#38;", "&"),
        ("&amp;", "&"),
    ] {
        out = out.replace(code, plain);
    }
    out
}

/// What a person reads: the text without the tags, white space made one.
pub fn text(html: &str) -> String {
    let body = html.split_once("<main").map_or(html, |(_, rest)| rest);
    let pieces = body.split('<').map(|piece| piece.split_once('>').map_or("", |(_, text)| text));
    let joined = pieces.collect::<Vec<_>>().join(" ");
    unescape(&joined).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// One form of a page: where it goes, and what its fields hold when nobody touches them.
#[derive(Debug, Clone)]
pub struct Form {
    pub action: String,
    pub fields: Vec<Field>,
}

#[derive(Debug, Clone)]
pub struct Field {
    pub name: String,
    /// `None`: nothing is sent unless it is chosen.
    pub value: Option<String>,
    /// For radio buttons, boxes, selects and buttons: what may be chosen.
    pub choices: Option<Vec<String>>,
}

pub fn forms(html: &str) -> Vec<Form> {
    let mut forms = Vec::new();
    let mut current: Option<Form> = None;
    let mut select: Option<String> = None;
    for tag in tags(html) {
        match tag.name.as_str() {
            "form" => {
                current = Some(Form { action: tag.get("action").unwrap_or("").to_owned(), fields: vec![] })
            }
            "/form" => forms.extend(current.take()),
            "select" => select = tag.get("name").map(str::to_owned),
            "/select" => select = None,
            "option" => {
                if let (Some(form), Some(name)) = (&mut current, &select) {
                    let first = !form.fields.iter().any(|f| f.name == *name);
                    form.choose(name, tag.get("value").unwrap_or(""), first || tag.has("selected"));
                }
            }
            _ => {
                if let Some(form) = &mut current {
                    form.take(&tag);
                }
            }
        }
    }
    forms
}

impl Form {
    fn take(&mut self, tag: &Tag) {
        let Some(name) = tag.get("name") else { return };
        let value = tag.get("value").unwrap_or("").to_owned();
        match (tag.name.as_str(), tag.get("type").unwrap_or("text")) {
            ("input", "radio" | "checkbox") => self.choose(name, &value, tag.has("checked")),
            ("button", _) => self.choose(name, &value, false),
            ("input", _) => {
                self.fields.push(Field { name: name.to_owned(), value: Some(value), choices: None })
            }
            ("textarea", _) => self.fields.push(Field {
                name: name.to_owned(),
                value: Some(tag.text.clone()),
                choices: None,
            }),
            _ => {}
        }
    }

    fn choose(&mut self, name: &str, value: &str, chosen: bool) {
        let place =
            self.fields.iter().position(|f| f.name == name && f.choices.is_some()).unwrap_or_else(|| {
                self.fields.push(Field { name: name.to_owned(), value: None, choices: Some(vec![]) });
                self.fields.len() - 1
            });
        let field = &mut self.fields[place];
        field.choices.get_or_insert_default().push(value.to_owned());
        if chosen {
            field.value = Some(value.to_owned());
        }
    }
}
