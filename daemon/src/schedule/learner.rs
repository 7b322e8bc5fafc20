//! Learns anew once there is something new to learn from, and nightly, and keeps what was learned in the record; then
//! ends the trials that are settled by it, and keeps what is advised. Owns when that is; what is learned and advised is
//! the study's.

use crate::app::{AppError, ended};
use crate::clock::Clock;
use crate::schedule::day_of;
use crate::store::{Kept, Reader, Store, StoreError, TrialVerdict};
use crate::study::{self, Known, Learning, Liners, Worked};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use dwell_dashboards::view::AdviceView;
use jiff::tz::TimeZone;
use std::io;
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use tokio::sync::{oneshot, watch};

/// How often it is asked whether there is anything new: a few reads of single rows.
const LOOK_EVERY: Duration = Duration::from_secs(5);
/// Words on several prints come one after another: they are learned from together, once none has come for so long …
const SETTLED_AFTER: Seconds = Seconds::new(10.0);
/// … but a script that goes on telling does not put it off for ever.
const PUT_OFF_MAX: Seconds = Seconds::minutes(2.0);
/// The night's one is made from three o'clock on, when hardly anybody looks.
const NIGHT: Seconds = Seconds::minutes(3.0 * 60.0);
/// What failed is not tried with every look.
const AGAIN_AFTER: Seconds = Seconds::minutes(60.0);

/// Learns from the record.
pub struct Learner {
    store: Store,
    clock: Arc<Clock>,
    zone: TimeZone,
    materials: Arc<Materials>,
    learning: Learning,
    liners: Liners,
    /// Whether what is advised is as these settings have it: what was kept does not tell which it was made with.
    is_advised: bool,
    stale: Option<Stale>,
    /// What could not be learned from, and when it is tried again.
    failed: Option<(String, Timestamp)>,
    /// What went wrong the last time, as it was told.
    troubled: Option<String>,
    /// Whether what became of what was advised could not be worked out anew.
    is_unrenewed: bool,
    /// Told of what was worked out.
    worked: watch::Sender<Option<Arc<Worked>>>,
}

/// What there is to learn from while what is kept was made from less.
struct Stale {
    source: String,
    /// Since when something is new.
    since: Timestamp,
    /// Since when nothing further has come.
    settled: Timestamp,
}

impl Learner {
    /// A learner from the store's record, whose nights are those of `zone`.
    #[must_use]
    pub fn new(
        store: Store,
        clock: Arc<Clock>,
        zone: TimeZone,
        materials: Arc<Materials>,
        learning: Learning,
        liners: Liners,
    ) -> Self {
        let (is_advised, stale, failed, troubled, is_unrenewed) = (false, None, None, None, false);
        let worked = watch::Sender::new(None);
        Self {
            store,
            clock,
            zone,
            materials,
            learning,
            liners,
            is_advised,
            stale,
            failed,
            troubled,
            is_unrenewed,
            worked,
        }
    }

    /// What was worked out last; `None` until it was for the first time.
    #[must_use]
    pub fn worked(&self) -> watch::Receiver<Option<Arc<Worked>>> {
        self.worked.subscribe()
    }

    /// Learns as it falls due until the daemon stops. What is under way then is waited for: a fit can't be cut short.
    ///
    /// # Errors
    /// If the record is damaged, or the work can't be handed over; what fails otherwise is told in the log, what was
    /// learned before stays, and it is tried again.
    pub async fn run(mut self, stopped: watch::Receiver<bool>) -> Result<(), AppError> {
        let stop = ended(stopped);
        tokio::pin!(stop);
        loop {
            let look = move || {
                let due = self.look(self.clock.now().at);
                (self, due)
            };
            let (learner, due) = tokio::task::spawn_blocking(look).await?;
            self = learner;
            let done = match due {
                Ok(None) => self.renew().await,
                Ok(Some(source)) => self.learn(source).await,
                Err(error) => Err(failed("nothing was learned")(error)),
            };
            match done {
                Ok(()) => self.troubled = None,
                // The daemon sets the record aside and begins a new one.
                Err(LearnerError::Store {
                    error: error @ (StoreError::Damaged { .. } | StoreError::Doubtful(_)),
                    ..
                }) => return Err(error.into()),
                // It looks every few seconds: the same trouble is told once.
                Err(error) => {
                    let trouble = error.to_string();
                    if self.troubled.as_ref() != Some(&trouble) {
                        tracing::error!(%error, "what is learned or advised is not up to date");
                    }
                    self.troubled = Some(trouble);
                }
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_EVERY) => {}
                () = &mut stop => return Ok(()),
            }
        }
    }

    /// What there is to learn from, if it is time to.
    fn look(&mut self, now: Timestamp) -> Result<Option<String>, StoreError> {
        let reader = self.store.reader()?;
        let source = study::source(&reader, &self.materials, self.learning)?;
        let kept = reader.learned_from()?;
        if self.failed.as_ref().is_some_and(|(failed, again)| *failed == source && now < *again) {
            return Ok(None);
        }
        let night = |at: Timestamp| day_of(at - NIGHT, &self.zone);
        if let Some((_, made)) = kept.as_ref().filter(|(from, _)| *from == source && self.is_advised) {
            self.stale = None;
            return Ok((night(*made) != night(now)).then_some(source));
        }
        let since = self.stale.as_ref().map_or(now, |stale| stale.since);
        let settled = self.stale.take().filter(|stale| stale.source == source).map_or(now, |stale| stale.settled);
        // What is kept still holds, but was made before this start: nothing is to be waited for.
        let is_kept = kept.is_some_and(|(from, _)| from == source);
        let is_due = is_kept || now - settled >= SETTLED_AFTER || now - since >= PUT_OFF_MAX;
        self.stale = Some(Stale { source: source.clone(), since, settled });
        Ok(is_due.then_some(source))
    }

    /// Works out anew what became of what was advised, if a person adopted or declined something: that is no news to
    /// learn from. What fails is told in the log, and left to the next learning.
    async fn renew(&mut self) -> Result<(), LearnerError> {
        let Some(before) = self.worked.borrow().clone().filter(|_| !self.is_unrenewed) else { return Ok(()) };
        let (store, materials) = (self.store.clone(), Arc::clone(&self.materials));
        let work = move || before.renewed(&store.reader()?, &materials);
        let renewed = tokio::task::spawn_blocking(work).await.map_err(|_| LearnerError::Panicked)?;
        self.is_unrenewed = renewed.is_err();
        if let Some(renewed) = renewed.map_err(failed("pages show trials as they were"))? {
            self.worked.send_replace(Some(Arc::new(renewed)));
        }
        Ok(())
    }

    /// Learns on a thread of its own: it may take seconds, and the pages' threads are few.
    async fn learn(&mut self, source: String) -> Result<(), LearnerError> {
        let (store, clock) = (self.store.clone(), Arc::clone(&self.clock));
        let (materials, learning, liners) = (Arc::clone(&self.materials), self.learning, self.liners.clone());
        let (tell, told) = oneshot::channel();
        let worked = self.worked.clone();
        let work = move || {
            let done = learn(&store, &clock, &materials, learning, &liners);
            drop(tell.send(done.map(|made| drop(worked.send_replace(Some(Arc::new(made)))))));
        };
        let handle = thread::Builder::new().name("learner".to_owned()).spawn(work).map_err(LearnerError::Thread)?;
        // Without an answer the thread has ended badly, and says so when it is joined.
        let answer = told.await;
        let joined = handle.join();
        let done = match (answer, joined) {
            (Ok(done), Ok(())) => done,
            (Err(_), _) | (_, Err(_)) => Err(LearnerError::Panicked),
        };
        let again = self.clock.now().at + AGAIN_AFTER;
        self.is_advised = done.is_ok();
        self.failed = done.is_err().then_some((source, again));
        self.stale = None;
        self.is_unrenewed = false;
        done
    }
}

/// Why something is not up to date.
#[derive(Debug, thiserror::Error)]
enum LearnerError {
    #[error("{what}: {error}")]
    Store { what: &'static str, error: StoreError },
    #[error("no thread: {0}")]
    Thread(io::Error),
    #[error("the fit ended badly")]
    Panicked,
}

fn failed(what: &'static str) -> impl Fn(StoreError) -> LearnerError {
    move |error| LearnerError::Store { what, error }
}

/// Learns from the record as it is now, and keeps it; then whatever follows from it, each for itself.
fn learn(
    store: &Store,
    clock: &Clock,
    materials: &Materials,
    learning: Learning,
    liners: &Liners,
) -> Result<Worked, LearnerError> {
    let (reader, known) = keep_learned(store, clock, materials, learning).map_err(failed("nothing was learned"))?;
    let ended = end_trials(store, materials, learning).map_err(failed("no trial was ended"));
    let made = clock.now().at;
    let advised = advise(store, &reader, materials, &known, liners, made);
    let worked = advised.and_then(|advice| {
        let worked = store.reader().and_then(|now| Worked::of([&reader, &now], materials, known, advice, made));
        worked.map_err(failed("pages show what was worked out before"))
    });
    ended.and(worked)
}

/// Learns, and gives what that was made from: what is advised is to come from the same.
fn keep_learned(
    store: &Store,
    clock: &Clock,
    materials: &Materials,
    learning: Learning,
) -> Result<(Reader, Known), StoreError> {
    let reader = store.reader()?;
    let known = Known::of(&reader, materials, Some(learning))?;
    let (source, body) = study::fitted(&reader, materials, &known)?;
    store.keep_learned(Kept { source, made: clock.now().at, body })?;
    tracing::info!("learned anew");
    Ok((reader, known))
}

/// Keeps what is advised by what is known, whatever becomes of the pages then.
fn advise(
    store: &Store,
    reader: &Reader,
    materials: &Materials,
    known: &Known,
    liners: &Liners,
    now: Timestamp,
) -> Result<AdviceView, LearnerError> {
    let advice = study::advice(reader, materials, known, liners);
    let kept = advice.and_then(|advice| Ok((study::keep_advice(store, &advice, now)?, advice)));
    let (suggestions, advice) = kept.map_err(failed("what is advised is as it was before"))?;
    tracing::info!(suggestions, "advised anew");
    Ok(advice)
}

/// Ends the trials that are settled.
fn end_trials(store: &Store, materials: &Materials, learning: Learning) -> Result<(), StoreError> {
    for (suggestion, ended) in study::settle(store, materials, Some(learning))?.1 {
        let (verdict, why) = (ended.verdict.word(), &ended.why);
        match ended.verdict {
            TrialVerdict::Harmed => tracing::warn!(suggestion, why, "a trial was stopped: it did harm"),
            TrialVerdict::Helped | TrialVerdict::DidNotHelp | TrialVerdict::Undecided => {
                tracing::info!(suggestion, verdict, why, "a trial has ended");
            }
        }
    }
    Ok(())
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
