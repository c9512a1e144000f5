//! `chalkhand seal key`, and the key where something is to be signed.

use anyhow::{Context as _, bail};
use jiff::tz::TimeZone;

use super::super::home::Home;
use super::super::out::Out;
use crate::config::Config;
use crate::daemon;
use crate::domain::merkle::Tree;
use crate::domain::{DeviceKey, Json, KeyChange};
use crate::store::{KeyError, KnownKey, StoreError};

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
    let known = home.store.device_keys()?;
    let mut key = home.key_file.read()?;
    let Some(last) = known.last().map(|known| known.fingerprint) else {
        let key = match key {
            Some(key) => key,
            None => match home.key_file.make() {
                // Another program was first.
                Err(KeyError::Exists { .. }) => home.key_file.read()?.context("it was there")?,
                made => made?,
            },
        };
        return first(home, key);
    };
    if key.as_ref().is_none_or(|key| key.public().fingerprint() != last) {
        home.key_file.finish(last)?;
        key = home.key_file.read()?;
    }
    let path = home.key_file.path().display();
    let remedy = "put it back from the backup or, where there is none, replace it with: \
                  chalkhand seal key --replace WHY --by NAME";
    match key {
        Some(key) if key.public().fingerprint() == last => Ok(key),
        Some(_) => bail!("`{path}` is not the key this log is sealed with ({last}): {remedy}"),
        None => bail!("the device key `{path}` ({last}) is missing: {remedy}"),
    }
}

/// Notes the first key.
fn first(home: &mut Home, key: DeviceKey) -> anyhow::Result<DeviceKey> {
    let fingerprint = key.public().fingerprint();
    let noted = note(home, &key, None, 0);
    let same = |home: &Home| -> anyhow::Result<bool> {
        Ok(home.store.device_keys()?.last().is_some_and(|last| last.fingerprint == fingerprint))
    };
    match noted {
        Err(StoreError::Stale) if same(home)? => Ok(key),
        noted => Ok(noted.map(|()| key)?),
    }
}

fn note(
    home: &mut Home,
    key: &DeviceKey,
    announced: Option<String>,
    after: usize,
) -> Result<(), StoreError> {
    let public = key.public();
    let jwk = public.jwk();
    let x = jwk.get("x").and_then(Json::as_text).unwrap_or_default();
    let since = daemon::now(&TimeZone::system()).to_string();
    let known = KnownKey { fingerprint: public.fingerprint(), since, announced };
    home.store.note_key(&known, x, after)
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
        Ok::<_, anyhow::Error>(note(home, key, Some(announced), known.len())?)
    })
}
