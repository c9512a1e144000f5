//! `chalkhand serve`: the daemon. It watches the folders of checklists and
//! profiles and answers a health page and the feeds of dates on the loopback
//! address.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use anyhow::Context;
use jiff::tz::TimeZone;
use tokio::net::TcpListener;
use tokio::sync::mpsc;

use super::home::Home;
use super::out::Out;
use crate::config::Config;
use crate::daemon::{self, Folders};
use crate::watch::{self, Seen};
use crate::web;

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The port of the health page; 0 takes a free one
    #[arg(long)]
    port: Option<u16>,
}

/// Files seen and not yet judged. A folder has few files; more wait their turn.
const WAITING: usize = 64;

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .context("the daemon could not start its threads")?;
    runtime.block_on(serve(config, arguments, out))
}

async fn serve(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let home = Home::open(config)?;
    let zone = TimeZone::system();
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, arguments.port.unwrap_or(config.port)));
    let listener = TcpListener::bind(address).await.with_context(|| {
        format!("{address} is taken: is the daemon running already? Choose another with --port")
    })?;
    let calendars = web::Calendars {
        config: config.clone(),
        functions: Arc::clone(&home.functions),
        now: daemon::now,
    };
    let health = web::Health { log: config.log(), begun: daemon::now(&zone).to_string() };

    let (saw, mut seen) = mpsc::channel::<Seen>(WAITING);
    let folders = [config.checklists(), config.profiles()];
    let watch = watch::watch(&folders, move |file| {
        // The watcher has a thread of its own: it may wait.
        if saw.blocking_send(file).is_err() {
            tracing::debug!("the daemon is stopping");
        }
    })?;
    let page = listener.local_addr()?;
    out.line(&format!("chalkhand is running; its page is http://{page}/"))?;
    for folder in &folders {
        out.line(&format!("watching {}", folder.display()))?;
    }
    tracing::info!(%page, "serving");

    let stop = asked_to_stop()?;
    let (stopping, mut stopped) = tokio::sync::watch::channel(false);
    let pages = tokio::spawn(async move {
        axum::serve(listener, web::router(health, calendars))
            .with_graceful_shutdown(async move {
                // An error means the sender is gone: stop as well.
                let _ = stopped.wait_for(|stop| *stop).await;
            })
            .await
    });

    let mut judge = Folders::new(home.store, home.functions, config.profiles());
    tokio::pin!(stop);
    loop {
        tokio::select! {
            biased;
            () = &mut stop => break,
            file = seen.recv() => {
                let Some(file) = file else { break };
                let now = daemon::now(&zone);
                let line = tokio::task::block_in_place(|| judge.saw(file, now))?;
                if let Some(line) = line {
                    out.line(&line)?;
                }
            }
        }
    }
    out.line("stopping; everything that was logged is on the disk")?;
    drop(watch);
    stopping.send_replace(true);
    pages.await.context("the health page stopped")??;
    Ok(())
}

/// Resolves when somebody wants the daemon to stop.
fn asked_to_stop() -> anyhow::Result<impl Future<Output = ()>> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    Ok(async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    })
}
