//! The same document, to be read by people: one page from the server, without scripts, and nothing of it from elsewhere.
use askama::Template;
use axum::{Json, http::StatusCode, response::IntoResponse};
use serde_json::Value;

use super::document;
use crate::web::{Answer, Frame, page, paths};

#[derive(Template)]
#[template(path = "api/contract.html")]
pub struct View {
    pub frame: Frame,
    pub introduction: String,
    pub document: String,
    pub operations: Vec<Told>,
    pub shapes: Vec<Shape>,
}

/// One operation, ready to print.
pub struct Told {
    pub id: String,
    pub heading: String,
    pub says: String,
    pub detail: String,
    pub by: &'static str,
    pub query: Vec<Row>,
    pub body: Option<Row>,
    pub example: String,
    pub answers: Vec<Row>,
}

/// One named shape.
pub struct Shape {
    pub name: String,
    pub says: String,
    /// What it is, where it has no fields.
    pub what: String,
    pub fields: Vec<Row>,
    /// Shapes of which it is one.
    pub either: Vec<String>,
}

/// A line of a table: what it is called, what it holds, and what is to be said of it.
pub struct Row {
    pub name: String,
    pub what: String,
    /// The shape that it leads to.
    pub shape: Option<String>,
    pub needed: bool,
    pub says: String,
}

pub async fn file() -> Answer {
    Ok(Json(document()).into_response())
}

pub async fn show(frame: Frame) -> Answer {
    page(StatusCode::OK, &view(frame, document()))
}

pub fn view(frame: Frame, document: &Value) -> View {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    View {
        frame,
        introduction: text(&document["info"]["description"]),
        document: paths::ApiDocument::PATTERN.to_owned(),
        operations: operations(&document["paths"]),
        shapes: each(&document["components"]["schemas"]).map(|(name, schema)| shape(name, schema)).collect(),
    }
}

fn each(object: &Value) -> impl Iterator<Item = (&String, &Value)> {
    object.as_object().into_iter().flatten()
}

fn says(value: &Value) -> String {
    value["description"].as_str().unwrap_or_default().to_owned()
}

fn operations(paths: &Value) -> Vec<Told> {
    let of_path = |(path, methods): (&String, &Value)| -> Vec<Told> {
        each(methods).map(|(method, operation)| told(path, method, operation)).collect()
    };
    each(paths).flat_map(of_path).collect()
}

fn told(path: &str, method: &str, operation: &Value) -> Told {
    let body = &operation["requestBody"]["content"][super::JSON]["schema"];
    let parameters = operation["parameters"].as_array().into_iter().flatten();
    Told {
        id: operation["operationId"].as_str().unwrap_or_default().to_owned(),
        heading: format!("{} {path}", method.to_ascii_uppercase()),
        says: operation["summary"].as_str().unwrap_or_default().to_owned(),
        detail: says(operation),
        by: by(&operation["security"]),
        query: parameters.map(parameter).collect(),
        body: (!body.is_null()).then(|| row("body", body, true, String::new())),
        example: example(&operation["requestBody"]["content"][super::JSON]["example"]),
        answers: each(&operation["responses"]).map(|(status, answer)| answered(status, answer)).collect(),
    }
}

fn example(sent: &Value) -> String {
    if sent.is_null() { String::new() } else { serde_json::to_string_pretty(sent).unwrap_or_default() }
}

fn by(security: &Value) -> &'static str {
    let named = |name: &str| security.as_array().into_iter().flatten().any(|one| !one[name].is_null());
    match (named("token"), named("session")) {
        (true, true) => "a token, or somebody signed in",
        (true, false) => "a token",
        (false, true) => "somebody signed in, from the book's own pages",
        (false, false) => "neither token nor sign-in",
    }
}

fn parameter(one: &Value) -> Row {
    row(one["name"].as_str().unwrap_or_default(), &one["schema"], false, says(one))
}

fn answered(status: &str, answer: &Value) -> Row {
    let kinds: Vec<&str> = each(&answer["content"]).map(|(kind, _)| in_short(kind)).collect();
    let json = &answer["content"][super::JSON]["schema"];
    let mut row = row(status, json, true, says(answer));
    if kinds.len() > 1 {
        row.what = format!("{}, as {}", row.what, kinds.join(", "));
    }
    row
}

/// A kind of content as people call it.
fn in_short(kind: &str) -> &str {
    match kind {
        super::JSON => "JSON",
        "text/csv" => "CSV",
        kind if kind.ends_with("spreadsheetml.sheet") => "XLSX",
        other => other,
    }
}

fn row(name: &str, schema: &Value, needed: bool, says: String) -> Row {
    Row { name: name.to_owned(), what: in_words(schema), shape: leads_to(schema), needed, says }
}

fn shape(name: &str, schema: &Value) -> Shape {
    let needed: Vec<&str> =
        schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    let field =
        |(name, schema): (&String, &Value)| row(name, schema, needed.contains(&name.as_str()), says(schema));
    let fields: Vec<Row> = each(&schema["properties"]).map(field).collect();
    let either = schema["oneOf"].as_array().into_iter().flatten().filter_map(name_of).collect();
    let what = if fields.is_empty() { in_words(schema) } else { String::new() };
    Shape { name: name.to_owned(), says: says(schema), what, fields, either }
}

fn name_of(schema: &Value) -> Option<String> {
    schema["$ref"].as_str()?.rsplit('/').next().map(str::to_owned)
}

/// The first named shape in it that says more than a word.
fn leads_to(schema: &Value) -> Option<String> {
    let alternatives =
        ["anyOf", "oneOf"].iter().flat_map(|key| schema[*key].as_array().into_iter().flatten());
    let inner = alternatives.chain(schema.get("items")).filter_map(leads_to);
    name_of(schema).into_iter().chain(inner).find(|name| name != "NotStated")
}

/// `text, 200 letters at most`, `list of Entry, or null`.
fn in_words(schema: &Value) -> String {
    if let Some(name) = name_of(schema) {
        return name;
    }
    for key in ["anyOf", "oneOf"] {
        if let Some(all) = schema[key].as_array().filter(|_| schema["type"].is_null()) {
            let all: Vec<String> = all
                .iter()
                .filter(|one| name_of(one).as_deref() != Some("NotStated") && one["const"] != "")
                .map(in_words)
                .collect();
            return all.join(", or ");
        }
    }
    if let Some(words) = schema["enum"].as_array() {
        return words
            .iter()
            .map(|word| word.as_str().map_or_else(|| word.to_string(), str::to_owned))
            .collect::<Vec<_>>()
            .join(" · ");
    }
    if let Some(word) = schema["const"].as_str() {
        return format!("the word {word}");
    }
    typed(schema)
}

fn typed(schema: &Value) -> String {
    let types: Vec<&str> = match &schema["type"] {
        Value::String(one) => vec![one],
        Value::Array(several) => several.iter().filter_map(Value::as_str).collect(),
        _ => return "anything".to_owned(),
    };
    let word = |kind: &&str| match *kind {
        "string" => match schema["format"].as_str() {
            Some("date-time") => "time with its offset".to_owned(),
            Some("uuid") => "UUID".to_owned(),
            _ => "text".to_owned(),
        },
        "integer" => "whole number".to_owned(),
        "boolean" => "true or false".to_owned(),
        "array" => format!("list of {}", in_words(&schema["items"])),
        other => other.to_owned(),
    };
    let mut words = types.iter().map(word).collect::<Vec<_>>().join(", or ");
    if let Some(most) = schema["maxLength"].as_u64() {
        words += &format!(", {most} letters at most");
    }
    words
}
