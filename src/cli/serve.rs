//! `chalkhand serve`: the daemon. It watches the folders of checklists and
//! profiles and the inbox of photos, and serves the pages and the feeds of dates,
//! on this machine alone or, with `--listen`, on the local network.

use std::fs;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use axum_server::Handle;
use axum_server::tls_rustls::RustlsConfig;
use jiff::tz::TimeZone;
use tokio::sync::mpsc;

use super::home::{Home, plain};
use super::out::Out;
use crate::config::Config;
use crate::daemon::{self, Folders, InboxTaker, PageWalks};
use crate::domain::Roles;
use crate::office::{self, Inbox, inbox};
use crate::store::Store;
use crate::watch::{self, Seen};
use crate::web::{self, Served, tls};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The port of the pages; 0 takes a free one
    #[arg(long)]
    port: Option<u16>,
    /// Serve the local network too, by TLS and with sign-in: an address of this
    /// machine, or 0.0.0.0 for all it has
    #[arg(long, value_name = "ADDRESS", default_value_t = IpAddr::V4(Ipv4Addr::LOCALHOST), hide_default_value = true)]
    listen: IpAddr,
}

/// Files seen and not yet judged. A folder has few files; more wait their turn.
const WAITING: usize = 64;
/// After how long a photo that waits is looked at again: its job may be open by
/// then, or its step answered.
const LOOK_AGAIN: Duration = Duration::from_secs(60);
/// How long pages that are being sent may take when the daemon stops.
const LAST_PAGES: Duration = Duration::from_secs(3);

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .context("the daemon could not start its threads")?;
    runtime.block_on(serve(config, arguments, out))
}

async fn serve(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let zone = TimeZone::system();
    let address = SocketAddr::new(arguments.listen, arguments.port.unwrap_or(config.port));
    let listener = TcpListener::bind(address).with_context(|| taken(address))?;
    listener.set_nonblocking(true)?;
    let port = listener.local_addr()?.port();
    let names = names(arguments.listen)?;
    let networked = !arguments.listen.is_loopback();
    let now = daemon::now(&zone);
    let tls = match networked {
        true => Some(tls::tls(&config.data, &names, now.instant())?),
        false => None,
    };
    let functions = Arc::clone(&home.functions);
    let walks = Arc::new(PageWalks::new(config.clone(), functions, daemon::now));
    let inbox = Arc::new(Inbox::of(config.inbox()));
    let served = Served {
        config: config.clone(),
        functions: Arc::clone(&home.functions),
        now: daemon::now,
        begun: now.to_string(),
        names,
        port,
        networked,
        authority_pem: tls.as_ref().map(|tls| tls.authority_pem.clone()),
        walks: Arc::<PageWalks>::clone(&walks),
        inbox: Arc::clone(&inbox),
    };

    let (saw, mut seen) = mpsc::channel::<Seen>(WAITING);
    let folders = [config.checklists(), config.profiles()];
    let watch = watch::watch(&folders, move |file| {
        // The watcher has a thread of its own: it may wait.
        if saw.blocking_send(file).is_err() {
            tracing::debug!("the daemon is stopping");
        }
    })?;
    let (tell, mut told) = mpsc::channel::<String>(WAITING);
    let photos = watch_photos(config, &home, &inbox, tell)?;
    // Before anybody can know that it runs.
    let stop = asked_to_stop()?;
    let page = served.address();
    out.line(&format!("chalkhand is running; its page is {page}/"))?;
    if let Some(tls) = &tls {
        let fingerprint = web::fingerprint(&tls.authority_pem).unwrap_or_default();
        out.line(&format!("a phone is told to trust it at {page}/trust; SHA-256 {fingerprint}"))?;
    }
    if !office::any_person(&home.store).map_err(people)? {
        let code = office::invite(&mut home.store, Roles::all(), now).map_err(people)?;
        out.line(&format!("nobody signs in yet; make the first sign-in: {page}/join?code={code}"))?;
    }
    for folder in &folders {
        out.line(&format!("watching {}", folder.display()))?;
    }
    out.line(&format!("photos put into {} are kept", config.inbox().display()))?;
    tracing::info!(%page, "serving");

    let handle = Handle::new();
    let service = web::router(served).into_make_service_with_connect_info::<SocketAddr>();
    let pages = match &tls {
        Some(tls) => {
            let tls = RustlsConfig::from_config(Arc::clone(&tls.server));
            let server = axum_server::from_tcp_rustls(listener, tls)?.handle(handle.clone());
            tokio::spawn(server.serve(service))
        }
        None => {
            let server = axum_server::from_tcp(listener)?.handle(handle.clone());
            tokio::spawn(server.serve(service))
        }
    };

    let mut judge = Folders::new(home.store, home.functions, config.profiles());
    tokio::pin!(stop);
    loop {
        tokio::select! {
            biased;
            () = &mut stop => break,
            Some(line) = told.recv() => out.line(&line)?,
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
    tokio::task::block_in_place(|| walks.stop());
    out.line("stopping; everything that was logged is on the disk")?;
    drop((watch, photos));
    handle.graceful_shutdown(Some(LAST_PAGES));
    pages.await.context("the pages stopped")??;
    Ok(())
}

/// Takes photos out of the inbox, on a thread of its own with a log of its own.
fn watch_photos(
    config: &Config,
    home: &Home,
    inbox: &Arc<Inbox>,
    tell: mpsc::Sender<String>,
) -> anyhow::Result<watch::Watch> {
    let folder = config.inbox();
    fs::create_dir_all(&folder)
        .with_context(|| format!("`{}` cannot be made", folder.display()))?;
    let store = Store::open(&config.log())?;
    let (functions, inbox) = (Arc::clone(&home.functions), Arc::clone(inbox));
    let mut taker = InboxTaker::new(config.clone(), store, functions, inbox, daemon::now);
    Ok(watch::watch_inbox(&folder, inbox::TAKEN, LOOK_AGAIN, move |dropped| {
        if let Some(line) = taker.saw(&dropped)
            && tell.blocking_send(line).is_err()
        {
            tracing::debug!("the daemon is stopping");
        }
    })?)
}

fn taken(address: SocketAddr) -> String {
    if address.ip().is_loopback() || address.ip().is_unspecified() {
        format!("{address} is taken: is the daemon running already? Choose another with --port")
    } else {
        format!(
            "{address} cannot be served: is it an address of this machine, and is the daemon not \
             running already? Choose another with --listen or --port"
        )
    }
}

/// The names and addresses under which the pages are asked for, the best one to
/// tell people first.
fn names(listen: IpAddr) -> anyhow::Result<Vec<String>> {
    if listen.is_loopback() {
        let mut names = vec![listen.to_string()];
        names.extend(["localhost", "127.0.0.1", "::1"].map(str::to_owned));
        return Ok(names);
    }
    let mut names = Vec::new();
    if listen.is_unspecified() {
        let interfaces = if_addrs::get_if_addrs().context("this machine's addresses")?;
        let addresses = interfaces.iter().map(if_addrs::Interface::ip);
        let served = |ip: &IpAddr| tls::is_private(*ip) && (listen.is_ipv6() || ip.is_ipv4());
        let mut addresses: Vec<IpAddr> = addresses.filter(served).collect();
        // What a person can type comes first; loopback is for this machine.
        addresses.sort_by_key(|ip| (ip.is_loopback(), ip.is_ipv6()));
        names.extend(addresses.iter().map(IpAddr::to_string));
    } else {
        names.push(listen.to_string());
    }
    let machine = rustix::system::uname().nodename().to_string_lossy().to_lowercase();
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
    if !machine.is_empty() && machine.chars().all(plain) {
        names.push(format!("{machine}.local"));
        names.push(machine);
    }
    names.push("localhost".to_owned());
    Ok(names)
}

fn people(error: office::PeopleError) -> anyhow::Error {
    match error {
        office::PeopleError::Store(error) => plain(error.into()),
        other => other.into(),
    }
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
