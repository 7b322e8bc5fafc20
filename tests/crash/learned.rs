//! The real daemon dies when it has just kept what it learned: the record is whole, and what is kept holds or is made
//! anew.

use dwell_analysis::polymer::Materials;
use dwell_tests::daemon::Daemon;
use dwell_tests::eventually;
use dwell_tests::simulated::Simulated;
use dwellwatch::points::Point;
use dwellwatch::rehearsal::Shape;
use dwellwatch::store::{Halt, examine};
use dwellwatch::study::{Learning, source};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
/// It learns ten seconds after something new, and looks every five; on a busy machine later.
const PATIENCE: Duration = Duration::from_secs(60);

/// The places that are on no other way.
pub(crate) const PLACES: [Point; 1] = [Point::LearnedKept];

#[test]
fn what_is_learned_holds_wherever_on_its_way_the_daemon_dies() {
    let host = Simulated::start(11, 1.0);
    let folder = tempfile::tempdir().unwrap();
    let mut daemon = Daemon::start(PROGRAM, folder.path(), &host.printer(Shape::Hearths, "bench"));
    assert!(daemon.stop().success());
    for point in PLACES {
        daemon.restart_to_die(Some(&format!("{}:1", point.word())));
        assert!(daemon.dies(PATIENCE), "{point:?} was not passed; the log: {}", daemon.log());
        examine(&daemon.db(), &Halt::default()).unwrap();
        daemon.restart();
        let holds = || {
            let record = daemon.record();
            record
                .learned_from()
                .unwrap()
                .is_some_and(|(from, _)| from == source(&record, &Materials::default(), Learning::default()).unwrap())
        };
        assert!(eventually(PATIENCE, holds), "{point:?}: {}", daemon.log());
        assert!(daemon.stop().success());
    }
}
