//! One entry with everything that was ever said of it: each version, each correction, each statement beside it.
pub mod amend;
mod back;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
    response::Response,
};
use serde::Deserialize;
use serde_json::Value;

use super::{entry_line::EntryLine, unit_of::UnitHere};
use crate::{
    base::{EntryId, Instant, ReportId, SignIn, UnitName, text},
    book::Channel,
    desk::{World, body::Statement, reports::AddStatement},
    pages::drawn::{form::Field, tablet::signed_how},
    people::{Act, Role},
    reports::{
        self,
        store::{AmendmentRow, EntryRow, StatementRow},
    },
    web::{Answer, App, Frame, Me, Oops, SentAt, Typed, page, paths, see, signature},
};

#[derive(Template)]
#[template(path = "crew/entry_page.html")]
struct View {
    frame: Frame,
    unit: String,
    handover: String,
    report: String,
    line: EntryLine,
    author: String,
    withdrawn: bool,
    /// What it said before, the first version first.
    versions: Vec<Version>,
    statements: Vec<Said>,
    amend: Option<String>,
    problems: Vec<String>,
    /// The form of a statement, for whom the entry names.
    state: Option<StateForm>,
}

struct Version {
    line: EntryLine,
    says: String,
    reason: String,
}

struct Said {
    by: String,
    at: String,
    words: String,
}

struct StateForm {
    action: String,
    signer: String,
    words: Field,
    password: Field,
}

/// An entry as the file has it, with its unit.
pub struct Found {
    pub id: EntryId,
    pub row: EntryRow,
    pub here: UnitHere,
    pub amendments: Vec<AmendmentRow>,
    pub statements: Vec<StatementRow>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Words {
    words: String,
    password: String,
    signer: String,
}

#[derive(Default)]
struct Says {
    problems: Vec<String>,
    words: Option<String>,
    password: Option<String>,
}

impl Found {
    pub async fn find(app: &App, id: &str) -> Result<Self, Oops> {
        let gone = || Oops::NotFound("The book holds no such entry: look it up again.".into());
        let id: EntryId = id.parse().map_err(|_| gone())?;
        let mut db = app.desk().read().await?;
        let wanted = reports::store::Wanted { ids: Some(&[id]), ..Default::default() };
        let row = reports::store::entries(&mut db, &wanted).await?.pop().ok_or_else(gone)?;
        let amendments = reports::store::amendments(&mut db, id).await?;
        let statements = reports::store::statements(&mut db, id).await?;
        let unit = UnitName::from(row.unit.as_str());
        Ok(Self {
            id,
            row,
            here: UnitHere { unit, world: app.world(), now: app.now() },
            amendments,
            statements,
        })
    }

    fn detail(&self) -> Value {
        serde_json::from_str(&self.row.detail).unwrap_or_default()
    }

    /// By its author, or by the shop or a supervisor with a reason.
    pub fn may_amend(&self, me: &Me) -> bool {
        me.may(Act::AmendEntry)
            && (self.row.author == me.sign_in().as_str()
                || matches!(me.role(), Role::Shop | Role::Supervisor))
    }

    /// Its author, and whoever any version of it names.
    fn names(&self, who: &SignIn) -> bool {
        let versions =
            self.amendments.iter().flat_map(|a| [Some(&a.before), a.replacement.as_ref()]).flatten();
        let named = |text: &String| serde_json::from_str(text).is_ok_and(|entry: Value| names(&entry, who));
        self.row.author == who.as_str() || versions.chain([&self.row.detail]).any(named)
    }

    fn line(&self, entry: &Value) -> EntryLine {
        let World { roster, railway, .. } = &*self.here.world;
        let schedule = roster.schedule_at(&self.here.unit, Instant(self.row.at));
        EntryLine::of(entry, schedule, &railway.zone)
    }

    /// What it said before an amendment.
    fn version(&self, row: &AmendmentRow) -> Version {
        let how = if row.replacement.is_some() { "Replaced" } else { "Withdrawn" };
        let at = self.here.world.railway.zone.in_words(Instant(row.at));
        Version {
            line: self.line(&serde_json::from_str(&row.before).unwrap_or_default()),
            says: format!("{how} by {}, {at}", row.author),
            reason: row.reason.clone(),
        }
    }
}

/// Whether an entry says of somebody that they did, ordered or told something.
fn names(entry: &Value, who: &SignIn) -> bool {
    match entry {
        Value::Object(fields) => fields.iter().any(|(name, value)| {
            let of_person = matches!(name.as_str(), "by" | "authorised_by" | "closed_by" | "told_by");
            of_person && value.as_str() == Some(who.as_str()) || names(value, who)
        }),
        Value::Array(items) => items.iter().any(|item| names(item, who)),
        _ => false,
    }
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    let found = Found::find(&app, &id).await?;
    again(frame, &me, &found, StatusCode::OK, &Words::default(), Says::default())
}

const NOT_NAMED: &str = "This entry does not name you, so no statement of yours stands beside it. Tell its author, the shop or a supervisor what you know: they can correct it.";

/// Somebody's own words, signed, beside an entry that names them.
pub async fn state(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    SentAt(now): SentAt,
    Path(id): Path<String>,
    Typed(typed): Typed<Words>,
) -> Answer {
    let permit = me.permit(Act::MakeStatement)?;
    let found = Found::find(&app, &id).await?;
    if !found.names(me.sign_in()) {
        return Err(Oops::Forbidden(NOT_NAMED.into()));
    }
    let problems = signature::another_signer(&typed.signer, &me).into_iter().collect();
    let mut says = Says { problems, ..Says::default() };
    let words = text::words(&typed.words);
    if words.is_none() {
        says.words = Some("Write what you want to stand beside it.".to_owned());
    }
    let (Some(words), true) = (words, says.problems.is_empty()) else {
        return again(frame, &me, &found, StatusCode::UNPROCESSABLE_ENTITY, &typed, says);
    };
    if let Err(wrong) = signature::sign(&app, &me, &typed.password).await? {
        let says = Says { password: Some(wrong), ..says };
        return again(frame, &me, &found, StatusCode::UNPROCESSABLE_ENTITY, &typed, says);
    }
    // The same words sent twice stand there once.
    let same = |said: &StatementRow| said.author == me.sign_in().as_str() && said.words == words;
    if !found.statements.iter().any(same) {
        let statement = Statement { entry: found.id, words };
        app.desk().act(AddStatement::of(statement, &permit, Channel::Page, now)).await?;
    }
    see(&paths::Entry(found.id))
}

fn again(
    frame: Frame,
    me: &Me,
    found: &Found,
    status: StatusCode,
    typed: &Words,
    says: Says,
) -> Result<Response, Oops> {
    let said = |row: &StatementRow| Said {
        by: row.author.clone(),
        at: found.here.world.railway.zone.in_words(Instant(row.at)),
        words: row.words.clone(),
    };
    let report = found.row.report.parse().unwrap_or(ReportId(uuid::Uuid::nil()));
    let state = found.names(me.sign_in()).then(|| StateForm {
        action: paths::EntryStatement(found.id).to_string(),
        signer: me.sign_in().to_string(),
        words: Field::text("words", "Your own words", &typed.words).says(says.words),
        password: Field::password("password", "Your password, as your signature").says(says.password),
    });
    let view = View {
        frame,
        unit: found.row.unit.clone(),
        handover: paths::Handover(found.here.unit.clone()).to_string(),
        report: paths::Receipt(report).to_string(),
        line: found.line(&found.detail()),
        author: format!("{}{}", found.row.author, signed_how(found.row.confirmed)),
        withdrawn: found.row.withdrawn,
        versions: found.amendments.iter().map(|row| found.version(row)).collect(),
        statements: found.statements.iter().map(said).collect(),
        amend: (found.may_amend(me) && !found.row.withdrawn).then(|| paths::EntryAmend(found.id).to_string()),
        problems: says.problems,
        state,
    };
    page(status, &view)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn an_entry_names_whom_it_says_did_something() {
        let entry = json!({"device": "ann", "note": "ben", "by": "sam", "resets": [{"told_by": "sue"}], "closed_by": {"name": "tom"}});
        let named: Vec<_> = ["ann", "ben", "sam", "sue", "tom"]
            .into_iter()
            .filter(|who| names(&entry, &SignIn::from(*who)))
            .collect();
        assert_eq!(named, ["sam", "sue"]);
    }
}
