//! Keys from the environment and from files: how they are sent, what is refused, and that no message repeats one. With
//! them the example of README, which has some.

use super::super::*;
use crate::host::{Authority, Headers, Query};
use std::ffi::OsString;
use std::fs;
use std::os::unix::ffi::OsStringExt;
use std::path::Path;

const CERTIFICATE: &str = "-----BEGIN CERTIFICATE-----\nMA==\n-----END CERTIFICATE-----\n";

/// A configuration in `folder` whose printer has these lines; the environment has one key, one blank, one broken.
fn parse_in(folder: &Path, lines: &str) -> Result<Config, ConfigError> {
    let text = format!(
        "[[printer]]\nname = \"bench\"\n{lines}\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
         [printer.job.state]\npath = \"/state\"\n[[printer.tool]]\nactual = {{ path = \"/t0\" }}\n"
    );
    let environment = |name: &str| match name {
        "BENCH_KEY" => Some(OsString::from("hush:variable")),
        "BLANK" => Some(OsString::new()),
        "BROKEN" => Some(OsString::from_vec(vec![b'h', 0xff])),
        _ => None,
    };
    Config::parse_in(&text, &folder.join("dwellwatch.toml"), &environment, Secrets::LookedUp)
}

fn header(folder: &Path, secret: &str) -> Result<Headers, ConfigError> {
    let config = parse_in(folder, &format!("[printer.headers]\nX-Entry = {secret}"))?;
    Ok(config.printers()[0].source.credentials.headers.clone())
}

fn query(folder: &Path, secret: &str) -> Result<Query, ConfigError> {
    let config = parse_in(folder, &format!("[printer.query]\nentry = {secret}"))?;
    Ok(config.printers()[0].source.credentials.query.clone())
}

#[test]
fn a_key_is_sent_in_the_form_that_is_asked_for_wherever_it_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("key.txt"), "hush:file\n").unwrap();
    fs::write(folder.path().join("dos.txt"), "hush:file\r\n").unwrap();
    fs::write(folder.path().join("two.txt"), " hush \n\n").unwrap();
    for (secret, sent) in [
        ("\"hush text\"", "hush text"),
        ("{ env = \"BENCH_KEY\" }", "hush:variable"),
        ("{ env = \"BENCH_KEY\", form = \"bearer\" }", "Bearer hush:variable"),
        // printf hush:file | base64, RFC 4648.
        ("{ file = \"key.txt\", form = \"basic\" }", "Basic aHVzaDpmaWxl"),
        ("{ file = \"key.txt\", form = \"plain\" }", "hush:file"),
        ("{ file = \"dos.txt\" }", "hush:file"),
        // One newline is the editor's; the rest may be the key's.
        ("{ file = \"two.txt\" }", " hush \n"),
    ] {
        assert!(
            query(folder.path(), secret).unwrap() == Query::new(vec![("entry".to_owned(), sent.to_owned())]),
            "{secret}"
        );
        // A header takes no newline, and its fault does not show what stands before it.
        match header(folder.path(), secret) {
            Ok(headers) => assert_eq!(headers.to_string(), "x-entry: ••••"),
            Err(error) => assert!(sent.contains('\n') && !error.to_string().contains("hush"), "{error}"),
        }
    }
    let absolute = format!("{{ file = {:?} }}", folder.path().join("key.txt"));
    assert!(query(Path::new("/nowhere"), &absolute).is_ok());
}

#[test]
fn a_key_that_is_not_to_be_had_is_a_fault_that_says_where_it_should_be_and_never_what_it_is() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("empty.txt"), "\n").unwrap();
    fs::write(folder.path().join("plain.txt"), "hush\n").unwrap();
    fs::write(folder.path().join("broken.txt"), b"hush\xff").unwrap();
    for (secret, key, says) in [
        ("{ env = \"NO_SUCH\" }", ".env", "the variable NO_SUCH is not set"),
        ("{ env = \"BLANK\" }", ".env", "the variable BLANK is empty"),
        ("{ env = \"BROKEN\" }", ".env", "the variable BROKEN is not UTF-8"),
        ("{ file = \"none.txt\" }", ".file", "none.txt is not to be read: No such file"),
        ("{ file = \"empty.txt\" }", ".file", "empty.txt is empty"),
        ("{ file = \"broken.txt\" }", ".file", "broken.txt is not UTF-8"),
        ("{ file = \"plain.txt\", form = \"basic\" }", "", "user:password"),
        ("{ file = \"plain.txt\", form = \"digest\" }", ".form", "\"plain\", \"bearer\", \"basic\""),
        ("{ file = \"plain.txt\", env = \"BENCH_KEY\" }", "", "found both env and file"),
        ("{ form = \"bearer\" }", "", "found neither env nor file"),
    ] {
        for (section, error) in [
            ("headers.X-Entry", header(folder.path(), secret).unwrap_err()),
            ("query.entry", query(folder.path(), secret).unwrap_err()),
        ] {
            let error = error.to_string();
            assert!(error.contains(&format!(" printer[0].{section}{key}: ")) && error.contains(says), "{error}");
            assert!(!error.contains("hush") && error.lines().count() == 1, "{error}");
        }
    }
}

#[test]
fn what_a_configuration_with_kept_keys_shows_has_none_of_them() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("key.txt"), "hush:file\n").unwrap();
    let basic = "{ file = \"key.txt\", form = \"basic\" }";
    let lines = format!("[printer.headers]\nX-Entry = {basic}\n[printer.query]\nentry = {{ env = \"BENCH_KEY\" }}");
    let config = parse_in(folder.path(), &lines).unwrap();
    let shown = format!("{config:?}");
    assert!(!shown.contains("hush") && !shown.contains("aHVzaDpmaWxl"), "{shown}");
    assert!(shown.contains("x-entry: ••••") && shown.contains("\"entry\": \"••••\""), "{shown}");
}

#[test]
fn an_authority_is_read_from_the_configuration_s_folder_and_has_a_certificate() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("house.pem"), CERTIFICATE).unwrap();
    fs::write(folder.path().join("other.pem"), "hush").unwrap();
    let config = parse_in(folder.path(), "authority_file = \"house.pem\"").unwrap();
    assert!(config.printers()[0].source.authority == Some(Authority::new(CERTIFICATE.into())));
    for (name, says) in [("other.pem", "other.pem has no certificate"), ("none.pem", "none.pem: No such file")] {
        let error = parse_in(folder.path(), &format!("authority_file = {name:?}")).unwrap_err().to_string();
        assert!(error.contains(" printer[0].authority_file: ") && error.contains(says), "{error}");
        assert!(!error.contains("hush"), "{error}");
    }
}

#[test]
fn the_example_in_the_readme_is_a_configuration() {
    let readme = include_str!("../../../../README.md");
    let section = readme.split("## Your own printer").nth(1).unwrap().split("\n## ").next().unwrap();
    let example: String = section.lines().filter_map(|line| line.strip_prefix("    ")).collect::<Vec<_>>().join("\n");
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("house.pem"), CERTIFICATE).unwrap();
    let environment = |name: &str| (name == "BENCH_KEY").then(|| OsString::from("hush"));
    let config =
        Config::parse_in(&example, &folder.path().join("dwellwatch.toml"), &environment, Secrets::LookedUp).unwrap();
    let printer = &config.printers()[0];
    assert_eq!(printer.settings.len(), 2);
    assert!(printer.source.authority.is_some() && printer.source.documents.iter().any(|one| one.every.is_some()));
    assert!(!printer.source.credentials.headers.to_string().is_empty() && printer.map.time.is_some());
}
