//! A tool's last while as a few bars. Owns their heights; text and HTML draw them as they can.

use crate::format;
use crate::view::{MessageChart, MessageView};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Celsius;

/// Bars of a chart: as many as a phone's width and a line of plain text both hold.
pub(super) const BARS: usize = 48;

/// The least span that bars are spread over: under it, noise would look like a story.
const SPAN_MIN_K: f64 = 10.0;

/// A limit further from the readings than this is told in words alone; drawn, it would flatten them.
const LIMIT_FAR_K: f64 = 80.0;

const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// What the bars show.
pub(super) struct Bars {
    /// The highest reading of each stretch of time, °C; `None` where there was none.
    pub(super) tops: Vec<Option<f64>>,
    /// The bottom, °C.
    pub(super) floor: f64,
    /// The top, °C.
    pub(super) top: f64,
    /// The limit, where it is near enough to be drawn, °C.
    pub(super) limit: Option<f64>,
    from: Timestamp,
    to: Timestamp,
    lowest: (Timestamp, Celsius),
    highest: (Timestamp, Celsius),
}

/// The bars of a chart; `None` without a reading.
pub(super) fn bars(chart: &MessageChart) -> Option<Bars> {
    let points = || chart.points.iter().filter(|(_, value)| value.get().is_finite());
    let (from, to) = (points().next()?.0, points().next_back()?.0);
    let lowest = *points().min_by(|a, b| a.1.get().total_cmp(&b.1.get()))?;
    let highest = *points().max_by(|a, b| a.1.get().total_cmp(&b.1.get()))?;
    let mut tops = vec![None; BARS];
    for (at, value) in points() {
        let bar: &mut Option<f64> = tops.get_mut(place(*at, from, to))?;
        *bar = Some(bar.map_or(value.get(), |held| held.max(value.get())));
    }
    let (low, high) = (lowest.1.get(), highest.1.get());
    let near = |limit: &f64| *limit > low - LIMIT_FAR_K && *limit < high + LIMIT_FAR_K;
    let limit = chart.limit.map(Celsius::get).filter(near);
    let (low, high) = limit.map_or((low, high), |limit| (low.min(limit), high.max(limit)));
    let spare = ((SPAN_MIN_K - (high - low)) / 2.0).max(0.0);
    Some(Bars { tops, floor: low - spare, top: high + spare, limit, from, to, lowest, highest })
}

/// In which bar an instant falls.
fn place(at: Timestamp, from: Timestamp, to: Timestamp) -> usize {
    let share = (at - from).get() / (to - from).get().max(1e-3);
    // Counting up keeps every number a whole one without a cast.
    (1..BARS).take_while(|idx| share * format::plain(BARS) >= format::plain(*idx)).count()
}

impl Bars {
    /// A line of blocks, with a space where nothing was heard.
    pub(super) fn line(&self) -> String {
        let block = |value: f64| {
            let share = (value - self.floor) / (self.top - self.floor);
            let idx =
                (1..BLOCKS.len()).take_while(|idx| share * format::plain(BLOCKS.len()) >= format::plain(*idx)).count();
            BLOCKS.get(idx).copied().unwrap_or(' ')
        };
        self.tops.iter().map(|bar| bar.map_or(' ', block)).collect()
    }

    /// `T1 from 12:02 to 14:02`.
    pub(super) fn title(&self, chart: &MessageChart, view: &MessageView) -> String {
        let near = |at| format::clock_near(at, view.made, &view.zone);
        format!("{} from {} to {}", chart.name, near(self.from), near(self.to))
    }

    /// Lowest and highest with their times; then set point and limit.
    pub(super) fn words(&self, chart: &MessageChart, view: &MessageView) -> [String; 2] {
        let near = |at| format::clock_near(at, view.made, &view.zone);
        let end = |(at, value): (Timestamp, Celsius)| format!("{} at {}", format::celsius(Some(value)), near(at));
        let target = match chart.target {
            None => "Set point not told".to_owned(),
            Some(off) if off.get() <= 0.0 => "Heater off".to_owned(),
            Some(target) => format!("Set to {}", format::celsius_whole(target)),
        };
        let limit = chart.limit.map_or_else(String::new, |limit| format!("; limit {}", format::celsius_whole(limit)));
        [format!("Lowest {}, highest {}.", end(self.lowest), end(self.highest)), format!("{target}{limit}.")]
    }
}
