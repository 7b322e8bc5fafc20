//! The job file of a print, from the host that runs it to the record and the page.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_analysis::units::Millimetres;
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::simulated::Simulated;
use dwellwatch::entry::JobFileFrom;
use dwellwatch::rehearsal::Shape;
use dwellwatch::rehearsal::shape::SHEET_PATH;
use dwellwatch::store::{PrintFilter, PrintRow};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const PATIENCE: Duration = Duration::from_secs(30);

/// A daemon that watches a simulated host, whose jobs' files it looks for at that path.
fn start(host: &Simulated, folder: &std::path::Path, path: &str) -> Daemon {
    Daemon::start(PROGRAM, folder, &host.printer(Shape::Hearths, "bench").replace(SHEET_PATH, path))
}

fn newest(daemon: &Daemon) -> Option<PrintRow> {
    let filter = PrintFilter { limit: Some(1), ..PrintFilter::default() };
    daemon.record().prints(&filter).unwrap().into_iter().next()
}

#[test]
fn the_file_of_the_job_that_runs_is_in_the_record_with_its_print_and_is_asked_for_once() {
    let (host, folder) = (Simulated::start(11, 1.0), tempfile::tempdir().unwrap());
    let mut daemon = start(&host, folder.path(), "/bench/sheets/{name}");
    let known = || newest(&daemon).filter(|print| print.job_file.is_some());
    assert!(eventually(PATIENCE, || known().is_some()), "{}", daemon.log());
    let print = known().unwrap();
    assert_eq!(print.job_file, Some(JobFileFrom::Host));
    let row = daemon.record().job_file(print.id).unwrap().unwrap();
    // T0, T1, T0, then twelve layers of both.
    assert_eq!(row.file.turns.len(), 27);
    assert_eq!((row.dropped, row.file.name.as_ref()), (None, "lantern.gcode"));
    let t1 = row.file.tools.iter().find(|tool| tool.tool.idx() == 1).unwrap();
    assert_eq!(t1.settings.retract.map(Millimetres::get), Some(1.2));
    // The turn that lacks its standby command.
    assert_eq!(t1.left_hot, 1);
    daemon.kill();
    daemon.restart();
    std::thread::sleep(Duration::from_secs(3));
    assert_eq!(daemon.log().matches("job file read").count(), 1, "{}", daemon.log());
}

#[test]
fn a_file_that_the_host_does_not_have_is_said_on_the_page_and_the_print_is_watched_all_the_same() {
    let (host, folder) = (Simulated::start(11, 1.0), tempfile::tempdir().unwrap());
    let daemon = start(&host, folder.path(), "/bench/shelf/{name}");
    assert!(eventually(PATIENCE, || daemon.page().contains("file: host answers 404")), "{}", daemon.log());
    assert!(daemon.page().contains("lantern.gcode"));
    assert_eq!(daemon.log().matches("no job file for this print").count(), 1, "{}", daemon.log());
    assert_eq!(newest(&daemon).unwrap().job_file, None);
}
