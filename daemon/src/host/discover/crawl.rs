//! The search of a host: what was named to it, where that points by open standards, and what is known to be there.
//! Owns the bounds of the search. Must not: send anything but GET, ask an address twice, or leave the hosts named.

use super::description::{Described, Description, Home, LeftOut, Part, add, plain};
use super::follow::{Context, Step, followed};
use super::found::{Found, FoundDocument, Hint, Secret, SecretPlace};
use super::schema::{self, Said};
use super::{link, openapi, thing};
use crate::host::{Address, Answer, BODY_BYTES_MAX, Client, Credentials, FetchError, Question};
use serde_json::Value;
use std::collections::{HashMap, HashSet, VecDeque};
use std::time::{Duration, Instant};

/// One after the other, so a host that tells a document for each of some forty values is still seen whole. Each of
/// them can be led on by up to three redirects on the same host.
pub const REQUESTS_MAX: usize = 64;

/// From a named address: a catalogue, the description it lists, the document that describes.
pub const DEPTH_MAX: usize = 3;

/// All answers together. A description is some 100 KiB and a document a few, so this is far over a host's worth.
pub const BYTES_MAX: usize = 8 * 1024 * 1024;

/// A person waits for the answer; a host that lets each request time out would take five minutes.
pub const TIME_MAX: Duration = Duration::from_mins(1);

/// A remark is a line or two, whatever a host's names are.
const REMARK_CHARS_MAX: usize = 600;

/// Where a host tells of itself: RFC 9727 (a list of its interfaces) and the W3C's `WoT` Discovery (a Thing).
const WELL_KNOWN: [&str; 2] = ["/.well-known/api-catalog", "/.well-known/wot"];

/// Asks every address of `named`, follows what they announce, and gives what answered with JSON.
///
/// Nothing is an error: what did not come, or was left out, is among the remarks. What the search shows to the hosts
/// is `credentials`; what they say they want is among the secrets found.
pub async fn search(client: &Client, named: &[Address], credentials: &Credentials) -> Found {
    let home = Home::of(named);
    let mut search = Search {
        client,
        credentials,
        home,
        began: Instant::now(),
        queue: VecDeque::new(),
        asked: HashMap::new(),
        bytes: 0,
        found: Found::default(),
        values: Vec::new(),
        sign_ins: Vec::new(),
        left_out: LeftOut::default(),
        not_asked: LeftOut::default(),
    };
    search.begin(named);
    while let Some(task) = search.queue.pop_front() {
        search.turn(task).await;
    }
    search.end()
}

struct Search<'s> {
    client: &'s Client,
    credentials: &'s Credentials,
    home: Home,
    began: Instant,
    queue: VecDeque<Task>,
    /// What was asked, and which document came of it.
    asked: HashMap<String, Option<usize>>,
    bytes: usize,
    found: Found,
    /// The documents themselves, in the order of [`Found::documents`].
    values: Vec<Value>,
    /// What answered 401.
    sign_ins: Vec<Address>,
    /// What links pointed at and was not followed.
    left_out: LeftOut,
    /// What a bound of the search kept from being asked.
    not_asked: LeftOut,
}

/// One address to ask.
struct Task {
    address: Address,
    origin: String,
    kind: Kind,
    depth: usize,
    said: Vec<Said>,
    parts: Vec<Part>,
}

/// Why an address is asked, as far as it matters to what is made of the answer.
enum Kind {
    /// A person named it, or something found points at it.
    Told,
    /// Nothing says that anything is there.
    Tried,
    /// It describes the document at this address.
    Describes(String),
}

impl Search<'_> {
    fn begin(&mut self, named: &[Address]) {
        let task = |address, origin: &str, kind| Task {
            address,
            origin: origin.to_owned(),
            kind,
            depth: 0,
            said: Vec::new(),
            parts: Vec::new(),
        };
        for address in named {
            // Read from itself, for the fragment.
            if let Ok(address) = self.home.reach(&address.url(), "") {
                self.queue.push_back(task(address, "given", Kind::Told));
            }
        }
        let mut origins = HashSet::new();
        for address in named.iter().filter(|address| origins.insert(address.origin())) {
            for path in WELL_KNOWN {
                if let Ok(address) = self.home.reach(&address.url(), path) {
                    self.queue.push_back(task(address, "well-known address", Kind::Tried));
                }
            }
        }
    }

    async fn turn(&mut self, task: Task) {
        let key = task.address.as_str().to_owned();
        if let Some(document) = self.asked.get(&key).copied() {
            self.again(task, document);
            return;
        }
        if let Some(bound) = self.bound(task.depth) {
            self.not_asked.note(bound, &task.address.to_string());
            return;
        }
        self.asked.insert(key, None);
        let question = Question { address: &task.address, credentials: self.credentials, tag: None };
        match self.client.ask(&question).await {
            Ok(answer) => self.answered(task, &answer),
            Err(error) => self.failed(task, &error),
        }
    }

    /// An address that was asked before, and what is said of it now.
    fn again(&mut self, task: Task, document: Option<usize>) {
        if let Some(idx) = document {
            self.hint(idx, &task.said);
        }
        let value = document.and_then(|idx| self.values.get(idx));
        let lacks = |key: &str| value.is_none_or(|value| value.get(key).is_none());
        let parts = task.parts.into_iter().filter(|part| lacks(&part.key)).collect();
        self.ask(parts, &task.origin, task.depth);
    }

    /// The bound that keeps the next address from being asked.
    fn bound(&self, depth: usize) -> Option<String> {
        if depth > DEPTH_MAX {
            Some(format!("it is more than {DEPTH_MAX} steps away"))
        } else if self.asked.len() >= REQUESTS_MAX {
            Some(format!("{REQUESTS_MAX} addresses were asked before"))
        } else if self.bytes + BODY_BYTES_MAX > BYTES_MAX {
            Some(format!("{} bytes came before, and one answer more could make it over {BYTES_MAX}", self.bytes))
        } else if self.began.elapsed() > TIME_MAX {
            Some(format!("the search has taken {} s", TIME_MAX.as_secs()))
        } else {
            None
        }
    }

    fn failed(&mut self, task: Task, error: &FetchError) {
        match (&task.kind, error) {
            (_, FetchError::SignInNeeded) => self.sign_ins.push(task.address.clone()),
            (Kind::Tried, error) if !matches!(error, FetchError::Forbidden) => {}
            _ => self.found.remarks.push(format!("{}: {error}", task.address)),
        }
        self.ask(task.parts, &task.origin, task.depth);
    }

    fn answered(&mut self, task: Task, answer: &Answer) {
        self.bytes += answer.body.len();
        let links: Vec<_> = answer.links.iter().flat_map(|header| link::links(header)).collect();
        self.follow(&Context::Resource(&task.address), links, task.depth);
        // By the rules of a poll: what a poll would refuse must not be proposed.
        match answer.document() {
            Ok(body) => self.understand(task, body.value, answer.media_type.as_deref()),
            // Hosts that answer any path with the same page are common; nothing was said to be here.
            Err(_) if matches!(task.kind, Kind::Tried) => {}
            Err(error) => {
                self.found.remarks.push(format!("{}: {error}", task.address));
                self.ask(task.parts, &task.origin, task.depth);
            }
        }
    }

    /// Tells a description from a document.
    fn understand(&mut self, task: Task, value: Value, media_type: Option<&str>) {
        let things = match &value {
            // A directory of Things answers with a list of their descriptions.
            Value::Array(list) if !list.is_empty() && list.iter().all(thing::is_thing) => list.as_slice(),
            value if thing::is_thing(value) => std::slice::from_ref(value),
            _ => &[],
        };
        if !things.is_empty() {
            for each in things {
                let description = thing::read(each, &task.address, &self.home);
                self.described(&task, description, "Thing Description");
            }
        } else if openapi::is_openapi(&value) {
            let description = openapi::read(&value, &task.address, &self.home);
            self.described(&task, description, "OpenAPI document");
        } else if let Some(links) = link::linkset(&value) {
            self.follow(&Context::Set(&task.address), links, task.depth);
        } else if let Kind::Describes(what) = &task.kind {
            self.schema(what, &task.address, &value, media_type);
        } else if matches!(task.kind, Kind::Told) {
            self.document(task, value);
        }
        // Else a host that answers any path with some JSON.
    }

    fn described(&mut self, by: &Task, description: Description, kind: &str) {
        add(&mut self.found.secrets, description.secrets);
        self.found.remarks.extend(description.remarks);
        let origin = format!("{kind} at {}", by.address);
        for document in description.documents {
            self.enqueue(document, &origin, by.depth + 1);
        }
        self.follow(&Context::Resource(&by.address), description.links, by.depth);
    }

    fn enqueue(&mut self, document: Described, origin: &str, depth: usize) {
        let Described { address, said, parts } = document;
        self.queue.push_back(Task { address, origin: origin.to_owned(), kind: Kind::Told, depth, said, parts });
    }

    /// A JSON Schema that a document says it is described by.
    fn schema(&mut self, what: &str, address: &Address, value: &Value, media_type: Option<&str>) {
        let is_schema = value.get("$schema").is_some()
            || media_type.is_some_and(|media_type| media_type.starts_with("application/schema+json"));
        if !is_schema {
            self.found.remarks.push(format!("{address}: describes in a way that is not understood"));
        } else if let Some(Some(idx)) = self.asked.get(what) {
            self.hint(*idx, &schema::said(value, value, None));
        }
    }

    fn document(&mut self, task: Task, value: Value) {
        let hints = schema::hints(&task.said, &value);
        let idx = self.values.len();
        self.asked.insert(task.address.as_str().to_owned(), Some(idx));
        let parts = task.parts.into_iter().filter(|part| value.get(&part.key).is_none()).collect();
        self.ask(parts, &task.origin, task.depth);
        let name = name(&task.address, &self.found.documents);
        self.found.documents.push(FoundDocument { name, address: task.address, origin: task.origin, hints });
        self.values.push(value);
    }

    fn ask(&mut self, parts: Vec<Part>, origin: &str, depth: usize) {
        for part in parts {
            self.enqueue(part.document, origin, depth);
        }
    }

    /// Adds hints to a document that came before they were known.
    fn hint(&mut self, idx: usize, said: &[Said]) {
        let (Some(document), Some(value)) = (self.found.documents.get_mut(idx), self.values.get(idx)) else { return };
        let new: Vec<Hint> =
            schema::hints(said, value).into_iter().filter(|hint| !document.hints.contains(hint)).collect();
        document.hints.extend(new);
    }

    fn follow(&mut self, context: &Context<'_>, links: Vec<link::Link>, depth: usize) {
        for step in followed(context, links, &self.home, &mut self.left_out) {
            let Step { address, is_description, origin } = step;
            let kind = if is_description { Kind::Describes(context.address().as_str().to_owned()) } else { Kind::Told };
            let (said, parts) = (Vec::new(), Vec::new());
            self.queue.push_back(Task { address, origin, kind, depth: depth + 1, said, parts });
        }
    }

    fn end(mut self) -> Found {
        self.found.wants_key = !self.sign_ins.is_empty();
        for address in &self.sign_ins {
            let wants: Vec<String> = self.found.secrets.iter().map(wanted).collect();
            let wants = if wants.is_empty() {
                "nothing found says which key".to_owned()
            } else {
                format!("what describes it wants {}", wants.join(" and "))
            };
            self.found.remarks.push(format!("{address}: asks for a sign-in (401); {wants}"));
        }
        self.found.remarks.extend(self.left_out.remarks("links"));
        self.found.remarks.extend(self.not_asked.remarks("what was found"));
        for remark in &mut self.found.remarks {
            *remark = plain(remark, REMARK_CHARS_MAX);
        }
        self.found
    }
}

/// A key in words.
fn wanted(secret: &Secret) -> String {
    match &secret.place {
        SecretPlace::Basic => "a user's name and password (basic)".to_owned(),
        SecretPlace::Bearer { header } => format!("a token in the header {header} (bearer)"),
        SecretPlace::Header(name) => format!("a key in the header {name}"),
        SecretPlace::Query(name) => format!("a key in the query's {name}"),
    }
}

/// A short word for a document: the last part of its path, with the one before it where that is only a number.
fn name(address: &Address, others: &[FoundDocument]) -> String {
    /// Long enough for any word, short enough for a table.
    const CHARS_MAX: usize = 32;
    let url = address.url();
    let words: Vec<String> = url.path_segments().into_iter().flatten().map(word).filter(|w| !w.is_empty()).collect();
    let is_number = |word: &String| word.chars().all(|c| c.is_ascii_digit());
    let last = match words.as_slice() {
        [] => "document".to_owned(),
        [.., before, last] if is_number(last) => format!("{before}_{last}"),
        [.., last] => last.clone(),
    };
    let last: String = last.chars().take(CHARS_MAX).collect();
    let is_taken = |name: &str| others.iter().any(|other| other.name == name);
    if !is_taken(&last) {
        return last;
    }
    // One of the first `others.len() + 1` numbers is free, so the search ends.
    (2..=others.len() + 2).map(|n| format!("{last}_{n}")).find(|name| !is_taken(name)).unwrap_or(last)
}

fn word(segment: &str) -> String {
    let stem = segment.strip_suffix(".json").unwrap_or(segment);
    let kept: String =
        stem.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '_' }).collect();
    kept.split('_').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("_")
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
