//! The job file of a print: written once, read whole. Owns its rows and the packing of its turns.

use super::{Reader, StoreError};
use crate::entry::{FileTool, FileTurn, JobFile, JobFileFrom, PrinterName, ToolNumber};
use crate::points::{Point, pass};
use crate::stamp;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CubicMm, Millimetres, Seconds};
use rusqlite::{Connection, OptionalExtension, Row};
use std::sync::Arc;

/// A turn as it is packed: its tool, and its byte and milliseconds less those of the turn before.
type PackedTurn = (u8, u64, i64);

/// A turns' body that does not unpack: the file is damaged.
#[derive(Debug, thiserror::Error)]
#[error("a job file's turns do not unpack")]
pub(super) struct Damaged;

/// What is stored of a print's job file.
#[derive(Clone, Debug, PartialEq)]
pub struct JobFileRow {
    /// The job file.
    pub file: JobFile,
    /// When the host was found to read beyond its end: it is not this print's file, and nothing is placed by it since.
    pub dropped: Option<Timestamp>,
}

/// A stretch in which the host and the job file did not agree on the tool at work; the host was believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DisagreementRow {
    /// When it had lasted for long enough to be told.
    pub at: Timestamp,
    /// The tool by the host.
    pub host: ToolNumber,
    /// The tool by the job file.
    pub file: ToolNumber,
}

/// Writes the job file of the print that began then; the first one of a print counts.
pub(super) fn record(db: &mut Connection, printer: &PrinterName, file: &JobFile) -> Result<(), StoreError> {
    const FIND: &str = "SELECT print.id FROM print JOIN printer ON printer.id = print.printer
        WHERE printer.name = ?1 AND started_ms = ?2";
    const INSERT: &str = "INSERT OR IGNORE INTO job_file (print, at_ms, name, source, bytes, expected_ms, turns)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
    let step = db.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
    let key = (printer.as_str(), file.started.as_ms());
    let print: Option<i64> = step.prepare_cached(FIND)?.query_row(key, |row| row.get(0)).optional()?;
    let print = print.ok_or_else(|| StoreError::NoPrintOfFile {
        printer: printer.to_string(),
        started: stamp::write(file.started),
    })?;
    let n = step.prepare_cached(INSERT)?.execute((
        print,
        file.at.as_ms(),
        &*file.name,
        file.from.word(),
        i64::try_from(file.bytes).unwrap_or(i64::MAX),
        ms(file.expected),
        pack(&file.turns),
    ))?;
    for tool in file.tools.iter().filter(|_| n > 0) {
        record_tool(&step, print, tool)?;
    }
    pass(Point::JobFileWritten);
    step.commit()?;
    pass(Point::JobFileCommitted);
    Ok(())
}

fn record_tool(db: &Connection, print: i64, tool: &FileTool) -> Result<(), StoreError> {
    const SQL: &str = "INSERT INTO job_file_tool (print, tool, material, print_c, standby_c, retract_mm,
        retract_mm_s, prime_mm3, ooze_shield, dried, left_n, left_hot_n)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)";
    let settings = &tool.settings;
    db.prepare_cached(SQL)?.execute((
        print,
        i64::try_from(tool.tool.idx()).unwrap_or(i64::MAX),
        settings.material.as_deref(),
        settings.print.map(Celsius::get),
        settings.standby.map(Celsius::get),
        settings.retract.map(Millimetres::get),
        settings.retract_mm_s,
        settings.prime.map(CubicMm::get),
        settings.ooze_shield,
        settings.dried,
        tool.left,
        tool.left_hot,
    ))?;
    Ok(())
}

impl Reader {
    /// A print's job file, if it is known.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn job_file(&self, print: i64) -> Result<Option<JobFileRow>, StoreError> {
        const SQL: &str = "SELECT at_ms, job_file.name, started_ms, source, bytes, expected_ms, turns, dropped_ms
            FROM job_file JOIN print ON print.id = job_file.print WHERE print = ?1";
        let mut statement = self.db.prepare_cached(SQL)?;
        let row = |row: &Row<'_>| Ok((file(row)?, row.get::<_, Vec<u8>>(6)?, row.get::<_, Option<i64>>(7)?));
        let Some((mut file, turns, dropped)) = statement.query_row([print], row).optional()? else { return Ok(None) };
        file.turns = unpack(&turns)?;
        file.tools = self.job_file_tools(print)?;
        Ok(Some(JobFileRow { file, dropped: dropped.map(Timestamp::from_ms) }))
    }

    /// The job files of a printer's prints that began at `from` or later, in the order in which they were read.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn job_files(&self, printer: &PrinterName, from: Option<Timestamp>) -> Result<Vec<JobFile>, StoreError> {
        const SQL: &str = "SELECT job_file.print FROM job_file JOIN print ON print.id = job_file.print
            JOIN printer ON printer.id = print.printer WHERE printer.name = ?1 AND started_ms >= ?2
            ORDER BY at_ms, started_ms";
        let mut statement = self.db.prepare_cached(SQL)?;
        let key = (printer.as_str(), super::read::ms_or(from, i64::MIN));
        let prints = statement.query_map(key, |row| row.get(0))?.collect::<rusqlite::Result<Vec<i64>>>()?;
        let rows = prints.into_iter().filter_map(|print| self.job_file(print).transpose());
        rows.map(|row| row.map(|row| row.file)).collect()
    }

    /// Where the host and a print's job file did not agree on the tool at work, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn disagreements(&self, print: i64) -> Result<Vec<DisagreementRow>, StoreError> {
        const SQL: &str = "SELECT at_ms, host_tool, file_tool FROM tool_disagreement WHERE print = ?1 ORDER BY at_ms";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([print], |row| {
            let (host, file) = (super::read::tool(row, 1)?, super::read::tool(row, 2)?);
            Ok(DisagreementRow { at: Timestamp::from_ms(row.get(0)?), host, file })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    fn job_file_tools(&self, print: i64) -> Result<Vec<FileTool>, StoreError> {
        const SQL: &str = "SELECT tool, material, print_c, standby_c, retract_mm, retract_mm_s, prime_mm3, ooze_shield,
            dried, left_n, left_hot_n FROM job_file_tool WHERE print = ?1 ORDER BY tool";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([print], |row| {
            let settings = super::read::settings(row, 1)?;
            Ok(FileTool { tool: super::read::tool(row, 0)?, settings, left: row.get(9)?, left_hot: row.get(10)? })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

/// Without its turns and tools.
fn file(row: &Row<'_>) -> rusqlite::Result<JobFile> {
    let from = JobFileFrom::of_word(&row.get::<_, String>(3)?);
    Ok(JobFile {
        at: Timestamp::from_ms(row.get(0)?),
        name: Arc::from(row.get::<_, String>(1)?),
        started: Timestamp::from_ms(row.get(2)?),
        from: super::read::word(from, "source")?,
        bytes: row.get::<_, i64>(4)?.cast_unsigned(),
        expected: super::read::seconds(row.get(5)?),
        turns: Vec::new(),
        tools: Vec::new(),
    })
}

fn pack(turns: &[FileTurn]) -> Vec<u8> {
    let (mut byte, mut at) = (0_u64, 0_i64);
    let packed: Vec<PackedTurn> = turns
        .iter()
        .map(|turn| {
            let after = (turn.byte.wrapping_sub(byte), ms(turn.at).wrapping_sub(at));
            (byte, at) = (turn.byte, ms(turn.at));
            (u8::try_from(turn.tool.idx()).unwrap_or(u8::MAX), after.0, after.1)
        })
        .collect();
    #[expect(clippy::expect_used, reason = "plain numbers always serialize into memory")]
    postcard::to_stdvec(&packed).expect("turns are numbers only")
}

pub(super) fn unpack(body: &[u8]) -> Result<Vec<FileTurn>, Damaged> {
    let packed: Vec<PackedTurn> = postcard::from_bytes(body).map_err(|_| Damaged)?;
    let (mut byte, mut at) = (0_u64, 0_i64);
    let turn = |(tool, bytes, ms): PackedTurn| {
        (byte, at) = (byte.wrapping_add(bytes), at.wrapping_add(ms));
        let tool = ToolNumber::new(usize::from(tool)).ok_or(Damaged)?;
        Ok(FileTurn { tool, byte, at: super::read::seconds(at) })
    };
    packed.into_iter().map(turn).collect()
}

#[expect(clippy::as_conversions, clippy::cast_possible_truncation, reason = "float-to-int casts saturate")]
fn ms(length: Seconds) -> i64 {
    (length.get() * 1000.0).round() as i64
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::Settings;
    use crate::store::{Commit, Store};
    use crate::tracker::Effect;

    const START: Timestamp = Timestamp::from_ms(1_772_438_400_000);

    fn file() -> JobFile {
        let tool = |number| ToolNumber::new(number).unwrap();
        let turn = |number, byte, at| FileTurn { tool: tool(number), byte, at: Seconds::new(at) };
        let settings =
            Settings { print: Some(Celsius::new(215.0)), retract: Some(Millimetres::new(0.8)), ..Settings::default() };
        JobFile {
            at: START + Seconds::new(4.0),
            name: Arc::from("lantern.gcode"),
            started: START,
            from: JobFileFrom::Host,
            bytes: 1_000_000_007,
            expected: Seconds::new(3_671.204),
            turns: vec![turn(0, 0, -61.503), turn(1, 913, 12.081), turn(0, 999_999_999, 3_600.0)],
            tools: vec![FileTool { tool: tool(1), settings, left: 12, left_hot: 3 }],
        }
    }

    #[test]
    fn a_job_file_is_read_as_it_was_written_and_the_first_of_a_print_counts() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("record.db")).unwrap();
        let bench = PrinterName::new("bench").unwrap();
        store.ensure_printer(&bench, crate::entry::HotEnd::Separate, 2).unwrap();
        let refused = store.record_job_file(&bench, &file()).unwrap_err();
        assert!(matches!(refused, StoreError::NoPrintOfFile { .. }), "{refused}");
        let began = Effect::PrintStarted { started: START, name: None };
        let commit = |effects| Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false };
        store.commit(commit(vec![began])).unwrap();
        store.record_job_file(&bench, &file()).unwrap();
        store.record_job_file(&bench, &JobFile { bytes: 5, tools: Vec::new(), ..file() }).unwrap();
        let print = store.reader().unwrap().prints(&crate::store::PrintFilter::default()).unwrap().remove(0);
        assert_eq!((print.expected, print.job_file), (Some(file().expected), Some(JobFileFrom::Host)));
        let (host, at) = (ToolNumber::new(0).unwrap(), START + Seconds::new(9.0));
        let told = Effect::ToolDisagreed { started: START, at, host, file: ToolNumber::new(1).unwrap() };
        store.commit(commit(vec![told, Effect::JobFileDropped { started: START, at }])).unwrap();
        let reader = store.reader().unwrap();
        let print = reader.prints(&crate::store::PrintFilter::default()).unwrap().remove(0);
        assert_eq!(reader.job_file(print.id).unwrap(), Some(JobFileRow { file: file(), dropped: Some(at) }));
        // Dropped, it says nothing of the print.
        assert_eq!((print.expected, print.job_file), (None, None));
        assert_eq!((print.disagreements, reader.disagreements(print.id).unwrap()[0].host), (1, host));
        assert_eq!(reader.job_files(&bench, Some(START)).unwrap(), [file()]);
        assert_eq!(reader.job_files(&bench, Some(at)).unwrap(), []);
    }

    /// What is stored can be written to a journal and read from it again.
    #[test]
    fn a_set_point_that_no_heater_has_is_left_out_and_no_column_takes_it() {
        let hot = |degrees| {
            let mut file = file();
            file.tools[0].settings.print = Some(Celsius::new(degrees));
            file.tools[0].settings.standby = Some(Celsius::new(-300.0));
            file
        };
        let asked = |degrees| hot(degrees).rounded().tools.remove(0).settings;
        assert_eq!((asked(5000.0).print, asked(f64::NAN).print, asked(5000.0).standby), (None, None, None));
        assert_eq!(asked(999.9994).print, Some(Celsius::new(999.999)));
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("record.db")).unwrap();
        let bench = PrinterName::new("bench").unwrap();
        store.ensure_printer(&bench, crate::entry::HotEnd::Separate, 2).unwrap();
        let effects = vec![Effect::PrintStarted { started: START, name: None }];
        store.commit(Commit { printer: bench.clone(), effects, alarms: Vec::new(), notices: false }).unwrap();
        assert!(store.record_job_file(&bench, &hot(5000.0)).is_err());
        store.record_job_file(&bench, &hot(5000.0).rounded()).unwrap();
    }

    #[test]
    fn damaged_turns_are_refused() {
        assert!(unpack(&[200, 1, 1]).is_err());
        assert!(unpack(&pack(&[]).into_iter().chain([0; 0]).collect::<Vec<_>>()).unwrap().is_empty());
        // A tool's number beyond the most.
        assert!(unpack(&[1, 16, 0, 0]).is_err());
    }
}
