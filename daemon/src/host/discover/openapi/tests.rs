//! Descriptions of interfaces: which of their GETs are documents, and what is said of their values.

use super::*;
use crate::host::TemperatureUnit;
use crate::host::discover::found::HintForm;
use crate::host::discover::schema::hints;
use serde_json::json;

fn at() -> Address {
    Address::parse("http://127.0.0.1:18080/docs/openapi.json").unwrap()
}

/// An interface of two nozzles. Source: in the file.
fn sound() -> Value {
    serde_json::from_str(include_str!("../../../../../tests/reference/openapi_two_nozzles.json")).unwrap()
}

fn of(root: &Value) -> Description {
    read(root, &at(), &Home::of(&[at()]))
}

fn addresses(description: &Description) -> Vec<&str> {
    description.documents.iter().map(|document| document.address.as_str()).collect()
}

#[test]
fn only_a_get_that_needs_no_choice_and_may_answer_json_is_a_document() {
    let description = of(&sound());
    let base = "http://127.0.0.1:18080/v2";
    // The most telling first: one with a unit of temperature, then one with words of the trade.
    assert_eq!(addresses(&description), ["heat", "job", "about"].map(|path| format!("{base}/{path}")));
    let remarks = description.remarks.join("\n");
    let cases = [
        ("deprecated", "/old"),
        ("a body with the GET", "/odd"),
        ("requires \"which\" in its query", "/one"),
        ("its path has parameters", "/tool/{idx}"),
        ("comes as image/jpeg, not JSON", "/camera"),
        ("oauth2", "/closed"),
        ("no answer 200", "/empty"),
    ];
    for (why, path) in cases {
        let line = description.remarks.iter().find(|line| line.contains(why));
        assert!(line.is_some_and(|line| line.ends_with(path)), "{why}: {remarks}");
    }
    assert_eq!(description.remarks.len(), cases.len(), "{remarks}");
    assert!(!remarks.contains("/stop"), "{remarks}");
}

#[test]
fn what_the_schemas_say_of_the_values_is_told_through_lists_and_references() {
    let description = of(&sound());
    let heat = hints(&description.documents[0].said, &json!([{ "measured": 1 }, {}]));
    for pointer in ["/0/measured", "/1/measured", "/0/wanted", "/1/wanted"] {
        let hint = heat.iter().find(|hint| hint.pointer == pointer).unwrap();
        assert_eq!(hint.form, Some(HintForm::Temperature(TemperatureUnit::Celsius)), "{pointer}");
    }
    let whole = heat.iter().find(|hint| hint.pointer.is_empty()).unwrap();
    assert_eq!(whole.words, ["readHeat", "Heat of both hot ends"]);
    let job = hints(&description.documents[1].said, &Value::Null);
    let state = job.iter().find(|hint| hint.pointer == "/state").unwrap();
    assert_eq!(state.values, ["idle", "printing"]);
    assert_eq!(job.iter().find(|hint| hint.pointer == "/fraction").unwrap().form, None);
}

#[test]
fn keys_are_those_of_the_first_alternative_that_can_be_spoken() {
    let places: Vec<SecretPlace> = of(&sound()).secrets.into_iter().map(|secret| secret.place).collect();
    let bearer = SecretPlace::Bearer { header: "Authorization".to_owned() };
    assert_eq!(places.len(), 3, "{places:?}");
    for place in [bearer, SecretPlace::Query("key".to_owned()), SecretPlace::Basic] {
        assert!(places.contains(&place), "{place:?} in {places:?}");
    }
}

#[test]
fn an_interface_of_another_host_alone_is_left_out() {
    let mut root = sound();
    root["servers"] = json!([{ "url": "https://elsewhere.example/api" }, { "url": "//127.0.0.1:9" }]);
    let description = of(&root);
    assert_eq!(addresses(&description), Vec::<&str>::new());
    assert!(description.remarks.join("\n").contains("another host, http://127.0.0.1:9"), "{:?}", description.remarks);
    // A server told nearer counts, and without any it is the root of the host.
    root["paths"]["/heat"]["servers"] = json!([{ "url": "sub" }]);
    assert_eq!(addresses(&of(&root)), ["http://127.0.0.1:18080/docs/sub/heat"]);
    root["servers"] = json!([]);
    assert!(addresses(&of(&root)).contains(&"http://127.0.0.1:18080/job"));
}

#[test]
fn version_2_0_is_read_with_its_own_members() {
    let root = json!({
        "swagger": "2.0", "host": "127.0.0.1:18080", "basePath": "/api", "schemes": ["http"],
        "produces": ["application/json"], "security": [{ "pass": [] }],
        "securityDefinitions": { "pass": { "type": "basic" } },
        "definitions": { "Heat": { "properties": { "now": { "description": "kelvin" } } } },
        "paths": {
            "/heat": { "get": { "responses": { "200": { "schema": { "$ref": "#/definitions/Heat" } } } } },
            "/page": { "get": { "produces": ["text/html"], "responses": { "200": { "schema": {} } } } },
            "/odd": { "get": { "parameters": [{ "in": "body", "name": "b" }], "responses": { "200": {} } } },
        },
    });
    assert!(
        is_openapi(&root) && !is_openapi(&json!({ "swagger": "1.2" })) && !is_openapi(&json!({ "openapi": "4.0" }))
    );
    let description = of(&root);
    assert_eq!(addresses(&description), ["http://127.0.0.1:18080/api/heat"]);
    assert_eq!(description.secrets, [Secret { place: SecretPlace::Basic }]);
    let heat = hints(&description.documents[0].said, &json!({ "now": 300 }));
    assert!(heat.iter().any(|hint| hint.form == Some(HintForm::Temperature(TemperatureUnit::Kelvin))), "{heat:?}");
}
