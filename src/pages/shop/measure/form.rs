//! The form of one kind of measurement, ready to print: cautions, questions, what is wrong beside them.
use askama::Template;

use super::questions::{self, Ask, Group, Question};
use crate::{
    base::{Instant, UnitName, Zone},
    pages::drawn::form::{Choice, Field},
    shop::measurements::{Kind, Wrong},
    web::{Frame, forms::Fields, paths},
};

#[derive(Template)]
#[template(path = "shop/measure_form.html")]
pub struct FormView {
    frame: Frame,
    title: &'static str,
    unit: String,
    back: String,
    action: String,
    cautions: &'static [&'static str],
    on_top: Vec<String>,
    groups: Vec<GroupView>,
    hidden: Vec<(&'static str, String)>,
    at: Field,
    done_by: Field,
    password: Field,
    signer: String,
}

struct GroupView {
    title: &'static str,
    asks: Vec<AskView>,
}

enum AskView {
    Keys(Choice),
    Line(Field),
    Area(Field),
}

/// What was typed, what is wrong with it, and what stands above the form.
pub struct Shown<'a> {
    pub kind: Kind,
    pub fields: &'a Fields,
    pub wrong: &'a [Wrong],
    pub on_top: Vec<String>,
    /// Asked about now: signed again as they stand, they are kept as confirmed.
    pub asked: Vec<String>,
}

impl FormView {
    pub fn of(
        frame: Frame,
        unit: &UnitName,
        shown: Shown<'_>,
        signer: &str,
        zone: &Zone,
        now: Instant,
    ) -> Self {
        let fields = shown.fields;
        let says = |name: &str| shown.wrong.iter().find(|w| w.field == name).map(|w| w.says.clone());
        let at = fields.value("at").map_or_else(|| zone.local_input(now), str::to_owned);
        Self {
            frame,
            title: shown.kind.in_words(),
            unit: unit.to_string(),
            back: paths::Measurements(unit.clone()).to_string(),
            action: paths::MeasurementNew(unit.clone()).to_string(),
            cautions: questions::cautions(shown.kind),
            hidden: hidden(&shown, signer),
            on_top: shown.on_top,
            groups: questions::groups(shown.kind)
                .iter()
                .map(|group| group_view(group, fields, &says))
                .collect(),
            at: Field::time("at", "When it was done", &at).says(says("at")),
            done_by: Field::text("done_by", "Done by, if it was not you", fields.get("done_by"))
                .hint("Whoever does the work is to write it down; it is kept, and flagged."),
            password: Field::password("password", "Your password, as your signature").says(says("password")),
            signer: signer.to_owned(),
        }
    }
}

/// What goes along unseen. Sent twice, it is one measurement: by its id.
fn hidden(shown: &Shown<'_>, signer: &str) -> Vec<(&'static str, String)> {
    let id = shown.fields.value("id").filter(|id| !id.is_empty()).map(str::to_owned);
    let mut hidden = vec![
        ("kind", shown.kind.as_str().to_owned()),
        ("id", id.unwrap_or_else(|| uuid::Uuid::new_v4().to_string())),
        ("repair", shown.fields.get("repair").to_owned()),
        ("signer", signer.to_owned()),
    ];
    hidden.extend(shown.asked.iter().map(|asked| ("confirmed", asked.clone())));
    hidden
}

fn group_view(group: &Group, fields: &Fields, says: &impl Fn(&str) -> Option<String>) -> GroupView {
    let asks = group.questions.iter().map(|q| ask(q, fields, says(q.name))).collect();
    GroupView { title: group.title, asks }
}

fn ask(q: &Question, fields: &Fields, says: Option<String>) -> AskView {
    let value = fields.value(q.name).unwrap_or_else(|| questions::given(q.name));
    match q.ask {
        Ask::Keys(words) => {
            let value = if words.iter().any(|(word, _)| *word == value) { value } else { "" };
            let choice = Choice::of(q.name, q.label, value, words).hint(q.hint).says(says);
            let few = words.len() <= 5 && words.iter().all(|(_, text)| text.chars().count() <= 14);
            AskView::Keys(if few { choice.few() } else { choice })
        }
        Ask::Figure => AskView::Line(Field::number(q.name, q.label, value).hint(q.hint).says(says)),
        Ask::Text => AskView::Line(Field::text(q.name, q.label, value).hint(q.hint).says(says)),
        Ask::Area => AskView::Area(Field::text(q.name, q.label, value).hint(q.hint).says(says)),
    }
}
