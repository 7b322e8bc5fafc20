//! The folder that an export goes into. Owns that nothing which was there is touched, that no file is seen before it is
//! whole, and that a failed export takes back what it wrote.

use super::ExportError;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

/// A folder of an export's own.
#[derive(Debug)]
pub(super) struct Folder {
    root: PathBuf,
    /// What was made, oldest first: to be taken back unless it is kept.
    made: Vec<PathBuf>,
}

/// A file that is not whole yet.
#[derive(Debug)]
pub(super) struct Part {
    /// Its name once it is whole.
    whole: PathBuf,
    part: PathBuf,
}

impl Folder {
    /// A folder that is not there yet, or holds nothing.
    pub(super) fn new(root: &Path) -> Result<Self, ExportError> {
        let taken = |found: String| ExportError::Taken { folder: root.to_owned(), found };
        let mut folder = Self { root: root.to_owned(), made: Vec::new() };
        match fs::read_dir(root) {
            Ok(mut entries) => match entries.next() {
                None => {}
                Some(entry) => {
                    let entry = entry.map_err(|error| ExportError::writing(root, &error))?;
                    return Err(taken(format!("holds `{}`", entry.file_name().display())));
                }
            },
            Err(error) if error.kind() == io::ErrorKind::NotFound => folder.make(root)?,
            Err(error) if error.kind() == io::ErrorKind::NotADirectory => return Err(taken("is no folder".to_owned())),
            Err(error) => return Err(ExportError::writing(root, &error)),
        }
        Ok(folder)
    }

    /// Begins a file, and the folders that it needs.
    pub(super) fn begin(&mut self, relative: &Path) -> Result<(Part, File), ExportError> {
        let whole = self.root.join(relative);
        if let Some(parent) = whole.parent() {
            self.make(parent)?;
        }
        let mut part = whole.clone().into_os_string();
        part.push(".part");
        let part = PathBuf::from(part);
        let file = File::create_new(&part).map_err(|error| ExportError::writing(&part, &error))?;
        self.made.push(part.clone());
        Ok((Part { whole, part }, file))
    }

    /// Gives a file its name, now that it is whole and on the disk.
    pub(super) fn finish(&mut self, part: Part, file: &File) -> Result<(), ExportError> {
        let Part { whole, part } = part;
        file.sync_all().map_err(|error| ExportError::writing(&part, &error))?;
        // Two printers' folders may be one where capitals do not count.
        if whole.exists() {
            return Err(ExportError::writing(&whole, &"is there already; it is left as it is"));
        }
        fs::rename(&part, &whole).map_err(|error| ExportError::writing(&part, &error))?;
        if let Some(last) = self.made.iter_mut().rfind(|made| **made == part) {
            *last = whole;
        }
        Ok(())
    }

    /// Lets what was written stand.
    pub(super) fn keep(mut self) {
        self.made.clear();
    }

    /// Makes a folder and those above it that are not there.
    fn make(&mut self, path: &Path) -> Result<(), ExportError> {
        let missing = path.ancestors().take_while(|above| !above.as_os_str().is_empty() && !above.exists());
        for folder in missing.collect::<Vec<_>>().into_iter().rev() {
            match fs::create_dir(folder) {
                Ok(()) => self.made.push(folder.to_owned()),
                // Made meanwhile: by another program, or since the path goes up and down again.
                Err(_) if folder.is_dir() => {}
                Err(error) => return Err(ExportError::writing(folder, &error)),
            }
        }
        Ok(())
    }
}

impl Part {
    /// Failed while the file was written.
    pub(super) fn fault(&self, error: &io::Error) -> ExportError {
        ExportError::writing(&self.part, error)
    }
}

/// A name as part of a path and of a `key=value` folder: of ASCII, letters, digits, `-` and `_` stand for themselves and
/// everything else is percent-encoded (RFC 3986). Other scripts stand for themselves: encoded, 64 characters of them
/// would be longer than a file system's longest name, 255 bytes.
pub(super) fn encoded(name: &str) -> String {
    let as_path = |character: char| {
        let is_plain = !character.is_ascii() || character.is_ascii_alphanumeric() || matches!(character, '-' | '_');
        if is_plain { character.to_string() } else { format!("%{:02X}", u32::from(character)) }
    };
    name.chars().map(as_path).collect()
}

impl Drop for Folder {
    fn drop(&mut self) {
        // Newest first, so that a folder is empty when its turn comes; one that holds something else stays. What can't
        // be removed is no news beside the failure that led here.
        for made in self.made.iter().rev() {
            drop(fs::remove_file(made).or_else(|_| fs::remove_dir(made)));
        }
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn a_file_has_its_name_only_once_it_is_whole() {
        let scratch = tempfile::tempdir().unwrap();
        let mut folder = Folder::new(scratch.path()).unwrap();
        let whole = scratch.path().join("spans/spans.csv");
        let (part, mut file) = folder.begin(Path::new("spans/spans.csv")).unwrap();
        file.write_all(b"half").unwrap();
        assert!(!whole.exists() && scratch.path().join("spans/spans.csv.part").exists());
        folder.finish(part, &file).unwrap();
        folder.keep();
        assert_eq!(fs::read(&whole).unwrap(), b"half");
        assert!(!scratch.path().join("spans/spans.csv.part").exists());
    }

    #[test]
    fn what_came_from_elsewhere_stays_when_an_export_is_taken_back() {
        let scratch = tempfile::tempdir().unwrap();
        let mut folder = Folder::new(&scratch.path().join("out")).unwrap();
        let (part, file) = folder.begin(Path::new("a/one.csv")).unwrap();
        folder.finish(part, &file).unwrap();
        folder.begin(Path::new("b/two.csv")).unwrap();
        let foreign = scratch.path().join("out/a/foreign");
        fs::write(&foreign, "mine").unwrap();
        drop(folder);
        assert_eq!(fs::read_to_string(&foreign).unwrap(), "mine");
        assert!(!scratch.path().join("out/b").exists() && !scratch.path().join("out/a/one.csv").exists());
    }

    #[test]
    fn a_file_of_that_name_is_never_replaced() {
        let scratch = tempfile::tempdir().unwrap();
        let mut folder = Folder::new(scratch.path()).unwrap();
        let (part, file) = folder.begin(Path::new("one.csv")).unwrap();
        fs::write(scratch.path().join("one.csv"), "mine").unwrap();
        let error = folder.finish(part, &file).unwrap_err().to_string();
        assert!(error.contains("is there already"), "{error}");
        drop(folder);
        assert_eq!(fs::read_to_string(scratch.path().join("one.csv")).unwrap(), "mine");
    }

    #[test]
    fn names_are_encoded_so_that_no_two_are_one_and_none_is_a_path() {
        assert_eq!(encoded("a/b"), "a%2Fb");
        assert_eq!(encoded("a%2Fb"), "a%252Fb");
        assert_eq!(encoded(".."), "%2E%2E");
        assert_eq!(encoded("Bench_2-ü"), "Bench_2-ü");
        // A file system's longest name.
        assert!(encoded(&"/".repeat(64)).len() + "printer=".len() <= 255);
    }
}
