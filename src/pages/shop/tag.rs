//! The tag of a non-complying unit: seven fields, printed and hung. The book keeps none of it; the paper is what counts.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::measure::unit_of;
use crate::{
    pages::drawn::form::Field,
    shop::{inspections::PAPER, tag},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths},
};

#[derive(Template)]
#[template(path = "shop/tag.html")]
struct View {
    frame: Frame,
    unit: String,
    back: String,
    action: String,
    paper: &'static str,
    fields: Vec<Field>,
    wrong: Vec<String>,
    /// The tag itself, once all seven are filled in.
    tag: Option<Vec<(&'static str, String)>>,
}

const NOT_PRINTED: &str = "The tag is not printed while a field is missing.";

pub async fn show(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(unit): Path<String>,
    uri: axum::http::Uri,
) -> Answer {
    let (unit, world) = (unit_of(&unit)?, app.world());
    let unreadable = || Oops::Unreadable("This address could not be read.".to_owned());
    let typed = Fields::read(uri.query().unwrap_or_default().as_bytes()).ok_or_else(unreadable)?;
    let is_sent = typed.value("defects").is_some();
    let given = |name: &str| match name {
        "unit" => unit.to_string(),
        "carrier" => world.railway.name.clone(),
        "determined_by" => me.name().to_owned(),
        _ => String::new(),
    };
    let filled = tag::filled(|name| typed.get(name));
    let missing = filled.as_ref().err().filter(|_| is_sent).cloned().unwrap_or_default();
    let fields = tag::FIELDS.iter().map(|(name, label)| {
        let value = typed.value(name).map_or_else(|| given(name), str::to_owned);
        let says = missing.iter().find(|(field, _)| field == name).map(|(_, says)| says.clone());
        let field = Field::text(name, label, &value).says(says);
        if *name == "restrictions" { field.hint("'none' is an answer; blank is not.") } else { field }
    });
    let status = if missing.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let view = View {
        frame,
        back: paths::UnitInspections(unit.clone()).to_string(),
        action: paths::Tag(unit.clone()).to_string(),
        paper: PAPER,
        fields: fields.collect(),
        wrong: (!missing.is_empty()).then(|| NOT_PRINTED.to_owned()).into_iter().collect(),
        tag: filled.ok().filter(|_| is_sent),
        unit: unit.to_string(),
    };
    page(status, &view)
}
