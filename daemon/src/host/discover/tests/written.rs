//! Answers, questions and keys, and what is written of them.

use super::super::{
    Answers, Certainty, Given, Hint, Kind, Proposal, Secret, SecretPlace, SecretSource, propose, questions,
};
use super::shapes::HOSTS;
use super::{Moment, life, seen, window};
use crate::entry::HotEnd;
use toml::Value;

/// The host of that name, watched across a tool change, with these answers.
fn answered(name: &str, answers: &[&str]) -> Proposal {
    let host = HOSTS.iter().find(|host| host.name == name).unwrap();
    let (found, snapshots) = seen(host, &window(&life(host.hot_end), Moment::Change));
    propose(&found, &snapshots, &Answers::parse(answers).unwrap())
}

fn path(proposal: &Proposal, kind: Kind) -> &str {
    proposal.field(kind).map_or("none", |field| field.places[0].path.as_str())
}

#[test]
fn an_answer_counts_over_what_was_found_and_is_sure() {
    let left = "$.warmth[?@.seat=='left'].felt";
    let plain = answered("rehearsal's hearths", &[]);
    assert_eq!((path(&plain, Kind::ToolActual(0)), plain.tools), (left, 2));
    let turned =
        answered("rehearsal's hearths", &["tool.0=$.warmth[?@.seat=='right']", "word.laying=paused", "byte=none"]);
    assert_eq!(path(&turned, Kind::ToolActual(1)), left);
    assert_eq!(turned.field(Kind::ToolActual(0)).unwrap().certainty, Certainty::Sure);
    assert_eq!(path(&turned, Kind::Byte), "none");
    let hand = &turned.field(Kind::ActiveTool).unwrap().places[0].form[0].1;
    assert_eq!(hand.get("right").and_then(Value::as_integer), Some(0), "the tool's words follow the answer");
    assert!(turned.toml().contains(r#"laying = "paused""#), "{}", turned.toml());
    let shared = answered("rehearsal's hearths", &["hot_end=shared", "state=/hand"]);
    assert_eq!((shared.hot_end.0, path(&shared, Kind::State)), (HotEnd::Shared, "/hand"));
}

/// Answering each question with its first choice leaves every field where it was.
#[test]
fn questions_are_asked_of_what_is_not_sure_and_their_first_choice_is_the_proposal() {
    for name in ["rehearsal's hearths", "texts with units", "words of no trade"] {
        let proposal = answered(name, &[]);
        let asked = questions(&proposal);
        assert!(!asked.is_empty() && asked.iter().all(|question| question.choices.len() > 1), "{asked:?}");
        let first = asked
            .iter()
            .filter_map(|question| Some(format!("{}={}", question.key, question.choices[0].value.as_ref()?)));
        let first: Vec<String> = first.collect();
        let again = answered(name, &first.iter().map(String::as_str).collect::<Vec<_>>());
        let places = |proposal: &Proposal| {
            proposal.fields.iter().map(|field| (field.kind, field.places.clone())).collect::<Vec<_>>()
        };
        assert_eq!(places(&again), places(&proposal), "{name}: {first:?}");
        assert!(questions(&again).len() < asked.len(), "{name}");
    }
}

/// Keys that say nothing, and a description that does.
#[test]
fn a_description_stands_in_for_keys_that_say_nothing() {
    let host = HOSTS.iter().find(|host| host.name == "keyed, camel case").unwrap();
    let (mut found, mut snapshots) = seen(host, &window(&life(host.hot_end), Moment::Steady));
    let says = |pointer: &str, text: &str| Hint {
        pointer: pointer.to_owned(),
        words: vec![text.to_owned()],
        ..Hint::default()
    };
    found.documents[0].hints = vec![
        says("/p1", "Measured temperature of the left nozzle"),
        says("/p2", "Set point of the left nozzle's temperature"),
        says("/p3", "Measured temperature of the right nozzle"),
        says("/p4", "Set point of the right nozzle's temperature"),
        says("/p5", "State of the job"),
    ];
    for document in snapshots.iter_mut().flat_map(|snapshot| &mut snapshot.documents) {
        let whole = document.take().unwrap();
        let tool = |at: usize, key: &str| whole["tools"][at][key].clone();
        *document = Some(serde_json::json!({"p1": tool(0, "tempActual"), "p2": tool(0, "tempTarget"),
            "p3": tool(1, "tempActual"), "p4": tool(1, "tempTarget"), "p5": whole["printState"]}));
    }
    let proposal = propose(&found, &snapshots, &Answers::default());
    let expected = [Kind::ToolActual(0), Kind::ToolTarget(0), Kind::ToolActual(1), Kind::ToolTarget(1), Kind::State];
    assert_eq!(expected.map(|kind| path(&proposal, kind)), ["/p1", "/p2", "/p3", "/p4", "/p5"]);
}

#[test]
fn keys_are_named_and_never_written_and_odd_names_are_escaped() {
    let mut proposal = answered("rehearsal's panel", &["name=my \"bench\""]);
    let place = |header: &str| SecretPlace::Bearer { header: header.to_owned() };
    proposal.secrets = vec![
        Secret { place: place("Authorization") },
        Secret { place: SecretPlace::Basic },
        Secret { place: SecretPlace::Query("key".to_owned()) },
        Secret { place: SecretPlace::Header("X-Entry".to_owned()) },
    ];
    let file = SecretSource::File("keys/entry.txt".to_owned());
    proposal.given = vec![Given { place: SecretPlace::Header("X-Entry".to_owned()), source: file }];
    let text = proposal.toml();
    let read: toml::Table = toml::from_str(&text).unwrap();
    let printer = &read["printer"][0];
    assert_eq!(printer["name"].as_str(), Some("my \"bench\""));
    assert_eq!(printer["headers"]["Authorization"]["form"].as_str(), Some("bearer"), "{text}");
    assert_eq!(printer["headers"]["Authorization"]["env"].as_str(), Some("MY__BENCH__KEY"));
    assert_eq!(printer["headers"]["X-Entry"]["file"].as_str(), Some("keys/entry.txt"));
    assert_eq!(printer["query"]["key"]["env"].as_str(), Some("MY__BENCH__KEY"));
    assert_eq!(printer["document"].as_array().map(Vec::len), Some(2));
}
