//! What every handler can reach.
use std::sync::Arc;

use crate::{
    base::Instant,
    desk::{Desk, World},
    people::password::Hasher,
};

use super::me::TokenCache;

#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    desk: Desk,
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
    pub fn new(desk: Desk, settings: Settings) -> Self {
        Self(Arc::new(Inner { desk, hasher: Hasher::new(), tokens: TokenCache::default(), settings }))
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

    pub(super) fn tokens(&self) -> &TokenCache {
        &self.0.tokens
    }
}
