//! Whom alarms called, and who saw to them: from the changes of their states.

use super::{Reader, StoreError, ms_or, word};
use crate::alarm::State;
use dwell_analysis::time::Timestamp;

/// What the changes of an alarm's state tell of it.
#[derive(Clone, Copy, Debug)]
pub struct AlarmCall {
    /// The alarm's number.
    pub alarm: i64,
    /// The state that it was raised into.
    pub born: State,
    /// When it first called somebody.
    pub called: Option<Timestamp>,
    /// When a person first did anything with it.
    pub touched: Option<Timestamp>,
}

impl Reader {
    /// What is known of each alarm that stood at any time in a stretch and whose changes are on record.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn alarm_calls(&self, from: Timestamp, to: Option<Timestamp>) -> Result<Vec<AlarmCall>, StoreError> {
        const SQL: &str = "SELECT alarm.id,
            (SELECT to_state FROM alarm_change WHERE alarm_change.alarm = alarm.id ORDER BY id LIMIT 1),
            (SELECT min(at_ms) FROM alarm_change WHERE alarm_change.alarm = alarm.id AND to_state = 'unacknowledged'),
            (SELECT min(at_ms) FROM alarm_change WHERE alarm_change.alarm = alarm.id AND by <> 'dwellwatch')
            FROM alarm WHERE (returned_ms IS NULL OR returned_ms >= ?1) AND raised_ms < ?2
                AND EXISTS (SELECT 1 FROM alarm_change WHERE alarm_change.alarm = alarm.id) ORDER BY alarm.id";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([from.as_ms(), ms_or(to, i64::MAX)], |row| {
            Ok(AlarmCall {
                alarm: row.get(0)?,
                born: word(State::of_word(&row.get::<_, String>(1)?), "to_state")?,
                called: row.get::<_, Option<i64>>(2)?.map(Timestamp::from_ms),
                touched: row.get::<_, Option<i64>>(3)?.map(Timestamp::from_ms),
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}
