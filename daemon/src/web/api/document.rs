//! The `OpenAPI` 3.1 document, made of the rows that the addresses are made of and of the shapes that answers are written
//! from. Owns what of `OpenAPI` it uses.

use super::OPERATIONS;
use super::asked::Parameter;
use super::live;
use super::operation::{JSON, Method, Operation, accepts};
use super::problem::{Problem, ProblemJson};
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use schemars::generate::SchemaSettings;
use schemars::transform::{Transform, transform_subschemas};
use schemars::{Schema, SchemaGenerator};
use serde_json::{Map, Value, json};
use std::sync::LazyLock;

const PROBLEM: &str = "application/problem+json";
/// Where shapes stand in the document.
const SHAPES: &str = "/components/schemas";
/// What may be said of every address.
const ALWAYS: [StatusCode; 5] = [
    StatusCode::BAD_REQUEST,
    StatusCode::METHOD_NOT_ALLOWED,
    StatusCode::NOT_ACCEPTABLE,
    StatusCode::INTERNAL_SERVER_ERROR,
    StatusCode::FORBIDDEN,
];

static DOCUMENT: LazyLock<String> = LazyLock::new(|| made().to_string());

/// The document.
pub(super) async fn document(headers: HeaderMap) -> Result<Response, Problem> {
    accepts(&headers, JSON)?;
    Ok(([(CONTENT_TYPE, JSON), (CACHE_CONTROL, "no-cache")], DOCUMENT.as_str()).into_response())
}

/// What is not there is unknown; so what may be left out is never null.
#[derive(Clone, Copy, Debug)]
struct AbsentIsNotNull;

impl Transform for AbsentIsNotNull {
    fn transform(&mut self, schema: &mut Schema) {
        transform_subschemas(self, schema);
        let Some(fields) = schema.as_object_mut() else { return };
        let required: Vec<Value> = fields.get("required").and_then(Value::as_array).cloned().unwrap_or_default();
        let Some(Value::Object(properties)) = fields.get_mut("properties") else { return };
        for (name, property) in properties {
            if !required.contains(&json!(name)) {
                without_null(property);
            }
        }
    }
}

fn without_null(property: &mut Value) {
    if let Some(kinds) = property.get_mut("type").and_then(Value::as_array_mut) {
        kinds.retain(|kind| kind != "null");
    }
    if let Some(Value::Array(choices)) = property.get_mut("anyOf") {
        choices.retain(|choice| choice.get("type").is_none_or(|kind| kind != "null"));
    }
}

fn made() -> Value {
    let settings = SchemaSettings::draft2020_12().with(|settings| {
        settings.definitions_path = SHAPES.into();
        settings.meta_schema = None;
    });
    let mut told = settings.clone().for_serialize().with_transform(AbsentIsNotNull).into_generator();
    let mut taken = settings.for_deserialize().into_generator();
    let problem = told.subschema_for::<ProblemJson>();
    let mut paths: Map<String, Value> = Map::new();
    for operation in OPERATIONS {
        let (method, described) = described(operation, &mut told, &mut taken, &problem);
        let path = paths.entry(operation.path).or_insert_with(|| json!({}));
        path[method] = described;
    }
    paths.insert("/api/live".to_owned(), json!({"get": live::described(&mut told, &refusals(&[], &problem))}));
    paths.insert("/api/openapi.json".to_owned(), json!({"get": of_itself(&problem)}));
    let mut shapes = told.take_definitions(true);
    shapes.extend(taken.take_definitions(true));
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "dwellwatch",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "What dwellwatch has recorded and worked out of it. Times are RFC 3339 in UTC, temperatures \
                in °C (_c), durations in seconds (_s), minutes (_min) or hours (_h), volumes in mm3; tools are numbered \
                from 0. A field that is absent is not known, and is never zero. More fields may come.",
            "license": {"name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0"},
        },
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {"schemas": shapes},
    })
}

fn described(
    operation: &Operation,
    told: &mut SchemaGenerator,
    taken: &mut SchemaGenerator,
    problem: &Schema,
) -> (&'static str, Value) {
    let mut responses = refusals(operation.refusals, problem);
    let answer = json!({JSON: {"schema": (operation.answer)(told)}});
    let mut of = json!({
        "operationId": operation.name,
        "summary": operation.told,
        "parameters": operation.takes.iter().map(|parameter| of_parameter(*parameter)).collect::<Vec<_>>(),
    });
    let method = match operation.method {
        Method::Get => {
            let tag =
                json!({"ETag": {"description": "For If-None-Match.", "schema": {"type": "string"}, "required": true}});
            responses.insert("200".to_owned(), json!({"description": "It.", "headers": tag, "content": answer}));
            responses.insert("304".to_owned(), json!({"description": "It is as the asker has it."}));
            "get"
        }
        Method::Post(body) => {
            responses.insert("200".to_owned(), json!({"description": "What it is of, afterwards.", "content": answer}));
            of["requestBody"] = json!({"required": true, "content": {JSON: {"schema": body(taken)}}});
            "post"
        }
    };
    of["responses"] = Value::Object(responses);
    (method, of)
}

fn of_parameter(parameter: Parameter) -> Value {
    let place = if parameter.is_in_path() { "path" } else { "query" };
    json!({
        "name": parameter.name(),
        "in": place,
        "required": parameter.is_in_path(),
        "description": parameter.told(),
        "schema": parameter.schema(),
    })
}

fn of_itself(problem: &Schema) -> Value {
    let mut responses = refusals(&[], problem);
    responses.insert(
        "200".to_owned(),
        json!({"description": "It.", "content": {JSON: {"schema": {"type": "object", "required": ["openapi"]}}}}),
    );
    json!({"operationId": "document", "summary": "This document; /api gives it, too", "responses": responses})
}

/// What may be said when there is no answer.
fn refusals(further: &[StatusCode], problem: &Schema) -> Map<String, Value> {
    let all = ALWAYS.iter().chain(further);
    let mut told: Map<String, Value> = all
        .map(|status| {
            let said = json!({
                "description": status.canonical_reason().unwrap_or("Refused"),
                "content": {PROBLEM: {"schema": problem}},
            });
            (status.as_u16().to_string(), said)
        })
        .collect();
    if let Some(allowed) = told.get_mut("405") {
        allowed["headers"] = json!({"Allow": {"required": true, "schema": {"type": "string"}}});
    }
    told
}
