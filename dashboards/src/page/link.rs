//! The page that a link in a message opens: one alarm and one button. It leads nowhere else, since whoever holds the link
//! may see this alarm and nothing more.

use super::{Page, Place, shell};
use crate::alarms::{SHELVE_FOR, about, alarm};
use crate::format;
use crate::view::{LinkActView, LinkStage, LinkView};
use dwell_analysis::units::Seconds;
use maud::html;

/// The whole page.
#[must_use]
pub fn render_link(view: &LinkView) -> String {
    let about = about(&view.alarm);
    let (does, done) = match view.act {
        LinkActView::Acknowledge => ("Acknowledge".to_owned(), "Acknowledged".to_owned()),
        LinkActView::Shelve(minutes) => {
            let offered = SHELVE_FOR.iter().find(|(offered, _)| *offered == minutes);
            let time = offered.map_or_else(
                || format::duration(Seconds::minutes(f64::from(minutes))),
                |(_, words)| (*words).to_owned(),
            );
            (format!("Shelve for {time}"), format!("Shelved for {time}"))
        }
    };
    let title = if view.stage == LinkStage::Done { format!("{done}: {about}") } else { about };
    let body = html! {
        h1 { (title) }
        @match &view.stage {
            LinkStage::Asks => {
                // It leads to its own address, wherever a proxy has put that.
                form class="acts" method="post" {
                    button type="submit" class="acknowledge" { (does) }
                }
                p class="quiet" { (meaning(view)) }
            }
            LinkStage::Done => p class="lead" { (until(view)) (meaning(view)) },
            LinkStage::Needless(why) => p class="lead" { (why) },
        }
        (alarm(&view.alarm, view.at, &view.zone, None))
    };
    shell(&Page { title: &title, place: Place::Link, frame: None, body })
}

/// A page that says why a link does nothing.
#[must_use]
pub fn render_link_message(title: &str, text: &str) -> String {
    let body = html! { h1 { (title) } p class="lead" { (text) } };
    shell(&Page { title, place: Place::Link, frame: None, body })
}

/// Until when it is shelved, as a sentence with a space behind it.
fn until(view: &LinkView) -> String {
    let near = |at| format::clock_near(at, view.at, &view.zone);
    view.shelved_until.map_or_else(String::new, |until| format!("It is shelved until {}. ", near(until)))
}

fn meaning(view: &LinkView) -> &'static str {
    match (view.act, view.alarm.returned) {
        (LinkActView::Acknowledge, None) => {
            "It says that you have seen it. Nothing is switched off, and the alarm stands until its condition is gone."
        }
        (LinkActView::Acknowledge, Some(_)) => "It says that you have seen it. Its condition is gone already.",
        (LinkActView::Shelve(_), _) => {
            "Nobody is called for it in that time. Nothing is switched off, and its condition goes on being watched."
        }
    }
}
