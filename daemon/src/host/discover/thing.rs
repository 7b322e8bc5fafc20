//! `WoT` Thing Description 1.1 (W3C Recommendation, 5 December 2023): which documents a Thing says it has.
//! Owns the standard's defaults and its security schemes; takes nothing but what is read by GET as JSON.

use super::description::{Described, Description, Home, LeftOut, Part, add, is_json, key_at, members, texts};
use super::found::{Secret, SecretPlace};
use super::link::Link;
use super::schema::{Said, said, under};
use crate::host::Address;
use reqwest::Url;
use serde_json::{Map, Value};

const CONTEXT: &str = "https://www.w3.org/2022/wot/td/v1.1";
const CONTEXT_1_0: &str = "https://www.w3.org/2019/wot/td/v1";

/// Combinations of combinations are followed so far.
const COMBINED_MAX: usize = 4;

/// Whether a document calls itself a Thing Description.
pub(super) fn is_thing(document: &Value) -> bool {
    let contexts = texts(document.get("@context"));
    contexts.contains(&CONTEXT) || contexts.contains(&CONTEXT_1_0)
}

/// Reads a Thing Description that was found at `address`.
pub(super) fn read(document: &Value, address: &Address, home: &Home) -> Description {
    let Value::Object(thing) = document else { return Description::default() };
    let mut reader = Reader { thing, home, base: address.url(), secrets: Vec::new(), left_out: LeftOut::default() };
    let mut remarks = faults(thing, address);
    match reader.rebase() {
        Ok(()) => {}
        Err(fault) => remarks.push(format!("{address}: its base is no address: {fault}; its own is used")),
    }
    let parts = reader.properties(document);
    let documents = match reader.whole(&parts) {
        Some(whole) => vec![whole],
        None => parts.into_iter().map(|part| part.document).collect(),
    };
    remarks.extend(reader.left_out.remarks(&address.to_string()));
    let links = reader.links();
    Description { documents, secrets: reader.secrets, links, remarks }
}

/// What the standard requires of a Thing as a whole and this one lacks. It is read all the same: a key that is not
/// told only means that the host will ask for it.
fn faults(thing: &Map<String, Value>, address: &Address) -> Vec<String> {
    let mut faults = Vec::new();
    if !texts(thing.get("@context")).contains(&CONTEXT) {
        faults.push(format!("{address} is a Thing Description 1.0; it is read as one of 1.1"));
    }
    for key in ["title", "security", "securityDefinitions"] {
        if !thing.contains_key(key) {
            faults.push(format!("{address} is no valid Thing Description 1.1: {key} is missing"));
        }
    }
    faults
}

struct Reader<'t> {
    thing: &'t Map<String, Value>,
    home: &'t Home,
    base: Url,
    secrets: Vec<Secret>,
    left_out: LeftOut,
}

/// A form that can be asked.
struct Form {
    address: Address,
    secrets: Vec<Secret>,
}

impl<'t> Reader<'t> {
    fn rebase(&mut self) -> Result<(), String> {
        let Some(base) = self.thing.get("base") else { return Ok(()) };
        let base = base.as_str().ok_or("not a text")?;
        self.base = self.base.join(base).map_err(|error| error.to_string())?;
        Ok(())
    }

    /// Every property that can be read, with its own document.
    fn properties(&mut self, root: &'t Value) -> Vec<Part> {
        let thing = self.thing;
        let mut parts = Vec::new();
        for (key, property) in members(thing.get("properties")) {
            match self.property(property) {
                Ok(None) => self.left_out.note("only written, never read", key),
                Ok(Some(form)) => {
                    let said = said(root, property, Some(key));
                    add(&mut self.secrets, form.secrets);
                    let document = Described { address: form.address, said, parts: Vec::new() };
                    parts.push(Part { key: key.clone(), document });
                }
                Err(why) => self.left_out.note(why, key),
            }
        }
        parts
    }

    fn property(&self, property: &Value) -> Result<Option<Form>, String> {
        let is = |key: &str| property.get(key).and_then(Value::as_bool).unwrap_or(false);
        if is("writeOnly") {
            return Ok(None);
        }
        let default: &[&str] = if is("readOnly") { &["readproperty"] } else { &["readproperty", "writeproperty"] };
        let known = ["readproperty", "writeproperty", "observeproperty", "unobserveproperty"];
        self.first_form(property.get("forms"), "readproperty", default, &known).map(Some)
    }

    /// All properties in one document: one question instead of many, and values of one moment.
    fn whole(&mut self, parts: &[Part]) -> Option<Described> {
        let forms = self.thing.get("forms")?;
        let known = [
            "readallproperties",
            "writeallproperties",
            "readmultipleproperties",
            "writemultipleproperties",
            "observeallproperties",
            "unobserveallproperties",
            "queryallactions",
            "subscribeallevents",
            "unsubscribeallevents",
        ];
        let form = match self.first_form(Some(forms), "readallproperties", &[], &known) {
            Ok(form) => form,
            Err(why) => {
                self.left_out.note(why, "all properties in one");
                return None;
            }
        };
        add(&mut self.secrets, form.secrets);
        let said: Vec<Said> = parts.iter().flat_map(|part| under(&part.key, &part.document.said)).collect();
        Some(Described { address: form.address, said, parts: parts.to_vec() })
    }

    /// The first form that reads and can be asked here; else why the last one can't be.
    fn first_form(
        &self,
        forms: Option<&Value>,
        wanted: &str,
        default: &[&str],
        known: &[&str],
    ) -> Result<Form, String> {
        let mut why = "it has no form, and the standard requires one".to_owned();
        for form in forms.and_then(Value::as_array).into_iter().flatten() {
            let told = texts(form.get("op"));
            let ops = if form.get("op").is_some() { told.as_slice() } else { default };
            if let Some(op) = ops.iter().find(|op| !known.contains(op)) {
                why = format!("a form has the operation {op:?}, which there is not here");
            } else if !ops.contains(&wanted) {
                why = format!("none of its forms is for {wanted}");
            } else {
                match self.form(form) {
                    Ok(form) => return Ok(form),
                    Err(fault) => why = fault,
                }
            }
        }
        Err(why)
    }

    fn form(&self, form: &Value) -> Result<Form, String> {
        let text = |key: &str| form.get(key).and_then(Value::as_str);
        let href = text("href").ok_or("a form has no href")?;
        if let Some(method) = text("htv:methodName").filter(|method| *method != "GET") {
            return Err(format!("it is read by {method}, and only GET is sent"));
        }
        if let Some(protocol) = text("subprotocol") {
            return Err(format!("it comes by the subprotocol {protocol:?}"));
        }
        if let Some(other) = text("contentType").filter(|media_type| !is_json(media_type)) {
            return Err(format!("it comes as {other}, not JSON"));
        }
        if href.contains('{') {
            return Err("its address has variables".to_owned());
        }
        let address = self.home.reach(&self.base, href).map_err(|elsewhere| elsewhere.to_string())?;
        let names = form.get("security").or_else(|| self.thing.get("security"));
        Ok(Form { address, secrets: self.all(&texts(names), COMBINED_MAX)? })
    }

    /// The keys of every scheme named: all are needed.
    fn all(&self, names: &[&str], depth: usize) -> Result<Vec<Secret>, String> {
        let mut secrets = Vec::new();
        for name in names {
            add(&mut secrets, self.scheme(name, depth)?);
        }
        Ok(secrets)
    }

    fn scheme(&self, name: &str, depth: usize) -> Result<Vec<Secret>, String> {
        let depth = depth.checked_sub(1).ok_or("its security schemes are combined too deeply")?;
        let definition = self.thing.get("securityDefinitions").and_then(|definitions| definitions.get(name));
        let definition = definition.ok_or_else(|| format!("its security {name:?} is defined nowhere"))?;
        let text = |key: &str| definition.get(key).and_then(Value::as_str);
        let place = |default| text("in").unwrap_or(default);
        let known = ["header", "query", "body", "cookie", "uri", "auto"];
        if let Some(wrong) = text("in").filter(|place| !known.contains(place)) {
            return Err(format!("its security {name:?} is said to be in {wrong:?}, which the standard has not"));
        }
        match text("scheme") {
            Some("nosec") => Ok(Vec::new()),
            Some("basic") if place("header") == "header" && is_authorization(text("name")) => {
                Ok(vec![Secret { place: SecretPlace::Basic }])
            }
            Some("bearer") if place("header") == "header" => {
                let header = text("name").unwrap_or("Authorization").to_owned();
                Ok(vec![Secret { place: SecretPlace::Bearer { header } }])
            }
            Some("apikey") => Ok(vec![key_at(place("query"), text("name"))?]),
            Some("combo") => self.combined(definition, depth),
            Some(other) => {
                Err(format!("its security is {other:?} in {:?}, which can't be spoken here", place("its own place")))
            }
            None => Err(format!("its security {name:?} names no scheme")),
        }
    }

    /// Of `oneOf` the first that can be spoken; of `allOf` each.
    fn combined(&self, definition: &Value, depth: usize) -> Result<Vec<Secret>, String> {
        if definition.get("allOf").is_some() {
            return self.all(&texts(definition.get("allOf")), depth);
        }
        let mut why = "its security combines nothing".to_owned();
        for name in texts(definition.get("oneOf")) {
            match self.scheme(name, depth) {
                Ok(secrets) => return Ok(secrets),
                Err(fault) => why = fault,
            }
        }
        Err(why)
    }

    fn links(&self) -> Vec<Link> {
        let links = self.thing.get("links").and_then(Value::as_array).into_iter().flatten();
        let read = |link: &Value| {
            let text = |key: &str| link.get(key).and_then(Value::as_str);
            // Read from the Thing's base here, as a link of a header is read from its document's address.
            let target = self.base.join(text("href")?).ok()?.to_string();
            let rels = texts(link.get("rel")).into_iter().map(str::to_ascii_lowercase).collect();
            Some(Link {
                target,
                anchor: text("anchor").map(str::to_owned),
                rels,
                media_type: text("type").map(str::to_owned),
            })
        };
        links.filter_map(read).collect()
    }
}

fn is_authorization(name: Option<&str>) -> bool {
    name.is_none_or(|name| name.eq_ignore_ascii_case("authorization"))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
