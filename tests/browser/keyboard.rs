//! The pages by the keyboard alone: everything that can be used is reached, in the page's order, and shows that it is.

use crate::eyes::Eyes;
use serde::Deserialize;
use thirtyfour::prelude::*;

/// More stops than this are no page that one can go through.
const STOPS_MAX: usize = 600;
/// Day, month, year, hour, minute, the half of the day, and the button of the calendar.
const PARTS_MAX: usize = 7;

/// What has the focus.
#[derive(Debug, Deserialize)]
struct Stop {
    /// Its place among what can have it; -1 is none of these.
    place: i64,
    /// How it looks in a message.
    what: String,
    /// Whether its focus can be seen.
    is_shown: bool,
    /// Whether it lies in the window.
    is_in_view: bool,
}

const FOCUSED: &str = "const can = [...document.querySelectorAll( \
        'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex=\"0\"]')] \
        .filter((each) => each.checkVisibility() && !each.disabled && (each.type !== 'radio' || each.checked)); \
    const on = document.activeElement; const style = getComputedStyle(on); const box = on.getBoundingClientRect(); \
    return { place: can.indexOf(on), what: on.outerHTML.slice(0, 120), \
        is_shown: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2, \
        is_in_view: box.bottom > 0 && box.top < innerHeight };";

const N_STOPS: &str = "return [...document.querySelectorAll( \
        'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex=\"0\"]')] \
        .filter((each) => each.checkVisibility() && !each.disabled && (each.type !== 'radio' || each.checked)).length;";

async fn focused(eyes: &Eyes) -> Stop {
    eyes.driver.execute(FOCUSED, vec![]).await.unwrap().convert().unwrap()
}

async fn press(eyes: &Eyes, key: Key) {
    eyes.driver.action_chain().send_keys(key).perform().await.unwrap();
}

/// Goes through a page that stands still, stop by stop.
pub(crate) async fn goes_through(eyes: &Eyes, path: &str) {
    eyes.open_as(path, "light", 360).await;
    let n_stops: usize = eyes.driver.execute(N_STOPS, vec![]).await.unwrap().convert().unwrap();
    assert!((5..STOPS_MAX).contains(&n_stops), "/{path} has {n_stops}");
    for place in 0..n_stops {
        press(eyes, Key::Tab).await;
        let mut stop = focused(eyes).await;
        // A field for a date has a stop a part of it.
        for _ in 0..PARTS_MAX {
            if place == 0 || usize::try_from(stop.place) != Ok(place - 1) {
                break;
            }
            press(eyes, Key::Tab).await;
            stop = focused(eyes).await;
        }
        assert_eq!(usize::try_from(stop.place), Ok(place), "/{path}: {stop:?}");
        assert!(stop.is_shown && stop.is_in_view, "/{path}: {stop:?}");
    }
}

/// The first stop leads past the navigation, and pages are gone through from the first stop to the last.
pub(crate) async fn reaches_everything(eyes: &Eyes) {
    eyes.open("prints").await;
    let print = eyes.path_of(".silent .print-head a").await;
    for path in
        ["preflight", "causes", "causes/jam", "changes", "parts", "reports", "setup", "alarms", "prints", &print]
    {
        goes_through(eyes, path).await;
    }
    eyes.open_as("prints", "light", 360).await;
    press(eyes, Key::Tab).await;
    assert!(focused(eyes).await.what.contains("skip"));
    press(eyes, Key::Enter).await;
    press(eyes, Key::Tab).await;
    let after = eyes.number("return Number(document.querySelector('main').contains(document.activeElement));").await;
    assert_eq!(after, 1, "the skip link leads into the content");
}
