//! How much of hosts that nobody has built is understood by itself: a search proposes a configuration from a watch of
//! 20 s in virtual time, and the judge compares what the program reads with it against what there was to read.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and prints the table")]

use dwell_tests::shapes::{
    BASE, Field, HEADING, HostShape, Judgement, Proposed, Proposes, Row, counts, judge, judged, searched, windows,
};
use dwellwatch::host::discover::{Found, Snapshot};
use serde_json::Value;

/// Judges every shape in every window, and prints a line for each.
fn table(shapes: &[HostShape], propose: Proposes<'_>) -> Vec<Row> {
    println!("{HEADING}");
    let rows = judged(shapes, propose);
    for row in &rows {
        println!("{row}");
    }
    println!("{}", counts(&rows).join("\n"));
    rows
}

/// The fields of the configuration that is right for a shape, written by hand.
fn fields_by_hand(shape: &str) -> &'static str {
    match shape {
        "workshop" => include_str!("shapes/workshop.toml"),
        "cabinet" => include_str!("shapes/cabinet.toml"),
        "werkbank" => include_str!("shapes/werkbank.toml"),
        "visitor" => include_str!("shapes/visitor.toml"),
        "mixing head" => include_str!("shapes/mixing_head.toml"),
        "ledger" => include_str!("shapes/ledger.toml"),
        "probes" => include_str!("shapes/probes.toml"),
        "clockwork" => include_str!("shapes/clockwork.toml"),
        "logbook" => include_str!("shapes/logbook.toml"),
        "controller" => include_str!("shapes/controller.toml"),
        "flags" => include_str!("shapes/flags.toml"),
        "opaque" => include_str!("shapes/opaque.toml"),
        "described" => include_str!("shapes/described.toml"),
        "four papers" => include_str!("shapes/four_papers.toml"),
        "chatter" => include_str!("shapes/chatter.toml"),
        "bare" => include_str!("shapes/bare.toml"),
        "panel" => include_str!("shapes/second_panel.toml"),
        "quantities" => include_str!("shapes/second_quantities.toml"),
        "capitals" => include_str!("shapes/second_capitals.toml"),
        "glossary" => include_str!("shapes/second_glossary.toml"),
        "wiring" => include_str!("shapes/second_wiring.toml"),
        "notice board" => include_str!("shapes/second_notice_board.toml"),
        "docks" => include_str!("shapes/second_docks.toml"),
        "table" => include_str!("shapes/second_table.toml"),
        "two desks" => include_str!("shapes/second_two_desks.toml"),
        "switches" => include_str!("shapes/second_switches.toml"),
        "two inlets" => include_str!("shapes/second_two_inlets.toml"),
        "greenhouse" => include_str!("shapes/second_greenhouse.toml"),
        "front and rear" => include_str!("shapes/third_front_and_rear.toml"),
        "site plan" => include_str!("shapes/third_site_plan.toml"),
        "patch bay" => include_str!("shapes/third_patch_bay.toml"),
        "back office" => include_str!("shapes/third_back_office.toml"),
        "machine hall" => include_str!("shapes/third_machine_hall.toml"),
        "numbered" => include_str!("shapes/third_numbered.toml"),
        other => unreachable!("nobody has written {other} down"),
    }
}

/// The configuration that is right for a shape.
fn by_hand(shape: &HostShape) -> String {
    let moment = &windows(shape.hot_end)[0].moments[0];
    let document = |(path, _)| format!("[[printer.document]]\nname = \"{path}\"\nurl = \"{BASE}{path}\"\n");
    let head = format!("[[printer]]\nname = \"bench\"\nhot_end = \"{}\"\n", shape.hot_end.word());
    let documents: String = (shape.documents)(moment).into_iter().map(document).collect();
    head + &documents + fields_by_hand(shape.name)
}

fn shape(name: &str) -> HostShape {
    HostShape::all().into_iter().find(|shape| shape.name == name).unwrap()
}

/// All fields are called sure.
fn surely(toml: String) -> Proposed {
    let of_tool = |number| [Field::Actual(number), Field::Target(number), Field::Duty(number)];
    let mut sure = vec![Field::State, Field::Name, Field::Fraction, Field::Byte, Field::ActiveTool];
    sure.extend(of_tool(0).into_iter().chain(of_tool(1)).chain([Field::BedActual, Field::BedTarget]));
    Proposed { toml, sure }
}

#[test]
fn a_configuration_written_by_someone_who_knows_the_host_is_judged_right_in_every_window() {
    let rows = table(&HostShape::all(), &|shape, _, _| surely(by_hand(shape)));
    for row in &rows {
        assert!(row.judgement.is_right() && row.judgement.n_told() > 3, "{} {}", row.shape, row.window);
    }
}

/// What `change` makes of the right configuration of `name`, judged in the window of a tool change.
fn changed(name: &str, from: &str, to: &str) -> Judgement {
    let shape = shape(name);
    let right = by_hand(&shape);
    assert!(right.contains(from), "{from}");
    let window = windows(shape.hot_end).into_iter().find(|window| window.name == "tool change").unwrap();
    judge(&shape, &window, &right.replace(from, to), &|field| field != Field::Fraction)
}

#[test]
fn the_judge_finds_what_is_wrong_and_only_that() {
    let swapped = changed("workshop", "nozzles[0].warmth.measured", "nozzles[1].warmth.measured");
    assert_eq!((&swapped.wrong[..], &swapped.missing[..]), (&[Field::Actual(0)][..], &[][..]));
    assert_eq!(swapped.wrong_and_sure, [Field::Actual(0)]);

    let of_hundred = changed("ledger", "scale = 0.001 # permille", "scale = 0.0001");
    assert_eq!(of_hundred.wrong, [Field::Fraction]);
    assert!(of_hundred.wrong_and_sure.is_empty());

    let off_by_one = changed("controller", "\"1\" = 0, \"2\" = 1", "\"1\" = 1, \"2\" = 0");
    assert_eq!(off_by_one.wrong, [Field::ActiveTool]);
    let unit = changed("controller", "bed.pv\", unit = \"K\"", "bed.pv\", unit = \"C\"");
    assert_eq!(unit.wrong, [Field::BedActual]);

    let gone = changed("four papers", "path = \"$.file\"", "path = \"$.title\"");
    assert_eq!((&gone.missing[..], gone.wrong.len()), (&[Field::Name][..], 0));
    let word = changed("four papers", "\"prints\" = \"printing\"", "\"prints\" = \"heating\"");
    assert_eq!(word.wrong, [Field::State]);
    let made_up = changed("four papers", "[printer.job.byte]", "[printer.job.fraction]\nscale = 1e-9");
    assert_eq!(made_up.wrong, [Field::Fraction]);
    assert_eq!(made_up.missing, [Field::Byte]);

    let none = changed("workshop", "[printer.job.state]", "[printer.job.mood]");
    assert!(none.right.is_empty() && none.n_told() > 5 && !none.remarks.is_empty());
}

/// The documents with the members of every object in another order: JSON gives their order no meaning, and the program
/// as shipped does not keep it.
fn reordered(snapshots: &[Snapshot], order: fn(&mut Vec<(String, Value)>)) -> Vec<Snapshot> {
    fn of(value: &Value, order: fn(&mut Vec<(String, Value)>)) -> Value {
        match value {
            Value::Object(members) => {
                let mut members: Vec<_> = members.iter().map(|(key, value)| (key.clone(), of(value, order))).collect();
                order(&mut members);
                Value::Object(members.into_iter().collect())
            }
            Value::Array(items) => Value::Array(items.iter().map(|item| of(item, order)).collect()),
            plain => plain.clone(),
        }
    }
    let documents = |snapshot: &Snapshot| {
        snapshot.documents.iter().map(|document| document.as_ref().map(|value| of(value, order))).collect()
    };
    snapshots.iter().map(|snapshot| Snapshot { after: snapshot.after, documents: documents(snapshot) }).collect()
}

#[test]
fn the_search_understands_most_hosts_whole_and_is_never_sure_of_what_is_wrong() {
    let search = |shape: &HostShape, found: &Found, snapshots: &[Snapshot]| {
        let sorted = searched(found, &reordered(snapshots, |members| members.sort_by(|a, b| a.0.cmp(&b.0))));
        let reversed = searched(found, &reordered(snapshots, |members| members.sort_by(|a, b| b.0.cmp(&a.0))));
        assert_eq!(sorted.toml, reversed.toml, "{}: the order of members has no meaning", shape.name);
        sorted
    };
    // The search was improved on the first two sets: there a miss is a step back. The third was measured blind, and what
    // was measured then is its floor; nothing has been made for it.
    let sets =
        [("first", HostShape::first(), 15), ("second", HostShape::second(), 11), ("third", HostShape::third(), 5)];
    for (name, shapes, n_right_min) in sets {
        println!("the {name} set");
        let rows = table(&shapes, &search);
        let n_sure_and_wrong: usize = rows.iter().map(|row| row.judgement.wrong_and_sure.len()).sum();
        assert_eq!(n_sure_and_wrong, 0, "the {name} set");
        let in_change = rows.iter().filter(|row| row.window == "tool change");
        let n_right = in_change.filter(|row| row.judgement.is_right()).count();
        assert!(n_right >= n_right_min, "the {name} set: {n_right} of {}", shapes.len());
    }
}

/// A shape whose values stand still could be told right by constants; one whose documents change their paths could
/// not be watched.
#[test]
fn each_shape_is_unlike_the_others_tells_the_same_documents_each_second_and_moves() {
    assert!(HostShape::first().len() >= 12 && HostShape::second().len() >= 12);
    assert!(HostShape::third().len() >= 6);
    let shapes = HostShape::all();
    for shape in &shapes {
        assert_eq!(shapes.iter().filter(|other| other.name == shape.name).count(), 1);
        for window in windows(shape.hot_end) {
            assert_eq!(window.moments.len(), 20);
            let paths = |idx: usize| (shape.documents)(&window.moments[idx]).into_iter().map(|(path, _)| path);
            assert!((1..20).all(|idx| paths(idx).eq(paths(0))), "{}", shape.name);
            let snapshots = shape.snapshots(&window);
            assert!(snapshots.windows(2).any(|two| two[0].documents != two[1].documents), "{}", shape.name);
        }
    }
}
