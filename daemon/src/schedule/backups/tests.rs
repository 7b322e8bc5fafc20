use super::*;
use crate::entry::{HotEnd, PrinterName};
use crate::store::Store;
use std::fs::OpenOptions;
use tempfile::TempDir;

struct Bench {
    folder: TempDir,
    backups: Backups,
    _store: Store,
}

impl Bench {
    fn new(keep: usize) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let database = folder.path().join("bench.db");
        let store = Store::open(&database).unwrap();
        store.ensure_printer(&PrinterName::new("bench").unwrap(), HotEnd::Separate, 2).unwrap();
        let backups = Backups::new(&database, folder.path().join("backups"), keep);
        Self { folder, backups, _store: store }
    }

    fn take(&self, day: i8) -> Result<PathBuf, BackupError> {
        self.backups.take(Date::new(2026, 11, day).unwrap(), &Halt::default())
    }

    fn names(&self) -> Vec<String> {
        let mut names = self.backups.names().unwrap();
        names.sort();
        names
    }
}

#[test]
fn a_day_has_one_backup_and_only_old_ones_of_this_naming_go() {
    let bench = Bench::new(3);
    let day = |day| Date::new(2026, 11, day).unwrap();
    assert!(bench.backups.are_due(day(1)));
    let others =
        ["bench-2026-1-1.db", "bench-holiday.db", "gull-2026-01-01.db", "bench-2025-01-01.db.txt", "x.unfinished"];
    fs::create_dir(bench.backups.folder()).unwrap();
    for name in others {
        fs::write(bench.backups.folder().join(name), "not one of ours").unwrap();
    }
    for ending in ["", "-journal"] {
        let name = format!("bench-2026-10-31.db.aX3.unfinished{ending}");
        fs::write(bench.backups.folder().join(name), "of a killed daemon").unwrap();
    }
    for n in 1..=5 {
        let copy = bench.take(n).unwrap();
        assert!(copy.ends_with(format!("bench-2026-11-0{n}.db")) && !bench.backups.are_due(day(n)), "{copy:?}");
    }
    assert!(matches!(bench.take(5), Err(BackupError::Store(StoreError::Backup { .. }))), "never overwritten");
    assert_eq!(bench.backups.drop_old(&bench.backups.folder().join("bench-2026-11-05.db")).unwrap(), 2);
    let mut left: Vec<_> = others.iter().map(ToString::to_string).collect();
    left.extend((3..=5).map(|n| format!("bench-2026-11-0{n}.db")));
    left.sort();
    assert_eq!(bench.names(), left);
    // A clock that was ahead once stops no later backup.
    let ahead = bench.backups.folder().join("bench-2050-01-01.db");
    fs::copy(bench.backups.folder().join("bench-2026-11-05.db"), ahead).unwrap();
    assert!(bench.backups.are_due(day(6)));
    assert!(!Backups { keep: 0, ..bench.backups.clone() }.are_due(day(6)));
}

#[test]
fn the_backup_that_is_offered_is_the_newest_that_is_sound() {
    let bench = Bench::new(3);
    assert_eq!(bench.backups.newest_sound(&Halt::default()).unwrap(), None);
    let copies: Vec<_> = (1..=3).map(|n| bench.take(n).unwrap()).collect();
    let mut pages = fs::read(&copies[2]).unwrap();
    pages[2048..4096].fill(0xa5);
    fs::write(&copies[2], pages).unwrap();
    assert_eq!(bench.backups.newest_sound(&Halt::default()).unwrap().as_ref(), Some(&copies[1]));
}

#[test]
fn a_disk_with_less_free_than_twice_the_database_gets_none() {
    let bench = Bench::new(3);
    let large = bench.folder.path().join("large.db");
    // Eight tebibytes on paper alone: no disk that runs these tests has sixteen free.
    OpenOptions::new().create_new(true).write(true).open(&large).unwrap().set_len(1 << 43).unwrap();
    let backups = Backups::new(&large, bench.folder.path().join("backups"), 3);
    let refused = backups.take(Date::new(2026, 11, 1).unwrap(), &Halt::default()).unwrap_err();
    assert!(matches!(refused, BackupError::Room { .. }), "{refused}");
    assert!(refused.to_string().contains("17592187 MB") && refused.to_string().contains("[backup]"), "{refused}");
    assert!(bench.names().is_empty());
}
