//! What a message is told with: links, the zone of its times, and the little chart of the tool that it speaks of. Owns
//! where these come from; how they look is `dwell_dashboards`'.

use super::message::{Kind, Message, SendContext};
use super::told::Told;
use crate::alarm::{Rule, Rules};
use crate::config::Config;
use crate::entry::{CentiCelsius, PrinterName, ToolNumber};
use crate::links::{AlarmKey, Links};
use crate::store::{Reader, Store, StoreError};
use dwell_analysis::polymer::Materials;
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::MessageChart;
use jiff::tz::TimeZone;
use std::sync::Arc;

/// A chart's length, up to the notice.
const LOOK_BACK: Seconds = Seconds::minutes(120.0);

/// Where messages' contexts come from.
#[derive(Clone, Debug)]
pub(crate) struct Contexts {
    store: Store,
    links: Option<Links>,
    zone: TimeZone,
    rules: Rules,
    materials: Arc<Materials>,
}

impl Contexts {
    /// Those of a record, with links where an address leads here.
    ///
    /// # Errors
    /// If the record can't be read.
    pub(crate) fn new(store: &Store, config: &Config) -> Result<Self, StoreError> {
        let links = Links::of(config.channels().address.as_deref(), store)?;
        let (zone, rules) = (config.report().zone.clone(), config.rules().clone());
        Ok(Self { store: store.clone(), links, zone, rules, materials: config.materials() })
    }

    /// A message's context. What can't be read is left out: a message without a chart still tells.
    pub(super) async fn of(&self, message: &Message, with_chart: bool) -> SendContext {
        let alarm = match message.notices.as_slice() {
            [notice] if with_chart && matches!(message.kind, Kind::Single | Kind::Ahead) => {
                Told::of(notice).map(|told| (told.alarm, notice.at()))
            }
            _ => None,
        };
        let chart = match alarm {
            Some((alarm, at)) => {
                let own = self.clone();
                let drawn = tokio::task::spawn_blocking(move || own.chart(&own.store.reader()?, &alarm, at)).await;
                drawn.ok().and_then(|chart: Result<_, StoreError>| chart.ok().flatten())
            }
            None => None,
        };
        SendContext { links: self.links.clone(), chart, zone: self.zone.clone() }
    }

    /// The last while of the tool that an alarm is about; `None` where it is about none, or nothing of it is known.
    fn chart(&self, reader: &Reader, alarm: &AlarmKey, at: Timestamp) -> Result<Option<MessageChart>, StoreError> {
        let (Some(printer), Some(tool)) = (&alarm.printer, alarm.subject.tool) else { return Ok(None) };
        let (mut points, mut target) = (Vec::new(), None);
        // Up to and with the reading at which it was raised.
        for reading in reader.readings(printer, Some(at - LOOK_BACK), Some(at + Seconds::new(0.001)))? {
            let reading = reading?;
            let Some(heater) = reading.tools.get(tool.idx()) else { continue };
            points.extend(heater.actual.map(|actual| (reading.at, actual.celsius())));
            target = heater.target.map(CentiCelsius::celsius).or(target);
        }
        let limit = self.limit(reader, printer, alarm.subject.rule, tool, at)?;
        Ok((!points.is_empty()).then(|| MessageChart { name: tool.to_string(), points, target, limit }))
    }

    /// Over which temperature the rule would have the tool be too hot.
    fn limit(
        &self,
        reader: &Reader,
        printer: &PrinterName,
        rule: Rule,
        tool: ToolNumber,
        at: Timestamp,
    ) -> Result<Option<Celsius>, StoreError> {
        let changes = reader.settings_changes(printer)?;
        let in_force = changes.iter().rfind(|row| row.change.tool == tool && row.change.at <= at);
        let material = in_force.and_then(|row| row.change.settings.material.as_deref());
        Ok(self.rules.of(printer).too_hot_over(rule, tool, material, &self.materials))
    }
}
