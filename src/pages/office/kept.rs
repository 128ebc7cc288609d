//! Forms that were sent after their session had ended, shown to nobody but the one who typed them.
use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use crate::{
    base::{UnitName, Zone},
    pages::drawn::told::said,
    people::secrets::{self, ParkedForm},
    reports::kinds::Kind,
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
    title: String,
    parked_at: String,
    fields: Vec<KeptField>,
}

struct KeptField {
    name: String,
    label: String,
    /// The form's own, not typed by anybody: sent on, and not shown.
    quiet: bool,
    /// As it is shown, where that differs from what is sent on.
    shown: String,
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
    Kept {
        action: parking::sent_on(&form.path, &form.id),
        drop: paths::KeptDrop(form.id).to_string(),
        title: title(&form.path),
        parked_at: zone.in_words(form.parked_at),
        fields: form.fields.into_iter().map(field).collect(),
    }
}

/// What the form's pages put in beside what is typed.
const QUIET: &[&str] = &["signer", "version", "seen_seq", "draft", "entry", "report", "back"];

fn field((name, value): (String, Option<String>)) -> KeptField {
    // A word of the contract is read aloud; what somebody typed stands as it is.
    let is_word = |value: &str| value.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
    let shown = value.as_deref().map(|v| if is_word(v) { said(v) } else { v.to_owned() });
    KeptField {
        label: name.replace("[0]", "").replace(['_', '.'], " "),
        quiet: QUIET.contains(&name.as_str()),
        shown: shown.unwrap_or_default(),
        name,
        value,
    }
}

/// Which form it was, by where it was sent to.
fn title(path: &str) -> String {
    let (place, query) = path.split_once('?').unwrap_or((path, ""));
    let parts: Vec<&str> = place.split('/').skip(1).collect();
    let unit = |slug: &str| UnitName::tidy(slug).map_or_else(|| slug.to_owned(), |unit| unit.to_string());
    let device = query.split('&').find_map(|pair| pair.strip_prefix("device="));
    let device = device.filter(|tag| !tag.contains('%')).map(|tag| format!(", {tag}")).unwrap_or_default();
    match parts.as_slice() {
        ["units", slug, "write", kind] => format!("{}: {}{device}", unit(slug), kind_says(kind)),
        ["units", slug, "report"] => format!("{}: end-of-trip report", unit(slug)),
        ["units", slug, "report", _, "change"] => format!("{}: a change to an entry", unit(slug)),
        ["units", slug, "report", _, "send"] => format!("{}: an entry to be sent at once", unit(slug)),
        ["units", slug, ..] => unit(slug),
        ["bypasses", _, "review"] => "Review of a bypass".to_owned(),
        ["password"] => "Your password".to_owned(),
        _ => "A form".to_owned(),
    }
}

fn kind_says(word: &str) -> String {
    Kind::parse(word).map_or_else(|| said(word), |kind| kind.in_words().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_named_by_where_it_was_sent_to() {
        for (path, want) in [
            ("/units/QHB-412/write/breaker_trip?device=TC2", "QHB 412: breaker trip, TC2"),
            ("/units/QHB-412/report", "QHB 412: end-of-trip report"),
            ("/bypasses/0198f3a2/review", "Review of a bypass"),
            ("/elsewhere", "A form"),
        ] {
            assert_eq!(title(path), want);
        }
        let field = |name: &str, value: &str| field((name.into(), Some(value.into())));
        assert_eq!(field("resets[0].result", "tripped_again").label, "resets result");
        assert_eq!(field("resets[0].result", "tripped_again").shown, "tripped again");
        assert!(field("version", "3").quiet && !field("note", "wet").quiet);
    }
}
