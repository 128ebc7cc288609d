//! `serve`: the book for browsers and programs.
use std::{
    net::{IpAddr, SocketAddr},
    process::ExitCode,
    sync::Arc,
    time::Duration,
};

use axum::Router;
use tokio::{net::TcpListener, sync::watch, task::JoinHandle};

use super::{Book, Failed, Outcome, backup::Daily, open, post::Carrying, say, site};
use crate::{
    desk::{Desk, backup::Backups, notices::Post},
    web::{
        App,
        app::{Around, Settings},
        listening::{self, Limits},
    },
};

#[derive(clap::Args, Debug)]
pub struct Args {
    #[command(flatten)]
    book: Book,
    #[command(flatten)]
    listening: Listening,
    #[command(flatten)]
    daily: Daily,
    #[command(flatten)]
    carrying: Carrying,
}

#[derive(clap::Args, Debug, Clone)]
pub struct Listening {
    /// Where to listen; port 0 takes any free one.
    #[arg(long, value_name = "ADDRESS", default_value = "127.0.0.1:8229")]
    pub listen: SocketAddr,
    /// Browsers reach this server over TLS, ended by a proxy in front: cookies are marked Secure.
    #[arg(long)]
    pub behind_tls: bool,
    /// Address of a proxy whose X-Forwarded-For is believed; may be given more than once. Without it, whoever is at the other
    /// end of the connection counts as the client.
    #[arg(long, value_name = "IP")]
    pub trusted_proxy: Vec<IpAddr>,
    /// Where Prometheus finds /metrics: an address of its own, which no proxy leads the world to.
    #[arg(long, value_name = "ADDRESS")]
    pub metrics: Option<SocketAddr>,
    /// Connections at once; more are answered 503.
    #[arg(long, value_name = "N", default_value_t = 1_000)]
    pub connections: u16,
    /// How long a request's head may take, and how long a connection may be idle.
    #[arg(long, value_name = "N", default_value_t = 20)]
    pub head_seconds: u16,
    /// How long a request may take.
    #[arg(long, value_name = "N", default_value_t = 30)]
    pub request_seconds: u16,
}

impl Listening {
    fn limits(&self) -> Limits {
        let ending = Duration::from_secs(u64::from(self.request_seconds) + 5);
        let head = Duration::from_secs(self.head_seconds.into());
        Limits { connections: self.connections.into(), head, ending, ..Limits::default() }
    }

    fn around(&self) -> Around {
        let patience = Duration::from_secs(self.request_seconds.into());
        Around { proxies: self.trusted_proxy.clone(), patience }
    }
}

pub async fn run(args: Args) -> Outcome {
    let post = args.carrying.post()?;
    let desk = open(&args.book).await?;
    let backups = args.daily.of(&args.book);
    serve(desk, &args.listening, backups, post, |url| say(&format!("listening {url}"))).await
}

/// Serves until the process is told to stop; answers what is under way first.
pub async fn serve(
    desk: Desk,
    listening: &Listening,
    backups: Option<Backups>,
    post: Post,
    announce: impl FnOnce(&str),
) -> Outcome {
    log_to_stderr();
    let listener = bind(listening.listen, "--listen").await?;
    let backups = backups.map(Arc::new);
    let settings = Settings { tls: listening.behind_tls };
    let app = App::standing(desk.clone(), settings, backups.clone(), listening.around());
    let (stop, stopped) = watch::channel(false);
    let figures = match listening.metrics {
        Some(address) => {
            let listener = bind(address, "--metrics").await?;
            Some(tokio::spawn(serve_figures(listener, site::figures(&app), stopped.clone())?))
        }
        None => None,
    };
    announce(&format!("http://{}", listener.local_addr()?));
    let beside = Beside::start(&desk, backups, &app, post, stopped);
    listening::serve(listener, site::site(&app), listening.limits(), told_to_stop()).await;
    drop(app);
    let _ = stop.send(true);
    beside.end().await;
    if let Some(figures) = figures {
        let _ = figures.await;
    }
    desk.close().await;
    Ok(ExitCode::SUCCESS)
}

/// What a server does beside answering.
struct Beside {
    clockwork: [JoinHandle<()>; 3],
    carrying: JoinHandle<()>,
}

impl Beside {
    fn start(
        desk: &Desk,
        backups: Option<Arc<Backups>>,
        app: &App,
        post: Post,
        stopped: watch::Receiver<bool>,
    ) -> Self {
        let post = Arc::new(post);
        app.carries(Arc::clone(&post));
        Self {
            clockwork: [
                tokio::spawn(take_figures_when_due(desk.clone())),
                tokio::spawn(sign_when_due(desk.clone())),
                tokio::spawn(back_up_when_due(desk.clone(), backups)),
            ],
            carrying: tokio::spawn(post.run(desk.clone(), stopped)),
        }
    }

    async fn end(mut self) {
        // A letter under way is finished, so that it is not sent twice; one that hangs is not waited for.
        if tokio::time::timeout(Duration::from_secs(12), &mut self.carrying).await.is_err() {
            self.carrying.abort();
        }
        for task in self.clockwork {
            task.abort();
            let _ = task.await;
        }
    }
}

async fn bind(address: SocketAddr, option: &str) -> Result<TcpListener, Failed> {
    TcpListener::bind(address)
        .await
        .map_err(|why| Failed::from(format!("cannot listen on {address}: {why}. Give another with {option}")))
}

/// /metrics, as long as the book is served.
fn serve_figures(
    listener: TcpListener,
    figures: Router,
    mut stopping: watch::Receiver<bool>,
) -> std::io::Result<impl Future<Output = ()>> {
    say(&format!("metrics http://{}/metrics", listener.local_addr()?));
    let limits = Limits { connections: 16, ending: Duration::from_secs(2), ..Limits::default() };
    Ok(async move {
        let stop = async { drop(stopping.changed().await) };
        listening::serve(listener, figures, limits, stop).await;
    })
}

/// Looks every minute whether class figures are due.
async fn take_figures_when_due(desk: Desk) {
    loop {
        if let Err(why) = desk.take_figures_if_due().await {
            tracing::warn!(why = why.says(), "class figures could not be taken");
        }
        tokio::time::sleep(Duration::from_secs(60)).await;
    }
}

/// Looks every minute whether a day began that has no checkpoint yet.
async fn sign_when_due(desk: Desk) {
    loop {
        if let Err(why) = desk.make_checkpoint_if_due().await {
            tracing::error!(%why, "the day's checkpoint could not be made");
        }
        tokio::time::sleep(Duration::from_secs(60)).await;
    }
}

/// Looks every minute whether the daily back-up is to be taken.
async fn back_up_when_due(desk: Desk, backups: Option<Arc<Backups>>) {
    let Some(backups) = backups else { return };
    loop {
        if let Err(why) = Arc::clone(&backups).run_if_due(desk.clone()).await {
            tracing::warn!(%why, "it could not be looked up whether a back-up is due");
        }
        tokio::time::sleep(Duration::from_secs(60)).await;
    }
}

async fn told_to_stop() {
    let interrupt = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        match signal(SignalKind::terminate()) {
            Ok(mut terminate) => {
                tokio::select! { _ = interrupt => {}, _ = terminate.recv() => {} }
            }
            Err(_) => drop(interrupt.await),
        }
    }
    #[cfg(not(unix))]
    drop(interrupt.await);
}

/// One JSON object a line, `BREAKERBOOK_LOG=debug` for more. No secret is ever given to it.
fn log_to_stderr() {
    use tracing_subscriber::EnvFilter;
    let filter = EnvFilter::try_from_env("BREAKERBOOK_LOG").unwrap_or_else(|_| EnvFilter::new("warn"));
    let _ = tracing_subscriber::fmt().json().with_env_filter(filter).with_writer(std::io::stderr).try_init();
}
