//! A notice's body read again, and the view of a message that follows from it. Owns no word of a message.

use super::message::{Kind, Message, SendContext};
use crate::alarm::{Priority, Rule, Subject};
use crate::entry::{PrinterName, ToolNumber};
use crate::links::{AlarmKey, LINK_LASTS, Links, SHELVE_MIN};
use crate::stamp;
use crate::store::Notice;
use dwell_analysis::time::Timestamp;
use dwell_dashboards::view::{AlarmLinks, AlarmWords, MessageKind, MessageView, NoticeView};
use serde_json::Value;

/// What a notice says.
pub(super) struct Told {
    pub(super) alarm: AlarmKey,
    at: Timestamp,
    is_raised: bool,
    priority: Priority,
    words: Option<AlarmWords>,
}

impl Told {
    /// What a notice says; `None` for one of an older record, which has another shape.
    pub(super) fn of(notice: &Notice) -> Option<Self> {
        let body: Value = serde_json::from_str(notice.body()).ok()?;
        let text = |name: &str| body.get(name).and_then(Value::as_str);
        let instant = |name: &str| stamp::parse(text(name)?);
        let tool = match body.get("tool") {
            Some(tool) => Some(ToolNumber::new(usize::try_from(tool.as_u64()?).ok()?)?),
            None => None,
        };
        let printer = match text("printer") {
            Some(name) => Some(PrinterName::new(name)?),
            None => None,
        };
        let (at, is_raised) = (instant("at")?, text("alarm")? == "raised");
        let words = || {
            let part = |name| text(name).map(str::to_owned);
            Some(AlarmWords { cause: part("cause")?, consequence: part("consequence")?, action: part("action")? })
        };
        Some(Self {
            alarm: AlarmKey {
                printer,
                subject: Subject { rule: Rule::of_word(text("rule")?)?, tool },
                // One that is told again was raised before it is told.
                raised: instant("raised").or(is_raised.then_some(at))?,
            },
            at,
            is_raised,
            // Before there were priorities, whatever was told was urgent.
            priority: text("priority").and_then(Priority::of_word).unwrap_or(Priority::High),
            words: words(),
        })
    }

    /// Links that act on the alarm; after it has returned there is nothing left to shelve.
    pub(super) fn links(&self, links: &Links) -> Option<AlarmLinks> {
        // By the notice's own time and not by now, so that each try of a message says the same.
        let until = self.at + LINK_LASTS;
        self.is_raised.then(|| AlarmLinks {
            acknowledge: links.acknowledge(&self.alarm, until),
            shelve: links.shelve(&self.alarm, SHELVE_MIN, until),
            until,
        })
    }

    fn view(self, links: Option<&Links>) -> NoticeView {
        NoticeView {
            links: links.and_then(|links| self.links(links)),
            printer: self.alarm.printer.map(|printer| printer.as_str().to_owned()),
            tool: self.alarm.subject.tool.map(ToolNumber::idx),
            rule: self.alarm.subject.rule.word(),
            priority: self.priority.word(),
            raised: self.alarm.raised,
            returned: (!self.is_raised).then_some(self.at),
            words: self.words,
        }
    }
}

/// What a person is shown of a message.
pub(super) fn view(message: &Message, context: &SendContext) -> MessageView {
    let links = context.links.as_ref();
    MessageView {
        kind: match message.kind {
            Kind::Single | Kind::Ahead => MessageKind::Single,
            Kind::Group => MessageKind::Group,
            Kind::Digest => MessageKind::Digest,
            Kind::Test => MessageKind::Test,
        },
        made: message.made,
        zone: context.zone.clone(),
        notices: message.notices.iter().filter_map(Told::of).map(|told| told.view(links)).collect(),
        n_dropped: message.n_dropped,
        chart: context.chart.clone(),
        list: links.and_then(Links::page),
    }
}
