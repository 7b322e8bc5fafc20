//! Prints as a list asks for them: of one printer, of one ending, by what people said, by name and time, a page at a
//! time; and those that nobody has spoken of. The rule of which words stand is written here once more, as SQL, so that a
//! list counts without reading every print's words; a test holds both against one another.

use super::{PrintRow, Reader, StoreError, ms_or};
use crate::entry::{Mode, PrintEnd, PrinterName};
use dwell_analysis::time::Timestamp;
use rusqlite::params;

/// What was said of a print, as far as it stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SaidOf {
    /// That it was clean, and nothing else.
    Clean,
    /// Any failure.
    Failure,
    /// This failure mode, or `clean` of any tool.
    Mode(Mode),
    /// Nothing, though it has ended.
    Nothing,
}

/// How a print that is looked for ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EndedAs {
    /// It runs.
    Running,
    /// So.
    End(PrintEnd),
}

/// Which prints.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PrintSearch {
    /// Of this printer alone.
    pub printer: Option<PrinterName>,
    /// That ended so.
    pub end: Option<EndedAs>,
    /// Of which that was said.
    pub said: Option<SaidOf>,
    /// Whose name has this in it, whatever the case of A to Z.
    pub name: Option<String>,
    /// Begun at or after.
    pub from: Option<Timestamp>,
    /// Begun before.
    pub to: Option<Timestamp>,
}

/// A page of a list.
#[derive(Clone, Debug)]
pub struct PrintsFound {
    /// Newest first.
    pub rows: Vec<PrintRow>,
    /// How many there are on all pages.
    pub n_found: u32,
    /// How many prints the record has.
    pub n_all: u32,
}

/// A word that was not taken back and that no later one replaces.
macro_rules! standing {
    ($of:literal) => {
        concat!(
            "SELECT 1 FROM outcome AS word WHERE word.print = print.id AND word.undone_ms IS NULL AND ",
            $of,
            " AND NOT EXISTS (SELECT 1 FROM outcome AS later WHERE later.print = word.print AND later.undone_ms IS NULL
            AND (later.at_ms, later.id) > (word.at_ms, word.id) AND CASE
            WHEN later.mode = 'clean' THEN later.tool IS NULL OR later.tool IS word.tool
            WHEN word.mode = 'clean' THEN later.tool IS NULL OR word.tool IS NULL OR later.tool IS word.tool
            ELSE later.tool IS word.tool AND later.mode = word.mode END)"
        )
    };
}

const WHICH: &str = concat!(
    "FROM print WHERE (?1 IS NULL OR printer = (SELECT id FROM printer WHERE name = ?1))
    AND started_ms >= ?2 AND started_ms < ?3 AND (?4 IS NULL OR instr(lower(name), lower(?4)) > 0)
    AND (?5 IS NULL OR ifnull(end, 'running') = ?5)
    AND CASE ?6 WHEN 'any' THEN TRUE
    WHEN 'nothing' THEN ended_ms IS NOT NULL AND NOT EXISTS
        (SELECT 1 FROM outcome WHERE outcome.print = print.id AND undone_ms IS NULL)
    WHEN 'failure' THEN EXISTS (",
    standing!("word.mode <> 'clean'"),
    ") WHEN 'clean' THEN EXISTS (",
    standing!("word.mode = 'clean'"),
    ") AND NOT EXISTS (",
    standing!("word.mode <> 'clean'"),
    ") ELSE EXISTS (",
    standing!("word.mode = ?7"),
    ") END"
);

impl Reader {
    /// A page of the prints that are looked for, newest first: so many after the first `skipped`.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn find_prints(&self, which: &PrintSearch, skipped: u32, n: u32) -> Result<PrintsFound, StoreError> {
        let printer = which.printer.as_ref().map(PrinterName::as_str);
        let end = which.end.map(|end| match end {
            EndedAs::Running => "running",
            EndedAs::End(end) => end.word(),
        });
        let (said, mode) = match which.said {
            None => ("any", None),
            Some(SaidOf::Nothing) => ("nothing", None),
            Some(SaidOf::Failure) => ("failure", None),
            Some(SaidOf::Clean) => ("clean", None),
            Some(SaidOf::Mode(mode)) => ("mode", Some(mode.word())),
        };
        let (from, to) = (ms_or(which.from, i64::MIN), ms_or(which.to, i64::MAX));
        let key = params![printer, from, to, which.name, end, said, mode];
        let count = format!("SELECT count(*) {WHICH}");
        let n_found = self.db.prepare_cached(&count)?.query_row(key, |row| row.get(0))?;
        let page = format!("SELECT id {WHICH} ORDER BY started_ms DESC, id DESC LIMIT {n} OFFSET {skipped}");
        let ids = self.db.prepare(&page)?.query_map(key, |row| row.get(0))?.collect::<rusqlite::Result<Vec<i64>>>()?;
        let n_all = self.db.prepare_cached("SELECT count(*) FROM print")?.query_row([], |row| row.get(0))?;
        Ok(PrintsFound { rows: self.prints_of(&ids)?, n_found, n_all })
    }

    /// The newest prints that ended after an instant and of which no word stands, and how many there are.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn unreported_prints(&self, after: Option<Timestamp>, n: u32) -> Result<(Vec<PrintRow>, u32), StoreError> {
        const WHICH: &str = "FROM print WHERE ended_ms > ?1 AND NOT EXISTS
            (SELECT 1 FROM outcome WHERE outcome.print = print.id AND undone_ms IS NULL)";
        let key = [ms_or(after, i64::MIN)];
        let count = format!("SELECT count(*) {WHICH}");
        let n_found = self.db.prepare_cached(&count)?.query_row(key, |row| row.get(0))?;
        let page = format!("SELECT id {WHICH} ORDER BY started_ms DESC, id DESC LIMIT {n}");
        let ids = self.db.prepare(&page)?.query_map(key, |row| row.get(0))?.collect::<rusqlite::Result<Vec<i64>>>()?;
        Ok((self.prints_of(&ids)?, n_found))
    }

    fn prints_of(&self, ids: &[i64]) -> Result<Vec<PrintRow>, StoreError> {
        ids.iter().filter_map(|id| self.print(*id).transpose()).collect()
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use crate::entry::{HotEnd, Outcome, ToolNumber, Undo};
    use crate::store::{Commit, Store, in_force, is_failure};
    use crate::tracker::Effect;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    const PRINTS: i64 = 60;

    type Says = fn(&[crate::store::OutcomeRow], &PrintRow) -> bool;

    fn bench() -> PrinterName {
        PrinterName::new("bench").unwrap()
    }

    fn started(nth: i64) -> Timestamp {
        Timestamp::from_ms(1_772_438_400_000 + nth * 3_600_000)
    }

    /// Prints of which anything was said, in any order, and some of it taken back; the last one runs.
    fn record() -> (tempfile::TempDir, Store) {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("record.db")).unwrap();
        store.ensure_printer(&bench(), HotEnd::Separate, 2).unwrap();
        let mut rng = ChaCha8Rng::seed_from_u64(8);
        for nth in 0..PRINTS {
            let (started, name) = (started(nth), if nth % 3 == 0 { "Lantern 50%.gcode" } else { "gull.gcode" });
            let mut effects = vec![Effect::PrintStarted { started, name: Some(name.into()) }];
            if nth + 1 < PRINTS {
                let end = if nth % 4 == 0 { PrintEnd::Cancelled } else { PrintEnd::Completed };
                let at = Timestamp::from_ms(started.as_ms() + 60_000);
                effects.push(Effect::PrintEnded { started, at, end, fraction_millionths: None });
            }
            store.commit(Commit { printer: bench(), effects, alarms: Vec::new(), notices: false }).unwrap();
            for second in 0..rng.random_range(0..5) {
                let at = Timestamp::from_ms(started.as_ms() + 61_000 + second * 1000);
                let tool = [None, ToolNumber::new(0), ToolNumber::new(1)][rng.random_range(0..3)];
                let mode = [Mode::Clean, Mode::Jam, Mode::Blob][rng.random_range(0..3)];
                let job: std::sync::Arc<str> = name.into();
                let said = Outcome { at, job: job.clone(), started, tool, mode, severity: None, note: None };
                store.record_outcome(&bench(), &said).unwrap();
                if rng.random_bool(0.3) {
                    store.undo(&bench(), &Undo { at, job, started, said: at, tool, mode }).unwrap();
                }
            }
        }
        (folder, store)
    }

    #[test]
    fn a_list_by_what_was_said_finds_exactly_the_prints_whose_standing_words_say_so() {
        let (_folder, store) = record();
        let reader = store.reader().unwrap();
        let all = reader.find_prints(&PrintSearch::default(), 0, 100).unwrap();
        assert_eq!((all.rows.len(), all.n_found, all.n_all), (60, 60, 60));
        let cases: [(SaidOf, Says); 5] = [
            (SaidOf::Clean, |words, _| !words.is_empty() && words.iter().all(|word| word.mode == Mode::Clean)),
            (SaidOf::Failure, |words, _| words.iter().any(|word| is_failure(word.mode))),
            (SaidOf::Mode(Mode::Jam), |words, _| words.iter().any(|word| word.mode == Mode::Jam)),
            (SaidOf::Mode(Mode::Clean), |words, _| words.iter().any(|word| word.mode == Mode::Clean)),
            (SaidOf::Nothing, |words, print| words.is_empty() && print.ended.is_some()),
        ];
        for (said, says) in cases {
            let found =
                reader.find_prints(&PrintSearch { said: Some(said), ..PrintSearch::default() }, 0, 100).unwrap();
            let ids: Vec<i64> = found.rows.iter().map(|row| row.id).collect();
            let wanted = all.rows.iter().filter(|row| says(&in_force(&row.outcomes), row));
            let wanted: Vec<i64> = wanted.map(|row| row.id).collect();
            assert!(!wanted.is_empty() && wanted.len() < 60, "{said:?}");
            assert_eq!((ids, usize::try_from(found.n_found).unwrap()), (wanted.clone(), wanted.len()), "{said:?}");
        }
        let (strip, n) = reader.unreported_prints(None, 100).unwrap();
        let silent = reader.find_prints(&PrintSearch { said: Some(SaidOf::Nothing), ..PrintSearch::default() }, 0, 100);
        let ids = |rows: &[PrintRow]| rows.iter().map(|row| row.id).collect::<Vec<_>>();
        assert_eq!((ids(&strip), n), (ids(&silent.as_ref().unwrap().rows), silent.unwrap().n_found));
    }

    #[test]
    fn pages_follow_one_another_and_each_filter_narrows() {
        let (_folder, store) = record();
        let reader = store.reader().unwrap();
        let count = |which: PrintSearch| reader.find_prints(&which, 0, 0).unwrap().n_found;
        let name = |name: &str| count(PrintSearch { name: Some(name.to_owned()), ..PrintSearch::default() });
        assert_eq!((name("lantern"), name("50%"), name("5_%"), name("gull")), (20, 20, 0, 40));
        let end = |end| count(PrintSearch { end: Some(end), ..PrintSearch::default() });
        assert_eq!((end(EndedAs::Running), end(EndedAs::End(PrintEnd::Cancelled))), (1, 15));
        let (from, to) = (Some(started(10)), Some(started(20)));
        let which = PrintSearch { from, to, ..PrintSearch::default() };
        assert_eq!(count(which.clone()), 10);
        assert_eq!(count(PrintSearch { printer: PrinterName::new("gull"), ..PrintSearch::default() }), 0);
        let page = |skipped| reader.find_prints(&which, skipped, 4).unwrap().rows;
        let starts: Vec<i64> = [0, 4, 8].into_iter().flat_map(page).map(|row| row.started.as_ms()).collect();
        assert_eq!(starts, (10..20).rev().map(|nth| started(nth).as_ms()).collect::<Vec<_>>());
    }
}
