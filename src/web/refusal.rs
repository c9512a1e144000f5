//! Why a page is not given: what a person is told, and for programs a problem
//! as RFC 9457 has it. The cause goes to the daemon's log and nowhere else.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::walks::NotWalked;
use crate::domain::{Json, Right};
use crate::office::{OfficeError, PeopleError, Why};
use crate::store::StoreError;

/// Why something was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// Nobody is signed in.
    SignIn,
    /// The person's roles do not have this right.
    NotYours(Right),
    /// There is nothing of that name.
    NotFound,
    /// What was sent cannot be used: why, and what to do, as its reader reads it.
    Unusable(String),
    /// The same, in English.
    English(String),
    /// What is wanted is not done.
    Refused(Why),
    /// Larger than it may be: the most, in bytes.
    TooLarge(u64),
    /// It changed meanwhile.
    Changed,
    /// The form was not made for this sign-in, or comes from another site.
    Strange,
    /// Too many tries: for so many seconds nothing is looked at.
    Wait(i64),
    /// The walk cannot be had now: why, as its reader reads it.
    WalkGone(String),
    /// The log, or something else here, is at fault: what can be told, in English.
    Broken(String),
    /// A request of a program that is not made as HTTP and the API want it.
    Request {
        /// What HTTP calls it.
        status: StatusCode,
        /// A word that stays the same.
        word: &'static str,
        /// One sentence, in English.
        why: String,
    },
}

impl Refusal {
    pub(super) fn status(&self) -> StatusCode {
        match self {
            Self::SignIn => StatusCode::UNAUTHORIZED,
            Self::NotYours(_) | Self::Strange => StatusCode::FORBIDDEN,
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::Unusable(_) | Self::English(_) | Self::Refused(_) => {
                StatusCode::UNPROCESSABLE_ENTITY
            }
            Self::TooLarge(_) => StatusCode::PAYLOAD_TOO_LARGE,
            Self::Changed => StatusCode::CONFLICT,
            Self::Wait(_) => StatusCode::TOO_MANY_REQUESTS,
            Self::WalkGone(_) | Self::Broken(_) => StatusCode::SERVICE_UNAVAILABLE,
            Self::Request { status, .. } => *status,
        }
    }

    /// A word that stays the same whatever the sentence says.
    pub(super) fn word(&self) -> &'static str {
        match self {
            Self::SignIn => "sign-in-needed",
            Self::NotYours(_) => "not-your-role",
            Self::NotFound => "not-found",
            Self::Unusable(_) | Self::English(_) | Self::Refused(_) => "unusable",
            Self::TooLarge(_) => "too-large",
            Self::Changed => "changed-meanwhile",
            Self::Strange => "not-from-our-page",
            Self::Wait(_) => "too-many-tries",
            Self::WalkGone(_) | Self::Broken(_) => "not-available",
            Self::Request { word, .. } => word,
        }
    }

    /// One sentence, in English.
    pub(super) fn sentence(&self) -> String {
        match self {
            Self::SignIn => "sign in first".to_owned(),
            Self::NotYours(right) => {
                let roles: Vec<&str> = right.roles().iter().map(|role| role.word()).collect();
                format!("this is for: {}", roles.join(", "))
            }
            Self::NotFound => "there is nothing of that name".to_owned(),
            Self::TooLarge(most) => format!(
                "a photo may have {} MiB, and all of one form {} MiB: make it smaller, or send \
                 one at a time",
                most >> 20,
                super::upload::MOST_TOGETHER_BYTES >> 20
            ),
            Self::Unusable(why)
            | Self::English(why)
            | Self::WalkGone(why)
            | Self::Broken(why)
            | Self::Request { why, .. } => why.clone(),
            Self::Refused(why) => why.to_string(),
            Self::Changed => "others have written meanwhile: load the page again".to_owned(),
            Self::Strange => "this did not come from a page of this program: load the page again \
                              and send it from there"
                .to_owned(),
            Self::Wait(seconds) => format!("too many wrong tries: wait {seconds} seconds"),
        }
    }

    /// Of a request of a program.
    pub(super) fn request(status: StatusCode, word: &'static str, why: impl Into<String>) -> Self {
        Self::Request { status, word, why: why.into() }
    }

    /// Others wrote on the job since the program read it.
    pub(super) fn outdated() -> Self {
        Self::request(
            StatusCode::PRECONDITION_FAILED,
            "changed-meanwhile",
            "others have written on this job since: read it again, look whether it still holds, \
             and send If-Match with its new ETag",
        )
    }

    fn problem(&self) -> Json {
        Json::object([
            ("type", Json::text(format_args!("urn:chalkhand:{}", self.word()))),
            ("title", Json::text(self.word().replace('-', " "))),
            ("status", u32::from(self.status().as_u16()).into()),
            ("detail", Json::text(self.sentence())),
        ])
    }
}

/// Rides on the answer until somebody knows whether a page or a problem is
/// wanted.
impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let text = self.problem().canonical().unwrap_or_default();
        let kind = [(header::CONTENT_TYPE, "application/problem+json")];
        let mut response = (self.status(), kind, text).into_response();
        if let Self::Wait(seconds) = &self
            && let Ok(seconds) = HeaderValue::from_str(&seconds.to_string())
        {
            response.headers_mut().insert(header::RETRY_AFTER, seconds);
        }
        response.extensions_mut().insert(self);
        response
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        if matches!(error, StoreError::Stale) {
            return Self::Changed;
        }
        tracing::error!(?error, "page");
        Self::Broken(format!("the log cannot be used: {error}"))
    }
}

impl From<OfficeError> for Refusal {
    fn from(error: OfficeError) -> Self {
        match error {
            OfficeError::NoJob(_) | OfficeError::NotPinned { .. } => Self::NotFound,
            OfficeError::Store(error) => error.into(),
            OfficeError::Refused(why) => Self::Refused(why),
            error => {
                tracing::error!(?error, "page");
                Self::Broken(error.to_string())
            }
        }
    }
}

impl From<NotWalked> for Refusal {
    fn from(error: NotWalked) -> Self {
        match error {
            NotWalked::Office(error) => error.into(),
            NotWalked::StillOpen(_) => Self::English(error.to_string()),
            NotWalked::TooMany | NotWalked::Stopping => Self::Broken(error.to_string()),
        }
    }
}

impl From<PeopleError> for Refusal {
    fn from(error: PeopleError) -> Self {
        match error {
            PeopleError::Store(error) => error.into(),
            PeopleError::NoSecret(_) => Self::Broken(error.to_string()),
            error => Self::English(error.to_string()),
        }
    }
}
