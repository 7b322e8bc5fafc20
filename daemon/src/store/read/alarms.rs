//! Alarms, what happened to each, and what nobody is to hear of now.

use super::{Reader, StoreError, ms_or, word};
use crate::alarm::{Priority, Rule, State, Subject};
use crate::entry::{PrinterName, ToolNumber, words};
use dwell_analysis::time::Timestamp;
use rusqlite::{Connection, Params, Row};

/// An alarm.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmRow {
    /// Its number.
    pub id: i64,
    /// The printer; `None` is the record itself.
    pub printer: Option<PrinterName>,
    /// What it is about.
    pub subject: Subject,
    /// When it was raised.
    pub raised: Timestamp,
    /// When its condition went away.
    pub returned: Option<Timestamp>,
    /// How soon a person has to act.
    pub priority: Priority,
    /// Where it is in its life.
    pub state: State,
    /// When a person acknowledged it first.
    pub acknowledged: Option<Timestamp>,
    /// Who acknowledged it first.
    pub acknowledged_by: Option<String>,
    /// Whether it was rightly raised, as a person said.
    pub is_right: Option<bool>,
    /// Until when it is shelved; `None` if it is not.
    pub shelved_until: Option<Timestamp>,
    /// What was found.
    pub cause: String,
    /// What it leads to.
    pub consequence: String,
    /// What to do.
    pub action: String,
}

/// Something that happened to an alarm.
#[derive(Clone, Debug, PartialEq)]
pub struct AlarmChangeRow {
    /// When.
    pub at: Timestamp,
    /// Its state before.
    pub from: State,
    /// Its state after; the same if a person said something of it alone.
    pub to: State,
    /// Who did it; `dwellwatch` where no person did.
    pub by: String,
    /// In their words.
    pub why: Option<String>,
}

/// In which way a person lets a rule call nobody.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HoldKind {
    /// For a time.
    Shelved,
    /// Until they bring it back.
    OutOfService,
}
words!(HoldKind { Shelved = "shelved", OutOfService = "out of service" });

/// A time in which a rule calls nobody, because a person said so.
#[derive(Clone, Debug, PartialEq)]
pub struct HoldRow {
    /// The printer; `None` is the record itself.
    pub printer: Option<PrinterName>,
    /// The rule, and the tool.
    pub subject: Subject,
    /// In which way.
    pub kind: HoldKind,
    /// Since when.
    pub began: Timestamp,
    /// Until when; `None` is until a person ends it.
    pub until: Option<Timestamp>,
    /// Who said so.
    pub by: String,
    /// In their words.
    pub why: Option<String>,
}

impl Reader {
    /// Alarms that stood at any time in a stretch, in the order they were raised.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn alarms(&self, from: Option<Timestamp>, to: Option<Timestamp>) -> Result<Vec<AlarmRow>, StoreError> {
        const WHERE: &str = "(returned_ms IS NULL OR returned_ms >= ?1) AND raised_ms < ?2";
        alarms(&self.db, WHERE, [ms_or(from, i64::MIN), ms_or(to, i64::MAX)])
    }

    /// Alarms that a person has yet to look at, and those that nobody is to hear of now, in the order they were raised:
    /// all that are not normal, however long ago their condition went away.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn open_alarms(&self) -> Result<Vec<AlarmRow>, StoreError> {
        alarms(&self.db, "state <> 'normal'", [])
    }

    /// The alarm of that number.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn alarm(&self, id: i64) -> Result<Option<AlarmRow>, StoreError> {
        Ok(alarms(&self.db, "alarm.id = ?1", [id])?.pop())
    }

    /// The alarm that a subject raised at that instant; no printer is the record itself.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn alarm_of(
        &self,
        printer: Option<&PrinterName>,
        subject: Subject,
        raised: Timestamp,
    ) -> Result<Option<AlarmRow>, StoreError> {
        const WHERE: &str = "ifnull(alarm.printer, -1) = ifnull((SELECT id FROM printer WHERE name = ?1), -1)
            AND ifnull(tool, -1) = ifnull(?2, -1) AND rule = ?3 AND raised_ms = ?4 AND name IS ?1";
        let tool = subject.tool.and_then(|tool| i64::try_from(tool.idx()).ok());
        let key = (printer.map(PrinterName::as_str), tool, subject.rule.word(), raised.as_ms());
        Ok(alarms(&self.db, WHERE, key)?.pop())
    }

    /// What happened to an alarm, in order. Alarms of before this was recorded have nothing here.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn alarm_changes(&self, id: i64) -> Result<Vec<AlarmChangeRow>, StoreError> {
        const SQL: &str = "SELECT at_ms, from_state, to_state, by, why FROM alarm_change WHERE alarm = ?1 ORDER BY id";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([id], |row| {
            Ok(AlarmChangeRow {
                at: Timestamp::from_ms(row.get(0)?),
                from: word(State::of_word(&row.get::<_, String>(1)?), "from_state")?,
                to: word(State::of_word(&row.get::<_, String>(2)?), "to_state")?,
                by: row.get(3)?,
                why: row.get(4)?,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// What nobody is to hear of now because a person said so, the oldest first.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn holds(&self) -> Result<Vec<HoldRow>, StoreError> {
        holds(&self.db)
    }

    /// Alarms of the record itself that stand, and when each was raised.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn standing_of_record(&self) -> Result<Vec<(Subject, Timestamp)>, StoreError> {
        const SQL: &str = "SELECT rule, raised_ms FROM alarm WHERE printer IS NULL AND returned_ms IS NULL";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([], |row| {
            let rule = word(Rule::of_word(&row.get::<_, String>(0)?), "rule")?;
            Ok((Subject { rule, tool: None }, Timestamp::from_ms(row.get(1)?)))
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

/// The alarms of which that is true, in the order they were raised.
pub(in crate::store) fn alarms(
    db: &Connection,
    condition: &str,
    values: impl Params,
) -> Result<Vec<AlarmRow>, StoreError> {
    let sql = format!(
        "SELECT alarm.id, name, tool, rule, raised_ms, returned_ms, state, cause, consequence, action, priority,
            acknowledged_ms, marked,
            CASE WHEN acknowledged_ms IS NOT NULL THEN (SELECT by FROM alarm_change WHERE alarm = alarm.id AND (
                from_state = 'unacknowledged' AND to_state = 'acknowledged'
                OR from_state = 'returned unacknowledged' AND to_state = 'normal') ORDER BY alarm_change.id LIMIT 1) END,
            CASE state WHEN 'shelved' THEN (SELECT until_ms FROM alarm_hold AS held WHERE held.printer IS alarm.printer
                AND held.tool IS alarm.tool AND held.rule = alarm.rule AND ended_ms IS NULL) END
        FROM alarm LEFT JOIN printer ON printer.id = alarm.printer WHERE {condition} ORDER BY raised_ms, alarm.id"
    );
    let mut statement = db.prepare_cached(&sql)?;
    let rows = statement.query_map(values, |row| {
        Ok(AlarmRow {
            id: row.get(0)?,
            printer: printer(row, 1)?,
            subject: subject(row, 2)?,
            raised: Timestamp::from_ms(row.get(4)?),
            returned: instant(row, 5)?,
            state: word(State::of_word(&row.get::<_, String>(6)?), "state")?,
            cause: row.get(7)?,
            consequence: row.get(8)?,
            action: row.get(9)?,
            priority: word(Priority::of_word(&row.get::<_, String>(10)?), "priority")?,
            acknowledged: instant(row, 11)?,
            is_right: row.get::<_, Option<String>>(12)?.map(|marked| marked == "right"),
            acknowledged_by: row.get(13)?,
            shelved_until: instant(row, 14)?,
        })
    })?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// The holds that are on.
pub(in crate::store) fn holds(db: &Connection) -> Result<Vec<HoldRow>, StoreError> {
    const SQL: &str = "SELECT name, tool, rule, kind, began_ms, until_ms, by, why
        FROM alarm_hold LEFT JOIN printer ON printer.id = alarm_hold.printer WHERE ended_ms IS NULL ORDER BY alarm_hold.id";
    let mut statement = db.prepare_cached(SQL)?;
    let rows = statement.query_map([], |row| {
        Ok(HoldRow {
            printer: printer(row, 0)?,
            subject: subject(row, 1)?,
            kind: word(HoldKind::of_word(&row.get::<_, String>(3)?), "kind")?,
            began: Timestamp::from_ms(row.get(4)?),
            until: instant(row, 5)?,
            by: row.get(6)?,
            why: row.get(7)?,
        })
    })?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

fn printer(row: &Row<'_>, idx: usize) -> rusqlite::Result<Option<PrinterName>> {
    let name: Option<String> = row.get(idx)?;
    name.map(|name| word(PrinterName::new(&name), "name")).transpose()
}

/// From its two columns: tool and rule.
fn subject(row: &Row<'_>, idx: usize) -> rusqlite::Result<Subject> {
    Ok(Subject {
        rule: word(Rule::of_word(&row.get::<_, String>(idx + 1)?), "rule")?,
        tool: row.get::<_, Option<u8>>(idx)?.and_then(|tool| ToolNumber::new(usize::from(tool))),
    })
}

fn instant(row: &Row<'_>, idx: usize) -> rusqlite::Result<Option<Timestamp>> {
    Ok(row.get::<_, Option<i64>>(idx)?.map(Timestamp::from_ms))
}
