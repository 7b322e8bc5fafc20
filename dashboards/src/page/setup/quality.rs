//! How good a printer's data are, as facts.

use crate::chart::{Sparkline, sparkline};
use crate::format;
use crate::page::refused;
use crate::view::{Quality, SetupView};
use dwell_analysis::units::Seconds;
use maud::{Markup, html};

/// Further apart than this share over the interval that is wanted is worth a word.
const SLOW: f64 = 1.5;

/// Facts of the last four weeks.
pub(super) fn quality(quality: &Quality, idx: usize, view: &SetupView) -> Markup {
    let id = format!("quality-{idx}");
    let Some(since) = quality.since else {
        return html! {
            h3 id=(id) { "Data quality" }
            p { "No reading yet: there is nothing to judge." }
        };
    };
    html! {
        h3 id=(id) { "Data quality" }
        p class="quiet" { "Since " (format::moment(since, &view.frame.zone)) ", at most four weeks." }
        dl {
            (fact("In contact", &html! {
                (sparkline(&Sparkline { name: "Contact, day by day", values: &quality.days, words: contact(quality) }))
            }))
            (fact("Without contact", &html! { (gaps(quality)) }))
            (fact("A reading every", &html! { (interval(quality)) }))
            (fact("Readings left out", &html! { (left_out(quality)) }))
            (fact("Newest readings lack", &html! { (missing(quality)) }))
            (fact("Tool at work, by", &html! { (sources(quality)) }))
            (fact("Prints reported", &html! {
                (reported(quality)) @if quality.n_unreported > 0 { ": " a href="/prints" { "say how they went" } }
            }))
        }
    }
}

fn fact(name: &str, value: &Markup) -> Markup {
    html! { div { dt { (name) } dd { (value) } } }
}

fn contact(quality: &Quality) -> String {
    let share = |share: f64| format::percent_down(share);
    let worst = quality.days.iter().flatten().copied().reduce(f64::min);
    match (quality.contact, worst) {
        (Some(all), Some(worst)) if worst < all => {
            format!("{} of the time, on the worst day {}", share(all), share(worst))
        }
        (Some(all), _) => format!("{} of the time", share(all)),
        (None, _) => format::NOT_MEASURED.to_owned(),
    }
}

fn gaps(quality: &Quality) -> String {
    match (quality.n_gaps, quality.gap_longest) {
        (0, _) | (_, None) => "never for more than 20 s".to_owned(),
        (1, Some(longest)) => format!("once, for {}", format::duration(longest)),
        (n, Some(longest)) => format!("{n} times, the longest {}", format::duration(longest)),
    }
}

fn interval(quality: &Quality) -> String {
    let wanted = |poll: Seconds| format!("{} is wanted", format::seconds_fine(poll));
    match (quality.interval, quality.poll) {
        (None, None) => format::NOT_MEASURED.to_owned(),
        (None, Some(poll)) => format!("{}; {}", format::NOT_MEASURED, wanted(poll)),
        (Some(seen), None) => format::seconds_fine(seen),
        (Some(seen), Some(poll)) if seen.get() > poll.get() * SLOW => {
            format!(
                "{}, though {}: the host answers late, or tells its values seldom",
                format::seconds_fine(seen),
                wanted(poll)
            )
        }
        (Some(seen), Some(poll)) => format!("{}; {}", format::seconds_fine(seen), wanted(poll)),
    }
}

fn left_out(quality: &Quality) -> String {
    if quality.refused.is_empty() { "none".to_owned() } else { refused(&quality.refused) }
}

fn missing(quality: &Quality) -> String {
    if quality.interval.is_none() {
        return format::NOT_MEASURED.to_owned();
    }
    let each: Vec<_> =
        quality.missing.iter().map(|(what, share)| format!("{what} in {}", format::percent(*share))).collect();
    if each.is_empty() { "nothing that the configuration names".to_owned() } else { each.join(", ") }
}

fn sources(quality: &Quality) -> String {
    let source = |word| match word {
        "host" => "the host's word",
        "job_file" => "the job file",
        _ => "set points that swap",
    };
    let each: Vec<_> = quality
        .sources
        .iter()
        .map(|(word, n)| format!("{} ({})", source(*word), format::counted(*n, "tool change")))
        .collect();
    let differ = match quality.n_disagreements {
        0 => String::new(),
        n => format!("; host and job file did not agree {n} times, and the host was believed"),
    };
    if each.is_empty() { format!("no tool change was seen{differ}") } else { format!("{}{differ}", each.join(", ")) }
}

fn reported(quality: &Quality) -> String {
    match quality.n_prints {
        0 => "no print has ended".to_owned(),
        n => format!("{} of {n}", n.saturating_sub(quality.n_unreported)),
    }
}
