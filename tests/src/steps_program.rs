//! Takes a journal's entries a step at a time into a record, and says on stdout after each commit that it has returned. Tests
//! cut it off.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_tests::steps::{Brought, Steps};
use dwellwatch::clock::wall_now;
use dwellwatch::entry::PrinterName;
use dwellwatch::journal::Parser;
use dwellwatch::store::Store;
use std::io::Write;
use std::path::Path;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let [_, journal, db, printer] = arguments.as_slice() else { unreachable!("JOURNAL DB PRINTER, not {arguments:?}") };
    let text = std::fs::read_to_string(journal).unwrap();
    let store = Store::open(Path::new(db)).unwrap();
    let returned = |brought| {
        say(match brought {
            Brought::Events => "kept\n",
            Brought::Readings => "read\n",
        });
    };
    let mut steps = Steps::take_up(&store, &PrinterName::new(printer).unwrap(), returned).unwrap();
    say("taken up\n");
    let mut parser = Parser::new(wall_now());
    for line in text.lines() {
        let (_, entry) = parser.line(line).unwrap();
        steps.take(entry).unwrap();
    }
}

/// In one write, so that the line is in the pipe before the next step begins.
fn say(line: &str) {
    std::io::stdout().write_all(line.as_bytes()).unwrap();
    std::io::stdout().flush().unwrap();
}
