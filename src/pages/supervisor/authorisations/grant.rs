//! One right: what it says, how it came into the book, and its end.
use std::sync::Arc;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};

use super::{came, stands};
use crate::{
    desk::{World, grants::RevokeGrant},
    pages::{
        drawn::{form::Field, sent::Sent},
        supervisor::rights,
    },
    people::{Act, Authorisation, authorisation::Standing},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "supervisor/authorisation.html")]
struct View {
    frame: Frame,
    who: String,
    person: String,
    stands: &'static str,
    facts: Vec<(&'static str, String)>,
    book: String,
    on_top: Vec<String>,
    signer: String,
    revoke: Option<Revoke>,
}

struct Revoke {
    action: String,
    reason: Field,
    password: Field,
}

fn find(typed: &str, world: &World) -> Result<Arc<Authorisation>, Oops> {
    let seq: Option<u64> = typed.parse().ok();
    let found = world.people.authorisations.iter().find(|grant| Some(grant.seq) == seq).cloned();
    found.ok_or_else(|| Oops::NotFound("There is no such authorisation: look at the list.".into()))
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(seq): Path<String>) -> Answer {
    let grant = find(&seq, &app.world())?;
    draw(&app, frame, &me, &grant, StatusCode::OK, &Sent::default())
}

pub async fn revoke(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(seq): Path<String>,
    form: Fields,
) -> Answer {
    let permit = me.permit(Act::GrantAuthorisation)?;
    let grant = find(&seq, &app.world())?;
    let mut sent = Sent::of(form);
    let reason = sent.words("reason", "Say why: it stands wherever this right is shown.");
    let revoke = async |reason| app.desk().act(RevokeGrant::of(grant.seq, reason, &permit, app.now())).await;
    match sent.file((&app, &me), Some(reason), &["reason"], revoke).await? {
        Ok(()) => see(&paths::Authorisation(grant.seq)),
        Err(status) => draw(&app, frame, &me, &grant, status, &sent),
    }
}

fn draw(app: &App, frame: Frame, me: &Me, was: &Authorisation, status: StatusCode, sent: &Sent) -> Answer {
    let (world, now) = (app.world(), app.now());
    let all = &world.people.authorisations;
    let grant = all.iter().find(|known| known.seq == was.seq).map_or(was, AsRef::as_ref);
    let standing = grant.standing(now, &world.railway.zone);
    let open = matches!(standing, Standing::InForce | Standing::NotBegun);
    let view = View {
        frame,
        who: grant.person.to_string(),
        person: paths::BypassPerson(grant.person.to_string()).to_string(),
        stands: stands(standing),
        facts: facts(grant, &world),
        book: paths::BookPage(grant.seq).to_string(),
        on_top: sent.on_top.clone(),
        signer: me.sign_in().to_string(),
        revoke: (open && me.may(Act::GrantAuthorisation)).then(|| Revoke {
            action: paths::AuthorisationRevoke(grant.seq).to_string(),
            reason: sent.field("reason", "Why it is taken back"),
            password: sent.password(),
        }),
    };
    page(status, &view)
}

fn facts(grant: &Authorisation, world: &World) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        ("Classes", rights::scope(grant)),
        ("First day", grant.from.in_words()),
        ("Last day", grant.to.map_or_else(|| "without an end".to_owned(), |day| day.in_words())),
        ("Rests on", grant.basis.clone().unwrap_or_else(|| "not stated".to_owned())),
        ("In the book", came(grant, world)),
    ];
    let revoked = rights::revoked(grant, &world.railway.zone);
    facts.extend(revoked.map(|says| ("Taken back", says)));
    facts
}
