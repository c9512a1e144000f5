//! What every page needs: the log, the one clock, the trade's functions, the
//! names the pages go by, and how often somebody tried.

use std::sync::{Arc, Mutex, PoisonError};

use jiff::tz::TimeZone;

use super::attempts::Attempts;
use super::refusal::Refusal;
use super::walks::Walks;
use crate::config::Config;
use crate::domain::At;
use crate::measure::Functions;
use crate::office::Inbox;
use crate::store::Store;

/// Logs kept open between pages.
const MOST_IDLE: usize = 4;

/// Where pages are served from.
#[derive(Clone, Debug)]
pub struct Served {
    /// Where everything is.
    pub config: Config,
    /// What formulas may call.
    pub functions: Arc<Functions>,
    /// The one clock.
    pub now: fn(&TimeZone) -> At,
    /// When the daemon began, RFC 3339 with offset.
    pub begun: String,
    /// Names and addresses under which the pages may be asked for, without port.
    pub names: Vec<String>,
    /// The port.
    pub port: u16,
    /// Whether others on the network reach it, by TLS alone.
    pub networked: bool,
    /// The certificate phones are asked to trust, PEM; none on loopback.
    pub authority_pem: Option<String>,
    /// Who runs the walks of the roof screens.
    pub walks: Arc<dyn Walks>,
    /// Photos that wait for somebody to say where they belong.
    pub inbox: Arc<Inbox>,
}

impl Served {
    /// The address people are told, without a slash at its end.
    #[must_use]
    pub fn address(&self) -> String {
        let scheme = if self.networked { "https" } else { "http" };
        let name = self.names.first().map_or("127.0.0.1", String::as_str);
        match name.contains(':') {
            true => format!("{scheme}://[{name}]:{}", self.port),
            false => format!("{scheme}://{name}:{}", self.port),
        }
    }
}

/// The state of all pages.
pub(super) struct Site {
    pub(super) served: Served,
    idle: Mutex<Vec<Store>>,
    attempts: Mutex<Attempts>,
}

impl std::fmt::Debug for Site {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Site").finish_non_exhaustive()
    }
}

pub(super) type Shared = Arc<Site>;

impl Site {
    pub(super) fn new(served: Served) -> Shared {
        Arc::new(Self { served, idle: Mutex::default(), attempts: Mutex::default() })
    }

    /// Now, on this machine.
    pub(super) fn now(&self) -> At {
        (self.served.now)(&TimeZone::system())
    }

    pub(super) fn attempts<T>(&self, with: impl FnOnce(&mut Attempts) -> T) -> T {
        // Whoever panicked while counting left numbers that still count.
        with(&mut self.attempts.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Does something with the log, off the threads that answer.
    pub(super) async fn log<T, E>(
        self: &Arc<Self>,
        body: impl FnOnce(&mut Store, &Self) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Refusal>
    where
        T: Send + 'static,
        E: Into<Refusal> + Send + 'static,
    {
        let site = Arc::clone(self);
        let done = tokio::task::spawn_blocking(move || {
            let kept = site.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
            let mut store = match kept {
                Some(store) => store,
                None => Store::open(&site.served.config.log()).map_err(Refusal::from)?,
            };
            let done = body(&mut store, &site).map_err(Into::into);
            let mut idle = site.idle.lock().unwrap_or_else(PoisonError::into_inner);
            if idle.len() < MOST_IDLE {
                idle.push(store);
            }
            done
        });
        done.await.unwrap_or_else(|error| {
            tracing::error!(?error, "page");
            Err(Refusal::Broken("this page failed; the daemon's log says why".to_owned()))
        })
    }
}
