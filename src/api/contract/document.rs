//! The OpenAPI 3.1 document, put together from the operations. Its schemas are JSON Schema 2020-12, as they come.
use std::sync::LazyLock;

use schemars::{SchemaGenerator, generate::SchemaSettings};
use serde_json::{Map, Value, json};

use super::{Answer, By, JSON, Operation, Parameter};

static DOCUMENT: LazyLock<Value> = LazyLock::new(|| of(&super::super::operations()));

/// Made once: nothing in it depends on the book.
pub fn document() -> &'static Value {
    &DOCUMENT
}

fn of(operations: &[Operation]) -> Value {
    let mut all = SchemaSettings::draft2020_12()
        .with(|s| s.definitions_path = "/components/schemas".into())
        .into_generator();
    let mut paths = Map::new();
    for operation in operations {
        let path = paths.entry(operation.route.path).or_insert_with(|| json!({}));
        path[operation.route.method.as_str().to_ascii_lowercase()] = told(operation, &mut all);
    }
    let mut schemas = all.take_definitions(true);
    schemas.values_mut().for_each(plainer);
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Breakerbook",
            "version": env!("CARGO_PKG_VERSION"),
            "description": INTRODUCTION,
            "license": { "name": "MIT", "identifier": "MIT" },
        },
        "jsonSchemaDialect": "https://json-schema.org/draft/2020-12/schema",
        // Relative to where the document lies, so that it holds behind any proxy.
        "servers": [{ "url": "/" }],
        "paths": paths,
        "components": { "schemas": schemas, "securitySchemes": schemes() },
    })
}

const INTRODUCTION: &str = "Programs file reports and fetch lists. An administrator makes a token on the page Tokens, or breakerbook token --for SIGN_IN at the machine; it goes \
into the header Authorization: Bearer. A refusal has one shape, whatever was asked: {problems: [{path, code, says}]}; says is a \
sentence for a person, and nothing of what was refused was stored. Repeat what got no answer: the same report is stored once. What \
the lists hold is what was written in the book; it is no statement about a locomotive. Local instructions and qualified people decide.";

fn schemes() -> Value {
    json!({
        "token": { "type": "http", "scheme": "bearer", "description": "Made on the page /tokens or by `breakerbook token`; speaks for one person." },
        "session": { "type": "apiKey", "in": "cookie", "name": "breakerbook",
            "description": "Set at a sign-in in a browser; __Host-breakerbook over TLS. What changes something has to come from the book's own pages." },
    })
}

fn told(operation: &Operation, all: &mut SchemaGenerator) -> Value {
    let mut told = json!({
        "operationId": id(operation),
        "summary": operation.says,
        "description": operation.detail,
        "security": security(operation.by),
        "responses": responses(&operation.answers, all),
    });
    if !operation.query.is_empty() {
        told["parameters"] = operation.query.iter().map(|one| parameter(one, all)).collect();
    }
    if let Some(takes) = operation.takes {
        let mut content = json!({ "schema": takes(all) });
        if let Some(example) = operation.example.and_then(|text| serde_json::from_str::<Value>(text).ok()) {
            content["example"] = example;
        }
        told["requestBody"] = json!({ "required": true, "content": { JSON: content } });
    }
    told
}

/// `post_signed_reports`.
pub(super) fn id(operation: &Operation) -> String {
    let end = operation.route.path.rsplit('/').next().unwrap_or_default();
    format!("{}_{}", operation.route.method.as_str().to_ascii_lowercase(), end.replace(['-', '.'], "_"))
}

fn security(by: By) -> Value {
    match by {
        By::Nobody => json!([]),
        By::Token => json!([{ "token": [] }]),
        By::Session => json!([{ "session": [] }]),
        By::Either => json!([{ "token": [] }, { "session": [] }]),
    }
}

fn parameter(one: &Parameter, all: &mut SchemaGenerator) -> Value {
    json!({ "name": one.name, "in": "query", "required": false, "description": one.says, "schema": (one.shape)(all) })
}

fn responses(answers: &[Answer], all: &mut SchemaGenerator) -> Map<String, Value> {
    let mut responses = Map::new();
    let mut answers: Vec<&Answer> = answers.iter().collect();
    answers.sort_by_key(|answer| answer.status);
    for answer in answers {
        let content: Map<String, Value> = answer
            .bodies
            .iter()
            .map(|(kind, shape)| ((*kind).to_owned(), json!({ "schema": shape(all) })))
            .collect();
        let mut told = json!({ "description": says(answer), "content": content });
        if !answer.codes.is_empty() {
            told["x-problem-codes"] = answer.codes.iter().map(|code| code.as_str()).collect();
        }
        if answer.status == 503 {
            told["headers"] = json!({ "Retry-After": { "description": "In so many seconds.", "schema": { "type": "integer" } } });
        }
        responses.insert(answer.status.to_string(), told);
    }
    responses
}

pub(super) fn says(answer: &Answer) -> String {
    let codes: Vec<&str> = answer.codes.iter().map(|code| code.as_str()).collect();
    if codes.is_empty() {
        answer.says.to_owned()
    } else {
        format!("{} Codes: {}.", answer.says, codes.join(", "))
    }
}

/// Rust's own widths of numbers say nothing to a reader of JSON.
fn plainer(schema: &mut Value) {
    if let Some(fields) = schema.as_object_mut()
        && fields
            .get("format")
            .and_then(Value::as_str)
            .is_some_and(|f| f.starts_with("uint") || f == "double")
    {
        fields.remove("format");
    }
    match schema {
        Value::Object(fields) => fields.values_mut().for_each(plainer),
        Value::Array(items) => items.iter_mut().for_each(plainer),
        _ => {}
    }
}
