//! A report as the document of the API describes it. Its readers are written by hand (`reading`), so this is, too, from the
//! same lists of fields and words. schemathesis sends to a running server what this takes and what it does not.
use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value, json};

use super::{
    entry::{AtHow, DeviceRef, Entry, Seal, Who},
    kinds::{
        BreakerTrip, Bypass, Defect, EngineStart, Fuse, FuseCheck, GroundRelay, Kind, Position, Reset,
        Shutdown,
    },
    reading::most_letters,
    report::{Report, Run},
    vocabulary::{
        Basis, FuseResult, FuseSpeed, Left, Occasion, Outcome, ResetResult, RunPosition, Seen, Signs,
        Throttle, Weather,
    },
};
use crate::base::{EntryId, ReportId, SignIn, Stamp, UnitName};

/// A field of an object.
pub struct Field {
    name: &'static str,
    needed: bool,
    schema: Schema,
}

/// What a field of this type may hold, and whether it has to be there.
pub trait Held {
    fn field(name: &'static str, all: &mut SchemaGenerator) -> Field;
}

impl<T: JsonSchema> Held for Option<T> {
    fn field(name: &'static str, all: &mut SchemaGenerator) -> Field {
        Field { name, needed: false, schema: or_not_stated(value::<T>(name, all), all) }
    }
}

impl<T: JsonSchema> Held for Vec<T> {
    fn field(name: &'static str, all: &mut SchemaGenerator) -> Field {
        let list = json_schema!({ "type": "array", "items": value::<T>(name, all) });
        Field { name, needed: false, schema: or_not_stated(list, all) }
    }
}

/// What an entry of its kind cannot do without.
macro_rules! needed {
    ($($type:ty)*) => {$(
        impl Held for $type {
            fn field(name: &'static str, all: &mut SchemaGenerator) -> Field {
                Field { name, needed: true, schema: all.subschema_for::<Self>() }
            }
        }
    )*};
}
needed!(Left FuseResult Outcome Seen DeviceRef EntryId ReportId UnitName SignIn Stamp);

/// A value by itself. Texts have room by the name of their field, and motors may be numbers.
fn value<T: JsonSchema>(name: &str, all: &mut SchemaGenerator) -> Schema {
    let schema = all.subschema_for::<T>();
    match (schema.get("type").and_then(Value::as_str), name) {
        (Some("string"), "motors_cut_out") => {
            json_schema!({ "type": ["string", "integer"], "minLength": 1, "maxLength": most_letters(name) })
        }
        (Some("string"), _) => json_schema!({ "type": "string", "maxLength": most_letters(name) }),
        (Some("integer"), _) => json_schema!({ "type": "integer", "minimum": 0, "maximum": u32::MAX }),
        _ => schema,
    }
}

/// What says nothing: null, or a text without a letter in it.
struct NotStated;

impl JsonSchema for NotStated {
    fn schema_name() -> Cow<'static, str> {
        "NotStated".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "Says nothing: the same as leaving the field out.",
            "type": ["null", "string"],
            "pattern": "^[ \\t\\r\\n]*$"
        })
    }
}

fn or_not_stated(schema: Schema, all: &mut SchemaGenerator) -> Schema {
    json_schema!({ "anyOf": [schema, all.subschema_for::<NotStated>()] })
}

/// An object that has these fields and no others.
fn object(says: &str, fields: Vec<Field>) -> Schema {
    let needed: Vec<&str> = fields.iter().filter(|field| field.needed).map(|field| field.name).collect();
    let properties: Map<String, Value> =
        fields.into_iter().map(|field| (field.name.to_owned(), field.schema.to_value())).collect();
    let mut schema =
        json_schema!({ "type": "object", "properties": properties, "additionalProperties": false });
    if !says.is_empty() {
        schema.insert("description".to_owned(), says.into());
    }
    if !needed.is_empty() {
        schema.insert("required".to_owned(), json!(needed));
    }
    schema
}

macro_rules! fields {
    ($all:ident: $($name:literal $type:ty,)*) => { vec![$(<$type as Held>::field($name, $all),)*] };
}

/// An entry of one kind: what every entry has, its two times, and its own.
pub(super) fn entry(kind: Kind, own: Vec<Field>, all: &mut SchemaGenerator) -> Schema {
    let (happened, found) = kind.time_fields();
    let mut fields = fields!(all: "id" EntryId,);
    fields.push(Field { name: "kind", needed: true, schema: json_schema!({ "const": kind.as_str() }) });
    fields.extend([happened, found].map(|name| Option::<Stamp>::field(name, all)));
    fields.extend(fields!(all:
        "at_how" Option<AtHow>, "place" Option<String>, "throttle" Option<Throttle>, "speed_mph" Option<f64>,
        "load_a" Option<f64>, "load_klbf" Option<f64>, "weather" Option<Weather>, "signs" Option<Signs>,
    ));
    fields.extend(own);
    fields.extend(fields!(all: "note" Option<String>,));
    let says = format!(
        "{}. Exactly one of {happened} and {found}.",
        crate::base::text::sentence(kind.in_words()).trim_end_matches('.')
    );
    let mut schema = object(&says, fields);
    schema.insert("anyOf".to_owned(), json!([{ "required": [happened] }, { "required": [found] }]));
    schema
}

macro_rules! named {
    ($($type:ident($all:ident) $schema:expr;)*) => {$(
        impl JsonSchema for $type {
            fn schema_name() -> Cow<'static, str> {
                stringify!($type).into()
            }
            fn json_schema($all: &mut SchemaGenerator) -> Schema {
                $schema
            }
        }
    )*};
}

named! {
    Report(all) object(
        "One filing by one person about one unit. The author is whose token it comes with. On a run (the occasion when none is given) run.started is needed. Times may not lie in the future.",
        fields!(all:
            "id" ReportId, "unit" UnitName, "author" SignIn, "occasion" Option<Occasion>, "final" Option<bool>, "run" Option<Run>,
            "position" Option<RunPosition>, "consist" Vec<UnitName>, "weather" Option<Weather>, "remarks" Option<String>,
        ).into_iter().chain([entries(all)]).chain(fields!(all: "signed_at" Stamp,)).collect(),
    );
    Run(all) object("The run it was made on.", fields!(all:
        "symbol" Option<String>, "from" Option<String>, "to" Option<String>, "started" Option<Stamp>, "ended" Option<Stamp>,
    ));
    Entry(all) json_schema!({ "description": "One thing that happened.", "oneOf": [
        all.subschema_for::<BreakerTrip>(), all.subschema_for::<GroundRelay>(), all.subschema_for::<Bypass>(),
        all.subschema_for::<FuseCheck>(), all.subschema_for::<EngineStart>(), all.subschema_for::<Shutdown>(),
        all.subschema_for::<Defect>(), all.subschema_for::<Position>(),
    ]});
    Reset(all) object("One attempt to close the circuit again.", fields!(all:
        "at" Option<Stamp>, "basis" Option<Basis>, "told_by" Option<Who>, "result" Option<ResetResult>,
    ));
    Fuse(all) object("The four figures by which one fuse may stand in for another.", fields!(all:
        "rating_a" Option<f64>, "rating_v" Option<f64>, "speed" Option<FuseSpeed>, "body" Option<String>,
    ));
    Who(all) json_schema!({
        "description": "A person: by sign-in name, by words for somebody without one, or not_known.",
        "anyOf": [all.subschema_for::<SignIn>(), only("name")]
    });
    DeviceRef(_all) json_schema!({
        "description": "A device: by its tag on the schedule, or by what its plate says.",
        "anyOf": [{ "type": "string", "minLength": 1, "maxLength": 40 }, only("not_listed")]
    });
    Seal(_all) json_schema!({
        "description": "A seal's number, as text; or unnumbered, illegible, broken, missing, none, not_looked, not_known.",
        "type": "string", "maxLength": 200
    });
}

/// Must be there: 'nothing to report' is an empty list.
fn entries(all: &mut SchemaGenerator) -> Field {
    let schema = json_schema!({ "type": "array", "items": all.subschema_for::<Entry>() });
    Field { name: "entries", needed: true, schema }
}

fn only(key: &'static str) -> Value {
    json!({ "type": "object", "properties": { key: { "type": "string", "minLength": 1, "maxLength": 200 } },
        "required": [key], "additionalProperties": false })
}
