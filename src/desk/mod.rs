//! A stand-in until the desk of branch main lands: the same shape, nothing behind it.
use std::{future::Future, pin::Pin, sync::Arc};

use sqlx::{Sqlite, SqliteConnection, SqlitePool, pool::PoolConnection};

use crate::{
    base::{Problem, Zone},
    people::People,
    roster::Roster,
    rules::ClassFigures,
};

pub type BoxFuture<'c, T> = Pin<Box<dyn Future<Output = T> + Send + 'c>>;

#[derive(Clone, Debug)]
pub struct Railway {
    pub name: String,
    pub mark: String,
    pub zone: Zone,
    pub demo: bool,
}

#[derive(Clone, Debug)]
pub struct World {
    pub railway: Railway,
    pub roster: Roster,
    pub people: People,
    pub figures: Option<ClassFigures>,
}

#[derive(Debug)]
pub struct Trouble(pub String);

impl std::fmt::Display for Trouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

#[derive(Debug)]
pub enum Refused {
    Problems(Vec<Problem>),
    Conflict(String),
    NotYours(String),
    Busy { retry_after_s: u32 },
    DiskFull,
}

#[derive(Clone)]
pub struct Desk {
    pub pool: SqlitePool,
    pub world: Arc<World>,
}

impl Desk {
    pub fn world(&self) -> Arc<World> {
        Arc::clone(&self.world)
    }

    pub async fn read(&self) -> Result<PoolConnection<Sqlite>, Trouble> {
        self.pool.acquire().await.map_err(|e| Trouble(e.to_string()))
    }

    pub async fn aside<T, F>(&self, work: F) -> Result<T, Trouble>
    where
        T: Send + 'static,
        F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<T, sqlx::Error>> + Send + 'static,
    {
        let mut c = self.pool.acquire().await.map_err(|e| Trouble(e.to_string()))?;
        work(&mut c).await.map_err(|e| Trouble(e.to_string()))
    }
}
