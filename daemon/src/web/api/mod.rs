//! The JSON API and the document that describes it. Owns its addresses: each is a row that says how it is asked, what it
//! answers and who does the work; the document is made of the same rows.

mod asked;
mod document;
mod live;
mod operation;
mod problem;
mod record;
mod said;
mod worked;

use super::Site;
use super::server::Live;
use crate::json::{AlarmJson, LearnedJson, NowJson, PartRowJson, PrintJson, SpanJson};
use asked::{Asked, Parameter};
use axum::Router;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{RawPathParams, RawQuery, State};
use axum::http::header::ALLOW;
use axum::http::{HeaderMap, HeaderName, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get};
use operation::{Method, Operation, json};
use problem::Problem;
use std::sync::Arc;

const LIST: &[Parameter] = &[Parameter::Printer, Parameter::From, Parameter::To, Parameter::Limit];
const SPANS: &[Parameter] = &[Parameter::Printer, Parameter::Print, Parameter::From, Parameter::To, Parameter::Limit];
const ABSENT: &[StatusCode] = &[StatusCode::NOT_FOUND];
const ABSENT_OR_LONG: &[StatusCode] = &[StatusCode::NOT_FOUND, StatusCode::UNPROCESSABLE_ENTITY];
const ABSENT_OR_NOT_YET: &[StatusCode] = &[StatusCode::NOT_FOUND, StatusCode::SERVICE_UNAVAILABLE];
const NOT_YET: &[StatusCode] = &[StatusCode::SERVICE_UNAVAILABLE];
const SAID: &[StatusCode] = &[
    StatusCode::NOT_FOUND,
    StatusCode::CONFLICT,
    StatusCode::PAYLOAD_TOO_LARGE,
    StatusCode::UNSUPPORTED_MEDIA_TYPE,
    StatusCode::UNPROCESSABLE_ENTITY,
    StatusCode::SERVICE_UNAVAILABLE,
];

/// A row of something that is got.
macro_rules! get {
    ($path:literal, $name:literal, $told:literal, $takes:expr, $shape:ty, $refusals:expr, $work:expr) => {
        Operation {
            method: Method::Get,
            path: $path,
            name: $name,
            told: $told,
            takes: $takes,
            answer: |shapes| shapes.subschema_for::<$shape>(),
            refusals: $refusals,
            work: $work,
        }
    };
}

/// A row of something that is said.
macro_rules! post {
    ($path:literal, $name:literal, $told:literal, $takes:expr, $body:ty, $shape:ty, $work:expr) => {
        Operation {
            method: Method::Post(|shapes| shapes.subschema_for::<$body>()),
            path: $path,
            name: $name,
            told: $told,
            takes: $takes,
            answer: |shapes| shapes.subschema_for::<$shape>(),
            refusals: SAID,
            work: $work,
        }
    };
}

/// All that can be asked, besides the document and the feed.
const OPERATIONS: &[Operation] = &[
    get!(
        "/api/now",
        "now",
        "Each printer as of its newest reading, and the alarms that are open",
        &[],
        NowJson,
        &[],
        now
    ),
    get!("/api/prints", "prints", "Prints, in the order they began", LIST, Vec<PrintJson>, ABSENT, record::prints),
    get!("/api/prints/{id}", "print", "One print", &[Parameter::Id], PrintJson, ABSENT, record::print),
    get!(
        "/api/spans",
        "spans",
        "Idle spans in time order: of one print, or of at most 31 days (the last ones, if left out)",
        SPANS,
        Vec<SpanJson>,
        ABSENT_OR_LONG,
        record::spans
    ),
    get!(
        "/api/alarms",
        "alarms",
        "Alarms that stood at some time of at most 366 days (the last ones, if left out), as they were raised",
        LIST,
        Vec<AlarmJson>,
        ABSENT_OR_LONG,
        record::alarms
    ),
    get!("/api/alarms/{id}", "alarm", "One alarm", &[Parameter::Id], AlarmJson, ABSENT, record::alarm),
    get!(
        "/api/causes",
        "causes",
        "What the record says of each failure mode",
        &[],
        LearnedJson,
        NOT_YET,
        worked::causes
    ),
    get!(
        "/api/changes",
        "changes",
        "Changes worth a try, best first, and what became of those that were taken up",
        &[],
        worked::ChangesJson,
        NOT_YET,
        worked::changes
    ),
    get!(
        "/api/parts",
        "parts",
        "Part changes, and what is expected of the parts that are in use",
        LIST,
        Vec<PartRowJson>,
        ABSENT,
        record::parts
    ),
    get!(
        "/api/reports/{period}",
        "report",
        "The failure report of a week, or of any days in a row",
        &[Parameter::Period],
        worked::ReportJson,
        ABSENT_OR_NOT_YET,
        worked::report
    ),
    post!(
        "/api/prints/{id}/outcome",
        "say_outcome",
        "Records how a print went",
        &[Parameter::Id],
        said::OutcomeSaid,
        PrintJson,
        said::outcome
    ),
    post!(
        "/api/prints/{id}/undo",
        "undo_outcome",
        "Takes back what was said of a print: the word stays in the record, and that it was taken back",
        &[Parameter::Id],
        said::UndoSaid,
        PrintJson,
        said::undo
    ),
    post!(
        "/api/alarms/{id}/{act}",
        "say_alarm",
        "Acknowledges an alarm, shelves it, takes it out of service, brings it back, or marks it as right or false",
        &[Parameter::Id, Parameter::Act],
        said::AlarmSaid,
        AlarmJson,
        said::alarm
    ),
];

pub(in crate::web) fn routes() -> Router<Live> {
    let mut router = Router::new()
        .route("/api", described())
        .route("/api/openapi.json", described())
        .route("/api/live", get(live::live).fallback(async || not_this_way("GET, HEAD")))
        .route("/api/", axum::routing::any(nothing))
        .route("/api/{*rest}", axum::routing::any(nothing));
    for operation in OPERATIONS {
        router = router.route(operation.path, route(operation));
    }
    router
}

/// What is said to whom is not let in.
pub(in crate::web) fn refused(status: StatusCode, detail: &str) -> Response {
    Problem::new(status, detail).into_response()
}

fn route(operation: &'static Operation) -> MethodRouter<Live> {
    let answer = async move |State(site): State<Arc<Site>>,
                             path: RawPathParams,
                             query: RawQuery,
                             headers: HeaderMap,
                             body: Result<Bytes, BytesRejection>| {
        operation.answer(site, (path, query, headers), body).await
    };
    match operation.method {
        Method::Get => get(answer).fallback(async || not_this_way("GET, HEAD")),
        Method::Post(_) => axum::routing::post(answer).fallback(async || not_this_way("POST")),
    }
}

fn described() -> MethodRouter<Live> {
    get(document::document).fallback(async || not_this_way("GET, HEAD"))
}

fn now(site: &Site, _: &Asked) -> Result<String, Problem> {
    json(&NowJson::from(&site.feed.fresh(site)?.view))
}

async fn nothing() -> Problem {
    Problem::absent("Nothing stands under this address; /api/openapi.json lists those that there are.")
}

fn not_this_way(allowed: &'static str) -> ([(HeaderName, &'static str); 1], Problem) {
    let detail = format!("This address is not asked this way; {allowed} would be right.");
    ([(ALLOW, allowed)], Problem::new(StatusCode::METHOD_NOT_ALLOWED, detail))
}
