//! What a person has said, and the tool at work where no word names it.

use super::super::*;
use crate::host::Address;
use dwell_analysis::units::Seconds;
use serde_json::json;

/// Twenty looks at a host whose hand changes at the tenth, in step with the set points unless it stays.
fn seen(hands: [&str; 2]) -> (Found, Vec<Snapshot>) {
    let document = FoundDocument {
        name: "rig".to_owned(),
        address: Address::parse("http://127.0.0.1:8121/rig").unwrap(),
        origin: "given".to_owned(),
        hints: Vec::new(),
    };
    let snapshot = |second: u8| {
        let is_first = second < 10;
        let (near, far) = if is_first { (210, 160) } else { (160, 235) };
        let wobble = f64::from(second % 3) / 10.0;
        let value = json!({
            "state": "printing", "progress": 10.0 + f64::from(second) / 10.0,
            "nozzles": [
                { "id": 0, "actual": f64::from(near) + wobble, "target": near },
                { "id": 1, "actual": f64::from(far) - wobble, "target": far },
            ],
            "holding": hands[usize::from(!is_first)], "mood": "busy",
        });
        Snapshot { after: Seconds::new(f64::from(second)), documents: vec![Some(value)] }
    };
    (Found { documents: vec![document], ..Found::default() }, (0..20).map(snapshot).collect())
}

fn answered(hands: [&str; 2], answers: &[&str]) -> Proposal {
    let (found, snapshots) = seen(hands);
    propose(&found, &snapshots, &Answers::parse(answers).unwrap())
}

fn words(proposal: &Proposal) -> Option<String> {
    let place = proposal.field(Kind::ActiveTool)?.places.first()?.clone();
    place.form.iter().find(|(key, _)| *key == "words").map(|(_, words)| words.to_string())
}

#[test]
fn a_word_that_names_no_tool_is_understood_by_its_change_and_never_called_sure() {
    let proposal = answered(["port", "starboard"], &[]);
    assert!(proposal.field(Kind::ActiveTool).unwrap().certainty < Certainty::Sure);
    let told = words(&proposal).unwrap();
    assert!(told.contains("port = 0") && told.contains("starboard = 1"), "{told}");
    // One that stays says nothing.
    assert!(words(&answered(["port", "port"], &[])).is_none());
}

#[test]
fn an_answered_place_gets_the_words_that_the_heat_gives_it_or_says_that_they_are_wanting() {
    let told = words(&answered(["port", "starboard"], &["active_tool=/holding"])).unwrap();
    assert!(told.contains("port = 0") && told.contains("starboard = 1"), "{told}");
    let proposal = answered(["port", "port"], &["active_tool=/holding"]);
    assert!(proposal.open.iter().any(|line| line.contains("/holding") && line.contains("port")), "{:?}", proposal.open);
}

#[test]
fn an_answer_that_points_at_nothing_is_told_as_it_was_given() {
    let lost = |answers| answered(["port", "starboard"], answers).lost_answers;
    assert_eq!(lost(&["tool.0=/nowhere", "bed=rig:/plate", "state=/state"]), ["bed=rig:/plate", "tool.0=/nowhere"]);
    assert!(lost(&["tool.0=/nozzles/1", "bed=none", "name=attic"]).is_empty());
}
