//! One flipped bit at many places of a real record: what finds it, and what a flip that nothing finds can do. Run with
//! `--nocapture` for the shares.
#![expect(clippy::unwrap_used, clippy::print_stdout, reason = "a test may stop, and says what it measured")]

use dwellwatch::alarm::Rules;
use dwellwatch::rehearsal::Story;
use dwellwatch::replay::Replay;
use dwellwatch::store::{Halt, PrintFilter, Reader, SpanFilter, Store, StoreError, examine};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rusqlite::types::Value;
use rusqlite::{Connection, OpenFlags};
use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::path::Path;

const SEED: u64 = 20_261_126;
const FLIPS: usize = 600;

/// A record made by replaying a part of the story, as one closed file.
fn record(file: &Path) {
    let told = Story::short(1);
    let store = Store::open_bulk(file).unwrap();
    let mut replay = Replay::new(&store, Rules::default(), HashMap::new());
    for entry in told.entries() {
        replay.take(&told.printer(), entry).unwrap();
    }
    replay.finish().unwrap();
}

/// Every row of every table; `None` if they can't be read.
fn rows(file: &Path) -> Option<BTreeMap<String, Vec<Vec<Value>>>> {
    let db = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).ok()?;
    let mut names = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'").ok()?;
    let names: Vec<String> = names.query_map([], |row| row.get(0)).ok()?.collect::<Result<_, _>>().ok()?;
    let all = |name: String| {
        let mut table = db.prepare(&format!("SELECT * FROM \"{name}\"")).ok()?;
        let n_columns = table.column_count();
        let cells = |row: &rusqlite::Row<'_>| (0..n_columns).map(|idx| row.get(idx)).collect::<Result<Vec<Value>, _>>();
        let rows = table.query_map([], cells).ok()?.collect::<Result<Vec<_>, _>>().ok()?;
        Some((name, rows))
    };
    names.into_iter().map(all).collect()
}

/// Whether a check of SQLite's passes.
fn passes(file: &Path, check: &str) -> bool {
    let found = Connection::open(file).and_then(|db| db.query_row(&format!("PRAGMA {check}(1)"), [], |row| row.get(0)));
    found.is_ok_and(|found: String| found == "ok")
}

/// Reads all that the lists and the journal read; gives what they fail on.
fn read_all(file: &Path) -> Result<(), StoreError> {
    let reader = Reader::open(file)?;
    for printer in reader.printers()? {
        reader.entries(&printer.name, None, None)?.try_for_each(|entry| entry.map(|_| ()))?;
        reader.resume(&printer.name)?;
    }
    reader.prints(&PrintFilter::default())?;
    reader.spans(&SpanFilter::default())?;
    reader.parts(None)?;
    reader.alarms(None, None).map(|_| ())
}

/// What found it, in few words.
fn by(found: &str) -> &'static str {
    let marks = [
        ("packed readings", "packed readings"),
        ("turns", "packed turns"),
        ("names no", "references"),
        ("CHECK", "a row's CHECK"),
        ("NULL value", "a row's CHECK"),
        ("index", "an index that differs from its table"),
        ("order", "rows out of order"),
    ];
    marks.into_iter().find(|(mark, _)| found.contains(mark)).map_or("pages and cells", |(_, by)| by)
}

#[test]
fn a_flipped_bit_is_found_or_leaves_every_list_readable() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bench.db");
    record(&file);
    let sound = fs::read(&file).unwrap();
    let whole = rows(&file).unwrap();
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut unfound: BTreeMap<String, usize> = BTreeMap::new();
    let mut broken = Vec::new();
    let mut n_quick = 0;
    for _ in 0..FLIPS {
        let (byte, bit) = (rng.random_range(0..sound.len()), rng.random_range(0..8_u32));
        let mut flipped = sound.clone();
        flipped[byte] ^= 1 << bit;
        fs::write(&file, flipped).unwrap();
        n_quick += usize::from(!passes(&file, "quick_check"));
        let place = format!("byte {byte} of page {}, bit {bit}", byte / 512 + 1);
        let counted = match examine(&file, &Halt::default()) {
            Err(StoreError::Damaged { found, .. }) => by(&found),
            Err(other) => unreachable!("{place}: {other}"),
            Ok(()) if !passes(&file, "integrity_check") => unreachable!("{place}: more than is examined finds it"),
            Ok(()) => match rows(&file) {
                Some(now) if now == whole => "harmless: every row is as it was",
                now => {
                    let table = changed(&whole, now.as_ref());
                    *unfound.entry(table).or_default() += 1;
                    if let Err(error) = read_all(&file) {
                        broken.push(format!("{place}: {error}"));
                    }
                    "not found: a value has changed"
                }
            },
        };
        *counts.entry(counted).or_default() += 1;
    }
    println!("{FLIPS} flips of one bit, seed {SEED}, in a record of {} bytes:", sound.len());
    for (what, n) in &counts {
        println!("  {n:4}  {what}");
    }
    println!("quick_check alone would find {n_quick}");
    println!("not found, by table: {unfound:?}");
    assert!(broken.is_empty(), "not found by the check, but met by a list: {broken:#?}");
    let found: usize =
        counts.iter().filter(|(what, _)| !what.contains(':') || what.starts_with("quick")).map(|(_, n)| n).sum();
    assert!(found > 0, "{counts:?}");
}

/// The first table that differs.
fn changed(before: &BTreeMap<String, Vec<Vec<Value>>>, now: Option<&BTreeMap<String, Vec<Vec<Value>>>>) -> String {
    let differs = |name: &&String| now.is_none_or(|now| now.get(*name) != before.get(*name));
    before.keys().find(differs).cloned().unwrap_or_default()
}
