//! One printer's host: its documents fetched side by side and understood as one reading. Owns what is remembered from
//! one poll to the next: the newest bodies and when each may be asked for again. When to poll is the caller's.

mod time;

use super::address::{Address, Source};
use super::client::{Answer, Client, FetchError, Question};
use super::document::{self, BodyFault};
use super::field::Missing;
use super::map::{MapError, PrinterMap, understand};
use super::memory::Memory;
use super::skew::{ClockStep, Skew, SkewMeter};
use crate::entry::Reading;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;
use serde_json::Value;
use std::sync::Arc;
use std::time::Duration;
use time::{Span, Times};

/// A smaller step of a clock is not told: hosts that write their `Date` once a second, and late, look like it.
const STEP_TOLD: Seconds = Seconds::new(1.0);

/// A printer's host.
#[derive(Debug)]
pub struct Host {
    client: Client,
    source: Arc<Source>,
    map: Arc<PrinterMap>,
    /// The newest value of each document, in the configuration's order.
    values: Vec<Option<Value>>,
    memories: Vec<Memory>,
    meter: SkewMeter,
    times: Times,
}

/// What one poll brought.
#[derive(Debug)]
pub struct Polled {
    /// The reading; `None` when the host's own time says that its values are those of the reading before.
    pub reading: Result<Option<Reading>, PollError>,
    /// What is wrong with the host's clock and with each document in trouble, one line each, the documents in the
    /// configuration's order; a reading may have come all the same.
    pub troubles: Vec<String>,
    /// The first document whose host wants a sign-in, or another one; what it tells is not watched.
    pub refused: Option<String>,
    /// The host's clock against ours, once it is known.
    pub skew: Option<Skew>,
    /// Length of the job file, bytes, if the host tells it.
    pub job_bytes: Option<u64>,
    /// The host, or good manners, want no poll before so long.
    pub hold: Option<Duration>,
}

/// Why a poll gave no reading.
#[derive(Debug, thiserror::Error)]
pub enum PollError {
    /// The document with the job's state did not come.
    #[error("document {document} from {address}: {why}")]
    Fetch {
        /// The document's name.
        document: String,
        /// Where it was asked for, without its query.
        address: String,
        /// What happened.
        why: FetchError,
    },
    /// The documents do not make a reading.
    #[error(transparent)]
    Map(#[from] MapError),
}

/// Why a body alone makes no reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BodyReadingError {
    /// It is no document.
    #[error(transparent)]
    Body(#[from] BodyFault),
    /// The document does not make a reading.
    #[error(transparent)]
    Map(#[from] MapError),
}

/// One document, asked for.
struct Asked {
    idx: usize,
    span: Span,
    result: Result<Answer, FetchError>,
}

impl PollError {
    /// Whether it may pass by itself; else a person has to change something.
    #[must_use]
    pub fn is_transient(&self) -> bool {
        match self {
            Self::Fetch { why, .. } => why.is_transient(),
            Self::Map(why) => why.is_transient(),
        }
    }
}

impl Host {
    /// A host to be asked through `client`.
    #[must_use]
    pub fn new(client: Client, source: Arc<Source>, map: Arc<PrinterMap>) -> Self {
        let n_documents = source.documents.len();
        Self {
            client,
            source,
            map,
            values: vec![None; n_documents],
            memories: vec![Memory::default(); n_documents],
            meter: SkewMeter::default(),
            times: Times::default(),
        }
    }

    /// The newest value of each document, in the configuration's order; `None` is one that did not come.
    #[must_use]
    pub fn documents(&self) -> &[Option<Value>] {
        &self.values
    }

    /// The host's clock against ours, once it is known.
    #[must_use]
    pub fn skew(&self) -> Option<Skew> {
        self.meter.skew()
    }

    /// Polls once; `now` tells the time, and is asked before and after. A document that does not come leaves its
    /// fields missing, unless the job's state is in it. `after_gap`: our clock jumped since the last reading.
    pub async fn poll(&mut self, now: impl Fn() -> Timestamp, after_gap: bool) -> Polled {
        if after_gap {
            self.meter.reset();
        }
        let sent = now();
        let asked = self.ask(&now, sent).await;
        let span = Span { sent, received: now() };
        let mut troubles = Vec::new();
        for asked in asked {
            let step = self.take_in(asked).filter(|step| step.by.get().abs() >= STEP_TOLD.get());
            // Without a time of the host's no reading depends on its clock.
            troubles.extend(step.filter(|_| self.map.time.is_some()).map(told_step));
        }
        let (mut lacking, mut refused) = (None, None);
        for (idx, memory) in self.memories.iter().enumerate() {
            let document = &self.source.documents[idx];
            if let Some(why) = memory.fault() {
                let (document, address) = (document.name.clone(), document.address.to_string());
                let error = PollError::Fetch { document, address, why: why.clone() };
                troubles.push(error.to_string());
                refused = refused.or(why.is_refusal().then(|| error.to_string()));
                lacking = lacking.or(self.map.needs(idx).then_some(error));
            }
            troubles.extend(memory.doubled().map(|keys| format!("document {}: {keys}", document.name)));
        }
        let reading = match lacking {
            Some(error) => Err(error),
            None => self.reading(span, after_gap, &mut troubles).map_err(PollError::from),
        };
        let job_bytes = self.map.size.as_ref().and_then(|field| field.whole(&self.values).ok());
        Polled { reading, troubles, refused, skew: self.skew(), job_bytes, hold: self.hold(span.received) }
    }

    /// Asks for every document that is due, side by side. There is no reading without the ones that are needed, so
    /// while one of them is to be left alone nothing is asked at all.
    async fn ask(&self, now: &impl Fn() -> Timestamp, at: Timestamp) -> Vec<Asked> {
        if self.hold(at).is_some() {
            return Vec::new();
        }
        let documents = self.source.documents.iter().zip(&self.memories).enumerate();
        let due = documents.filter(|(_, (_, memory))| memory.is_due(at));
        let asked = due.map(async |(idx, (document, memory))| {
            let question = Question {
                address: &document.address,
                credentials: &self.source.credentials,
                tag: memory.tag.as_deref(),
            };
            let sent = now();
            let result = self.client.ask(&question).await;
            Asked { idx, span: Span { sent, received: now() }, result }
        });
        futures_util::future::join_all(asked).await
    }

    /// Remembers what came of one document. Says when a clock was set.
    fn take_in(&mut self, asked: Asked) -> Option<ClockStep> {
        let Asked { idx, span, result } = asked;
        let document = &self.source.documents[idx];
        let is_clock = self.clock_address().is_some_and(|clock| clock.origin() == document.address.origin());
        let date = result.as_ref().ok().and_then(|answer| answer.date).filter(|_| is_clock);
        let step = date.and_then(|date| self.meter.note(span.sent, span.received, date));
        let memory = &mut self.memories[idx];
        let found = result.and_then(|answer| {
            if !answer.is_unchanged {
                let body = answer.document()?;
                self.values[idx] = Some(body.value);
                memory.changed(answer.tag, body.doubled);
            }
            Ok(())
        });
        match found {
            Ok(()) => memory.came(document, span.sent),
            Err(fault) => {
                self.values[idx] = None;
                memory.failed(document, span.received, fault);
            }
        }
        step
    }

    /// Whose clock is measured: documents may be on several hosts, and the one that tells the time counts.
    fn clock_address(&self) -> Option<&Address> {
        let idx = self.map.time.as_ref().map_or(0, |time| time.field.document);
        self.source.documents.get(idx).map(|document| &document.address)
    }

    fn reading(
        &mut self,
        span: Span,
        after_gap: bool,
        troubles: &mut Vec<String>,
    ) -> Result<Option<Reading>, MapError> {
        let mut told = None;
        let mut at = Some(self.times.by_our_clock(span));
        if let Some(time) = &self.map.time {
            match time.read(&self.values) {
                Ok(stamp) => {
                    let placed = self.times.place(stamp, span, self.skew());
                    (told, at) = (Some(stamp), placed.at);
                    troubles.extend(placed.trouble);
                }
                // Its document's trouble has been told.
                Err(Missing::NoDocument) => {}
                Err(why) => {
                    let path = &time.field.paths;
                    troubles.push(format!("the host's time at {path}: {why}; our clock counts"));
                }
            }
        }
        let Some(at) = at else { return Ok(None) };
        let reading = understand(&self.map, &self.values, at, after_gap)?;
        self.times.made(at, told);
        Ok(Some(reading))
    }

    /// The longest wait that a needed document asks for.
    fn hold(&self, now: Timestamp) -> Option<Duration> {
        let memories = self.memories.iter().enumerate();
        memories.filter(|(idx, _)| self.map.needs(*idx)).filter_map(|(_, memory)| memory.hold(now)).max()
    }
}

/// The reading that one body makes as a printer's only document: what a poll does, without a host.
///
/// # Errors
/// When the body is no document, or the document makes no reading.
pub fn body_to_reading(map: &PrinterMap, body: &[u8], at: Timestamp) -> Result<Reading, BodyReadingError> {
    let document = document::parse(body)?;
    Ok(understand(map, &[Some(document.value)], at, false)?)
}

fn told_step(step: ClockStep) -> String {
    let way = if step.by < Seconds::ZERO { "back" } else { "forwards" };
    let by = time::apart(Seconds::new(step.by.get().abs()));
    format!("the host's clock or ours was set: the host's went {way} by {by} against ours")
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests;
