//! A proposal as the text of a configuration: one comment a field for why, how sure and what else it could be. Owns the
//! layout and the escapes; proposes nothing itself.

use super::certainty::Certainty;
use super::found::SecretPlace;
use super::proposal::{Kind, Place, Proposal, Proposed, SecretSource};
use crate::entry::JobState;
use toml::Value;

/// Comments are cut into lines of this many characters.
const LINE_CHARS: usize = 118;

impl Proposal {
    /// The printer's section, to be put into `dwellwatch.toml`.
    #[must_use]
    pub fn toml(&self) -> String {
        let mut text = String::new();
        comment(
            &mut text,
            "Proposed by `dwellwatch discover`. Read it, change what is wrong, then ask `dwellwatch check`.",
        );
        comment(&mut text, "Not sure means: look at the value while the printer works before you rely on it.");
        text.push('\n');
        text.push_str("[[printer]]\n");
        line(&mut text, "name", &Value::from(self.name.as_str()));
        let (hot_end, certainty, why) = &self.hot_end;
        let other = if *certainty == Certainty::Sure {
            ""
        } else {
            "; \"separate\" is two in, two out, \"shared\" two in, one out"
        };
        comment(&mut text, &format!("{certainty}: {why}{other}"));
        line(&mut text, "hot_end", &Value::from(hot_end.word()));
        if let Some(authority) = &self.authority {
            line(&mut text, "authority_file", &Value::from(authority.as_str()));
        }
        self.secrets(&mut text);
        self.documents(&mut text);
        if let Some(time) = self.field(Kind::Time) {
            text.push('\n');
            self.remark(&mut text, time);
            self.assign(&mut text, "printer.time", &time.places);
        }
        self.job(&mut text);
        self.active_tool(&mut text);
        self.tools(&mut text);
        self.bed(&mut text);
        text
    }

    fn secrets(&self, text: &mut String) {
        let mut headers = Keys::default();
        let mut query = Keys::default();
        let given = self.given.iter().map(|given| (&given.place, Some(&given.source)));
        let asked = self.secrets.iter().map(|secret| (&secret.place, None));
        for (place, source) in given.chain(asked) {
            let (keys, key, form) = match place {
                SecretPlace::Basic => (&mut headers, "Authorization", "basic"),
                SecretPlace::Bearer { header } => (&mut headers, header.as_str(), "bearer"),
                SecretPlace::Header(header) => (&mut headers, header.as_str(), "plain"),
                SecretPlace::Query(key) => (&mut query, key.as_str(), "plain"),
            };
            keys.add(key, form, source, &self.name);
        }
        headers.write(text, "headers");
        query.write(text, "query");
    }

    fn documents(&self, text: &mut String) {
        for (name, address) in self.documents.iter().filter(|(_, address)| !address.is_empty()) {
            text.push_str("\n[[printer.document]]\n");
            line(text, "name", &Value::from(name.as_str()));
            line(text, "url", &Value::from(address.as_str()));
        }
    }

    fn job(&self, text: &mut String) {
        text.push_str("\n[printer.job]\n");
        if let Some(state) = self.field(Kind::State) {
            self.remark(text, state);
            self.assign(text, "state", &state.places);
            self.open_states(text, state);
        } else {
            comment(text, "Needed, and not found: the value that tells whether the printer prints. As an example:");
            comment(
                text,
                "state = { document = \"…\", path = \"/…\", words = { \"…\" = \"printing\", \"…\" = \"none\" } }",
            );
        }
        for (kind, key, example) in [
            (Kind::Name, "name", "name = { document = \"…\", path = \"/…\" }          # the job file's name"),
            (Kind::Fraction, "fraction", "fraction = { document = \"…\", path = \"/…\", scale = 0.01 }  # progress"),
            (
                Kind::Byte,
                "byte",
                "byte = { document = \"…\", path = \"/…\" }          # bytes of the job file read so far",
            ),
        ] {
            self.field_or(text, kind, key, example);
        }
    }

    fn active_tool(&self, text: &mut String) {
        let key = "printer.active_tool";
        match self.field(Kind::ActiveTool) {
            Some(field) => {
                text.push('\n');
                self.remark(text, field);
                self.assign(text, key, &field.places);
            }
            None if self.tools > 1 => {
                text.push('\n');
                comment(text, "Not found: the tool at work.");
                comment(text, "[printer.active_tool]");
                comment(text, "document = \"…\"");
                comment(text, "path = \"/…\"");
            }
            None => {}
        }
    }

    fn tools(&self, text: &mut String) {
        for tool in 0..self.tools.max(1) {
            text.push_str("\n[[printer.tool]]\n");
            let kinds = [
                (Kind::ToolActual(tool), "actual"),
                (Kind::ToolTarget(tool), "target"),
                (Kind::ToolDuty(tool), "duty"),
            ];
            let has_own = kinds.iter().any(|(kind, _)| self.field(*kind).is_some());
            if !has_own && tool > 0 {
                comment(text, "The heater is the first tool's.");
            }
            for (kind, key) in kinds {
                match self.field(kind) {
                    Some(field) => {
                        self.remark(text, field);
                        self.assign(text, key, &field.places);
                    }
                    None if tool == 0 || has_own => {
                        comment(text, &format!("{key} = {{ document = \"…\", path = \"/…\" }}  # not found"));
                    }
                    None => {}
                }
            }
            self.settings(text, tool);
        }
    }

    fn settings(&self, text: &mut String, tool: usize) {
        comment(
            text,
            "[printer.tool.settings]  # what you print with; nothing is read from the host, so leave out what you don't know",
        );
        let told = self.materials.iter().find(|(number, _, _)| *number == tool);
        let beside =
            told.map_or_else(String::new, |(_, material, path)| format!("  # the host has {material:?} at {path} now"));
        comment(text, &format!("material = \"PLA\"{beside}"));
        comment(text, "print_c = 210");
        comment(text, "standby_c = 170");
        comment(text, "retract_mm = 0.8");
    }

    fn bed(&self, text: &mut String) {
        let kinds = [(Kind::BedActual, "actual"), (Kind::BedTarget, "target")];
        if kinds.iter().all(|(kind, _)| self.field(*kind).is_none()) {
            text.push('\n');
            comment(text, "[printer.bed]  # not found");
            return;
        }
        text.push_str("\n[printer.bed]\n");
        for (kind, key) in kinds {
            self.field_or(text, kind, key, &format!("{key} = {{ document = \"…\", path = \"/…\" }}  # not found"));
        }
    }

    fn field_or(&self, text: &mut String, kind: Kind, key: &str, example: &str) {
        match self.field(kind) {
            Some(field) => {
                self.remark(text, field);
                self.assign(text, key, &field.places);
            }
            None => comment(text, example),
        }
    }

    /// Why, how sure, and what else.
    fn remark(&self, text: &mut String, field: &Proposed) {
        comment(text, &format!("{}: {}", field.certainty, field.why));
        if !field.alternatives.is_empty() && field.certainty != Certainty::Sure {
            let others: Vec<String> = field.alternatives.iter().map(|place| self.table(place)).collect();
            comment(text, &format!("else: {}", others.join(" or ")));
        }
    }

    fn open_states(&self, text: &mut String, state: &Proposed) {
        for word in &self.open_words {
            let is_guessed =
                state.places.iter().flat_map(|place| &place.form).any(|(_, value)| value.get(word).is_some());
            let what = if is_guessed {
                "not understood; what stands in words is guessed from what the printer did meanwhile"
            } else {
                "not understood, add it to words"
            };
            comment(text, &format!("{what}: {} = \"…\"", Value::from(word.as_str())));
        }
        let told: Vec<&str> = state
            .places
            .iter()
            .flat_map(|place| &place.form)
            .flat_map(|(_, value)| match value {
                Value::Table(words) => words.values().filter_map(Value::as_str).collect(),
                Value::String(word) => vec![word.as_str()],
                _ => Vec::new(),
            })
            .collect();
        let missing: Vec<&str> =
            JobState::ALL.iter().map(|state| state.word()).filter(|word| !told.contains(word)).collect();
        if !missing.is_empty() {
            let lines: Vec<String> = missing.iter().map(|state| format!("\"…\" = {state:?}")).collect();
            comment(
                text,
                &format!("not seen while watching, add the host's words when you know them: {}", lines.join(", ")),
            );
        }
    }

    fn assign(&self, text: &mut String, key: &str, places: &[Place]) {
        let value = match places {
            [one] => self.table(one),
            several => {
                let lines: Vec<String> =
                    several.iter().map(|place| ["    ", &self.table(place), ",\n"].concat()).collect();
                ["[\n", &lines.concat(), "]"].concat()
            }
        };
        if let Some(name) = key.strip_prefix("printer.") {
            // One place has a table of its own, several are a list of tables.
            match places {
                [one] => {
                    text.push_str(&["[printer.", name, "]\n"].concat());
                    self.pairs(one).iter().for_each(|(key, value)| line(text, key, value));
                }
                several => {
                    for place in several {
                        text.push_str(&["[[printer.", name, "]]\n"].concat());
                        self.pairs(place).iter().for_each(|(key, value)| line(text, key, value));
                    }
                }
            }
            return;
        }
        text.push_str(&[key, " = ", &value, "\n"].concat());
    }

    fn pairs(&self, place: &Place) -> Vec<(String, Value)> {
        let several = self.documents.iter().filter(|(_, address)| !address.is_empty()).count() > 1;
        let name = self.documents.get(place.document).filter(|_| several);
        let mut pairs: Vec<(String, Value)> =
            name.map(|(name, _)| ("document".to_owned(), Value::from(name.as_str()))).into_iter().collect();
        pairs.push(("path".to_owned(), Value::from(place.path.as_str())));
        pairs.extend(place.form.iter().map(|(key, value)| ((*key).to_owned(), value.clone())));
        pairs
    }

    /// The place as an inline table.
    pub(super) fn table(&self, place: &Place) -> String {
        let pairs: Vec<String> =
            self.pairs(place).iter().map(|(key, value)| format!("{} = {}", bare(key), inline(value))).collect();
        format!("{{ {} }}", pairs.join(", "))
    }
}

/// Keys of one table.
#[derive(Default)]
struct Keys {
    lines: Vec<(String, Value)>,
    is_asked: bool,
}

impl Keys {
    /// Adds a key. A host that takes several in one place is content with one.
    fn add(&mut self, key: &str, form: &str, source: Option<&SecretSource>, printer: &str) {
        if self.lines.iter().any(|(known, _)| known.eq_ignore_ascii_case(key)) {
            return;
        }
        let (from, what) = match source {
            Some(SecretSource::Env(variable)) => ("env", variable.clone()),
            Some(SecretSource::File(file)) => ("file", file.clone()),
            None => ("env", variable(printer)),
        };
        self.is_asked |= source.is_none();
        let mut secret = toml::Table::from_iter([(from.to_owned(), Value::from(what))]);
        if form != "plain" {
            secret.insert("form".to_owned(), Value::from(form));
        }
        self.lines.push((key.to_owned(), Value::Table(secret)));
    }

    fn write(&self, text: &mut String, name: &str) {
        if self.lines.is_empty() {
            return;
        }
        text.push_str(&["\n[printer.", name, "]\n"].concat());
        if self.is_asked {
            comment(
                text,
                "The host asks for a key: put it into this variable of the daemon's environment before it starts,",
            );
            comment(
                text,
                "as USER:PASSWORD where the form is \"basic\"; { file = \"key.txt\" } in place of env reads it from a file.",
            );
        }
        self.lines.iter().for_each(|(key, value)| line(text, key, value));
    }
}

/// The variable's name for a printer's key.
fn variable(name: &str) -> String {
    let upper: String =
        name.chars().map(|char| if char.is_ascii_alphanumeric() { char.to_ascii_uppercase() } else { '_' }).collect();
    let begins = upper.chars().next().is_some_and(|first| first.is_ascii_alphabetic());
    if begins { format!("{upper}_KEY") } else { format!("PRINTER_{upper}_KEY") }
}

fn line(text: &mut String, key: &str, value: &Value) {
    text.push_str(&[&bare(key), " = ", &inline(value), "\n"].concat());
}

/// A key as TOML writes it: bare where it may be.
fn bare(key: &str) -> String {
    let is_bare = !key.is_empty() && key.chars().all(|char| char.is_ascii_alphanumeric() || matches!(char, '-' | '_'));
    if is_bare { key.to_owned() } else { Value::from(key).to_string() }
}

fn inline(value: &Value) -> String {
    match value {
        Value::Table(table) => {
            let pairs: Vec<String> =
                table.iter().map(|(key, value)| format!("{} = {}", bare(key), inline(value))).collect();
            format!("{{ {} }}", pairs.join(", "))
        }
        other => other.to_string(),
    }
}

/// A comment; a control character in a host's text must not end it.
fn comment(text: &mut String, words: &str) {
    let clean: String = words.chars().map(|char| if char.is_control() { ' ' } else { char }).collect();
    let mut row = String::from("#");
    for word in clean.split(' ') {
        if row.chars().count() + word.chars().count() >= LINE_CHARS && row.len() > 1 {
            text.push_str(&row);
            text.push('\n');
            row = String::from("#  ");
        }
        row.push(' ');
        row.push_str(word);
    }
    text.push_str(row.trim_end());
    text.push('\n');
}
