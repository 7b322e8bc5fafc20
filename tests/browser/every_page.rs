//! What holds of every page there is, found by following the links from *Now*: it fits each width, follows light and dark,
//! is small, breaks no rule of WCAG 2.2 AA that axe knows, and is valid HTML. Leaves a picture of each in `artefacts/`.

use crate::eyes::{Eyes, artefacts};
use crate::things;
use serde_json::json;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, VecDeque};
use std::fs;
use std::process::Command;

pub(crate) const WIDTHS: [u32; 3] = [360, 768, 1440];
/// The most that a page may weigh, bytes.
const BYTES_MAX: usize = 100_000;
/// A site with more kinds of pages than this links to what it makes up.
const KINDS_MAX: usize = 60;
const RULES: [&str; 6] = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"];

/// One path of each kind of page that links lead to, by the kind's name: numbers and dates make no other kind.
pub(crate) async fn kinds(dashboard: &str) -> BTreeMap<String, String> {
    let mut found = BTreeMap::from([("now".to_owned(), String::new())]);
    let mut open = VecDeque::from([String::new()]);
    while let Some(path) = open.pop_front() {
        let answer = reqwest::get(format!("{dashboard}{path}")).await.unwrap();
        assert_eq!(answer.status(), 200, "a link leads to /{path}");
        if !answer.headers()["content-type"].to_str().unwrap().starts_with("text/html") {
            found.retain(|_, kept| *kept != path);
            continue;
        }
        for link in links(&answer.text().await.unwrap()) {
            if let Entry::Vacant(kind) = found.entry(kind(&link)) {
                kind.insert(link.clone());
                open.push_back(link);
            }
        }
        assert!(found.len() <= KINDS_MAX, "{found:#?}");
    }
    found
}

/// Where a page's links lead to on its own site, without the place on the page.
fn links(page: &str) -> Vec<String> {
    let hrefs = page.split("<a ").skip(1).filter_map(|link| link.split('>').next()?.split_once("href=\"/"));
    let paths = hrefs.filter_map(|(_, path)| Some(path.split(['"', '#']).next()?.replace("&amp;", "&")));
    paths.filter(|path| !path.starts_with('/')).collect()
}

/// `prints/12?before=2026-03-02` and `prints/7?before=` are of one kind, `prints-n-before`.
fn kind(path: &str) -> String {
    let (path, query) = path.split_once('?').unwrap_or((path, ""));
    let part = |part: &str| {
        if part.contains(|letter: char| letter.is_ascii_digit()) { "n".to_owned() } else { part.to_owned() }
    };
    let mut parts: Vec<String> = path.split('/').filter(|each| !each.is_empty()).map(part).collect();
    parts.extend(
        query.split('&').filter_map(|pair| pair.split('=').next()).filter(|key| !key.is_empty()).map(str::to_owned),
    );
    if parts.is_empty() { "now".to_owned() } else { parts.join("-") }
}

/// Each page at each width, in light and dark, with axe's judgement; then whether the rules were really asked.
pub(crate) async fn hold_to_their_promises(eyes: &Eyes, kinds: &BTreeMap<String, String>) {
    let axe = fs::read_to_string(things("axe-core/axe.min.js")).unwrap();
    for (name, path) in kinds {
        for (scheme, width) in looks() {
            fits(eyes, path, scheme, width).await;
            let found = violations(eyes, &axe).await;
            assert!(found.is_empty(), "/{path} in {scheme} at {width} px: {found:#?}");
            if width != 768 {
                eyes.shoot_whole(&format!("{name}-{width}-{scheme}.png"), width).await;
            }
        }
    }
    eyes.open_as("", "light", 360).await;
    let spoiled = "document.querySelector('main').insertAdjacentHTML('beforeend', \
        '<img src=\"/favicon.ico\"><p class=\"spoiled\">pale</p>'); \
        const pale = document.querySelector('.spoiled'); pale.style.color = '#ccc'; pale.style.background = '#fff';";
    eyes.driver.execute(spoiled, vec![]).await.unwrap();
    let found = violations(eyes, &axe).await.join(" ");
    assert!(found.contains("image-alt") && found.contains("color-contrast"), "axe does not see what is wrong: {found}");
}

/// What axe finds against WCAG 2.2 A and AA on the page that is open, a line each.
async fn violations(eyes: &Eyes, axe: &str) -> Vec<String> {
    eyes.driver.execute(axe, vec![]).await.unwrap();
    let run = "const done = arguments[arguments.length - 1]; \
        axe.run(document, { runOnly: { type: 'tag', values: arguments[0] }, resultTypes: ['violations'] }).then( \
            (found) => done(found.violations.flatMap((rule) => rule.nodes.map((node) => \
                rule.id + ' at ' + node.target.join(' ') + ': ' + node.failureSummary))), \
            (error) => done(['axe failed: ' + error]));";
    eyes.driver.execute_async(run, vec![json!(RULES)]).await.unwrap().convert().unwrap()
}

/// Without scripts each page fits, and has what a person came for. axe is a script itself, and can't be asked here; what it
/// judged is the same HTML.
pub(crate) async fn hold_without_scripts(eyes: &Eyes, kinds: &BTreeMap<String, String>) {
    for path in kinds.values() {
        for (scheme, width) in looks() {
            fits(eyes, path, scheme, width).await;
        }
        let heading = eyes.find("main h1").await.inner_html().await.unwrap();
        assert!(!heading.is_empty(), "/{path}");
    }
}

/// Every scheme at every width.
fn looks() -> impl Iterator<Item = (&'static str, u32)> {
    ["light", "dark"].into_iter().flat_map(|scheme| WIDTHS.map(move |width| (scheme, width)))
}

async fn fits(eyes: &Eyes, path: &str, scheme: &str, width: u32) {
    eyes.open_as(path, scheme, width).await;
    let needed = eyes.width_needed().await;
    assert!(needed <= width, "/{path} needs {needed} px where there are {width}");
}

/// Each page's weight, and its HTML as a parser by the standard and a checker of what may stand in what read it.
pub(crate) async fn are_small_and_valid(dashboard: &str, kinds: &BTreeMap<String, String>) {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    for (name, path) in kinds {
        let html = reqwest::get(format!("{dashboard}{path}")).await.unwrap().text().await.unwrap();
        assert!(html.len() < BYTES_MAX, "/{path} weighs {} bytes", html.len());
        let file = folder.path().join(format!("{name}.html"));
        fs::write(&file, html).unwrap();
        files.push(file);
    }
    let judged = judge(&files);
    fs::write(artefacts().join("html.txt"), &judged).unwrap();
    assert_eq!(judged, "", "what is wrong with the pages' HTML");
    let spoiled = folder.path().join("spoiled.html");
    fs::write(&spoiled, "<!DOCTYPE html><html lang=\"en\"><title>x</title><p><a id=\"a\" id=\"b\"><div></div></a>")
        .unwrap();
    let found = judge(&[spoiled]);
    assert!(found.contains("duplicate-attribute") && found.contains("permitted-content"), "{found}");
}

fn judge(files: &[std::path::PathBuf]) -> String {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/browser/valid.mjs");
    let judged = Command::new("node").arg(script).arg(things("")).args(files).output().unwrap();
    assert!(judged.stderr.is_empty(), "{}", String::from_utf8_lossy(&judged.stderr));
    String::from_utf8(judged.stdout).unwrap()
}
