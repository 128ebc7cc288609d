//! What the API says of itself. A route of the API is declared together with what it takes and answers ([`Operation`]), so the
//! router, the OpenAPI document and the page to read it are made from one list.
mod document;
mod page;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};

use crate::{base::Code, web::Route};

pub use document::document;
pub use page::{file, show};

/// Makes a schema, and puts what it names among the shapes.
pub type Shape = fn(&mut SchemaGenerator) -> Schema;

/// One route, and what is told of it.
pub struct Operation {
    pub route: Route,
    pub says: &'static str,
    pub detail: &'static str,
    pub by: By,
    pub query: &'static [Parameter],
    pub takes: Option<Shape>,
    /// What may be sent, in JSON.
    pub example: Option<&'static str>,
    pub answers: Vec<Answer>,
}

/// Whose word a request comes with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// Anybody's, or what the body itself proves.
    Nobody,
    Token,
    /// A browser in which somebody signed in.
    Session,
    Either,
}

pub struct Parameter {
    pub name: &'static str,
    pub says: &'static str,
    pub shape: Shape,
}

/// One status, and what comes with it.
pub struct Answer {
    pub status: u16,
    pub says: &'static str,
    pub bodies: Vec<(&'static str, Shape)>,
    /// Codes of the problems that it may carry.
    pub codes: &'static [Code],
}

pub const JSON: &str = "application/json";

/// An answer in JSON.
pub fn json<T: JsonSchema>(status: u16, says: &'static str) -> Answer {
    Answer { status, says, bodies: vec![(JSON, shape::<T>)], codes: &[] }
}

/// A list: as JSON, CSV or XLSX.
pub fn list<T: JsonSchema>(says: &'static str) -> Answer {
    let text: Shape = |_| json_schema!({ "type": "string" });
    let bytes: Shape = |_| json_schema!({});
    let xlsx = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
    Answer {
        status: 200,
        says,
        bodies: vec![(JSON, shape::<Vec<T>>), ("text/csv", text), (xlsx, bytes)],
        codes: &[],
    }
}

/// A refusal: its problems, by place, code and sentence.
pub fn refused(status: u16, says: &'static str, codes: &'static [Code]) -> Answer {
    Answer { status, says, bodies: vec![(JSON, shape::<Refusal>)], codes }
}

pub fn shape<T: JsonSchema>(all: &mut SchemaGenerator) -> Schema {
    all.subschema_for::<T>()
}

/// What every refusal says, whatever was asked.
#[derive(JsonSchema)]
#[expect(dead_code, reason = "only its shape is wanted: `web::oops` writes it")]
struct Refusal {
    problems: Vec<crate::base::Problem>,
}

/// What any request may be answered, whatever it asks.
pub fn always(by: By) -> Vec<Answer> {
    let mut all = vec![
        refused(500, "The server failed, and wrote down why.", &[Code::NotAllowed]),
        refused(
            503,
            "Too much at once, too slow, or no room on the disk. Retry-After says when to come again.",
            &[Code::NotAllowed],
        ),
    ];
    if by != By::Nobody {
        all.push(refused(401, "No token, none that is valid, or nobody signed in.", &[Code::NotAllowed]));
        all.push(refused(403, "Not for this role, or not in this way.", &[Code::NotAllowed]));
    }
    all
}

/// What anything that brings a body may be answered besides.
pub fn with_body() -> Vec<Answer> {
    vec![
        refused(400, "Not readable at all: not UTF-8, not JSON, nested too deep.", &[Code::WrongType]),
        refused(413, "More than 2 MB.", &[Code::NotAllowed]),
    ]
}
