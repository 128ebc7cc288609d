//! `serve`: the book for browsers and programs.
use std::{net::SocketAddr, process::ExitCode, sync::Arc, time::Duration};

use tokio::{net::TcpListener, sync::watch};

use super::{Book, Failed, Outcome, backup::Daily, open, post::Carrying, say, site};
use crate::{
    desk::{Desk, backup::Backups, notices::Post},
    web::{App, app::Settings},
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
    let listener = TcpListener::bind(listening.listen).await.map_err(|why| {
        Failed::from(format!("cannot listen on {}: {why}. Give another with --listen", listening.listen))
    })?;
    let address = listener.local_addr()?;
    let backups = backups.map(Arc::new);
    let settings = Settings { tls: listening.behind_tls };
    let app = App::backed_up(desk.clone(), settings, backups.clone());
    let (post, (stop, stopped)) = (Arc::new(post), watch::channel(false));
    app.carries(Arc::clone(&post));
    let service = site::site(&app);
    announce(&format!("http://{address}"));
    let clockwork = tokio::spawn(take_figures_when_due(desk.clone()));
    let signing = tokio::spawn(sign_when_due(desk.clone()));
    let nightly = tokio::spawn(back_up_when_due(desk.clone(), backups));
    let mut carrying = tokio::spawn(post.run(desk.clone(), stopped));
    axum::serve(listener, service).with_graceful_shutdown(told_to_stop()).await?;
    // A letter under way is finished, so that it is not sent twice; one that hangs is not waited for.
    let _ = stop.send(true);
    if tokio::time::timeout(Duration::from_secs(12), &mut carrying).await.is_err() {
        carrying.abort();
    }
    for task in [clockwork, signing, nightly] {
        task.abort();
        let _ = task.await;
    }
    desk.close().await;
    Ok(ExitCode::SUCCESS)
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
