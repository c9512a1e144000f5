//! What the log keeps in lists, as JSON: jobs that were found, adopted versions,
//! files that were seen. For the commands and for programs over HTTP.

use crate::domain::Json;
use crate::store::{AdoptedVersion, FoundJob, SeenFile};

/// A job that was found. `imported_as` is the name under which an imported record
/// is asked for.
#[must_use]
pub fn found(job: &FoundJob) -> Json {
    Json::object([
        ("number", Json::text(&job.number)),
        ("address", Json::text(&job.address)),
        ("owner", Json::text(&job.owner)),
        ("phone", Json::text(&job.phone)),
        ("opened_on", Json::text(&job.opened_on)),
        ("open_callbacks", Json::from(job.open_callbacks)),
        ("imported_as", job.imported.as_ref().map_or(Json::Null, Json::text)),
    ])
}

/// An adopted version.
#[must_use]
pub fn adopted(version: &AdoptedVersion) -> Json {
    Json::object([
        ("kind", version.kind.word().into()),
        ("id", Json::text(&version.id)),
        ("version", Json::text(version.version)),
        ("sha256", Json::text(version.hash)),
        ("adopted_at", Json::text(&version.adopted_at)),
        ("adopted_by", Json::text(&version.adopted_by)),
    ])
}

/// A file that was seen in the watched folders.
#[must_use]
pub fn seen(file: &SeenFile) -> Json {
    let text = |text: &Option<String>| text.as_ref().map_or(Json::Null, Json::text);
    Json::object([
        ("path", Json::text(&file.path)),
        ("kind", Json::text(&file.kind)),
        ("id", text(&file.id)),
        ("version", text(&file.version)),
        ("verdict", Json::text(&file.verdict)),
        ("why", Json::text(&file.why)),
    ])
}
