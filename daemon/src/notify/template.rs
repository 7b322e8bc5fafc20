//! A webhook's body in the receiver's own shape: a text with `{{ … }}` in it. Owns what a template may name; a name that
//! is none is an error, and no gap.

use super::message::{Message, SendContext};
use crate::alarm::{Priority, Rule};
use minijinja::{Environment, UndefinedBehavior};
use serde_json::{Value, json};

/// A template that has been tried out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template(String);

/// What a notice has for a template; what an alarm does not have is null.
const FIELDS: [&str; 14] = [
    "alarm",
    "rule",
    "priority",
    "printer",
    "tool",
    "at",
    "raised",
    "was",
    "cause",
    "consequence",
    "action",
    "safety",
    "key",
    "links",
];
/// Where links may lead; null without an address, `page` with one that is not of this machine too.
const LINKS: [&str; 3] = ["page", "acknowledge", "shelve"];

impl Template {
    /// Tries a template out on one message of each kind.
    ///
    /// # Errors
    /// In words, if it can't be read, or names what there is not.
    pub fn new(text: String) -> Result<Self, String> {
        let template = Self(text);
        for sample in samples() {
            template.filled(&sample)?;
        }
        Ok(template)
    }

    /// The body for a message.
    pub(super) fn render(&self, message: &Message, context: &SendContext) -> Result<String, String> {
        self.filled(&variables(&message.json(context)))
    }

    fn filled(&self, variables: &Value) -> Result<String, String> {
        let mut environment = Environment::new();
        environment.set_undefined_behavior(UndefinedBehavior::Strict);
        environment.render_named_str("template", &self.0, filling(variables)).map_err(|error| {
            let line = error.line().map_or_else(String::new, |line| format!("line {line}: "));
            format!("{line}{}", error.detail().map_or_else(|| error.kind().to_string(), str::to_owned))
        })
    }
}

/// What a template may name: the message's kind, key and time, how many notices, the notices in order, and of the last,
/// which is the one of a single message, every field by itself.
fn variables(message: &Value) -> Value {
    let notices = match message.get("notices").and_then(Value::as_array) {
        Some(notices) => notices.iter().map(whole).collect(),
        None if message["kind"] == "test" => Vec::new(),
        None => vec![whole(message)],
    };
    let mut variables = notices.last().cloned().unwrap_or_else(|| whole(&json!({})));
    for name in ["kind", "key", "made"] {
        variables[name] = message[name].clone();
    }
    variables["n"] = notices.len().into();
    variables["dropped"] = message.get("dropped").cloned().unwrap_or_else(|| 0.into());
    variables["words"] = message.get("words").cloned().unwrap_or(Value::Null);
    variables["notices"] = notices.into();
    variables
}

/// JSON as the template engine takes it.
fn filling(json: &Value) -> minijinja::Value {
    match json {
        Value::Null => minijinja::Value::from(()),
        Value::Bool(is_true) => (*is_true).into(),
        Value::Number(number) => match number.as_i64() {
            Some(whole) => whole.into(),
            None => number.as_f64().into(),
        },
        Value::String(text) => text.as_str().into(),
        Value::Array(items) => items.iter().map(filling).collect(),
        Value::Object(pairs) => {
            minijinja::Value::from_pairs(pairs.iter().map(|(name, value)| (name.as_str(), filling(value))))
        }
    }
}

/// A notice with every field, null where it has none.
fn whole(notice: &Value) -> Value {
    let of = |name: &&str| ((*name).to_owned(), notice.get(*name).cloned().unwrap_or(Value::Null));
    let mut whole = Value::Object(FIELDS.iter().map(of).collect());
    let links = &notice["links"];
    let of = |name: &&str| ((*name).to_owned(), links.get(*name).cloned().unwrap_or(Value::Null));
    whole["links"] = Value::Object(LINKS.iter().map(of).collect());
    whole
}

/// One of each kind, the first with everything, the last with nothing.
fn samples() -> [Value; 4] {
    let at = "2026-03-02T08:00:00Z";
    let raised = json!({
        "alarm": "raised", "rule": Rule::IdleHot.word(), "priority": Priority::Medium.word(), "printer": "bench",
        "tool": 1, "at": at, "cause": "T1 \"waits\".", "consequence": "It cooks.", "action": "Cool it.", "safety": "",
        "was": "shelved", "key": "k", "kind": "single", "made": at,
        "links": { "page": "https://bench.example/alarms", "acknowledge": "https://bench.example/a", "shelve": "https://bench.example/s" },
    });
    let returned = json!({
        "alarm": "returned", "rule": Rule::RecordFull.word(), "at": at, "raised": at, "key": "k", "kind": "single",
        "made": at,
    });
    let together = json!({ "kind": "group", "key": "g", "made": at, "n": 2, "notices": [raised, returned] });
    let test = json!({ "kind": "test", "key": "t", "made": at, "words": "A test." });
    [raised, returned, together, test].map(|message| variables(&message))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn a_template_gives_a_receiver_its_own_shape_with_texts_escaped() {
        let text =
            "{\"text\": {{ (printer ~ ': ' ~ cause) | tojson }}, \"n\": {{ n }}, \"to\": {{ links.page | tojson }}}";
        let template = Template::new(text.to_owned()).unwrap();
        let [raised, ..] = samples();
        let body: Value = serde_json::from_str(&template.filled(&raised).unwrap()).unwrap();
        assert_eq!(body, json!({ "text": "bench: T1 \"waits\".", "n": 1, "to": "https://bench.example/alarms" }));
    }

    #[test]
    fn each_kind_can_be_told_apart_and_gone_through() {
        let text = "{% if kind == 'test' %}{{ words }}{% else %}{% for notice in notices %}{{ notice.rule }} \
                    {{ notice.alarm }}{% if not loop.last %}, {% endif %}{% endfor %}{% endif %}";
        let template = Template::new(text.to_owned()).unwrap();
        let told = samples().map(|sample| template.filled(&sample).unwrap());
        assert_eq!(
            told,
            ["idle_hot raised", "record_full returned", "idle_hot raised, record_full returned", "A test."]
        );
    }

    #[test]
    fn a_name_that_is_none_or_a_text_that_is_no_template_is_found_before_any_alarm() {
        for (text, says) in [
            ("one\n{{ casue }}", "line 2: undefined value"),
            ("{{ links.acknowlegde }}", "line 1: "),
            ("{% if kind %}", "unexpected end of input"),
            ("{{ cause | to_json }}", "filter to_json is unknown"),
            ("{{ notices[0].rule }}", "line 1: "),
        ] {
            let found = Template::new(text.to_owned()).unwrap_err();
            assert!(found.contains(says), "{text:?}: {found}");
        }
    }
}
