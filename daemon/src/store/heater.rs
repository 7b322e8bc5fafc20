//! What was known of a printer's heaters: written once it is new, read whole. Owns its rows.

use super::read::{tool, word};
use super::writer::Writer;
use super::{Reader, Store, StoreError};
use crate::entry::{HeaterFact, PrinterName};
use crate::points::{Point, pass};
use dwell_analysis::thermal::Heater;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, CelsiusDelta, Seconds};

impl Store {
    /// Records what is known of a heater. A later word on the same instant takes its place.
    ///
    /// # Errors
    /// If the record can't be written.
    pub fn record_heater(&self, printer: &PrinterName, fact: &HeaterFact) -> Result<(), StoreError> {
        let (printer, fact) = (printer.clone(), *fact);
        self.call(move |writer| record(writer, &printer, &fact))
    }

    /// [`Self::record_heater`], without holding up the runtime.
    ///
    /// # Errors
    /// As [`Self::record_heater`].
    pub async fn record_heater_async(&self, printer: &PrinterName, fact: &HeaterFact) -> Result<(), StoreError> {
        let (printer, fact) = (printer.clone(), *fact);
        self.call_async(move |writer| record(writer, &printer, &fact)).await
    }
}

/// The readings before it first: it names the newest of them.
fn record(writer: &mut Writer, printer: &PrinterName, fact: &HeaterFact) -> Result<(), StoreError> {
    const SQL: &str = "INSERT OR REPLACE INTO heater_fact (printer, tool, at_ms, time_constant_s, cooling_constant_s,
        gain_k, dead_time_s, cooling_dead_time_s, surroundings_c, heating_spread, n)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)";
    writer.flush()?;
    let id = writer.printer(printer, fact.tool.idx() + 1)?;
    let Heater { time_constant, cooling_constant, gain, dead_time, cooling_dead_time } = fact.heater;
    writer.db.prepare_cached(SQL)?.execute((
        id,
        i64::try_from(fact.tool.idx()).unwrap_or(i64::MAX),
        fact.at.as_ms(),
        time_constant.get(),
        cooling_constant.get(),
        gain.get(),
        dead_time.get(),
        cooling_dead_time.get(),
        fact.surroundings.get(),
        fact.heating_spread,
        i64::try_from(fact.n).unwrap_or(i64::MAX),
    ))?;
    pass(Point::WordRecorded);
    writer.board.moved();
    Ok(())
}

impl Reader {
    /// All that was known of a printer's heaters, in time order.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn heater_facts(&self, printer: &PrinterName) -> Result<Vec<HeaterFact>, StoreError> {
        const SQL: &str = "SELECT tool, at_ms, time_constant_s, cooling_constant_s, gain_k, dead_time_s,
            cooling_dead_time_s, surroundings_c, heating_spread, n
            FROM heater_fact JOIN printer ON printer.id = heater_fact.printer WHERE name = ?1 ORDER BY at_ms, tool";
        let mut statement = self.db.prepare_cached(SQL)?;
        let rows = statement.query_map([printer.as_str()], |row| {
            let seconds = |column| row.get(column).map(Seconds::new);
            Ok(HeaterFact {
                tool: tool(row, 0)?,
                at: Timestamp::from_ms(row.get(1)?),
                heater: Heater {
                    time_constant: seconds(2)?,
                    cooling_constant: seconds(3)?,
                    gain: CelsiusDelta::new(row.get(4)?),
                    dead_time: seconds(5)?,
                    cooling_dead_time: seconds(6)?,
                },
                surroundings: Celsius::new(row.get(7)?),
                heating_spread: row.get(8)?,
                n: word(usize::try_from(row.get::<_, i64>(9)?).ok(), "n")?,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}
