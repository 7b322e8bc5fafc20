//! What a person is told of a record that was set aside: what happened, and how to go back to a backup, to the letter.

use crate::store::SetAside;
use std::path::Path;

/// An alarm's words.
pub(super) struct Words {
    pub(super) cause: String,
    pub(super) consequence: String,
    pub(super) action: String,
}

/// The words for a record that lies aside, with the newest sound backup if there is one.
pub(super) fn words(database: &Path, aside: &SetAside, backup: Option<&Path>, folder: &Path) -> Words {
    let lies = aside.file.display();
    let found = aside.found.as_ref().map(|found| format!(" (found: {found})")).unwrap_or_default();
    let action = backup.map_or_else(
        || {
            format!(
                "There is no sound backup in {}. What can still be read of it, `dwellwatch journal --db {}` writes out. \
                 This alarm goes once {lies} has been moved elsewhere.",
                folder.display(),
                quoted(&aside.file)
            )
        },
        |backup| {
            format!(
                "The newest sound backup is {}. To go back to it and keep what was recorded since, stop dwellwatch, run \
                 `{}` and start dwellwatch. This alarm goes once {lies} has been moved elsewhere.",
                backup.display(),
                restoring(database, aside, backup)
            )
        },
    );
    Words {
        cause: format!(
            "The record was damaged and was set aside whole as {lies}: nothing was deleted. A new one has begun{found}."
        ),
        consequence: "Printers are watched, but prints, outcomes and parts from before are missing from pages and \
            reports."
            .to_owned(),
        action,
    }
}

/// The shell's words that put the backup in the record's place and replay into it what was recorded since. What stood
/// there, and what was set aside, goes into a folder of its own, with their logs: a log that was left would be played into
/// the backup. Job files are left out: a print that runs through the
/// damage began twice, and a job file finds its print by the beginning alone.
fn restoring(database: &Path, aside: &SetAside, backup: &Path) -> String {
    let mut elsewhere = aside.file.as_os_str().to_owned();
    elsewhere.push(".away");
    let elsewhere = Path::new(&elsewhere);
    let beside = |file: &Path, ending: &str| {
        let mut name = file.as_os_str().to_owned();
        name.push(ending);
        quoted(Path::new(&name))
    };
    let logs =
        [database, aside.file.as_path()].map(|file| format!("{} {}", beside(file, "-wal"), beside(file, "-shm")));
    let log = beside(database, "-wal");
    let (database, backup) = (quoted(database), quoted(backup));
    let (all, since) = (quoted(&elsewhere.join("all.ndjson")), quoted(&elsewhere.join("since.ndjson")));
    let (aside, elsewhere) = (quoted(&aside.file), quoted(elsewhere));
    format!(
        "mkdir {elsewhere} && dwellwatch journal --db {database} --out {all} && \
         sed '/\"kind\":\"job_file\"/d' {all} > {since} && mv {database} {aside} {elsewhere} && \
         for log in {}; do [ ! -e \"$log\" ] || mv \"$log\" {elsewhere}; done && [ ! -e {log} ] && \
         cp {backup} {database} && dwellwatch replay --db {database} {since}",
        logs.join(" ")
    )
}

/// A path as one word of a POSIX shell.
fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    let is_plain = |letter: char| letter.is_ascii_alphanumeric() || "/._-+:@%".contains(letter);
    if text.chars().all(is_plain) { text } else { format!("'{}'", text.replace('\'', "'\\''")) }
}
