//! What every handler can reach.
use std::sync::Arc;

use crate::{
    base::{Clock, Instant},
    desk::{Desk, World},
    people::password::Hasher,
};

use super::me::TokenCache;

#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    desk: Desk,
    clock: Clock,
    hasher: Hasher,
    tokens: TokenCache,
    settings: Settings,
}

#[derive(Clone, Copy, Debug, Default)]
pub struct Settings {
    /// Browsers reach this server over TLS: cookies are Secure and `__Host-`, and HSTS is sent.
    pub tls: bool,
}

impl App {
    pub fn new(desk: Desk, clock: Clock, settings: Settings) -> Self {
        Self(Arc::new(Inner { desk, clock, hasher: Hasher::new(), tokens: TokenCache::default(), settings }))
    }

    pub fn desk(&self) -> &Desk {
        &self.0.desk
    }

    pub fn world(&self) -> Arc<World> {
        self.0.desk.world()
    }

    pub fn now(&self) -> Instant {
        self.0.clock.now()
    }

    pub fn hasher(&self) -> &Hasher {
        &self.0.hasher
    }

    pub fn settings(&self) -> Settings {
        self.0.settings
    }

    pub(super) fn tokens(&self) -> &TokenCache {
        &self.0.tokens
    }
}
