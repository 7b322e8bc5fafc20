//! A printer's real times against those that its job files let expect. Owns which prints count and what of their time
//! does; the scale is `analysis`'s.

use crate::entry::{PrintEnd, PrinterName};
use crate::store::{GapRow, PrintFilter, PrintRow, Reader, SpanFilter, StoreError};
use crate::tracker::Context;
use dwell_analysis::estimate::{Estimate, Refusal};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::Seconds;

/// The newest prints that count: what was expected of older ones may be by another `[printer.motion]`.
const PRINTS_MAX: usize = 30;
/// Prints read at a time.
const PAGE: u32 = 40;
/// Pages read at most: of a printer of which hardly any print has a job file, no more is looked through.
const PAGES_MAX: usize = 5;

/// Real over expected time of a printer's newest completed prints without a gap, time paused taken off. `expected` is
/// what a print's job file let expect, from the first filament on; a print of which it says nothing is not counted. The
/// real time is from the first `printing` reading on: of a host that says so while it still heats, the heating counts.
///
/// # Errors
/// If the record can't be read; too few prints are a refusal.
pub fn pace(
    reader: &Reader,
    printer: &PrinterName,
    expected: impl Fn(&PrintRow) -> Option<Seconds>,
) -> Result<Result<Estimate, Refusal>, StoreError> {
    let mut counted = Vec::new();
    for page in newest_first(reader, printer).take(PAGES_MAX) {
        let page = page?;
        // A printer's prints follow one another.
        let [newest, oldest] = [page.first(), page.last()];
        let gaps = reader.gaps(oldest.map(|print| print.started), newest.and_then(|print| print.ended))?;
        for print in page {
            let Some((ended, expected)) = completed(&print).zip(expected(&print)) else { continue };
            if counted.len() < PRINTS_MAX && is_seen_whole(&print, ended, &gaps) {
                counted.push(((ended - print.started) - paused(reader, print.id, ended)?, expected));
            }
        }
        if counted.len() == PRINTS_MAX {
            break;
        }
    }
    Ok(dwell_analysis::pace::pace(&counted))
}

/// Pages of a printer's prints: of a long record hardly any are asked for.
fn newest_first<'a>(
    reader: &'a Reader,
    printer: &'a PrinterName,
) -> impl Iterator<Item = Result<Vec<PrintRow>, StoreError>> + use<'a> {
    let mut before = None;
    std::iter::from_fn(move || {
        let limit = Some(PAGE);
        let filter = PrintFilter { printer: Some(printer.clone()), to: before, limit, ..PrintFilter::default() };
        let page = match reader.prints(&filter) {
            Ok(page) => page,
            Err(error) => return Some(Err(error)),
        };
        before = Some(page.last()?.started);
        Some(Ok(page))
    })
}

fn completed(print: &PrintRow) -> Option<Timestamp> {
    print.ended.filter(|_| print.end == Some(PrintEnd::Completed))
}

fn is_seen_whole(print: &PrintRow, ended: Timestamp, gaps: &[GapRow]) -> bool {
    let overlaps = |gap: &GapRow| gap.began < ended && gap.ended.is_none_or(|over| over > print.started);
    !gaps.iter().any(|gap| gap.printer == print.printer && overlaps(gap))
}

/// How long some tool waited hot in a pause: the union over tools. A pause in which all were cold leaves no span, and
/// the median takes care of the odd one.
fn paused(reader: &Reader, print: i64, print_ended: Timestamp) -> Result<Seconds, StoreError> {
    let (mut sum, mut until) = (Seconds::ZERO, Timestamp::from_ms(i64::MIN));
    for span in reader.spans(&SpanFilter { print: Some(print), ..SpanFilter::default() })? {
        let ended = span.ended.unwrap_or(print_ended).min(print_ended);
        let began = span.began.max(until);
        if span.context == Context::Paused && began < ended {
            sum += ended - began;
            until = ended;
        }
    }
    Ok(sum)
}
