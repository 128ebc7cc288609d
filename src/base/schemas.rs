//! How plain values stand on the wire, for the document of the API: what their readers take and their writers write.
use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};

use super::{ClassName, Instant, SignIn, Stamp, Tag, UnitName};

macro_rules! written {
    ($($type:ident = $schema:tt;)*) => {$(
        impl JsonSchema for $type {
            fn schema_name() -> Cow<'static, str> {
                stringify!($type).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!($schema)
            }
        }
    )*};
}

written! {
    UnitName = {
        "type": "string",
        "description": "A locomotive: mark, a space, road number. Other spellings are taken and tidied up.",
        "pattern": "^[A-Za-z]{1,4}[ _-]*0*[1-9][0-9]{0,5}[A-Za-z]?$",
        "examples": ["QHB 412"]
    };
    ClassName = { "type": "string", "description": "Units built alike." };
    Tag = { "type": "string", "description": "A device's tag on its schedule, as in TC2." };
    SignIn = {
        "type": "string",
        "description": "A sign-in name: letters, digits, dots, dashes, underscores. Case does not count.",
        "minLength": 2,
        "maxLength": 40,
        "examples": ["n.okafor"]
    };
    Instant = { "type": "string", "format": "date-time", "description": "A moment, in UTC with Z." };
    Stamp = {
        "type": "string",
        "format": "date-time",
        "description": "A moment with its offset (RFC 3339), from 1970 to 2199.",
        "examples": ["2026-03-02T23:12:00-06:00"]
    };
}
