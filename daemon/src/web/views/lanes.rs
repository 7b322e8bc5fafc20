//! The pieces of a tool's heat lane, from visits, spans, gaps and readings. Owns that no piece but a gap lies over a
//! gap, and that a stretch which neither a visit nor a span claims is called cold only where readings say so.

mod past;

pub(in crate::web) use past::Past;

use crate::entry::{CentiCelsius, Heater, PrinterName, Reading};
use crate::store::{GapRow, Reader, SpanFilter, Step, StoreError, Summary};
use crate::tracker::SILENCE_MAX;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::{LaneKind, LanePiece};

/// A tool that reads or is set to this and has neither visit nor span is not known to be cold: the tracker's limit.
const HEATED_FROM: CentiCelsius = CentiCelsius::from_hundredths(5000);

/// What is younger may still be claimed by a visit or a span: job files place visits up to 20 s back.
const UNSETTLED: Seconds = Seconds::minutes(2.0);

/// Whose lanes, and over what time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window<'a> {
    pub(super) printer: &'a PrinterName,
    pub(super) from: Timestamp,
    /// What is open runs up to the newest reading, and no further.
    pub(super) newest: Timestamp,
    /// The newest reading itself, if the store still holds it in memory: the last minute may not be written yet.
    pub(super) latest: Option<&'a Reading>,
}

/// The lanes of the tools from 0 to `n_tools`.
pub(super) fn lanes(reader: &Reader, window: Window<'_>, n_tools: usize) -> Result<Vec<Vec<LanePiece>>, StoreError> {
    let gaps = reader.gaps(Some(window.from), Some(window.newest))?;
    lanes_with(reader, window, n_tools, &gaps, None)
}

/// [`lanes`], where the gaps of that time are known, of whichever printer; with what readings told before, if that is kept.
pub(super) fn lanes_with(
    reader: &Reader,
    window: Window<'_>,
    n_tools: usize,
    gaps: &[GapRow],
    past: Option<&Past>,
) -> Result<Vec<Vec<LanePiece>>, StoreError> {
    let mut lanes = claims(reader, window, n_tools)?;
    let (from, to) = (window.from, window.newest);
    let told = past.and_then(|past| past.of(window, n_tools));
    let since = told.as_ref().map_or(from, |told| told.last.at);
    let mut before = told.map(|told| told.put_into(&mut lanes));
    let mut n_minutes = 0;
    for minute in reader.summaries(window.printer, Step::Minute, Some(since), Some(to))? {
        pass_minute(&mut lanes, &minute?, window);
        n_minutes += 1;
    }
    let next = before.as_ref().map_or(from - SILENCE_MAX, |last| Timestamp::from_ms(last.at.as_ms() + 1));
    // What a visit or span may still come to claim is read again the next time.
    let mut keeps = past.filter(|_| n_minutes == 0);
    for reading in reader.readings(window.printer, Some(next), Some(to))? {
        let reading = reading?;
        if reading.at > to - UNSETTLED
            && let Some((past, last)) = keeps.take().zip(before.as_ref())
        {
            past.keep(window, last, &lanes);
        }
        follow(&mut lanes, before.as_ref(), &reading, window);
        before = Some(reading);
    }
    // The newest reading stands for the batch under way: contact was never lost in it, or a gap would say so.
    if let (Some(before), Some(latest)) = (&before, window.latest) {
        let latest = Reading { after_gap: false, ..latest.clone() };
        bridge(&mut lanes, before, &latest, window);
    }
    let gaps = gaps.iter().filter(|gap| gap.printer == *window.printer);
    let gaps: Vec<_> = gaps.filter_map(|gap| gap.within(from, to)).collect();
    Ok(lanes.into_iter().map(|lane| cut(lane.pieces(from), &gaps)).collect())
}

/// What visits and spans claim of each tool's time.
fn claims(reader: &Reader, window: Window<'_>, n_tools: usize) -> Result<Vec<Lane>, StoreError> {
    let mut lanes: Vec<Lane> = (0..n_tools).map(|_| Lane::default()).collect();
    let (from, to) = (window.from, window.newest);
    for visit in reader.visits_between(window.printer, from, to)? {
        if let Some(lane) = lanes.get_mut(visit.tool.idx()) {
            lane.claim(visit.began, visit.ended.unwrap_or(to).min(to), LaneKind::Working, None);
        }
    }
    let filter = SpanFilter { printer: Some(window.printer.clone()), print: None, from: Some(from), to: Some(to) };
    for span in reader.spans(&filter)? {
        let now = window.latest.and_then(|reading| reading.tools.get(span.tool.idx()));
        let open = now.and_then(|heater| heater.actual).map(CentiCelsius::celsius);
        let mean = if span.ended.is_some() { span.mean } else { open };
        if let Some(lane) = lanes.get_mut(span.tool.idx()) {
            lane.claim(span.began, span.ended.unwrap_or(to).min(to), LaneKind::Waiting, mean);
        }
    }
    for lane in &mut lanes {
        lane.claimed.sort_by_key(|claimed| claimed.from);
    }
    Ok(lanes)
}

/// A minute of which the readings themselves are let go.
fn pass_minute(lanes: &mut [Lane], minute: &Summary, window: Window<'_>) {
    let to = (minute.began + Step::Minute.length()).min(window.newest);
    for (idx, lane) in lanes.iter_mut().enumerate() {
        let heat = minute.tools.get(idx).copied().flatten();
        let heater = heat.map_or_else(Heater::default, |heat| Heater {
            actual: Some(heat.mean),
            target: heat.target,
            duty_thousandths: None,
            fan_thousandths: None,
        });
        lane.pass(minute.began, to, heater);
    }
}

fn follow(lanes: &mut [Lane], before: Option<&Reading>, reading: &Reading, window: Window<'_>) {
    let Some(before) = before else { return };
    if !reading.after_gap && reading.at - before.at <= SILENCE_MAX {
        bridge(lanes, before, reading, window);
    }
}

/// What holds between two readings is what the earlier one said.
fn bridge(lanes: &mut [Lane], before: &Reading, reading: &Reading, window: Window<'_>) {
    let (from, to) = (before.at.max(window.from), reading.at.min(window.newest));
    if from >= to {
        return;
    }
    for (idx, lane) in lanes.iter_mut().enumerate() {
        lane.pass(from, to, before.tools.get(idx).copied().unwrap_or_default());
    }
}

/// Takes the gaps out of every piece, and puts them in as pieces of their own.
fn cut(mut pieces: Vec<LanePiece>, gaps: &[(Timestamp, Timestamp)]) -> Vec<LanePiece> {
    for (gap_from, gap_to) in gaps {
        let around = |piece: LanePiece| {
            let before = LanePiece { to: piece.to.min(*gap_from), ..piece };
            let after = LanePiece { from: piece.from.max(*gap_to), ..piece };
            [before, after].into_iter().filter(|part| part.from < part.to)
        };
        pieces = pieces.into_iter().flat_map(around).collect();
    }
    pieces.extend(gaps.iter().map(|(from, to)| LanePiece { from: *from, to: *to, kind: LaneKind::Gap, mean: None }));
    pieces.sort_by_key(|piece| piece.from);
    pieces
}

/// One tool's lane in the making.
#[derive(Clone, Debug, Default)]
struct Lane {
    /// Visits and spans, in time order.
    claimed: Vec<Stretch>,
    /// The claimed stretch that readings have come to.
    reached: usize,
    /// What lies between them.
    rest: Vec<Stretch>,
}

#[derive(Clone, Copy, Debug)]
struct Stretch {
    from: Timestamp,
    to: Timestamp,
    kind: LaneKind,
    /// The mean that the record holds.
    mean: Option<Celsius>,
    /// Integral of the temperature read, K s, and the time that it was read over, s.
    weighted: f64,
    told_s: f64,
}

impl Stretch {
    fn new(from: Timestamp, to: Timestamp, kind: LaneKind, mean: Option<Celsius>) -> Self {
        Self { from, to, kind, mean, weighted: 0.0, told_s: 0.0 }
    }

    fn add(&mut self, from: Timestamp, to: Timestamp, heater: Heater) {
        let Some(actual) = heater.actual else { return };
        let lasted = (to - from).get();
        self.weighted += actual.celsius().get() * lasted;
        self.told_s += lasted;
    }

    fn piece(self) -> LanePiece {
        let read = (self.told_s > 0.0).then(|| Celsius::new(self.weighted / self.told_s));
        LanePiece { from: self.from, to: self.to, kind: self.kind, mean: self.mean.or(read) }
    }
}

impl Lane {
    fn claim(&mut self, from: Timestamp, to: Timestamp, kind: LaneKind, mean: Option<Celsius>) {
        if from < to {
            self.claimed.push(Stretch::new(from, to, kind, mean));
        }
    }

    /// Books the time from one reading to the next, later than all before.
    fn pass(&mut self, from: Timestamp, to: Timestamp, heater: Heater) {
        while self.claimed.get(self.reached).is_some_and(|claimed| claimed.to <= from) {
            self.reached += 1;
        }
        match self.claimed.get_mut(self.reached).filter(|claimed| claimed.from < to) {
            Some(claimed) => claimed.add(from, to, heater),
            None => self.unclaimed(from, to, heater),
        }
    }

    fn unclaimed(&mut self, from: Timestamp, to: Timestamp, heater: Heater) {
        let hottest = heater.actual.max(heater.target);
        let is_cold = hottest.is_some_and(|hottest| hottest < HEATED_FROM);
        let kind = if is_cold { LaneKind::Cold } else { LaneKind::Unknown };
        match self.rest.last_mut().filter(|last| last.kind == kind && last.to == from) {
            Some(last) => last.to = to,
            None => self.rest.push(Stretch::new(from, to, kind, None)),
        }
        if let Some(last) = self.rest.last_mut() {
            last.add(from, to, heater);
        }
    }

    /// From an instant on: what is held of a stretch may have begun before.
    fn pieces(self, from: Timestamp) -> Vec<LanePiece> {
        let clipped = |piece: LanePiece| LanePiece { from: piece.from.max(from), ..piece };
        let pieces = self.claimed.into_iter().chain(self.rest).map(Stretch::piece).map(clipped);
        pieces.filter(|piece| piece.from < piece.to).collect()
    }
}
