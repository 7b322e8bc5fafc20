//! What a message is told with: links, the zone of its times, and the little chart of the tool that it speaks of. Owns
//! where these come from; how they look is `dwell_dashboards`'.

use super::channel::Channels;
use super::message::{Kind, Message, SendContext};
use super::told::Told;
use crate::entry::CentiCelsius;
use crate::links::{AlarmKey, Links};
use crate::store::{Reader, Store, StoreError};
use dwell_analysis::time::Timestamp;
use dwell_analysis::units::{Celsius, Seconds};
use dwell_dashboards::view::MessageChart;
use jiff::tz::TimeZone;

/// A chart's length, up to the notice.
const LOOK_BACK: Seconds = Seconds::minutes(120.0);

/// Where messages' contexts come from.
#[derive(Clone, Debug)]
pub(crate) struct Contexts {
    store: Store,
    links: Option<Links>,
    zone: TimeZone,
}

impl Contexts {
    /// Those of a record, with links where an address leads here.
    ///
    /// # Errors
    /// If the record can't be read.
    pub(crate) fn new(store: &Store, channels: &Channels, zone: &TimeZone) -> Result<Self, StoreError> {
        let links = Links::of(channels.address.as_deref(), store)?;
        Ok(Self { store: store.clone(), links, zone: zone.clone() })
    }

    /// A message's context. What can't be read is left out: a message without a chart still tells.
    pub(super) async fn of(&self, message: &Message, with_chart: bool) -> SendContext {
        let alarm = match message.notices.as_slice() {
            [notice] if with_chart && message.kind == Kind::Single => {
                Told::of(notice).map(|told| (told.alarm, notice.at()))
            }
            _ => None,
        };
        let chart = match alarm {
            Some((alarm, at)) => {
                let store = self.store.clone();
                let drawn = tokio::task::spawn_blocking(move || chart(&store.reader()?, &alarm, at)).await;
                drawn.ok().and_then(|chart: Result<_, StoreError>| chart.ok().flatten())
            }
            None => None,
        };
        SendContext { links: self.links.clone(), chart, zone: self.zone.clone() }
    }
}

/// The last while of the tool that an alarm is about; `None` where it is about none, or nothing of it is known.
fn chart(reader: &Reader, alarm: &AlarmKey, at: Timestamp) -> Result<Option<MessageChart>, StoreError> {
    let (Some(printer), Some(tool)) = (&alarm.printer, alarm.subject.tool) else { return Ok(None) };
    let (mut points, mut target) = (Vec::new(), None);
    // Up to and with the reading at which it was raised.
    for reading in reader.readings(printer, Some(at - LOOK_BACK), Some(at + Seconds::new(0.001)))? {
        let reading = reading?;
        let Some(heater) = reading.tools.get(tool.idx()) else { continue };
        points.extend(heater.actual.map(|actual| (reading.at, actual.celsius())));
        target = heater.target.map(CentiCelsius::celsius).or(target);
    }
    let limit: Option<Celsius> = None;
    Ok((!points.is_empty()).then(|| MessageChart { name: tool.to_string(), points, target, limit }))
}
