//! Forms that were sent after their session had ended, shown to nobody but the one who typed them.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use crate::{
    base::Zone,
    people::secrets::{self, ParkedForm},
    web::{Answer, App, Frame, Me, page, parking, paths, see},
};

#[derive(Template)]
#[template(path = "office/kept.html")]
struct View {
    frame: Frame,
    forms: Vec<Kept>,
}

struct Kept {
    /// The path it was sent to, with the mark by which it is dropped once it got through.
    action: String,
    drop: String,
    path: String,
    parked_at: String,
    fields: Vec<KeptField>,
}

struct KeptField {
    name: String,
    label: String,
    /// `None`: a password stood here; it has to be typed again.
    value: Option<String>,
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me) -> Answer {
    let forms = {
        let mut c = app.desk().read().await?;
        secrets::parked(&mut c, me.sign_in(), app.now()).await?
    };
    let world = app.world();
    let forms = forms.into_iter().map(|form| kept(form, &world.railway.zone)).collect();
    page(StatusCode::OK, &View { frame, forms })
}

pub async fn drop_one(State(app): State<App>, me: Me, Path(id): Path<String>) -> Answer {
    let who = me.sign_in().clone();
    app.desk().aside(move |c| Box::pin(secrets::drop_parked(c, who.clone(), id.clone()))).await?;
    see(&paths::Kept)
}

fn kept(form: ParkedForm, zone: &Zone) -> Kept {
    let field =
        |(name, value): (String, Option<String>)| KeptField { label: name.replace('_', " "), name, value };
    Kept {
        action: parking::sent_on(&form.path, &form.id),
        drop: paths::KeptDrop(form.id).to_string(),
        path: form.path,
        parked_at: zone.in_words(form.parked_at),
        fields: form.fields.into_iter().map(field).collect(),
    }
}
