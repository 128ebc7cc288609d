//! What every handler can reach.
use std::sync::{Arc, OnceLock};

use crate::{
    base::Instant,
    desk::{Desk, World, backup::Backups, notices::Post},
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
    backups: Option<Arc<Backups>>,
    post: OnceLock<Arc<Post>>,
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
        let (hasher, tokens) = (Hasher::new(), TokenCache::default());
        Self(Arc::new(Inner { desk, hasher, tokens, settings, backups, post: OnceLock::new() }))
    }

    /// Where this server's back-ups go, if it takes any.
    pub fn backups(&self) -> Option<&Arc<Backups>> {
        self.0.backups.as_ref()
    }

    /// Told once, by a server that carries notices.
    pub fn carries(&self, post: Arc<Post>) {
        let _ = self.0.post.set(post);
    }

    /// How this server carries notices, if it does.
    pub fn post(&self) -> Option<&Arc<Post>> {
        self.0.post.get()
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
