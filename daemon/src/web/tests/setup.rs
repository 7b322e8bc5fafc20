//! *Setup* over a real record and a configuration that holds secrets.

use super::*;
use crate::config::Config;
use crate::host::{Skew, explain};
use crate::store::Understood;
use serde_json::json;
use std::path::Path;

const BENCH: &str = r#"
[store]
path = "record.sqlite"
[[printer]]
name = "bench"
poll_s = 2
[printer.headers]
X-Entry = "hush-header"
[printer.query]
pass = "hush-pair"
[[printer.document]]
name = "live"
url = "http://127.0.0.1:9/live?key=hush-query"
[printer.job]
state = { path = "/mood" }
name = { path = "/file" }
[[printer.tool]]
actual = { path = "/t0" }
duty = { path = "/d0" }
settings = { material = "PLA" }
[[printer.tool]]
actual = { path = "/t1" }
[[notify.webhook]]
name = "hook"
url = "http://127.0.0.1:9/hush-hook"
[[alarm.rule]]
rule = "idle_hot"
on_delay_s = 90
"#;

/// The site at 801 s, configured, and after a poll that brought these values.
fn configured(live: &serde_json::Value) -> (tempfile::TempDir, Site) {
    let (folder, site) = site(801);
    let config = Config::parse(BENCH, Path::new("bench.toml")).unwrap();
    let (printer, name) = (&config.printers()[0], PrinterName::new("bench").unwrap());
    let documents = [Some(live.clone())];
    let fields = explain(&printer.map, &documents, at(800));
    site.store.note_understood(&name, Understood { at: at(800), came: vec![true], fields });
    let skew = Skew { ahead: Seconds::new(-4.0), within: Seconds::new(0.5) };
    site.store.note_polls(&name, at(800), &["document sheet: away".to_owned()], Some(skew));
    site.store.flush().unwrap();
    let (_heaters, shown) = watch::channel(None);
    let site = site.configured(Arc::new(config), shown);
    (folder, site)
}

fn get() -> Request<Body> {
    Request::get("/setup").header("host", "localhost:7870").body(Body::empty()).unwrap()
}

#[tokio::test]
async fn the_page_tells_fields_gaps_and_rules_and_no_secret() {
    let (_folder, site) = configured(&json!({ "mood": "dozing", "file": HOSTILE, "t0": 211.4, "t1": "?" }));
    let (status, page) = ask(site, get()).await;
    assert_eq!(status, StatusCode::OK);
    for says in [
        "2 of 5 fields are understood, and one thing is wrong with its polls.",
        "http://127.0.0.1:9/live?••••, every 2.0 s: came.",
        "document sheet: away",
        "4.0 s behind",
        "211.40 °C",
        "once, for 2 min",
        "0 of 1",
        "90 s (usual: 600 s)",
        "Version of its tables",
        "activation energy of flow",
        "/backups",
    ] {
        assert!(page.contains(says), "{says}: {page}");
    }
    assert!(!page.contains("hush"), "{page}");
    assert!(!page.contains(HOSTILE), "{page}");
}

#[tokio::test]
async fn a_record_without_a_configuration_is_shown_for_what_it_is() {
    let (_folder, site) = site(801);
    site.store.flush().unwrap();
    let view = views::setup(&site).unwrap();
    let quality = &view.printers[0].quality;
    // 105 s of 801 s are a gap, and the last second has no reading yet that could tell.
    let contact = quality.contact.unwrap();
    assert!((contact - (1.0 - 105.0 / 801.0)).abs() < 0.002, "{contact}");
    assert_eq!((quality.n_gaps, quality.n_prints, quality.n_unreported), (1, 1, 1));
    assert_eq!(quality.interval, Some(Seconds::new(5.0)));
    assert_eq!(quality.days.iter().flatten().count(), 1);
    let (status, page) = ask(site, get()).await;
    assert_eq!(status, StatusCode::OK);
    assert!(page.contains("It has not been polled since dwellwatch was started"), "{page}");
    assert!(page.contains("The configuration is not known here"), "{page}");
}
