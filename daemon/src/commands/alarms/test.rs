//! `alarms test`: a test message by every channel, once, past the outbox.

use crate::cli::Place;
use crate::clock::wall_now;
use crate::commands::run::{log_to_stderr, runtime};
use crate::commands::table::Table;
use crate::commands::{Failure, output};
use crate::notify::{Channel, Kind, Message, SendContext, SendFault, Sender};

pub(super) fn run(place: &Place, channel: Option<&str>) -> Result<(), Failure> {
    let config = place.needed_config()?;
    let all = &config.channels().channels;
    let chosen: Vec<&Channel> = all.iter().filter(|other| channel.is_none_or(|name| other.name == name)).collect();
    if let (Some(name), []) = (channel, chosen.as_slice()) {
        let names: Vec<String> = all.iter().map(|channel| format!("`{}`", channel.name)).collect();
        return Err(Failure::Asked(format!("no channel `{name}` is configured: {} would be", names.join(", "))));
    }
    // One channel is the log.
    log_to_stderr("warn");
    let mut table = Table::new(&["channel", "test message"]);
    let mut failed = Vec::new();
    runtime()?.block_on(async {
        for channel in chosen {
            let said = match try_out(channel).await {
                Ok(()) => "has arrived".to_owned(),
                Err(fault) => {
                    failed.push(channel.name.as_str());
                    format!("has not arrived: {fault}")
                }
            };
            table.row([channel.name.clone(), said]);
        }
    });
    output::text(&table.text("no channels"))?;
    if failed.is_empty() {
        return Ok(());
    }
    Err(Failure::Work(format!("no test message arrived by {}", failed.join(", "))))
}

async fn try_out(channel: &Channel) -> Result<(), SendFault> {
    let mut sender = Sender::beside(channel)?;
    let made = wall_now();
    let key = format!("test-{}", made.as_ms());
    let message = Message { key, kind: Kind::Test, made, notices: Vec::new(), n_dropped: 0 };
    let sent = sender.send(&message, &SendContext::default()).await;
    sender.close().await;
    sent
}
