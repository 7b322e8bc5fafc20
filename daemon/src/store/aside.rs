//! A damaged record set aside: renamed beside where it stood, with all that belongs to it. Deletes nothing, and knows
//! nothing of what comes in its place.

use super::StoreError;
use crate::stamp;
use dwell_analysis::time::Timestamp;
use std::ffi::OsString;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// What else SQLite keeps beside a database. They go first: a stop in between leaves a database without them, which is
/// still set aside by the next start, and never one of them beside a new database.
const COMPANIONS: [&str; 2] = ["-wal", "-shm"];
/// Beside the file that was set aside: what was found, for a person and for the next start.
const FOUND: &str = ".txt";
const MARK: &str = ".damaged-";

/// A record that was set aside.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct SetAside {
    /// Where it lies.
    pub file: PathBuf,
    /// What was found, if that is known.
    pub found: Option<String>,
}

/// Renames a damaged database, so that a new one can begin in its place. Nobody of this process may have it open.
///
/// # Errors
/// If it can't be renamed.
pub fn set_aside(database: &Path, at: Timestamp, found: &str) -> Result<SetAside, StoreError> {
    let failed = |error: io::Error| StoreError::Opening {
        path: database.to_owned(),
        reason: format!("it is damaged ({found}) and can't be set aside: {error}"),
    };
    let file = free_name(database, at);
    for companion in COMPANIONS {
        match fs::rename(extended(database, companion), extended(&file, companion)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(failed(error)),
            Ok(()) | Err(_) => {}
        }
    }
    fs::rename(database, &file).map_err(failed)?;
    if let Err(error) = fs::write(extended(&file, FOUND), format!("{found}\n")) {
        tracing::warn!(%error, "what was found is in the log alone");
    }
    File::open(folder_of(database)).and_then(|folder| folder.sync_all()).map_err(failed)?;
    Ok(SetAside { file, found: Some(found.to_owned()) })
}

/// The records that were set aside and still lie beside a database, the newest last.
///
/// # Errors
/// If the folder can't be read.
pub fn set_aside_of(database: &Path) -> io::Result<Vec<SetAside>> {
    let mut begins = database.file_name().unwrap_or_default().to_owned();
    begins.push(MARK);
    let begins = begins.into_encoded_bytes();
    let mut lying = Vec::new();
    for entry in fs::read_dir(folder_of(database))? {
        let entry = entry?;
        let name = entry.file_name();
        let bytes = name.as_encoded_bytes();
        let belongs = [COMPANIONS[0], COMPANIONS[1], FOUND].iter().any(|ending| bytes.ends_with(ending.as_bytes()));
        if bytes.starts_with(&begins) && !belongs && entry.file_type()?.is_file() {
            let file = database.with_file_name(&name);
            let found = fs::read_to_string(extended(&file, FOUND)).ok();
            lying.push(SetAside { file, found: found.map(|found| found.trim().to_owned()) });
        }
    }
    lying.sort();
    Ok(lying)
}

fn free_name(database: &Path, at: Timestamp) -> PathBuf {
    let second = Timestamp::from_ms(at.as_ms().div_euclid(1000).saturating_mul(1000));
    let stamped = extended(database, &format!("{MARK}{}", stamp::write(second).replace(':', "-")));
    let numbered = (2_u32..).map(|n| extended(&stamped, &format!("-{n}")));
    let is_free =
        |file: &PathBuf| !file.exists() && !COMPANIONS.iter().any(|companion| extended(file, companion).exists());
    std::iter::once(stamped.clone()).chain(numbered).find(is_free).unwrap_or(stamped)
}

/// A path with something at its end.
pub(super) fn extended(path: &Path, ending: &str) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// 2026-11-26T09:12:33.250Z.
    const AT: Timestamp = Timestamp::from_ms(1_795_684_353_250);

    #[test]
    fn what_is_set_aside_is_whole_twice_over_and_nothing_else_is_touched() {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join("bench.db");
        let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
        for round in ["1", "2"] {
            write("bench.db", &format!("pages {round}"));
            write("bench.db-wal", &format!("frames {round}"));
            write("bench.db.watched", "");
            write("bench.db.schema-3", "older");
            set_aside(&database, AT, &format!("page {round} is torn")).unwrap();
            assert!(!database.exists() && !folder.path().join("bench.db-wal").exists());
        }
        let read = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
        let stamped = "bench.db.damaged-2026-11-26T09-12-33Z";
        assert_eq!(read(stamped), "pages 1");
        assert_eq!(read(&format!("{stamped}-wal")), "frames 1");
        assert_eq!(read(&format!("{stamped}-2")), "pages 2");
        assert_eq!(read(&format!("{stamped}-2-wal")), "frames 2");
        assert_eq!((read("bench.db.schema-3").as_str(), read("bench.db.watched").as_str()), ("older", ""));
        // Where a person has moved one that was set aside.
        fs::create_dir(folder.path().join("bench.db.damaged-2026-11-25T09-12-33Z.away")).unwrap();
        let found: Vec<_> = set_aside_of(&database).unwrap().into_iter().map(|aside| aside.found.unwrap()).collect();
        assert_eq!(found, ["page 1 is torn", "page 2 is torn"]);
    }
}
