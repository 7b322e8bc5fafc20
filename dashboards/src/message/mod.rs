//! Messages about alarms: subject, plain text and HTML of one view. Owns how an alarm reads away from the dashboard:
//! without scripts, stylesheets, pictures or anything that is fetched.

mod chart;
mod group;
mod html;
mod text;

pub use html::html;
pub use text::text;

use crate::alarms::grade;
use crate::format;
use crate::view::{MessageKind, MessageView, NoticeView};
use group::is_bad;

/// Characters of a subject; more are cut off by what shows it.
const SUBJECT_MAX: usize = 120;

/// One line that tells what it is about, without a line break whatever the names hold.
#[must_use]
pub fn subject(view: &MessageView) -> String {
    let words = match (view.kind, view.notices.as_slice()) {
        (MessageKind::Test, _) | (_, []) => "dwellwatch: a test, nothing is the matter".to_owned(),
        (_, [notice]) => single(notice),
        (kind, notices) => several(kind, notices),
    };
    let clean = words.replace(char::is_control, " ");
    if clean.chars().count() <= SUBJECT_MAX {
        return clean;
    }
    clean.chars().take(SUBJECT_MAX - 1).chain(['…']).collect()
}

fn single(notice: &NoticeView) -> String {
    let about = format::about(notice.printer.as_deref(), notice.tool, notice.rule);
    match notice.returned {
        None => format!("{about} ({} priority)", notice.priority),
        Some(_) => format!("Gone: {about}"),
    }
}

fn several(kind: MessageKind, notices: &[NoticeView]) -> String {
    let raised = || notices.iter().filter(|notice| is_bad(notice));
    let n = raised().count();
    let mut places: Vec<&str> =
        notices.iter().map(|notice| notice.printer.as_deref().unwrap_or("the record")).collect();
    places.sort_unstable();
    places.dedup();
    let place = match places.as_slice() {
        [one] => (*one).to_owned(),
        many => format!("{} printers", many.len()),
    };
    let gravest = raised().map(|notice| notice.priority).max_by_key(|priority| grade(priority));
    let what = match (n, gravest) {
        (0, _) | (_, None) => format!("{} alarms gone", notices.len()),
        (n, Some(gravest)) => format!("{} raised, the gravest of {gravest} priority", alarms(n)),
    };
    let lead = if kind == MessageKind::Digest { "After the quiet hours, " } else { "" };
    format!("{lead}{place}: {what}")
}

/// `1 alarm`, `7 alarms`.
fn alarms(n: usize) -> String {
    if n == 1 { "1 alarm".to_owned() } else { format!("{n} alarms") }
}

/// Why these go together, and what is not among them, in words; `None` where there is nothing to say of that.
fn why(view: &MessageView) -> Option<String> {
    let together = match view.kind {
        MessageKind::Single => None,
        MessageKind::Group => Some("Several alarms came close together, so they come in one message."),
        MessageKind::Digest => Some("This came in the quiet hours and could wait until now."),
        MessageKind::Test => {
            Some("This is a test. It shows that messages of dwellwatch arrive; nothing is the matter.")
        }
    };
    let dropped = (view.n_dropped > 0).then(|| {
        let n = view.n_dropped;
        format!("Before this, {n} of the least urgent were dropped, as more waited than is kept. The list of alarms has them.")
    });
    match (together, dropped) {
        (Some(together), Some(dropped)) => Some(format!("{together} {dropped}")),
        (together, dropped) => together.map(str::to_owned).or(dropped),
    }
}

/// What is said of alarms that a message has no room for.
fn more(n: usize) -> String {
    format!("{} more in the list of alarms.", if n == 1 { "1 line".to_owned() } else { format!("{n} lines") })
}

/// When an alarm came, or when it came and went.
fn when(notice: &NoticeView, view: &MessageView) -> String {
    let (raised, zone) = (format::moment(notice.raised, &view.zone), format::zone_name(&view.zone));
    match notice.returned {
        None => format!("Raised {raised} ({zone})."),
        Some(at) => format!("Raised {raised}, gone {} ({zone}).", format::clock_near(at, notice.raised, &view.zone)),
    }
}
