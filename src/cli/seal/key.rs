//! `chalkhand seal key`, and the key where something is to be signed.

use anyhow::Context as _;
use jiff::tz::TimeZone;

use super::super::home::{Home, plain};
use super::super::out::Out;
use crate::config::Config;
use crate::daemon;
use crate::domain::merkle::Tree;
use crate::domain::{DeviceKey, Json, KeyChange};
use crate::office::{self, note_key};
use crate::store::KeyError;

#[derive(Debug, clap::Args)]
pub(in super::super) struct Arguments {
    /// Take a new key into use, for this reason; the old one stays beside it
    #[arg(long, value_name = "WHY", requires = "by")]
    replace: Option<String>,
    /// Who replaces it
    #[arg(long, value_name = "NAME", requires = "replace")]
    by: Option<String>,
    /// As JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let mut home = Home::open(config)?;
    let key = match (&arguments.replace, &arguments.by) {
        (Some(why), Some(by)) => replace(&mut home, why, by)?,
        _ => of(&mut home)?,
    };
    let public = key.public();
    let known = home.store.device_keys()?;
    if arguments.json {
        let keys = known.iter().map(|known| {
            Json::object([
                ("fingerprint", Json::text(known.fingerprint)),
                ("since", Json::text(&known.since)),
            ])
        });
        return out.json(&Json::object([
            ("format", "chalkhand-device/1".into()),
            ("fingerprint", Json::text(public.fingerprint())),
            ("jwk", public.jwk()),
            ("keys", Json::List(keys.collect())),
        ]));
    }
    out.line(&format!("fingerprint  {}", public.fingerprint()))?;
    out.line(&format!("public key   {}", public.jwk().canonical()?))?;
    for old in known.iter().rev().skip(1) {
        out.line(&format!("before       {}, since {}", old.fingerprint, old.since))?;
    }
    let path = home.key_file.path().display();
    Ok(out.line(&format!("kept in      {path}; back it up where only you can read it"))?)
}

/// Makes the first key of a log, as soon as the log is opened for writing. What
/// stands in its way is told where something is to be signed: no walk waits for it.
pub(in super::super) fn make_first(home: &mut Home) {
    let none = home.store.device_keys().is_ok_and(|known| known.is_empty());
    if none && !home.store.is_read_only() {
        let _ = of(home);
    }
}

/// The key this log is sealed with.
pub(super) fn of(home: &mut Home) -> anyhow::Result<DeviceKey> {
    let now = daemon::now(&TimeZone::system());
    office::device_key(&mut home.store, &home.key_file, now).map_err(plain)
}

/// Takes a new key into use and announces it, signed by the old one where that is
/// still there and nobody else could read it.
fn replace(home: &mut Home, why: &str, by: &str) -> anyhow::Result<DeviceKey> {
    let known = home.store.device_keys()?;
    let last = known.last().context("there is no key yet to replace")?.fingerprint;
    let old = match home.key_file.read() {
        Ok(old) => old.filter(|old| old.public().fingerprint() == last),
        Err(KeyError::Open { .. } | KeyError::Damaged { .. }) => None,
        Err(error) => return Err(error.into()),
    };
    let tree = Tree::of(home.store.leaves()?);
    let root = tree.root(tree.size()).context("the log has no root")?;
    let (at, size) = (daemon::now(&TimeZone::system()), tree.size());
    let file = home.key_file.clone();
    file.replace(&last.to_string(), |key| {
        let (by, why) = (by.to_owned(), why.to_owned());
        let change = KeyChange { key: key.public(), replaces: last, at, by, why, size, root };
        let announced = change.announce(key, old.as_ref()).canonical()?;
        Ok::<_, anyhow::Error>(note_key(&mut home.store, key, Some(announced), known.len(), at)?)
    })
}
