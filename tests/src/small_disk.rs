//! A disk of a few MiB that a test can fill: a tmpfs that only the test sees. Owns the disk and its ballast; knows
//! nothing of what is written beside it.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Set in the process that has the disk: where it is.
const MOUNTED: &str = "DWELLWATCH_SMALL_DISK";
/// What `unshare` and the shell end with when there is no disk; a test ends with 101.
const NO_DISK: i32 = 97;

/// Runs a test with a disk of so many KiB, in a process of its own: `test` is the test's whole name.
///
/// # Panics
/// If there can be no such disk here, and if the test fails there.
pub fn on_small_disk(test: &str, kib: u32, body: impl FnOnce(&SmallDisk)) {
    if let Some(folder) = std::env::var_os(MOUNTED) {
        return body(&SmallDisk { folder: folder.into() });
    }
    let folder = tempfile::tempdir().unwrap();
    // Its own mounts; as an ordinary user in a user namespace of its own, which is what allows them.
    let is_root = fs::metadata("/proc/self").is_ok_and(|own| std::os::unix::fs::MetadataExt::uid(&own) == 0);
    let script = format!(
        "mount -t tmpfs -o size={kib}k dwellwatch \"$1\" || exit {NO_DISK}; exec \"$2\" --exact \"$3\" --nocapture"
    );
    let mut run = Command::new("unshare");
    run.args(if is_root { &["-m"][..] } else { &["-rm"][..] });
    run.args(["sh", "-c", &script, "sh"]).arg(folder.path()).arg(std::env::current_exe().unwrap()).arg(test);
    let ended = run.env(MOUNTED, folder.path()).status();
    let needs = "these tests need Linux, util-linux's `unshare`, and either root or user namespaces for ordinary users \
        (`unshare -rm true` must work; sysctl kernel.apparmor_restrict_unprivileged_userns or \
        kernel.unprivileged_userns_clone may forbid them)";
    let ended = ended.unwrap_or_else(|error| unreachable!("no small disk: unshare: {error}; {needs}"));
    assert!(!matches!(ended.code(), Some(1 | NO_DISK)), "no small disk ({ended}); {needs}");
    assert!(ended.success(), "{test} on its small disk: {ended}");
}

/// A disk that can be filled.
#[derive(Debug)]
pub struct SmallDisk {
    folder: PathBuf,
}

impl SmallDisk {
    /// Its folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Fills it to the last page.
    pub fn fill(&self) {
        let mut ballast = File::options().create(true).append(true).open(self.ballast()).unwrap();
        for size in [65_536, 4096, 1] {
            while ballast.write_all(&vec![0; size]).is_ok() {}
        }
    }

    /// Fills it, but for so many KiB.
    pub fn fill_but(&self, kib: u64) {
        self.fill();
        let ballast = File::options().write(true).open(self.ballast()).unwrap();
        let length = ballast.metadata().unwrap().len();
        ballast.set_len(length.next_multiple_of(4096) - kib * 1024).unwrap();
    }

    /// Makes room again.
    pub fn clear(&self) {
        fs::remove_file(self.ballast()).unwrap();
    }

    fn ballast(&self) -> PathBuf {
        self.folder.join("ballast")
    }
}
