//! A webhook's body in the receiver's own shape: a text with `{{ … }}` in it. Owns what a template may name; a name that
//! is none is an error, and no gap.

use super::message::{Message, SendContext};
use crate::alarm::{Priority, Rule};
use minijinja::{Environment, ErrorKind, UndefinedBehavior};
use serde::de::IgnoredAny;
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

/// Steps of filling: a message of 500 notices does not come near, and a loop in a loop in a loop soon does.
const FUEL: u64 = 2_000_000;
/// The media type whose bodies are tried on a parser.
const JSON: &str = "application/json";

impl Template {
    /// Tries a template out on one message of each kind.
    ///
    /// # Errors
    /// In words, if it is empty, can't be read, never ends, names what there is not, or gives no JSON where it has to.
    pub fn new(text: String, content_type: &str) -> Result<Self, String> {
        if text.trim().is_empty() {
            return Err("found an empty template".to_owned());
        }
        let template = Self(text);
        let media_type = content_type.split(';').next().unwrap_or_default().trim();
        for sample in samples() {
            let body = template.filled(&sample)?;
            if media_type.eq_ignore_ascii_case(JSON)
                && let Err(error) = serde_json::from_str::<IgnoredAny>(&body)
            {
                let kind = sample["kind"].as_str().unwrap_or_default();
                return Err(format!("what it gives for a message of kind {kind} is no JSON: {error}"));
            }
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
        environment.set_fuel(Some(FUEL));
        // Only so are places known.
        environment.set_debug(true);
        environment.render_named_str("template", &self.0, filling(variables)).map_err(|error| self.told(&error))
    }

    /// What is wrong, on which line, and at which words.
    fn told(&self, error: &minijinja::Error) -> String {
        let line = error.line().map_or_else(String::new, |line| format!("line {line}: "));
        let what = match error.kind() {
            ErrorKind::OutOfFuel => {
                "it does not come to an end in time: fewer or smaller loops would be right".to_owned()
            }
            kind => error.detail().map_or_else(|| kind.to_string(), str::to_owned),
        };
        let words = error
            .range()
            .and_then(|range| self.0.get(range))
            .filter(|words| !words.trim().is_empty() && !what.contains(words.trim()));
        let at = words.map_or_else(String::new, |words| format!(": `{}`", words.trim()));
        format!("{line}{what}{at}")
    }
}

/// What a template may name: the message's kind, key and time, how many notices, the notices in order, and of the gravest,
/// which is the one of a single message, every field by itself.
fn variables(message: &Value) -> Value {
    let notices = match message.get("notices").and_then(Value::as_array) {
        Some(notices) => notices.iter().map(whole).collect(),
        None if message["kind"] == "test" => Vec::new(),
        None => vec![whole(message)],
    };
    let mut variables = gravest(&notices).cloned().unwrap_or_else(|| whole(&json!({})));
    for name in ["kind", "key", "made"] {
        variables[name] = message[name].clone();
    }
    variables["n"] = notices.len().into();
    variables["dropped"] = message.get("dropped").cloned().unwrap_or_else(|| 0.into());
    variables["words"] = message.get("words").cloned().unwrap_or(Value::Null);
    variables["notices"] = notices.into();
    variables
}

/// Of several notices the one that most needs somebody: of the alarms that still stand the one of the highest priority, of
/// several such the newest; where none stands, the last.
fn gravest(notices: &[Value]) -> Option<&Value> {
    let is_same =
        |one: &Value, other: &Value| ["printer", "tool", "rule"].iter().all(|name| one[*name] == other[*name]);
    let stands = |idx: usize, notice: &Value| {
        let returns = |other: &Value| other["alarm"] == "returned" && is_same(notice, other);
        notice["alarm"] == "raised" && !notices.iter().skip(idx + 1).any(returns)
    };
    let priority = |notice: &Value| notice["priority"].as_str().and_then(Priority::of_word);
    let standing = notices.iter().enumerate().filter(|(idx, notice)| stands(*idx, notice));
    standing.max_by_key(|(idx, notice)| (priority(notice), *idx)).map(|(_, notice)| notice).or(notices.last())
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
        let template = Template::new(text.to_owned(), "text/plain").unwrap();
        let [raised, ..] = samples();
        let body: Value = serde_json::from_str(&template.filled(&raised).unwrap()).unwrap();
        assert_eq!(body, json!({ "text": "bench: T1 \"waits\".", "n": 1, "to": "https://bench.example/alarms" }));
    }

    #[test]
    fn each_kind_can_be_told_apart_and_gone_through() {
        let text = "{% if kind == 'test' %}{{ words }}{% else %}{% for notice in notices %}{{ notice.rule }} \
                    {{ notice.alarm }}{% if not loop.last %}, {% endif %}{% endfor %}{% endif %}";
        let template = Template::new(text.to_owned(), "text/plain").unwrap();
        let told = samples().map(|sample| template.filled(&sample).unwrap());
        assert_eq!(
            told,
            ["idle_hot raised", "record_full returned", "idle_hot raised, record_full returned", "A test."]
        );
    }

    #[test]
    fn a_name_that_is_none_or_a_text_that_is_no_template_is_found_before_any_alarm() {
        for (text, says) in [
            ("one\n{{ casue }}", "line 2: `casue` is undefined"),
            ("{{ links.acknowlegde }}", "acknowlegde"),
            (" \n", "empty"),
            (
                "{% for a in range(9999) %}{% for b in range(9999) %}{% for c in range(9999) %}{{ c }}{% endfor %}{% endfor %}{% endfor %}",
                "does not come to an end",
            ),
            ("{% if kind %}", "unexpected end of input"),
            ("{{ cause | to_json }}", "filter to_json is unknown"),
            ("{{ notices[0].rule }}", "line 1: "),
        ] {
            let found = Template::new(text.to_owned(), "text/plain").unwrap_err();
            assert!(found.contains(says), "{text:?}: {found}");
        }
    }

    #[test]
    fn a_body_that_has_to_be_json_is_json_for_every_kind_of_message() {
        for content_type in ["application/json", "Application/JSON; charset=utf-8"] {
            let found = Template::new("{\"text\": \"{{ cause }}\"}".to_owned(), content_type).unwrap_err();
            assert!(found.contains("of kind single is no JSON"), "{found}");
        }
        Template::new("{\"text\": {{ cause | tojson }}}".to_owned(), "application/json").unwrap();
    }

    #[test]
    fn a_message_of_five_hundred_notices_is_filled() {
        let notice = samples()[0].clone();
        let group = json!({ "kind": "group", "key": "g", "made": "", "n": 500, "notices": vec![notice; 500] });
        let text = "{% for notice in notices %}{{ notice | tojson }}{{ notice.printer ~ notice.cause }}{% endfor %}";
        let template = Template::new(text.to_owned(), "text/plain").unwrap();
        assert!(template.filled(&variables(&group)).unwrap().len() > 100_000);
    }

    #[test]
    fn the_fields_of_a_group_are_those_of_the_gravest_alarm_in_it_that_stands() {
        let notice = |alarm: &str, priority: &str, tool: u32| json!({ "alarm": alarm, "priority": priority, "rule": "idle_hot", "printer": "bench", "tool": tool });
        let group =
            |notices: Vec<Value>| variables(&json!({ "kind": "group", "key": "g", "made": "", "notices": notices }));
        let of = |notices| group(notices)["tool"].clone();
        let (low, medium, high) =
            (notice("raised", "low", 0), notice("raised", "medium", 1), notice("raised", "high", 2));
        let gone = notice("returned", "high", 2);
        assert_eq!(of(vec![medium.clone(), high.clone(), low.clone()]), 2);
        assert_eq!(of(vec![medium.clone(), notice("raised", "medium", 3), low.clone()]), 3);
        assert_eq!(of(vec![high.clone(), medium.clone(), low.clone(), gone.clone()]), 1);
        assert_eq!(of(vec![gone.clone(), high.clone(), low]), 2);
        assert_eq!(of(vec![medium, high, notice("returned", "medium", 1), gone]), 2);
    }

    /// The template that README shows, in its own words.
    #[test]
    fn the_example_of_readme_says_something_of_every_kind_of_message() {
        let readme = include_str!("../../../README.md");
        let line = readme.lines().find_map(|line| line.trim().strip_prefix("template = '")).unwrap();
        let template = Template::new(line.strip_suffix('\'').unwrap().to_owned(), "application/json").unwrap();
        let told = samples().map(|sample| {
            let body: Value = serde_json::from_str(&template.filled(&sample).unwrap()).unwrap();
            body["text"].as_str().unwrap().to_owned()
        });
        let [raised, returned, together, test] = told;
        assert_eq!(raised, "idle_hot raised, bench: T1 \"waits\".");
        assert_eq!(returned, "record_full returned, dwellwatch: it is over");
        assert_eq!(together, "2 changes, the gravest: idle_hot raised, bench: T1 \"waits\".");
        assert_eq!(test, "A test.");
    }
}
