//! What `journal` writes, replayed into an empty database, gives the same rows in every table.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use rusqlite::Connection;
use rusqlite::types::Value;
use std::fs;
use std::path::Path;
use std::process::Command;

use dwell_analysis::thermal::Heater;
use dwell_analysis::units::{Celsius, Millimetres, Seconds};
use dwellwatch::entry::{
    Entry, FileTool, FileTurn, HeaterFact, JobFile, JobFileFrom, JobState, PrinterName, Reading, Settings, ToolNumber,
};
use dwellwatch::journal::write_line;
use dwellwatch::rehearsal::Story;
use dwellwatch::store::Reader;

fn dwellwatch(arguments: &[&str]) {
    let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
    let output = Command::new(program).args(arguments).output().unwrap();
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// Tables that are a record's own: how its readings are packed, which ends with the process, its name and its key.
const OWN: [&str; 3] = ["sample", "identity", "link_key"];

/// Every row of every table, tables by name, rows in order; and every reading.
fn rows(file: &Path) -> Vec<(String, Vec<Vec<Value>>)> {
    let db = Connection::open(file).unwrap();
    let mut names = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").unwrap();
    let mut names: Vec<String> = names.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    names.retain(|name| !OWN.contains(&name.as_str()));
    let all = |name: &String| {
        let mut table = db.prepare(&format!("SELECT * FROM \"{name}\"")).unwrap();
        let n_columns = table.column_count();
        let cells = |row: &rusqlite::Row<'_>| (0..n_columns).map(|idx| row.get(idx)).collect::<Result<Vec<Value>, _>>();
        let mut found: Vec<Vec<Value>> = table.query_map([], cells).unwrap().map(Result::unwrap).collect();
        found.sort_by_key(|row| format!("{row:?}"));
        (name.clone(), found)
    };
    let reader = Reader::open(file).unwrap();
    let of_printer = |printer: PrinterName| {
        let readings = reader.readings(&printer, None, None).unwrap().map(Result::unwrap);
        let line = |reading| vec![Value::Text(write_line(&printer, &Entry::Reading(reading)))];
        readings.map(line).collect::<Vec<_>>()
    };
    let readings = reader.printers().unwrap().into_iter().flat_map(|row| of_printer(row.name)).collect();
    names.iter().map(all).chain([("readings".to_owned(), readings)]).collect()
}

#[test]
fn a_journal_replayed_into_an_empty_database_gives_equal_rows() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let text = |name: &str| file(name).display().to_string();
    let story = Story::short(1);
    let printer = story.printer();
    let mut entries = story.entries();
    let readings =
        entries.iter_mut().filter_map(|entry| if let Entry::Reading(reading) = entry { Some(reading) } else { None });
    for (thousandths, reading) in (0..=1000).cycle().zip(readings) {
        // Now and then the host does not tell it.
        reading.tools[1].fan_thousandths = (thousandths % 7 > 0).then_some(thousandths);
    }
    know_heaters(&mut entries);
    let lines: Vec<String> = entries.iter().map(|entry| write_line(&printer, entry)).collect();
    fs::write(file("told.ndjson"), lines.join("\n")).unwrap();

    dwellwatch(&["replay", &text("told.ndjson"), "--db", &text("first.db")]);
    dwellwatch(&["journal", "--out", &text("kept.ndjson"), "--db", &text("first.db")]);
    dwellwatch(&["replay", &text("kept.ndjson"), "--db", &text("second.db")]);

    let (first, second) = (rows(&file("first.db")), rows(&file("second.db")));
    for table in ["print", "span", "visit", "tool_change", "readings", "outcome", "settings_change", "heater_fact"] {
        let n_rows = first.iter().find(|(name, _)| name == table).map_or(0, |(_, rows)| rows.len());
        assert!(n_rows > 0, "the story leaves `{table}` empty: this test would show nothing of it");
    }
    for ((name, mine), (_, theirs)) in first.iter().zip(&second) {
        assert_eq!(mine, theirs, "table {name}");
    }
    assert_eq!(first.len(), second.len());
    let kept = fs::read_to_string(file("kept.ndjson")).unwrap();
    let fans = |lines: &mut dyn Iterator<Item = &str>| lines.filter(|line| line.contains("\"fan\":")).count();
    assert_eq!(fans(&mut kept.lines()), fans(&mut lines.iter().map(String::as_str)));
    assert!(kept.contains("\"fan\":0.601}"), "the story's readings are too few");
}

/// What is found out about heaters: of T1 before anything else, then of T0, and of T1 anew.
fn know_heaters(entries: &mut Vec<Entry>) {
    let at_reading = |entries: &[Entry], nth: usize| {
        let is_reading = |(_, entry): &(usize, &Entry)| matches!(entry, Entry::Reading(_));
        let (place, entry) = entries.iter().enumerate().filter(is_reading).nth(nth).unwrap();
        let Entry::Reading(reading) = entry else { unreachable!("it was looked for") };
        (place, reading.at)
    };
    let n_readings = entries.iter().filter(|entry| matches!(entry, Entry::Reading(_))).count();
    for (nth, tool, spread) in [(0, 1, 0.101), (n_readings / 3, 0, 0.067), (n_readings - 9, 1, 0.033)] {
        let (place, at) = at_reading(entries, nth);
        let heater = Heater { time_constant: Seconds::new(171.337), ..Heater::HOT_END };
        let surroundings = Celsius::new(31.25);
        let tool = ToolNumber::new(tool).unwrap();
        let fact = HeaterFact { at, tool, heater, surroundings, heating_spread: spread, n: 9 + nth };
        entries.insert(place + 1, Entry::Heater(fact));
    }
}

/// A job file for a print's readings: the turns that the host tells, a short detour now and then between two polls, and,
/// if it `disagrees`, the other tool all along.
fn job_file(readings: &[&Reading], disagrees: bool) -> JobFile {
    let first = readings[0];
    let tool = |number| ToolNumber::new(number).unwrap();
    let mut turns: Vec<FileTurn> = Vec::new();
    for (nth, pair) in readings.windows(2).enumerate() {
        let (Some(from), Some(to)) = (pair[0].job.byte, pair[1].job.byte) else { continue };
        let (Some(before), Some(now)) = (pair[0].active_tool, pair[1].active_tool) else { continue };
        let at = pair[0].at - first.at;
        let mut turn = |number: usize, byte: u64, part: f64| {
            let number = if disagrees { 1 - number } else { number };
            let at = at + Seconds::new(part * (pair[1].at - pair[0].at).get());
            turns.push(FileTurn { tool: tool(number), byte: from + byte, at });
        };
        if nth == 0 {
            turn(before, 1, 0.0);
        } else if before != now && to > from + 4 {
            turn(now, 2, 0.3);
        } else if nth % 20 == 0 && to > from + 4 {
            turn(1 - before, 2, 0.3);
            turn(before, 3, 0.6);
        }
    }
    turns[0].byte = 0;
    let settings = Settings { retract: Some(Millimetres::new(1.25)), ..Settings::default() };
    let last = readings[readings.len() - 1];
    JobFile {
        at: readings[5].at,
        name: first.job.name.clone().unwrap(),
        started: first.at,
        from: JobFileFrom::Folder,
        bytes: readings.iter().filter_map(|reading| reading.job.byte).max().unwrap(),
        expected: last.at - first.at,
        turns,
        tools: vec![FileTool { tool: tool(1), settings, left: 9, left_hot: 2 }],
    }
    .rounded()
}

/// The story with the job files of its first two prints; the second one's is not right. With them where the first print
/// is well under way.
fn story_with_job_files(story: &Story) -> (Vec<Entry>, usize) {
    let mut entries = story.entries();
    // Its own are all right.
    entries.retain(|entry| !matches!(entry, Entry::JobFile(_)));
    let mut prints: Vec<Vec<&Reading>> = vec![Vec::new()];
    for entry in &entries {
        let Entry::Reading(reading) = entry else { continue };
        let is_on = matches!(reading.job.state, JobState::Printing | JobState::Paused);
        match prints.last_mut() {
            Some(print) if is_on => print.push(reading),
            Some(print) if !print.is_empty() => prints.push(Vec::new()),
            Some(_) | None => {}
        }
    }
    let files = [job_file(&prints[0], false), job_file(&prints[1], true)];
    for file in files {
        let after = |entry: &Entry| matches!(entry, Entry::Reading(reading) if reading.at == file.at);
        let place = entries.iter().position(after).unwrap() + 1;
        entries.insert(place, Entry::JobFile(file));
    }
    know_heaters(&mut entries);
    let middle = entries.iter().position(|entry| matches!(entry, Entry::JobFile(_))).unwrap() + 200;
    assert!(matches!(&entries[middle], Entry::Reading(reading) if reading.job.state == JobState::Printing));
    (entries, middle)
}

#[test]
fn job_files_replay_to_equal_rows_and_a_restart_in_mid_print_takes_them_up_again() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name);
    let text = |name: &str| file(name).display().to_string();
    let story = Story::short(1);
    let printer = story.printer();
    let (entries, middle) = story_with_job_files(&story);
    let lines: Vec<String> = entries.iter().map(|entry| write_line(&printer, entry)).collect();
    fs::write(file("told.ndjson"), lines.join("\n")).unwrap();
    dwellwatch(&["replay", &text("told.ndjson"), "--db", &text("first.db")]);
    dwellwatch(&["journal", "--out", &text("kept.ndjson"), "--db", &text("first.db")]);
    dwellwatch(&["replay", &text("kept.ndjson"), "--db", &text("second.db")]);
    let (first, second) = (rows(&file("first.db")), rows(&file("second.db")));
    let count = |table: &str, word: &str| {
        let (_, rows) = first.iter().find(|(name, _)| name == table).unwrap();
        rows.iter().filter(|row| word.is_empty() || row.contains(&Value::Text(word.to_owned()))).count()
    };
    assert_eq!((count("job_file", "folder"), count("job_file_tool", "")), (2, 2));
    assert!(count("tool_change", "job_file") > 10 && count("tool_change", "host") > 4);
    assert!(count("tool_disagreement", "") > 0);
    for ((name, mine), (_, theirs)) in first.iter().zip(&second) {
        assert_eq!(mine, theirs, "table {name}");
    }

    // Stopped in the first print, and taken up again by another process.
    fs::write(file("begun.ndjson"), lines[..middle].join("\n")).unwrap();
    fs::write(file("rest.ndjson"), lines[middle..].join("\n")).unwrap();
    for part in ["begun.ndjson", "rest.ndjson"] {
        dwellwatch(&["replay", &text(part), "--db", &text("third.db")]);
    }
    for ((name, mine), (_, theirs)) in first.iter().zip(&rows(&file("third.db"))) {
        assert_eq!(mine, theirs, "table {name}");
    }
    let found =
        entries.iter().find_map(|entry| if let Entry::JobFile(file) = entry { Some(file.clone()) } else { None });
    let stray = JobFile { started: story.ends(), ..found.unwrap() };
    fs::write(file("stray.ndjson"), write_line(&printer, &Entry::JobFile(stray))).unwrap();
    let program = env!("CARGO_BIN_EXE_dwellwatch-under-test");
    let refused = Command::new(program).args(["replay", &text("stray.ndjson"), "--db", &text("third.db")]).output();
    let said = String::from_utf8_lossy(&refused.unwrap().stderr).into_owned();
    assert!(said.contains("no print of bench began at"), "{said}");
}
