//! The record: one SQLite file, and the only place with SQL. Writing goes through one thread that owns the writing
//! connection; reading opens connections of its own.
//!
//! Events are durable when the call returns. Readings are packed by the minute and written with the next event or
//! when the minute is over; a crash loses at most that minute. When an hour is over its minutes become one row. The
//! newest reading and the minute under way are held here too, so that a page sees what the store holds, not what a
//! tracker remembers. While the disk takes nothing, steps wait here in memory, and are written in order when there is
//! room.

mod advice;
mod again;
mod alarm;
mod aside;
mod backlog;
mod backup;
mod carried;
mod column;
mod commit;
mod error;
mod handle;
mod heater;
mod job_file;
mod keep;
mod latest;
mod learned;
mod message;
mod outbox;
mod outcome;
mod packed;
mod pending;
mod post;
mod read;
mod record;
mod repack;
mod reserve;
mod resume;
mod samples;
mod schema;
mod sound;
mod steps;
mod summary;
mod trial;
mod waiting;
mod writer;

pub use advice::{SaidSuggestion, Standing, SuggestionNames, SuggestionRow};
pub use alarm::{Act, Acted, AlarmError, SHELVED_MAX};
pub use aside::{SetAside, set_aside, set_aside_of};
pub use backlog::Dropped;
pub use backup::backup;
pub use commit::Commit;
pub use error::StoreError;
pub use handle::{Known, Store};
pub use job_file::{DisagreementRow, JobFileRow};
pub use keep::Keep;
pub use latest::{Latest, Polls, Trouble, Understood};
pub use learned::Kept;
pub use message::{Carrier, Draft, Outbox, Past, Sent, Underway};
pub use outbox::Notice;
pub use outcome::{in_force, in_force_at, is_failure, replaced_at};
pub use read::{
    AlarmCall, AlarmChangeRow, AlarmRow, ChangeRow, EndedAs, EndedPrint, GapRow, HoldKind, HoldRow, HotDoing, HotTime,
    OutcomeCount, OutcomeRow, PartRow, PrintCount, PrintFilter, PrintRow, PrintSearch, PrintTool, PrinterRow,
    PrintsFound, Reader, RefusedRow, Reported, SaidOf, SettingsRow, SpanFilter, SpanRow, StuckRow, ToldPrint,
    ToolSources, VisitRow,
};
pub use resume::Resume;
pub use sound::{Halt, examine};
pub use summary::{Heat, Step, Summary};
pub use trial::{Drawn, Ended, Ending, Figures, NewTrial, TrialRow, TrialVerdict};
pub use waiting::{Committed, Unwritten};

pub(crate) use backup::{JOURNAL, UNFINISHED};
