//! What a record holds, as a test compares it: every row of every table but those of readings, and the readings.

use dwell_analysis::time::Timestamp;
use dwellwatch::entry::{PrinterName, Reading};
use dwellwatch::store::Reader;
use rusqlite::Connection;
use rusqlite::types::Value;
use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;

/// Tables of which two sound records of the same may differ: rows of readings end with the process, and each record has its name and
/// signs with its own key.
const OWN: [&str; 3] = ["sample", "identity", "link_key"];

/// A row: column and value.
pub(crate) type Row = Vec<(String, Value)>;
/// The rows of each table, in order.
pub(crate) type Tables = BTreeMap<String, Vec<Row>>;

/// Every row of every table that two records of the same have in common.
pub(crate) fn tables(db: &Connection) -> Tables {
    let mut names = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").unwrap();
    let names: Vec<String> = names.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    let all = |name: String| {
        let mut table = db.prepare(&format!("SELECT * FROM \"{name}\"")).unwrap();
        let columns: Vec<String> = table.column_names().map(str::to_owned).collect();
        let cells = |row: &rusqlite::Row<'_>| {
            columns
                .iter()
                .enumerate()
                .map(|(idx, name)| Ok((name.clone(), shared(row.get(idx)?))))
                .collect::<Result<Row, _>>()
        };
        let rows = table.query_map([], cells).unwrap().map(Result::unwrap).collect();
        (name, rows)
    };
    names.into_iter().filter(|name| !OWN.contains(&name.as_str())).map(all).collect()
}

/// A value without the record's own word, which begins the keys of its notices; a notice's body tells its key too.
fn shared(value: Value) -> Value {
    const KEY: &str = "\"key\":\"";
    match value {
        Value::Text(text) => {
            let is_word = |word: &str| word.len() == 16 && word.bytes().all(|byte| byte.is_ascii_hexdigit());
            let (before, from_key) = match text.find(KEY) {
                Some(at) => text.split_at(at + KEY.len()),
                None => ("", text.as_str()),
            };
            let of_notice = from_key.split_once('-').filter(|(word, _)| is_word(word));
            Value::Text(of_notice.map_or_else(|| text.clone(), |(_, rest)| format!("{before}{rest}")))
        }
        other => other,
    }
}

/// A record's rows in a few numbers: each table's count of rows, and a hash over them.
pub(crate) type Fingerprint = BTreeMap<String, (usize, u64)>;

pub(crate) fn fingerprint(db: &Connection) -> Fingerprint {
    let hashed = |(name, rows): (String, Vec<Row>)| {
        let mut hasher = DefaultHasher::new();
        format!("{rows:?}").hash(&mut hasher);
        (name, (rows.len(), hasher.finish()))
    };
    tables(db).into_iter().map(hashed).collect()
}

/// The readings of a printer that are in the file.
pub(crate) fn readings(db: &Path, printer: &PrinterName) -> Vec<Reading> {
    let reader = Reader::open(db).unwrap();
    reader.readings(printer, None, None).unwrap().collect::<Result<_, _>>().unwrap()
}

/// The newest instant at which the record says that the printer itself did something. A silence is told by what was
/// not read, and words are of the person's time.
pub(crate) fn newest_event(db: &Connection) -> Option<Timestamp> {
    const SQL: &str = "SELECT max(at) FROM (
        SELECT max(started_ms) AS at FROM print UNION ALL SELECT max(ended_ms) FROM print
        UNION ALL SELECT max(at_ms) FROM print_event UNION ALL SELECT max(at_ms) FROM tool_change
        UNION ALL SELECT max(began_ms) FROM visit UNION ALL SELECT max(ended_ms) FROM visit
        UNION ALL SELECT max(began_ms) FROM span UNION ALL SELECT max(ended_ms) FROM span
        UNION ALL SELECT max(began_ms) FROM gap UNION ALL SELECT max(ended_ms) FROM gap
        UNION ALL SELECT max(raised_ms) FROM alarm WHERE rule <> 'host_silent'
        UNION ALL SELECT max(returned_ms) FROM alarm
        UNION ALL SELECT max(at_ms) FROM tool_disagreement
        UNION ALL SELECT max(at_ms) FROM job_file UNION ALL SELECT max(dropped_ms) FROM job_file)";
    db.query_row(SQL, [], |row| row.get::<_, Option<i64>>(0)).unwrap().map(Timestamp::from_ms)
}

/// That the file is whole, to the last reference.
pub(crate) fn check_sound(db: &Connection, context: &str) {
    let sound: String = db.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(sound, "ok", "{context}");
    let mut strays = db.prepare("PRAGMA foreign_key_check").unwrap();
    assert!(!strays.exists([]).unwrap(), "{context}: a row names one that is not there");
}
