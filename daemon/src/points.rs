//! The named places on the way of a commit and of a notice at which a process may be cut off. Owns their names, and how
//! a program that was built to be cut off dies there; in any other build passing one does nothing at all.

/// Declares the places, so that none can be missing from the list of all.
macro_rules! points {
    ($($(#[doc = $doc:literal])+ $name:ident = $word:literal,)+) => {
        /// A place at which a process may be cut off.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Point {
            $($(#[doc = $doc])+ $name,)+
        }

        impl Point {
            /// Every place.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// Its name.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$name => $word,)+
                }
            }
        }
    };
}

points! {
    /// A migration is written and not committed.
    MigrationWritten = "migration_written",
    /// A migration is committed.
    MigrationCommitted = "migration_committed",
    /// Printers and their settings are written and not committed.
    TakeUpWritten = "take_up_written",
    /// Printers and their settings are committed.
    TakeUpCommitted = "take_up_committed",
    /// A printer's row is made or brought up to date.
    PrinterKnown = "printer_known",
    /// The readings of a commit of events are out of the memory that pages read, and not in the record yet.
    ReadingsTaken = "readings_taken",
    /// The transaction of a commit of events has begun.
    EventsBegun = "events_begun",
    /// One of a commit's events is written.
    EventWritten = "event_written",
    /// One of a commit's alarms is written, its notice too.
    AlarmWritten = "alarm_written",
    /// A commit's events are written, its readings are not.
    EventsWritten = "events_written",
    /// A batch of readings is written.
    BatchWritten = "batch_written",
    /// The rows of an hour that is over are read, and stand as they were.
    HourRead = "hour_read",
    /// The rows of an hour that is over are gone, and the hour's is not written.
    MinutesCleared = "minutes_cleared",
    /// The row of an hour that is over is written.
    HourWritten = "hour_written",
    /// A commit's events and readings are written, and not committed.
    CommitDue = "commit_due",
    /// The write-ahead log is long enough to go into the file.
    CheckpointDue = "checkpoint_due",
    /// The write-ahead log has gone into the file.
    CheckpointMade = "checkpoint_made",
    /// A commit of events is in the record, and the pages do not know of it.
    EventsCommitted = "events_committed",
    /// A commit is done, and its caller does not know.
    BoardMoved = "board_moved",
    /// The transaction of plain readings has begun.
    SamplesBegun = "samples_begun",
    /// Plain readings are written, and not committed.
    SamplesWritten = "samples_written",
    /// Plain readings are committed.
    SamplesCommitted = "samples_committed",
    /// The readings under way are written at the end, and not committed.
    FlushWritten = "flush_written",
    /// The readings under way are committed.
    FlushCommitted = "flush_committed",
    /// A change of settings, a part or an outcome is recorded, and its caller does not know.
    WordRecorded = "word_recorded",
    /// What a person said of an alarm is written, and not committed.
    AlarmSaid = "alarm_said",
    /// What a person said of an alarm is committed.
    AlarmSaidCommitted = "alarm_said_committed",
    /// Shelving whose time is up has ended in what is written, and that is not committed.
    HoldsEnded = "holds_ended",
    /// That is committed.
    HoldsEndedCommitted = "holds_ended_committed",
    /// What was learned is in the record, and its caller does not know.
    LearnedKept = "learned_kept",
    /// A job file is written, and not committed.
    JobFileWritten = "job_file_written",
    /// A job file is committed.
    JobFileCommitted = "job_file_committed",
    /// A message is made, and not sent.
    NoticeRead = "notice_read",
    /// The receiver has a message, and the record does not know.
    NoticeSent = "notice_sent",
    /// A message is marked as delivered.
    NoticeDelivered = "notice_delivered",
}

/// Comes by a place.
#[cfg(not(feature = "points"))]
pub(crate) const fn pass(_: Point) {}

#[cfg(feature = "points")]
pub(crate) use armed::pass;

#[cfg(feature = "points")]
mod armed {
    use super::Point;
    use std::io::Write;
    use std::process::Command;
    use std::sync::OnceLock;
    use std::sync::atomic::{AtomicU32, Ordering};

    /// Where to die: `name:nth`, from 1.
    const DIES_AT: &str = "DWELLWATCH_DIES_AT";
    /// Whether every place that is passed is told on stdout, a line each.
    const TELLS_POINTS: &str = "DWELLWATCH_TELLS_POINTS";

    struct Order {
        dies_at: Option<(Point, u32)>,
        tells: bool,
    }

    /// Comes by a place: the process ends there, if the environment asks for it.
    pub(crate) fn pass(point: Point) {
        static ORDER: OnceLock<Order> = OnceLock::new();
        static PASSED: AtomicU32 = AtomicU32::new(0);
        let order = ORDER.get_or_init(order);
        if order.tells {
            tell(point);
        }
        if let Some((_, nth)) = order.dies_at.filter(|(at, _)| *at == point)
            && PASSED.fetch_add(1, Ordering::Relaxed) + 1 == nth
        {
            die();
        }
    }

    fn order() -> Order {
        let dies_at = std::env::var(DIES_AT).ok().map(|asked| {
            let found = parse(&asked);
            #[expect(clippy::expect_used, reason = "a test that asks for no place there is must not pass by")]
            found.expect("DWELLWATCH_DIES_AT is a point's name, a colon and a number from 1")
        });
        Order { dies_at, tells: std::env::var_os(TELLS_POINTS).is_some() }
    }

    fn parse(asked: &str) -> Option<(Point, u32)> {
        let (name, nth) = asked.split_once(':')?;
        let point = Point::ALL.iter().find(|point| point.word() == name)?;
        Some((*point, nth.parse().ok().filter(|nth| *nth > 0)?))
    }

    /// In one write, and before what follows: the line is in the pipe even if the process dies right after.
    fn tell(point: Point) {
        let line = format!("passed {}\n", point.word());
        let told = std::io::stdout().write_all(line.as_bytes());
        drop(told.and_then(|()| std::io::stdout().flush()));
    }

    /// As a power cut ends it, nothing is unwound or flushed. This thread never goes on.
    fn die() -> ! {
        loop {
            let kill = Command::new("kill").args(["-KILL", &std::process::id().to_string()]).status();
            drop(kill);
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
    }
}
