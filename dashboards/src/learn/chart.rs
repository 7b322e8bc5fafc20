//! Small charts of text: bars of eighths of a column, and a line with an interval on it.

use dwell_analysis::estimate::Estimate;

const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];

/// A bar for a share of a whole, 0 to 1, padded to its columns. What is more than nothing is an eighth at least.
pub(super) fn bar(share: f64, columns: usize) -> String {
    let eighths = place(share, columns * 8).max(usize::from(share > 0.0));
    let mut bar = "█".repeat(eighths / 8);
    bar.push_str(EIGHTHS[eighths % 8]);
    let blank = columns.saturating_sub(eighths.div_ceil(8));
    bar + &" ".repeat(blank)
}

/// An interval as a line with a point in it and a mark beside them, on an axis from 0 to `top`.
pub(super) fn interval(of: &Estimate, mark: f64, top: f64, columns: usize) -> String {
    let at = |value: f64| place(if top > 0.0 { value / top } else { 0.0 }, columns - 1);
    let (low, point, high, marked) = (at(of.low), at(of.value), at(of.high), at(mark));
    let cell = |column: usize| match column {
        _ if column == point && column == marked => '◆',
        _ if column == point => '●',
        _ if column == marked => '│',
        _ if (low..=high).contains(&column) => '─',
        _ => ' ',
    };
    (0..columns).map(cell).collect()
}

/// A share of so many cells, to the nearest; nothing outside of them.
fn place(share: f64, cells: usize) -> usize {
    let mut at = 0;
    let scaled = share.clamp(0.0, 1.0) * dwell_analysis::estimate::count(cells);
    while at < cells && dwell_analysis::estimate::count(at) + 0.5 <= scaled {
        at += 1;
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bar_is_as_long_as_its_share_and_never_longer_than_its_columns() {
        assert_eq!(bar(0.5, 10), "█████     ");
        assert_eq!(bar(0.55, 10), "█████▌    ");
        assert_eq!(
            (bar(1.0, 4), bar(7.0, 4), bar(0.0, 4), bar(f64::NAN, 2)),
            ("████".into(), "████".into(), "    ".into(), "  ".into())
        );
        assert_eq!(bar(1e-9, 4), "▏   ");
    }

    #[test]
    fn an_interval_shows_its_ends_its_point_and_the_mark() {
        let of = Estimate { value: 0.5, low: 0.2, high: 0.8, n: 10 };
        assert_eq!(interval(&of, 0.9, 1.0, 11), "  ───●───│ ");
        assert_eq!(interval(&of, 0.5, 1.0, 11), "  ───◆───  ");
        assert_eq!(interval(&of, 0.0, 0.0, 3), "◆  ");
    }
}
