//! What every handler can reach.
use std::{
    net::IpAddr,
    sync::{Arc, OnceLock},
    time::Duration,
};

use crate::{
    base::Instant,
    desk::{Desk, World, backup::Backups, notices::Post},
    people::password::Hasher,
};

use super::{gate::Gate, me::TokenCache, metrics::Metrics};

#[derive(Clone)]
pub struct App(Arc<Inner>);

struct Inner {
    desk: Desk,
    hasher: Hasher,
    tokens: TokenCache,
    gate: Gate,
    settings: Settings,
    backups: Option<Arc<Backups>>,
    post: OnceLock<Arc<Post>>,
    metrics: Metrics,
    around: Around,
}

/// What a server is told about where it stands.
#[derive(Clone, Debug)]
pub struct Around {
    /// Addresses of proxies whose word for where a request came from is believed.
    pub proxies: Vec<IpAddr>,
    /// How long a request may take.
    pub patience: Duration,
}

impl Default for Around {
    fn default() -> Self {
        Self { proxies: Vec::new(), patience: Duration::from_secs(30) }
    }
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
        Self::standing(desk, settings, backups, Around::default())
    }

    /// The same, as a server on a network.
    pub fn standing(desk: Desk, settings: Settings, backups: Option<Arc<Backups>>, around: Around) -> Self {
        let (hasher, tokens, gate) = (Hasher::new(), TokenCache::default(), Gate::default());
        let (metrics, post) = (Metrics::default(), OnceLock::new());
        Self(Arc::new(Inner { desk, hasher, tokens, gate, settings, backups, metrics, around, post }))
    }

    pub fn metrics(&self) -> &Metrics {
        &self.0.metrics
    }

    pub fn proxies(&self) -> &[IpAddr] {
        &self.0.around.proxies
    }

    pub fn patience(&self) -> Duration {
        self.0.around.patience
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

    /// Tries to sign in that have to wait anyway.
    pub fn gate(&self) -> &Gate {
        &self.0.gate
    }

    pub fn tokens(&self) -> &TokenCache {
        &self.0.tokens
    }
}
