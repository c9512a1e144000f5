//! The document: what is said of the API as a whole, how one signs in, and the
//! refusals that follow from what an operation takes.

use serde_json::{Map, Value, json};
use utoipa::OpenApi;
use utoipa::openapi::RefOr;
use utoipa::openapi::path::{Operation, Parameter, ParameterIn, PathItem};
use utoipa::openapi::security::{ApiKey, ApiKeyValue, Http, HttpAuthScheme, SecurityScheme};
use utoipa::openapi::{self, ComponentsBuilder, SecurityRequirement};

use super::super::guard::cookie_name;
use super::ask::TOKEN;
use super::shapes::Problem;

#[derive(OpenApi)]
#[openapi(
    info(
        title = "chalkhand",
        description = "Jobs, walks, photos, days and leak calls of one chalkhand, for programs.\n\nQuantities \
            carry their unit: `exact` loses nothing, `shown` is for a person; names end in the unit \
            where a plain number stands (`_ms`, `_s`, `_min`, `_px`, `_tenth_dbfs`). Times are RFC \
            3339 with the offset of the job's address. Members that are not known are left out; \
            within a version members are only added. Every refusal is a problem as RFC 9457 has it. \
            What the program says yields to local codes, the maker's printed instructions and \
            licensed practice. All examples are invented.",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0")
    ),
    servers((url = "/", description = "This chalkhand.")),
    components(schemas(Problem)),
    tags(
        (name = "program", description = "The program itself, and as whom one asks."),
        (name = "jobs", description = "Jobs, what stands of them, their entries."),
        (name = "papers", description = "What is handed out of a job."),
        (name = "photos", description = "Photos of a job, and what was said."),
        (name = "deeds", description = "What a foreman decides. Who may is named in the job."),
        (name = "calls", description = "Leak calls, from the call to the finding."),
        (name = "library", description = "Checklists and product profiles."),
        (name = "walks", description = "Walking a checklist, question by question.")
    )
)]
struct About;

/// What is said before any operation.
pub(super) fn about() -> openapi::OpenApi {
    let mut about = About::openapi();
    about.info.version = env!("CARGO_PKG_VERSION").to_owned();
    about
}

/// Schemas of what is sent: nothing else may be in them, and `null` is as good as
/// leaving a member out.
const SENT: [&str; 10] = [
    "Accept",
    "CallTaken",
    "FindingTaken",
    "JobWanted",
    "Release",
    "StepTaken",
    "TextToCheck",
    "WalkAnswer",
    "WalkWanted",
    "Witness",
];

/// Schemas of what is answered in which `null` is meant; everywhere else a member
/// that is not known is left out.
const WITH_NULL: [&str; 6] =
    ["Shown", "ShownEar", "ShownStep", "ShownLogged", "SheetMeasure", "SheetColumn"];

/// The document as it is sent.
pub(super) fn text(mut api: openapi::OpenApi, networked: bool) -> Option<String> {
    sign_in(&mut api, networked);
    for item in api.paths.paths.values_mut() {
        refusals(item);
    }
    let mut json = serde_json::to_value(&api).ok()?;
    if let Some(schemas) = json.pointer_mut("/components/schemas").and_then(Value::as_object_mut) {
        for (name, schema) in schemas {
            if SENT.contains(&name.as_str()) {
                nothing_else(schema);
            } else if !WITH_NULL.contains(&name.as_str()) {
                without_null(schema);
            }
        }
    }
    let mut text = serde_json::to_string_pretty(&json).ok()?;
    text.push('\n');
    Some(text)
}

fn sign_in(api: &mut openapi::OpenApi, networked: bool) {
    let mut key = Http::new(HttpAuthScheme::Bearer);
    key.description = Some(
        "A key that the office makes for a person on the page of people. It may what that person \
         may, until it is ended."
            .to_owned(),
    );
    let cookie = ApiKeyValue::with_description(
        cookie_name(networked),
        "The sign-in of a browser; on the local network its name begins with __Host-.",
    );
    let token = ApiKeyValue::with_description(
        TOKEN,
        "Beside the cookie where something is changed: the `token` of /api/v1/you.",
    );
    let components = api.components.get_or_insert_with(|| ComponentsBuilder::new().build());
    for (name, scheme) in [
        ("key", SecurityScheme::Http(key)),
        ("sign_in", SecurityScheme::ApiKey(ApiKey::Cookie(cookie))),
        ("form_token", SecurityScheme::ApiKey(ApiKey::Header(token))),
    ] {
        components.add_security_scheme(name, scheme);
    }
    for (status, told) in REFUSALS {
        components.responses.insert(name(status), problem(told));
    }
}

fn none() -> [&'static str; 0] {
    []
}

/// What may be refused, by what an operation takes.
fn refusals(item: &mut PathItem) {
    for (changes, operation) in [(false, item.get.as_mut()), (true, item.post.as_mut())] {
        let Some(operation) = operation else { continue };
        let is_open = operation.security.is_some();
        let parameters: Vec<&Parameter> =
            operation.parameters.iter().flatten().filter_map(inline).collect();
        let takes = |of: ParameterIn| parameters.iter().any(|one| one.parameter_in == of);
        let names = |name: &str| parameters.iter().any(|one| one.name == name);
        let body = operation.request_body.is_some();
        let query = takes(ParameterIn::Query);
        let may_be = |status: u16| match status {
            400 => query || takes(ParameterIn::Header) || body,
            401 => !is_open,
            404 => takes(ParameterIn::Path),
            409 => changes && !is_a_check(operation),
            412 | 428 => names("If-Match"),
            413 | 415 => body,
            422 => query || body,
            _ => true,
        };
        let all: Vec<u16> =
            REFUSALS.iter().map(|(status, ..)| *status).filter(|status| may_be(*status)).collect();
        for status in all {
            let named = openapi::Ref::from_response_name(name(status));
            operation.responses.responses.insert(status.to_string(), named.into());
        }
        if !is_open {
            let cookie = SecurityRequirement::new("sign_in", none());
            let cookie = if changes { cookie.add("form_token", none()) } else { cookie };
            operation.security = Some(vec![SecurityRequirement::new("key", none()), cookie]);
        }
    }
}

fn inline(parameter: &RefOr<Parameter>) -> Option<&Parameter> {
    match parameter {
        RefOr::T(parameter) => Some(parameter),
        RefOr::Ref(_) => None,
    }
}

/// Whether it changes nothing although it is sent something.
fn is_a_check(operation: &Operation) -> bool {
    operation.operation_id.as_deref() == Some("checkText")
}

/// What may be refused, each a problem.
const REFUSALS: [(u16, &str); 12] = [
    (400, "Not understood."),
    (401, "No key that holds, and nobody signed in."),
    (403, "The person may not, or it was sent to another name than this program's."),
    (404, "There is nothing of that name."),
    (
        409,
        "It does not go with how things stand, or the `Idempotency-Key` was sent before with \
         something else.",
    ),
    (412, "Others wrote on the job since it was read."),
    (413, "More bytes than are read."),
    (415, "The body is of another media type than is taken here."),
    (422, "It was read and cannot be used."),
    (428, "`If-Match` is missing."),
    (429, "Too many requests from this address; `Retry-After` says when, in seconds."),
    (503, "The log or something else here is at fault; the daemon's log says why."),
];

fn name(status: u16) -> String {
    format!("Refused{status}")
}

fn problem(told: &str) -> RefOr<openapi::Response> {
    let schema = openapi::Ref::from_schema_name("Problem");
    let content = openapi::Content::new(Some(schema));
    let response = openapi::ResponseBuilder::new().description(told);
    response.content("application/problem+json", content).build().into()
}

/// Nothing but what is named may be in an object, as serde reads it.
fn nothing_else(schema: &mut Value) {
    match schema {
        Value::Object(members) => {
            if members.get("type") == Some(&json!("object")) {
                members.entry("additionalProperties").or_insert(json!(false));
            }
            members.values_mut().for_each(nothing_else);
        }
        Value::Array(all) => all.iter_mut().for_each(nothing_else),
        _ => {}
    }
}

/// Takes the `null` out of types and choices.
fn without_null(schema: &mut Value) {
    let is_null = |one: &Value| *one == json!("null") || *one == json!({ "type": "null" });
    match schema {
        Value::Object(members) => {
            for name in ["type", "oneOf"] {
                if let Some(Value::Array(all)) = members.get_mut(name) {
                    all.retain(|one| !is_null(one));
                }
            }
            flatten(members);
            members.values_mut().for_each(without_null);
        }
        Value::Array(all) => all.iter_mut().for_each(without_null),
        _ => {}
    }
}

/// One type or one choice alone needs no list.
fn flatten(members: &mut Map<String, Value>) {
    if let Some(Value::Array(all)) = members.get("type")
        && let [one] = all.as_slice()
    {
        let one = one.clone();
        members.insert("type".to_owned(), one);
    }
    if let Some(Value::Array(all)) = members.get("oneOf")
        && let [Value::Object(one)] = all.as_slice()
    {
        let one = one.clone();
        members.remove("oneOf");
        members.extend(one);
    }
}
