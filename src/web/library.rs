//! Checklists and profiles: which versions there are, what changed, what may be
//! adopted; and whether a file is sound.

use axum::Router;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use maud::{Markup, html};
use serde::Deserialize;

use super::guard::{Nothing, Sent, Visitor};
use super::refusal::Refusal;
use super::shell::{self, Part, heads, token};
use super::site::{Shared, Site};
use super::words::Words;
use crate::domain::{How, PinKind, Right, Version};
use crate::export::listing;
use crate::office::OfficeError;
use crate::office::library::{self, Adopted, Sound};
use crate::office::opening::{self, Opener};
use crate::store::{AdoptedVersion, SeenFile, Store, StoreError};

/// The text of a file as a form sends it: each byte may take three.
const MOST_SENT_BYTES: usize = 4 << 20;

pub(super) fn router() -> Router<Shared> {
    let sent = DefaultBodyLimit::max(MOST_SENT_BYTES);
    Router::new()
        .route("/library", get(all))
        .route("/library/check", post(check).layer(sent))
        .route("/library/adopt", post(adopt).layer(sent))
        .route("/library/take", post(take))
        .route("/library/open", post(open).layer(sent))
        .route("/example", post(example))
        .route("/library/{kind}/{id}/{version}", get(one))
        .route("/library/{kind}/{id}/{old}/{new}", get(changes))
}

fn kind_word(words: Words, kind: PinKind) -> &'static str {
    match kind {
        PinKind::Checklist => words.t("library.checklist"),
        PinKind::Profile => words.t("library.profile"),
    }
}

fn kind_of(word: &str) -> Result<PinKind, Refusal> {
    let kinds = [PinKind::Checklist, PinKind::Profile];
    kinds.into_iter().find(|kind| kind.word() == word).ok_or(Refusal::NotFound)
}

/// What came of a file that was checked.
enum Checked {
    Sound { name: String, text: String, sound: Box<Sound> },
    Wrong { name: String, text: String, told: String },
}

async fn all(State(site): State<Shared>, visitor: Visitor) -> Result<Response, Refusal> {
    page(&site, &visitor, None).await
}

async fn page(
    site: &Shared,
    visitor: &Visitor,
    checked: Option<Checked>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let read = site.log(|store, _| {
        let mut adopted = store.adopted(PinKind::Checklist)?;
        adopted.extend(store.adopted(PinKind::Profile)?);
        Ok::<_, Refusal>((adopted, library::offered(store)?))
    });
    let (adopted, offered) = read.await?;
    let words = visitor.words;
    let title = words.t("library.title");
    let body = html! {
        h1 { (title) }
        p { (words.t("library.told")) }
        @if adopted.is_empty() { p { (words.t("library.none")) } }
        @else { (table(words, &adopted)) }
        @if visitor.may(Right::Office) {
            h2 { (words.t("library.offered")) }
            (offers(visitor, &offered))
            h2 id="check" { (words.t("library.check")) }
            (check_form(visitor, checked.as_ref()))
        }
    };
    Ok(shell::page_with(visitor, Part::Library, title, &body, &["drop.js"]))
}

fn table(words: Words, adopted: &[AdoptedVersion]) -> Markup {
    html! {
        table {
            (heads(words, &["library.id", "library.kind", "library.version", "library.adopted", "library.by"]))
            tbody {
                @for one in adopted {
                    tr {
                        th scope="row" {
                            a href=(path(one.kind, &one.id, one.version)) { (one.id) " " (one.version) }
                        }
                        td data-label=(words.t("library.kind")) { (kind_word(words, one.kind)) }
                        td data-label=(words.t("library.version")) { (one.version) }
                        td data-label=(words.t("library.adopted")) {
                            (one.adopted_at.get(..10).unwrap_or(&one.adopted_at))
                        }
                        td data-label=(words.t("library.by")) { (one.adopted_by) }
                    }
                }
            }
        }
    }
}

fn path(kind: PinKind, id: &str, version: Version) -> String {
    format!("/library/{}/{id}/{version}", kind.word())
}

fn offers(visitor: &Visitor, offered: &[SeenFile]) -> Markup {
    let words = visitor.words;
    html! {
        @if offered.is_empty() { p { (words.t("library.offered-none")) } }
        @for file in offered {
            @let version = file.version.as_deref().unwrap_or_default();
            @let name = format!("{} {version}", file.id.as_deref().unwrap_or_default());
            form method="post" action="/library/take" {
                (token(visitor))
                input type="hidden" name="path" value=(file.path);
                p { strong { (name) } ": " (file.path) }
                button { (words.fill("library.adopt-of", &[("name", &name)])) }
            }
        }
    }
}

fn check_form(visitor: &Visitor, checked: Option<&Checked>) -> Markup {
    let words = visitor.words;
    let (name, text) = match checked {
        Some(Checked::Sound { name, text, .. } | Checked::Wrong { name, text, .. }) => {
            (name.as_str(), text.as_str())
        }
        None => ("", ""),
    };
    html! {
        @match checked {
            Some(Checked::Wrong { name, told, .. }) => {
                p.wrong role="alert" { (words.fill("library.wrong", &[("name", name)])) }
                pre.file tabindex="0" { (told) }
            }
            Some(Checked::Sound { name, text, sound }) => {
                p role="status" { strong { (sound_line(words, name, sound)) } }
                @let job = matches!(**sound, Sound::Job(_));
                @let (to, told, done) = match job {
                    true => ("/library/open", words.t("library.open-told"), words.t("library.open")),
                    false => ("/library/adopt", words.t("library.adopt-told"), words.t("library.adopt")),
                };
                p { (told) }
                form method="post" action=(to) {
                    (token(visitor))
                    input type="hidden" name="name" value=(name);
                    input type="hidden" name="text" value=(text);
                    button { (done) }
                }
            }
            None => {}
        }
        form method="post" action="/library/check#check" {
            (token(visitor))
            p.told { (words.t("library.check-told")) }
            label for="name" { (words.t("library.name")) }
            input id="name" name="name" value=(name) maxlength="200" autocomplete="off";
            label for="text" { (words.t("library.text")) }
            textarea id="text" name="text" rows="8" required spellcheck="false" data-drop="name" {
                (text)
            }
            button { (words.t("library.check-do")) }
        }
    }
}

fn sound_line(words: Words, name: &str, sound: &Sound) -> String {
    let (kind, id, version) = match sound {
        Sound::Checklist(list) => (PinKind::Checklist, &list.id, list.version),
        Sound::Profile(profile) => (PinKind::Profile, &profile.id, profile.version),
        Sound::Job(number) => {
            return words.fill("library.sound-job", &[("name", name), ("id", number)]);
        }
    };
    let (kind, version) = (kind_word(words, kind), version.to_string());
    words
        .fill("library.sound", &[("name", name), ("kind", kind), ("id", id), ("version", &version)])
}

#[derive(Deserialize)]
struct File {
    #[serde(default)]
    name: String,
    text: String,
}

impl File {
    /// Browsers send line ends as two bytes; files have one, and their hash counts
    /// every byte.
    fn read(self) -> (String, String) {
        let name: String = self.name.chars().filter(|c| !c.is_control()).collect();
        let name = if name.trim().is_empty() { "file".to_owned() } else { name };
        (name, self.text.replace("\r\n", "\n"))
    }
}

async fn check(
    State(site): State<Shared>,
    Sent(visitor, file): Sent<File>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let (name, text) = file.read();
    let checked = site.log(move |_, site| {
        Ok::<_, Refusal>(match library::read(&text, &name, &site.served.functions) {
            Ok(sound) => Checked::Sound { name, text, sound: Box::new(sound) },
            Err(error) => Checked::Wrong { name, text, told: error.to_string() },
        })
    });
    let checked = checked.await?;
    page(&site, &visitor, Some(checked)).await
}

/// Does what only the office may, in the person's name.
async fn by_office<T: Send + 'static>(
    site: &Shared,
    visitor: &Visitor,
    body: impl FnOnce(&mut Store, &Site, &str) -> Result<T, OfficeError> + Send + 'static,
) -> Result<T, Refusal> {
    visitor.must(Right::Office)?;
    let by = visitor.name().to_owned();
    site.log(move |store, site| body(store, site, &by).map_err(unusable)).await
}

async fn adopt(
    State(site): State<Shared>,
    Sent(visitor, file): Sent<File>,
) -> Result<Redirect, Refusal> {
    let (name, text) = file.read();
    let adopted = by_office(&site, &visitor, move |store, site, by| {
        library::adopt(store, &site.served.functions, (&text, &name), by, site.now())
    });
    let (kind, id, version) = adopted.await?;
    Ok(Redirect::to(&path(kind, &id, version)))
}

#[derive(Deserialize)]
struct Offered {
    path: String,
}

async fn take(
    State(site): State<Shared>,
    Sent(visitor, Offered { path: file }): Sent<Offered>,
) -> Result<Redirect, Refusal> {
    let adopted = by_office(&site, &visitor, move |store, site, by| {
        let text = library::offered_text(store, &file)?;
        let functions = &site.served.functions;
        let adopted = library::adopt(store, functions, (&text, &file), by, site.now())?;
        library::taken(store, &file, site.now())?;
        Ok(adopted)
    });
    let (kind, id, version) = adopted.await?;
    Ok(Redirect::to(&path(kind, &id, version)))
}

/// Opens a job from its file.
async fn open(
    State(site): State<Shared>,
    Sent(visitor, file): Sent<File>,
) -> Result<Redirect, Refusal> {
    let (name, text) = file.read();
    let opened = by_office(&site, &visitor, move |store, site, by| {
        let (functions, now) = (&site.served.functions, site.served.now);
        opening::open(
            store,
            functions,
            (&text, &name),
            &Opener { by, how: How::File, key: None },
            now,
        )
    });
    opened.await?;
    Ok(Redirect::to("/"))
}

/// Opens the invented job, to look around.
async fn example(
    State(site): State<Shared>,
    Sent(visitor, Nothing {}): Sent<Nothing>,
) -> Result<Redirect, Refusal> {
    let opened = by_office(&site, &visitor, |store, site, by| {
        let opener = Opener { by, how: How::File, key: None };
        opening::open_example(store, &site.served.functions, &opener, site.served.now)
    });
    opened.await?;
    Ok(Redirect::to("/"))
}

/// What is wrong with a text is told; what is wrong here goes to the log.
fn unusable(error: OfficeError) -> Refusal {
    match error {
        OfficeError::Store(error @ StoreError::Changed { .. }) => {
            Refusal::English(error.to_string())
        }
        OfficeError::Store(error) => error.into(),
        error => Refusal::English(error.to_string()),
    }
}

async fn one(
    State(site): State<Shared>,
    visitor: Visitor,
    Path((kind, id, version)): Path<(String, String, String)>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let (kind, version) = (kind_of(&kind)?, version.parse().map_err(|_| Refusal::NotFound)?);
    let name = id.clone();
    let read = site.log(move |store, site| {
        let adopted = library::adopted(store, &site.served.functions, kind, &id, version)?;
        let mut versions: Vec<Version> =
            store.versions(kind, &id)?.into_iter().map(|(version, _)| version).collect();
        versions.sort();
        Ok::<_, Refusal>((adopted.ok_or(Refusal::NotFound)?, versions))
    });
    let (adopted, versions) = read.await?;
    let words = visitor.words;
    let text = match &adopted {
        Adopted::Checklist(list) => listing::checklist(list),
        Adopted::Profile(profile) => listing::profile(profile),
    };
    let title = format!("{name} {version}");
    let body = html! {
        h1 { (title) }
        @if 1 < versions.len() {
            h2 { (words.t("library.versions")) }
            ul {
                @for (at, one) in versions.iter().enumerate() {
                    li {
                        @if *one == version { (one) }
                        @else { a href=(path(kind, &name, *one)) { (one) } }
                        @if let Some(before) = at.checked_sub(1).and_then(|at| versions.get(at)) {
                            ": "
                            a href={ "/library/" (kind.word()) "/" (name) "/" (before) "/" (one) } {
                                (words.fill("library.compare", &[("old", &before.to_string())]))
                            }
                        }
                    }
                }
            }
        }
        h2 { (words.t("library.read")) }
        pre.file tabindex="0" lang="en" { (text) }
    };
    Ok(shell::page(&visitor, Part::Library, &title, &body))
}

async fn changes(
    State(site): State<Shared>,
    visitor: Visitor,
    Path((kind, id, old, new)): Path<(String, String, String, String)>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let kind = kind_of(&kind)?;
    let version = |text: &str| text.parse::<Version>().map_err(|_| Refusal::NotFound);
    let (from, to) = (version(&old)?, version(&new)?);
    let told = site.log(move |store, site| {
        let adopted = |version| library::adopted(store, &site.served.functions, kind, &id, version);
        let old = adopted(from)?.ok_or(Refusal::NotFound)?;
        let new = adopted(to)?.ok_or(Refusal::NotFound)?;
        library::differences(&old, &new).ok_or(Refusal::NotFound)
    });
    let told = told.await?;
    let title = visitor.words.fill("library.differs", &[("old", &old), ("new", &new)]);
    let body = html! {
        h1 { (title) }
        @if told.is_empty() { p { (visitor.words.t("library.same")) } }
        ul lang="en" {
            @for change in &told { li { (change.sentence) } }
        }
    };
    Ok(shell::page(&visitor, Part::Library, &title, &body))
}
