//! What every handler can reach.
use std::sync::Arc;

use crate::{
    base::Instant,
    desk::{Desk, World, backup::Backups},
    people::password::Hasher,
};

use super::{gate::Gate, me::TokenCache};

#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    desk: Desk,
    hasher: Hasher,
    tokens: TokenCache,
    gate: Gate,
    settings: Settings,
    backups: Option<Arc<Backups>>,
}

#[derive(Clone, Copy, Debug, Default)]
pub struct Settings {
    /// Browsers reach this server over TLS: cookies are Secure and `__Host-`, and HSTS is sent.
    pub tls: bool,
}

impl App {
    pub fn new(desk: Desk, settings: Settings) -> Self {
        Self::backed_up(desk, settings, None)
    }

    /// The same for a server that takes back-ups.
    pub fn backed_up(desk: Desk, settings: Settings, backups: Option<Arc<Backups>>) -> Self {
        let (hasher, tokens, gate) = (Hasher::new(), TokenCache::default(), Gate::default());
        Self(Arc::new(Inner { desk, hasher, tokens, gate, settings, backups }))
    }

    /// Where this server's back-ups go, if it takes any.
    pub fn backups(&self) -> Option<&Arc<Backups>> {
        self.0.backups.as_ref()
    }

    pub fn desk(&self) -> &Desk {
        &self.0.desk
    }

    pub fn world(&self) -> Arc<World> {
        self.0.desk.world()
    }

    pub fn now(&self) -> Instant {
        self.0.desk.clock().now()
    }

    pub fn hasher(&self) -> &Hasher {
        &self.0.hasher
    }

    pub fn settings(&self) -> Settings {
        self.0.settings
    }

    /// Tries to sign in that have to wait anyway.
    pub fn gate(&self) -> &Gate {
        &self.0.gate
    }

    pub(super) fn tokens(&self) -> &TokenCache {
        &self.0.tokens
    }
}
