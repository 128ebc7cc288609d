//! The list of the API: each route with what it takes and answers.
use schemars::json_schema;

use super::{
    contract::{self, Answer, By, Operation, Parameter, always, json, list, refused, shape, with_body},
    health, lists,
    out::{BypassOut, EntryOut, FindingOut},
    reports, tablets,
};
use crate::{
    base::Code,
    desk::{reports::Receipt, signed::Sent},
    people::Act,
    reports::Report,
    web::{Door, Route, paths},
};

pub fn operations() -> Vec<Operation> {
    vec![
        file_report(),
        file_signed(),
        register_key(),
        findings(),
        bypasses(),
        entries(),
        document(),
        health(),
    ]
}

/// A report with every kind of entry.
const EXAMPLE: &str = include_str!("../reports/example.json");

/// Everything that a report may be refused for.
const OF_A_REPORT: &[Code] = Code::ALL;

fn file_report() -> Operation {
    let mut answers = filed();
    answers.extend(always(By::Token));
    Operation {
        route: Route::post(paths::ApiReports::PATTERN, Act::FileReport, reports::file),
        says: "File a report.",
        detail: "Its author is whose token it comes with: nobody files as another. The same report again is answered with the same receipt.",
        by: By::Token,
        query: &[],
        takes: Some(shape::<Report>),
        example: Some(EXAMPLE),
        answers,
    }
}

fn file_signed() -> Operation {
    let mut answers = filed();
    answers.extend(always(By::Nobody));
    answers.push(refused(
        403,
        "Not sent from the book's own pages, or signed in another's name.",
        &[Code::NotAllowed],
    ));
    Operation {
        route: Route::post(paths::ApiSignedReports::PATTERN, Door::Open, tablets::file),
        says: "File a report that a tablet signed.",
        detail: "For the book's own pages: the tablet's signature says whose it is, and no session is needed.",
        by: By::Nobody,
        query: &[],
        takes: Some(shape::<Sent>),
        example: None,
        answers,
    }
}

fn filed() -> Vec<Answer> {
    let mut answers = vec![
        json::<Receipt>(201, "It is in the book, on the disk."),
        json::<Receipt>(200, "It was in the book already, just so."),
        refused(409, "The book has something else under this id.", &[Code::IdInUse]),
        refused(422, "It cannot be taken; every problem that was found.", OF_A_REPORT),
    ];
    answers.extend(with_body());
    answers
}

fn register_key() -> Operation {
    let mut answers = vec![
        json::<tablets::Registered>(200, "On record."),
        refused(422, "No such key can be.", &[Code::WrongType, Code::NotAllowed, Code::IdInUse]),
        refused(409, "Another key has this id.", &[Code::IdInUse]),
    ];
    answers.extend(with_body());
    answers.extend(always(By::Session));
    Operation {
        route: Route::post(paths::ApiTabletKeys::PATTERN, Act::FileReport, tablets::register),
        says: "Put the public half of a tablet's key on record.",
        detail: "For the book's own pages, within ten minutes of typing the password; never with a token.",
        by: By::Session,
        query: &[],
        takes: Some(shape::<tablets::Made>),
        example: None,
        answers,
    }
}

const QUESTION: &[Parameter] = &[
    Parameter {
        name: "as_of",
        says: "Judge only what had happened by then, as known now. Write + as %2B.",
        shape: |_| json_schema!({ "anyOf": [{ "type": "string", "format": "date-time" }, { "const": "" }] }),
    },
    Parameter {
        name: "history",
        says: "yes: also what has ended.",
        shape: |_| json_schema!({ "enum": ["no", "yes", ""] }),
    },
    Parameter {
        name: "format",
        says: "json unless it says otherwise.",
        shape: |_| json_schema!({ "enum": ["json", "csv", "xlsx", ""] }),
    },
];

fn a_list(route: Route, says: &'static str, detail: &'static str, rows: Answer) -> Operation {
    let mut answers = vec![
        rows,
        refused(400, "The address could not be read.", &[Code::WrongType]),
        refused(422, "The question cannot be answered as it stands.", &[Code::NotAllowed]),
    ];
    answers.extend(always(By::Either));
    Operation { route, says, detail, by: By::Either, query: QUESTION, takes: None, example: None, answers }
}

fn findings() -> Operation {
    a_list(
        Route::get(paths::ApiFindings::PATTERN, Act::ReadBoard, lists::findings),
        "What the rules found.",
        "Certain ones first, newest first, then by rank. What may name people is left out for who may not read the register.",
        list::<FindingOut>("The findings."),
    )
}

fn bypasses() -> Operation {
    a_list(
        Route::get(paths::ApiBypasses::PATTERN, Act::ReadBypasses, lists::bypasses),
        "The register of ground-relay cutout openings.",
        "The latest first. Without history=yes only what is open or not reviewed.",
        list::<BypassOut>("The openings."),
    )
}

fn entries() -> Operation {
    a_list(
        Route::get(paths::ApiEntries::PATTERN, Act::ReadBoard, lists::entries),
        "The entries as they now stand.",
        "The latest first. With history=yes also those that were withdrawn.",
        list::<EntryOut>("The entries."),
    )
}

fn document() -> Operation {
    let anything =
        |_: &mut schemars::SchemaGenerator| json_schema!({ "type": "object", "required": ["openapi"] });
    let mut answers = vec![Answer {
        status: 200,
        says: "The document.",
        bodies: vec![(contract::JSON, anything)],
        codes: &[],
    }];
    answers.extend(always(By::Either));
    Operation {
        route: Route::get(paths::ApiDocument::PATTERN, Door::SignedIn, contract::file),
        says: "This document.",
        detail: "OpenAPI 3.1, made from the program's own types.",
        by: By::Either,
        query: &[],
        takes: None,
        example: None,
        answers,
    }
}

fn health() -> Operation {
    let answers = vec![
        json::<health::Health>(200, "The book can be read and written."),
        json::<health::Health>(503, "It cannot; `says` tells what to do."),
        refused(500, "The server failed, and wrote down why.", &[Code::NotAllowed]),
    ];
    Operation {
        route: Route::get(paths::Health::PATTERN, Door::Open, health::answer),
        says: "Whether the book can be read and written.",
        detail: "For whoever watches the server. Tells nothing of what is in the book but how many pages it has.",
        by: By::Nobody,
        query: &[],
        takes: None,
        example: None,
        answers,
    }
}
