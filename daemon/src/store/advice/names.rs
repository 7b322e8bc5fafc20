//! Names of suggestions. Owns that no two have the same, and that a name once given stays; what a name is made of is the
//! change's.

use crate::change::{setting, slug, suggestion_id};
use crate::entry::{PrinterName, ToolNumber};
use crate::store::{Reader, StoreError};
use dwell_analysis::advice::Change;

/// The names that were given, and those that come next.
pub struct SuggestionNames {
    /// What each printer is called in names, in the order in which the record came to know them.
    printers: Vec<(String, String)>,
    given: Vec<(String, Of)>,
}

/// What a name is of.
#[derive(PartialEq)]
struct Of {
    printer: String,
    tool: ToolNumber,
    /// In small letters: one that is written otherwise is the same.
    material: Option<String>,
    setting: &'static str,
}

impl Of {
    fn new(printer: &PrinterName, tool: ToolNumber, material: Option<&str>, change: &Change) -> Self {
        let material = material.map(str::to_lowercase);
        Self { printer: printer.to_string(), tool, material, setting: setting(change) }
    }
}

impl Reader {
    /// The names of suggestions as the record stands.
    ///
    /// # Errors
    /// If the record can't be read.
    pub fn suggestion_names(&self) -> Result<SuggestionNames, StoreError> {
        let mut statement = self.db.prepare_cached("SELECT name FROM printer ORDER BY id")?;
        let mut printers: Vec<(String, String)> = Vec::new();
        for name in statement.query_map([], |row| row.get::<_, String>(0))? {
            let name = name?;
            let word = free(&slug(&name), |word| printers.iter().any(|(_, taken)| taken == word));
            printers.push((name, word));
        }
        let rows = self.suggestions()?.into_iter();
        let given = rows.map(|row| {
            let of = Of::new(&row.printer, row.tool, row.material.as_deref(), &row.change);
            (row.id, of)
        });
        Ok(SuggestionNames { printers, given: given.collect() })
    }
}

impl SuggestionNames {
    /// The name of a suggestion of this change: the same as long as it is of this tool, material and setting, whatever
    /// value it comes to. The first that comes to it has it, the next gets a number behind it.
    pub fn of(&mut self, printer: &PrinterName, tool: ToolNumber, material: Option<&str>, change: &Change) -> String {
        let of = Of::new(printer, tool, material, change);
        if let Some((id, _)) = self.given.iter().find(|(id, other)| *other == of && !id.starts_with('-')) {
            return id.clone();
        }
        let word = self.printers.iter().find(|(name, _)| *name == of.printer).map(|(_, word)| word.clone());
        let word = word.unwrap_or_else(|| slug(printer.as_str()));
        let plain = suggestion_id(&word, tool, material, change);
        let id = free(&plain, |id| self.given.iter().any(|(taken, _)| taken == id));
        self.given.push((id.clone(), of));
        id
    }
}

/// The word, or the first of it with a number behind it that is not taken.
fn free(word: &str, is_taken: impl Fn(&str) -> bool) -> String {
    let numbered = (2_usize..).map(|nth| format!("{word}-{nth}"));
    let mut all = std::iter::once(word.to_owned()).chain(numbered);
    all.find(|word| !is_taken(word)).unwrap_or_else(|| word.to_owned())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use crate::entry::{HotEnd, PrinterName, ToolNumber};
    use crate::store::{SaidSuggestion, Store};
    use dwell_analysis::advice::{Change, Step};
    use dwell_analysis::time::Timestamp;
    use dwell_analysis::units::Celsius;

    const STANDBY: Change = Change::Standby(Step { from: None, to: Celsius::new(155.0) });
    const TOOL: ToolNumber = ToolNumber::FIRST;

    fn printer(name: &str) -> PrinterName {
        PrinterName::new(name).unwrap()
    }

    fn record(printers: &[&str]) -> (tempfile::TempDir, Store) {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(&folder.path().join("record.db")).unwrap();
        for name in printers {
            store.ensure_printer(&printer(name), HotEnd::Separate, 2).unwrap();
        }
        (folder, store)
    }

    #[test]
    fn names_keep_the_letters_of_any_script_and_begin_with_one() {
        let (_folder, store) = record(&["My Bench №1 - Käche", "my bench 1 k che", "プリンタ", "工房", "№", "!"]);
        let mut names = store.reader().unwrap().suggestion_names().unwrap();
        let mut of = |name, material| names.of(&printer(name), TOOL, material, &STANDBY);
        for (name, material, id) in [
            ("My Bench №1 - Käche", Some("PLA"), "my-bench-1-käche-t0-pla-standby_c"),
            ("my bench 1 k che", Some("PLA"), "my-bench-1-k-che-t0-pla-standby_c"),
            ("プリンタ", Some("PLA"), "プリンタ-t0-pla-standby_c"),
            ("工房", Some("зелёный"), "工房-t0-зелёный-standby_c"),
            ("№", Some("+"), "x-t0-x-standby_c"),
            ("!", None, "x-2-t0-any-standby_c"),
        ] {
            assert_eq!(of(name, material), id);
        }
    }

    #[test]
    fn what_comes_to_a_name_that_is_taken_gets_a_number_that_stays() {
        // As the record came to know them, not by name.
        let (_folder, store) = record(&["gull!", "Gull", "Gull-2"]);
        let said = |name: &str, material: &str| {
            let id = store.reader().unwrap().suggestion_names().unwrap();
            let id = { id }.of(&printer(name), TOOL, Some(material), &STANDBY);
            let material = Some(material.to_owned());
            SaidSuggestion { id, printer: printer(name), tool: TOOL, material, change: STANDBY, body: "{}".to_owned() }
        };
        let ids = || ["Gull", "gull!", "Gull-2"].map(|name| said(name, "PLA").id);
        let expected = ["gull-2-t0-pla-standby_c", "gull-t0-pla-standby_c", "gull-2-2-t0-pla-standby_c"];
        assert_eq!(ids(), expected);
        let mut all = Vec::new();
        // Materials, as they came to be advised of.
        for (material, id) in [
            ("PLA+", "gull-t0-pla-standby_c"),
            ("PLA", "gull-t0-pla-standby_c-2"),
            ("pla", "gull-t0-pla-standby_c-2"),
            ("PLA+", "gull-t0-pla-standby_c"),
        ] {
            let one = said("gull!", material);
            assert_eq!(one.id, id, "{material}");
            all.push(one);
            store.keep_suggestions(all.clone(), Timestamp::from_ms(0)).unwrap();
        }
        store.keep_suggestions(Vec::new(), Timestamp::from_ms(1)).unwrap();
        assert_eq!(said("gull!", "PLA").id, "gull-t0-pla-standby_c-2", "withdrawn");
    }
}
