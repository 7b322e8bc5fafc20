//! What schemas say of a document, and where following them ends.

use super::*;
use crate::host::TemperatureUnit;
use serde_json::json;

fn at<'h>(hints: &'h [Hint], pointer: &str) -> &'h Hint {
    let mut there = hints.iter().filter(|hint| hint.pointer == pointer);
    let first = there.next().unwrap_or_else(|| unreachable!("nothing at {pointer}: {hints:?}"));
    assert_eq!(there.next(), None, "{pointer}");
    first
}

#[test]
fn a_list_s_items_are_told_of_each_element_that_came() {
    let root = json!({ "parts": { "tool/head": {
        "type": "object", "description": "One of the two",
        "properties": { "now": { "title": "Measured", "unit": "Cel" } },
    } } });
    let schema = json!({ "properties": {
        "tools": { "items": { "$ref": "#/parts/tool~1head" } },
        "spare": { "additionalProperties": { "$ref": "#/parts/tool%7E1head" }, "properties": { "count": {} } },
        "name~1": { "type": "string" },
    } });
    let came = json!({ "tools": [{ "now": 20 }, { "now": 21 }], "spare": { "count": 1, "left": { "now": 3 } } });
    let hints = hints(&said(&root, &schema, None), &came);
    for pointer in ["/tools/0/now", "/tools/1/now", "/spare/left/now"] {
        let hint = at(&hints, pointer);
        assert_eq!(hint.words, ["now", "Measured"], "{pointer}");
        assert_eq!(hint.form, Some(HintForm::Temperature(TemperatureUnit::Celsius)), "{pointer}");
    }
    assert_eq!(at(&hints, "/tools/1").words, ["One of the two"]);
    assert_eq!(at(&hints, "/name~01").words, ["name~1"]);
    assert!(hints.iter().all(|hint| hint.pointer != "/tools/2/now" && hint.pointer != "/spare/count/now"), "{hints:?}");
}

#[test]
fn only_a_closed_list_of_texts_is_told_as_every_text() {
    let root = json!({ "state": { "type": "string", "enum": ["idle", "printing"] } });
    let values = |schema: Value| hints(&said(&root, &schema, Some("x")), &Value::Null)[0].values.clone();
    let none: [&str; 0] = [];
    assert_eq!(values(json!({ "$ref": "#/state" })), ["idle", "printing"]);
    assert_eq!(values(json!({ "anyOf": [{ "$ref": "#/state" }, { "type": "null" }] })), ["idle", "printing"]);
    assert_eq!(values(json!({ "allOf": [{ "$ref": "#/state" }], "description": "of the job" })), ["idle", "printing"]);
    let told = json!({ "oneOf": [{ "const": "idle", "title": "Nothing to do" }, { "const": "busy" }] });
    assert_eq!(values(told), ["idle", "busy"]);
    assert_eq!(values(json!({ "anyOf": [{ "$ref": "#/state" }, { "type": "string" }] })), none);
    assert_eq!(values(json!({ "anyOf": [{ "$ref": "#/state" }, {}] })), none);
    assert_eq!(values(json!({ "type": "integer", "enum": [1, 2] })), none);
}

#[test]
fn a_schema_that_goes_in_circles_ends() {
    let root =
        json!({ "a": { "properties": { "b": { "$ref": "#/a" } }, "allOf": [{ "$ref": "#/a" }, { "$ref": "#/a" }] } });
    let said = said(&root, &json!({ "$ref": "#/a" }), None);
    assert!(!said.is_empty() && said.len() < VISITS_MAX, "{}", said.len());
}
