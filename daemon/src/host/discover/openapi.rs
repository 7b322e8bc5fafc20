//! `OpenAPI` 3.0 and 3.1, and 2.0 before it had that name: which documents an interface says it has.
//! Takes nothing but GET that needs no choice of the caller's. GET asks for nothing to be done (RFC 9110, section
//! 9.2.1); a host that acts on it all the same can't be told from others by its description.

use super::description::{Described, Description, Home, LeftOut, add, is_json, key_at, members, texts};
use super::found::{Secret, SecretPlace};
use super::schema::{Said, referred, said, says_a_temperature, words};
use crate::host::Address;
use reqwest::Url;
use serde_json::{Map, Value};
use std::cmp::Reverse;

/// Words of the trade. An interface may have more documents than are asked: those that speak of these come first.
const TELLING: [&str; 14] = [
    "nozzle",
    "hot end",
    "extruder",
    "heater",
    "temperature",
    "tool",
    "bed",
    "state",
    "status",
    "job",
    "progress",
    "printer",
    "print",
    "file",
];

/// A reference to a reference is followed so far.
const REFERENCES_MAX: usize = 8;

/// Whether a document calls itself a description of that kind.
pub(super) fn is_openapi(document: &Value) -> bool {
    let text = |key: &str| document.get(key).and_then(Value::as_str);
    text("openapi").is_some_and(|version| version.starts_with("3.")) || text("swagger") == Some("2.0")
}

/// Reads a description that was found at `address`.
pub(super) fn read(root: &Value, address: &Address, home: &Home) -> Description {
    let reader = Reader { root, address, home };
    let mut left_out = LeftOut::default();
    let mut secrets = Vec::new();
    let mut documents = Vec::new();
    for (path, item) in members(root.get("paths")) {
        let Some(item) = reader.object(Some(item)) else { continue };
        let Some(get) = reader.object(item.get("get")) else { continue };
        match reader.operation(path, item, get) {
            Ok((document, wanted)) => {
                add(&mut secrets, wanted);
                documents.push((telling(path, &document.said), document));
            }
            Err(why) => left_out.note(why, path),
        }
    }
    documents.sort_by_key(|(telling, _)| Reverse(*telling));
    let documents = documents.into_iter().map(|(_, document)| document).collect();
    Description {
        documents,
        secrets,
        remarks: left_out.remarks(&address.to_string()).collect(),
        ..Description::default()
    }
}

/// How much a document speaks of what a printer tells; a temperature's unit counts more than any word.
fn telling(path: &str, said: &[Said]) -> usize {
    let text = words(said).chain([path]).collect::<Vec<_>>().join(" ").to_lowercase();
    let found = TELLING.iter().filter(|word| text.contains(**word)).count();
    if says_a_temperature(said) { found + TELLING.len() } else { found }
}

struct Reader<'d> {
    root: &'d Value,
    address: &'d Address,
    home: &'d Home,
}

impl<'d> Reader<'d> {
    fn operation(
        &self,
        path: &str,
        item: &'d Map<String, Value>,
        get: &'d Map<String, Value>,
    ) -> Result<(Described, Vec<Secret>), String> {
        if get.get("deprecated").and_then(Value::as_bool) == Some(true) {
            return Err("it is deprecated".to_owned());
        }
        if get.contains_key("requestBody") {
            return Err("it wants a body with the GET, which has no meaning (RFC 9110, section 9.3.1)".to_owned());
        }
        if path.contains('{') {
            return Err("its path has parameters".to_owned());
        }
        self.refuse_parameters(item, get)?;
        let schema = self.schema(get)?;
        let address = self.place(path, item, get)?;
        let mut said = schema.map(|schema| said(self.root, schema, None)).unwrap_or_default();
        let own = ["operationId", "summary", "description"].into_iter().filter_map(|key| get.get(key)?.as_str());
        super::schema::add_words(&mut said, own);
        Ok((Described { address, said, parts: Vec::new() }, self.security(get)?))
    }

    /// An object, through references.
    fn object(&self, value: Option<&'d Value>) -> Option<&'d Map<String, Value>> {
        let mut object = value?.as_object()?;
        for _ in 0..REFERENCES_MAX {
            if !object.contains_key("$ref") {
                return Some(object);
            }
            object = referred(self.root, object)?.as_object()?;
        }
        None
    }

    /// Refuses what only a caller could choose.
    fn refuse_parameters(&self, item: &'d Map<String, Value>, get: &'d Map<String, Value>) -> Result<(), String> {
        let list = |of: &'d Map<String, Value>| of.get("parameters").and_then(Value::as_array).into_iter().flatten();
        let mut own = Vec::new();
        for parameter in list(get).chain(list(item)) {
            let parameter = self.object(Some(parameter)).ok_or("a parameter of it refers to nothing")?;
            let text = |key: &str| parameter.get(key).and_then(Value::as_str).unwrap_or_default();
            let (name, place) = (text("name"), text("in"));
            // An operation's parameter stands in for its path's of the same name and place.
            if own.contains(&(name, place)) {
                continue;
            }
            own.push((name, place));
            let is_required = parameter.get("required").and_then(Value::as_bool) == Some(true);
            // These are described elsewhere, and a parameter of their name is ignored (3.1, Parameter Object).
            let is_own_header = ["accept", "content-type", "authorization"].contains(&name.to_lowercase().as_str());
            match place {
                "path" => return Err("its path has parameters".to_owned()),
                "body" | "formData" => return Err("it wants a body with the GET".to_owned()),
                "header" if is_own_header => {}
                place if is_required => return Err(format!("it requires {name:?} in its {place}")),
                _ => {}
            }
        }
        Ok(())
    }

    /// The schema of what GET answers; `None` when nothing is said of it.
    fn schema(&self, get: &'d Map<String, Value>) -> Result<Option<&'d Value>, String> {
        let Some(responses) = get.get("responses").and_then(Value::as_object) else { return Ok(None) };
        let usual = ["200", "2XX", "default"].into_iter().find_map(|key| responses.get(key));
        let Some(answer) = self.object(usual) else {
            return if responses.is_empty() { Ok(None) } else { Err("it has no answer 200".to_owned()) };
        };
        // 2.0 tells the schema and the media types apart.
        if let Some(schema) = answer.get("schema") {
            let produces = texts(get.get("produces").or_else(|| self.root.get("produces")));
            let offers = produces.is_empty() || produces.iter().any(|media_type| can_be_json(media_type));
            return if offers { Ok(Some(schema)) } else { Err(not_json(produces.first().copied())) };
        }
        let Some(content) = answer.get("content").and_then(Value::as_object).filter(|content| !content.is_empty())
        else {
            return Ok(None);
        };
        let exact = content.iter().find(|(media_type, _)| is_json(media_type));
        let any = exact.or_else(|| content.iter().find(|(media_type, _)| can_be_json(media_type)));
        match any {
            Some((_, media)) => Ok(media.get("schema")),
            None => Err(not_json(content.keys().next().map(String::as_str))),
        }
    }

    /// The address below the first server that is here.
    fn place(&self, path: &str, item: &'d Map<String, Value>, get: &'d Map<String, Value>) -> Result<Address, String> {
        let own = self.address.url();
        let mut why = "it has no server".to_owned();
        for server in self.servers(item, get) {
            let base = match own.join(&server) {
                Ok(base) => base,
                Err(error) => {
                    why = format!("its server's address is none: {error}");
                    continue;
                }
            };
            match self.home.reach(&base, &below(&base, path)) {
                Ok(address) => return Ok(address),
                Err(elsewhere) => why = elsewhere.to_string(),
            }
        }
        Err(why)
    }

    fn servers(&self, item: &'d Map<String, Value>, get: &'d Map<String, Value>) -> Vec<String> {
        if self.root.get("swagger").is_some() {
            return self.servers_of_2_0();
        }
        let told = get.get("servers").or_else(|| item.get("servers")).or_else(|| self.root.get("servers"));
        let told = told.and_then(Value::as_array).map(Vec::as_slice).unwrap_or_default();
        // No servers is one at the root (3.1, OpenAPI Object).
        if told.is_empty() { vec!["/".to_owned()] } else { told.iter().filter_map(server).collect() }
    }

    fn servers_of_2_0(&self) -> Vec<String> {
        let text = |key: &str| self.root.get(key).and_then(Value::as_str);
        let path = text("basePath").unwrap_or("/");
        let Some(host) = text("host") else { return vec![path.to_owned()] };
        let own = self.address.url();
        let schemes = texts(self.root.get("schemes"));
        let schemes = if schemes.is_empty() { vec![own.scheme()] } else { schemes };
        schemes.iter().map(|scheme| format!("{scheme}://{host}{path}")).collect()
    }

    /// The keys of the first of the alternatives that can be spoken here.
    fn security(&self, get: &'d Map<String, Value>) -> Result<Vec<Secret>, String> {
        let told = get.get("security").or_else(|| self.root.get("security"));
        let Some(alternatives) = told.and_then(Value::as_array).filter(|list| !list.is_empty()) else {
            return Ok(Vec::new());
        };
        let mut why = "its security is not understood".to_owned();
        for alternative in alternatives.iter().filter_map(Value::as_object) {
            let secrets: Result<Vec<_>, _> = alternative.keys().map(|name| self.scheme(name)).collect();
            match secrets {
                Ok(secrets) => return Ok(secrets),
                Err(fault) => why = fault,
            }
        }
        Err(why)
    }

    fn scheme(&self, name: &str) -> Result<Secret, String> {
        let of_3 = self.root.get("components").and_then(|components| components.get("securitySchemes"));
        let definitions = of_3.or_else(|| self.root.get("securityDefinitions"));
        let scheme = self.object(definitions.and_then(|definitions| definitions.get(name)));
        let scheme = scheme.ok_or_else(|| format!("its security {name:?} is defined nowhere"))?;
        let text = |key: &str| scheme.get(key).and_then(Value::as_str);
        let kind = text("type").unwrap_or_default();
        // RFC 9110, section 11.1: the scheme's name is compared without regard to case.
        let speaks = text("scheme").unwrap_or_default().to_ascii_lowercase();
        match (kind, speaks.as_str()) {
            ("http", "basic") | ("basic", _) => Ok(Secret { place: SecretPlace::Basic }),
            ("http", "bearer") => Ok(Secret { place: SecretPlace::Bearer { header: "Authorization".to_owned() } }),
            ("apiKey", _) => key_at(text("in").unwrap_or_default(), text("name")),
            _ => {
                Err(format!("its security is of the type {kind:?} {speaks}, which can't be spoken here")
                    .replace(" ,", ","))
            }
        }
    }
}

/// The reference of a path below a server: appended, not resolved (3.1, Paths Object).
fn below(base: &Url, path: &str) -> String {
    format!("{}/{}", base.path().trim_end_matches('/'), path.trim_start_matches('/'))
}

/// A server's address with its variables at their defaults.
fn server(server: &Value) -> Option<String> {
    let mut url = server.get("url")?.as_str()?.to_owned();
    for (name, variable) in server.get("variables").and_then(Value::as_object).into_iter().flatten() {
        let default = variable.get("default").and_then(Value::as_str)?;
        url = url.replace(&format!("{{{name}}}"), default);
    }
    Some(url)
}

/// Whether what is offered as that media type, or range of them, may be JSON.
fn can_be_json(media_type: &str) -> bool {
    is_json(media_type) || matches!(media_type.trim(), "*/*" | "application/*")
}

fn not_json(offered: Option<&str>) -> String {
    let offered = offered.unwrap_or("nothing");
    format!("it comes as {offered}, not JSON")
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
