//! One proposal: the second signature, or none.
use std::sync::Arc;

use askama::Template;
use axum::{
    extract::{Path, State},
    http::StatusCode,
};
use uuid::Uuid;

use super::tried;
use crate::{
    desk::{
        World,
        grants::{ConfirmGrant, WithdrawProposal, confirms, ended},
    },
    pages::{
        drawn::{form::Field, sent::Sent},
        supervisor::rights,
    },
    people::{Act, Proposal, proposal::How},
    web::{Answer, App, Frame, Me, Oops, forms::Fields, page, paths, see},
};

#[derive(Template)]
#[template(path = "supervisor/proposal.html")]
struct View {
    frame: Frame,
    who: String,
    facts: Vec<(&'static str, String)>,
    on_top: Vec<String>,
    /// What became of it, or why this reader cannot confirm it.
    says: Option<String>,
    /// The right that came of it.
    grant: Option<String>,
    signer: String,
    confirm: Option<Confirm>,
    withdraw: Option<Withdraw>,
    tried: Vec<String>,
}

struct Confirm {
    action: String,
    password: Field,
}

struct Withdraw {
    action: String,
    reason: Field,
    password: Field,
}

fn find(typed: &str, world: &World) -> Result<Arc<Proposal>, Oops> {
    let id = Uuid::parse_str(typed).ok();
    let found = id.and_then(|id| world.proposals.get(&id)).cloned();
    found.ok_or_else(|| {
        Oops::NotFound("There is no such proposal: look at the list of authorisations.".into())
    })
}

pub async fn show(State(app): State<App>, frame: Frame, me: Me, Path(id): Path<String>) -> Answer {
    let proposal = find(&id, &app.world())?;
    draw(&app, frame, &me, &proposal, StatusCode::OK, Sent::default()).await
}

pub async fn confirm(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(id): Path<String>,
    form: Fields,
) -> Answer {
    let permit = me.permit(Act::GrantAuthorisation)?;
    let proposal = find(&id, &app.world())?;
    let mut sent = Sent::named("confirm", form);
    let confirm = async |proposal: &Proposal| {
        let now = app.now();
        app.desk().act_on_record(ConfirmGrant::of(proposal, &permit, now), proposal.id, &permit, now).await
    };
    match sent.file((&app, &me), Some(proposal.as_ref()), &[], confirm).await? {
        Ok(()) => see(&paths::Proposal(proposal.id.to_string())),
        Err(status) => draw(&app, frame, &me, &proposal, status, sent).await,
    }
}

pub async fn withdraw(
    State(app): State<App>,
    frame: Frame,
    me: Me,
    Path(id): Path<String>,
    form: Fields,
) -> Answer {
    let permit = me.permit(Act::GrantAuthorisation)?;
    let proposal = find(&id, &app.world())?;
    let mut sent = Sent::named("withdraw", form);
    let reason = sent.words("reason", "Say why: whoever asks for it again reads it here.");
    let withdraw =
        async |reason| app.desk().act(WithdrawProposal::of(proposal.id, reason, &permit, app.now())).await;
    match sent.file((&app, &me), Some(reason), &["reason"], withdraw).await? {
        Ok(()) => see(&paths::Proposal(proposal.id.to_string())),
        Err(status) => draw(&app, frame, &me, &proposal, status, sent).await,
    }
}

async fn draw(app: &App, frame: Frame, me: &Me, was: &Proposal, status: StatusCode, sent: Sent) -> Answer {
    let (world, now) = (app.world(), app.now());
    // As it stands by now: somebody else may have been quicker.
    let proposal = world.proposals.get(&was.id).map_or(was, AsRef::as_ref);
    let tried = tried(app, &proposal.id.to_string(), &world).await?;
    let may = me.may(Act::GrantAuthorisation);
    let refused = confirms(proposal, me.sign_in(), &world, now).err().map(|refused| refused.says());
    let waits = proposal.waits(now);
    let empty = Sent::default();
    let (confirming, withdrawing) = (sent.form("confirm", &empty), sent.form("withdraw", &empty));
    let id = || proposal.id.to_string();
    let view = View {
        frame,
        who: proposal.person.to_string(),
        facts: facts(proposal, &world),
        on_top: sent.on_top.clone(),
        says: match &proposal.end {
            Some(_) => Some(ended(proposal, &world.railway.zone)),
            None if may || !waits => refused.clone(),
            None => None,
        },
        grant: match proposal.end.as_ref().map(|end| &end.how) {
            Some(How::Confirmed(seq)) => Some(paths::Authorisation(*seq).to_string()),
            _ => None,
        },
        signer: me.sign_in().to_string(),
        confirm: (may && waits && refused.is_none()).then(|| Confirm {
            action: paths::ProposalConfirm(id()).to_string(),
            password: confirming.password().of("confirm"),
        }),
        withdraw: (may && waits).then(|| Withdraw {
            action: paths::ProposalWithdraw(id()).to_string(),
            reason: withdrawing.field("reason", "Why not"),
            password: withdrawing.password().of("withdraw"),
        }),
        tried,
    };
    page(status, &view)
}

fn facts(proposal: &Proposal, world: &World) -> Vec<(&'static str, String)> {
    let zone = &world.railway.zone;
    let mut facts = vec![
        ("For", proposal.person.to_string()),
        ("Classes", rights::scope_says(&proposal.scope)),
        ("First day", proposal.from.in_words()),
        ("Last day", proposal.to.map_or_else(|| "without an end".to_owned(), |day| day.in_words())),
        ("Rests on", proposal.basis.clone()),
        ("Proposed by", format!("{}, {} (page {})", proposal.by, zone.in_words(proposal.at), proposal.seq)),
    ];
    if proposal.end.is_none() {
        facts.push(("Lapses", zone.in_words(proposal.lapses_at())));
    }
    facts
}
