//! Who is asking: the extractor, and how a cookie or a token turns into a person.
use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
};

use axum::{
    extract::{FromRequestParts, OptionalFromRequestParts},
    http::{HeaderMap, header, request::Parts},
};

use super::{App, Oops, cookie};
use crate::{
    base::{Instant, SignIn, instant::SECOND},
    people::{
        Act, Permit, Person, Role, secrets,
        session::{Limits, Session, Token, TokenHash},
        tokens_store,
    },
};

/// Somebody who is signed in. Handlers take it as an argument; the guard has put it there.
#[derive(Clone, Debug)]
pub struct Me {
    person: Arc<Person>,
    name: Option<Arc<str>>,
    way: Way,
    must_change: bool,
    kept_forms: u32,
    unanswered: u32,
    codes_set: bool,
    codes_asked: bool,
    unread: u32,
    since: Option<Instant>,
}

/// How they proved who they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    Session(TokenHash),
    Token,
}

impl Me {
    pub fn sign_in(&self) -> &SignIn {
        &self.person.sign_in
    }
    pub fn role(&self) -> Role {
        self.person.role
    }
    pub fn way(&self) -> Way {
        self.way
    }
    /// Signed in with a one-time password: may do nothing but choose their own.
    pub fn must_change(&self) -> bool {
        self.must_change
    }
    /// Forms that wait for them since their last session ended.
    pub fn kept_forms(&self) -> u32 {
        self.kept_forms
    }
    /// Reports from a tablet that they have not confirmed or disowned.
    pub fn unanswered(&self) -> u32 {
        self.unanswered
    }
    /// Notices that they have not read, counted up to a hundred.
    pub fn unread(&self) -> u32 {
        self.unread
    }
    pub fn person(&self) -> &Person {
        &self.person
    }
    /// They have one-time codes.
    pub fn has_codes(&self) -> bool {
        self.codes_set
    }
    /// They may read, and have to set up one-time codes before they change anything.
    pub fn must_set_codes(&self) -> bool {
        self.codes_asked && !self.codes_set && self.may(Act::KeepCodes)
    }
    /// When they typed their password to sign in; by token never.
    pub fn signed_in_at(&self) -> Option<Instant> {
        self.since
    }
    /// The name for display, or the sign-in name where there is none.
    pub fn name(&self) -> &str {
        self.name.as_deref().unwrap_or(self.person.sign_in.as_str())
    }
    pub fn may(&self, act: Act) -> bool {
        self.person.permit(act).is_some()
    }
    /// The proof that the desk asks for.
    pub fn permit(&self, act: Act) -> Result<Permit, Oops> {
        self.person.permit(act).ok_or_else(|| Oops::not_for_your_role(self.role()))
    }
    pub fn session(&self) -> Option<TokenHash> {
        match self.way {
            Way::Session(hash) => Some(hash),
            Way::Token => None,
        }
    }
}

impl<S: Send + Sync> FromRequestParts<S> for Me {
    type Rejection = Oops;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Oops> {
        parts.extensions.get::<Self>().cloned().ok_or(Oops::SignInFirst { back_to: None })
    }
}

/// For pages that are open to all but greet whoever is signed in.
impl<S: Send + Sync> OptionalFromRequestParts<S> for Me {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Option<Self>, Self::Rejection> {
        Ok(parts.extensions.get::<Self>().cloned())
    }
}

/// What the request's credentials say.
pub enum Asking {
    Nobody,
    Somebody(Me),
    /// Whose session it was, until it ended.
    Ended(SignIn),
}

/// By cookie.
pub async fn by_session(app: &App, headers: &HeaderMap) -> Result<Asking, Oops> {
    let Some(token) = cookie::token(headers, app.settings()) else { return Ok(Asking::Nobody) };
    let mut c = app.desk().read().await?;
    let Some(session) = secrets::session(&mut c, token.hash(), app.now()).await? else {
        return Ok(Asking::Nobody);
    };
    let world = app.world();
    let Some(person) = world.people.persons.get(&session.sign_in).filter(|p| p.active) else {
        return Ok(Asking::Nobody);
    };
    let told = person.permit(Act::ReadNotices).is_some();
    let unread = if told { crate::desk::notices::shown::unread(&mut c, person).await? } else { 0 };
    drop(c);
    let now = app.now();
    if !session.is_alive(Limits::of(person.role), now) {
        return Ok(Asking::Ended(session.sign_in));
    }
    touch(app, &session, now).await?;
    Ok(Asking::Somebody(Me {
        person: Arc::clone(person),
        name: session.name.map(Arc::from),
        way: Way::Session(session.token_hash),
        must_change: session.must_change,
        kept_forms: session.kept_forms,
        unanswered: session.unanswered,
        codes_set: session.codes_set,
        codes_asked: session.codes_asked,
        unread,
        since: Some(session.created_at),
    }))
}

async fn touch(app: &App, session: &Session, now: Instant) -> Result<(), Oops> {
    let hash = session.token_hash;
    if session.wants_touch(now) {
        app.desk().aside(move |c| Box::pin(secrets::touch_session(c, hash, now))).await?;
    }
    Ok(())
}

/// By `Authorization: Bearer`; `None` where there is no such header.
pub async fn by_token(app: &App, headers: &HeaderMap) -> Result<Option<Asking>, Oops> {
    let Some(given) = headers.get(header::AUTHORIZATION) else { return Ok(None) };
    let given = given.to_str().ok().and_then(|text| text.strip_prefix("Bearer "));
    let Some(token) = given.and_then(|text| Token::parse(text.trim())) else {
        return Ok(Some(Asking::Nobody));
    };
    let Some(owner) = app.tokens().owner(app, token.hash()).await? else { return Ok(Some(Asking::Nobody)) };
    let world = app.world();
    let person = world.people.persons.get(&owner).filter(|p| p.active);
    Ok(Some(person.map_or(Asking::Nobody, |person| {
        Asking::Somebody(Me {
            person: Arc::clone(person),
            name: None,
            way: Way::Token,
            must_change: false,
            kept_forms: 0,
            unanswered: 0,
            codes_set: false,
            // A token is something they have; whoever made it on a page had signed with a code.
            codes_asked: false,
            unread: 0,
            since: None,
        })
    })))
}

/// Owners of tokens seen in the last seconds, so that a program that files often costs one look in the file
/// every ten seconds. One that is revoked by another process, or over, works ten seconds longer, and no more.
#[derive(Default)]
pub struct TokenCache(Mutex<HashMap<TokenHash, (SignIn, Instant)>>);

const REMEMBERED: i64 = 10 * SECOND;
/// More tokens at once than any railway has programs; beyond it the cache starts afresh.
const MOST_REMEMBERED: usize = 1024;

impl TokenCache {
    async fn owner(&self, app: &App, hash: TokenHash) -> Result<Option<SignIn>, Oops> {
        let now = app.now();
        if let Some(owner) = self.remembered(hash, now) {
            return Ok(Some(owner));
        }
        let mut c = app.desk().read().await?;
        let Some((owner, tell)) = tokens_store::owner(&mut c, hash, now).await? else { return Ok(None) };
        drop(c);
        self.remember(hash, owner.clone(), now);
        if tell {
            app.desk().aside(move |c| Box::pin(tokens_store::was_used(c, hash, now))).await?;
        }
        Ok(Some(owner))
    }

    /// One was revoked: all are looked up again.
    pub fn forget(&self) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    fn remembered(&self, hash: TokenHash, now: Instant) -> Option<SignIn> {
        let cache = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (owner, since) = cache.get(&hash)?;
        (now.since(*since) < REMEMBERED).then(|| owner.clone())
    }

    fn remember(&self, hash: TokenHash, owner: SignIn, now: Instant) {
        let mut cache = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if cache.len() >= MOST_REMEMBERED {
            cache.clear();
        }
        cache.insert(hash, (owner, now));
    }
}
