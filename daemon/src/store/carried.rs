//! What channels have made and sent while the disk takes nothing. Pure: owns how that is laid over what the table says;
//! it is written into the table once there is room.

use super::message::{Carrier, Draft, Outbox, Past, Underway, key};
use super::outbox::Notice;
use crate::notify::{Kind, Message};
use dwell_analysis::time::Timestamp;
use std::collections::HashSet;

/// All of it, in order.
#[derive(Clone, Debug, Default)]
pub(super) struct Carried {
    pub(super) messages: Vec<Kept>,
    /// What channels do not carry.
    pub(super) skipped: Vec<(Carrier, Notice)>,
    /// Messages of the table that were taken back, by their keys.
    pub(super) unmade: Vec<(Carrier, String)>,
}

/// A message that was made here, or whose fate is known here alone.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    pub(super) carrier: Carrier,
    pub(super) underway: Underway,
    pub(super) delivered: Option<Timestamp>,
    /// The table does not know of it.
    is_made_here: bool,
}

impl Carried {
    pub(super) fn is_empty(&self) -> bool {
        self.messages.is_empty() && self.skipped.is_empty() && self.unmade.is_empty()
    }

    /// What a channel has to do: by the table, by what waits in memory behind that, and by what is known here.
    pub(super) fn lay_over(&self, carrier: &Carrier, mut table: Outbox, unwritten: Vec<Notice>) -> Outbox {
        let own: Vec<&Kept> = self.of(carrier).collect();
        let is_unmade = |at: &mut Underway| {
            self.unmade.iter().any(|(other, key)| other.channel == carrier.channel && *key == at.message.key)
        };
        if let Some(unmade) = table.underway.take_if(is_unmade) {
            table.n_pending += unmade.message.notices.len();
            table.pending.splice(..0, unmade.message.notices);
        }
        table.underway = match own.last() {
            Some(newest) if newest.delivered.is_none() => Some(newest.underway.clone()),
            // One that the table has under way and that is not known here is still there.
            _ => table.underway.filter(|at| !own.iter().any(|kept| kept.underway.message.key == at.message.key)),
        };
        let messages = own.iter().flat_map(|kept| &kept.underway.message.notices);
        let skipped = self.skipped.iter().filter(|(other, _)| other.channel == carrier.channel);
        let done: HashSet<&str> = messages.chain(skipped.map(|(_, notice)| notice)).map(Notice::key).collect();
        table.n_pending += unwritten.len();
        table.pending.extend(unwritten);
        let n_all = table.pending.len();
        table.pending.retain(|notice| !done.contains(notice.key()));
        table.n_pending = table.n_pending.saturating_sub(n_all - table.pending.len());
        for Kept { underway: Underway { message, .. }, .. } in own.iter().filter(|kept| kept.is_made_here) {
            table.sent.notices.extend(message.notices.iter().map(|notice| Past::of(notice, message.made)));
            if message.kind == Kind::Ahead {
                table.sent.ahead.push(message.made);
            } else {
                table.sent.last = table.sent.last.max(Some((message.made, message.notices.len())));
            }
        }
        table
    }

    /// How many of a channel's notices are done with here, whatever the table says.
    pub(super) fn n_known(&self, carrier: &Carrier) -> usize {
        let skipped = self.skipped.iter().filter(|(other, _)| other.channel == carrier.channel).count();
        skipped + self.of(carrier).map(|kept| kept.underway.message.notices.len()).sum::<usize>()
    }

    fn of<'a>(&'a self, carrier: &'a Carrier) -> impl Iterator<Item = &'a Kept> {
        self.messages.iter().filter(|kept| kept.carrier.channel == carrier.channel)
    }

    /// Makes the message of a draft.
    pub(super) fn make(&mut self, carrier: &Carrier, draft: &Draft, now: Timestamp) -> Option<Underway> {
        self.skipped.extend(draft.skipped.iter().map(|notice| (carrier.clone(), notice.clone())));
        let (kind, notices) = draft.message.as_ref()?;
        let message = Message { key: key(notices), kind: *kind, made: now, n_dropped: 0, notices: notices.clone() };
        let underway = Underway { message, attempts: 0, due: now };
        self.messages.push(Kept {
            carrier: carrier.clone(),
            underway: underway.clone(),
            delivered: None,
            is_made_here: true,
        });
        Some(underway)
    }

    /// Takes a message back that has not arrived.
    pub(super) fn unmake(&mut self, carrier: &Carrier, underway: &Underway) {
        let is_it =
            |kept: &Kept| kept.carrier.channel == carrier.channel && kept.underway.message.key == underway.message.key;
        let is_made_here = self.messages.iter().any(|kept| is_it(kept) && kept.is_made_here);
        self.messages.retain(|kept| !is_it(kept));
        if !is_made_here {
            self.unmade.push((carrier.clone(), underway.message.key.clone()));
        }
    }

    /// Keeps how far a message has got.
    pub(super) fn note(&mut self, carrier: &Carrier, underway: &Underway, delivered: Option<Timestamp>) {
        let is_it = |kept: &&mut Kept| {
            kept.carrier.channel == carrier.channel && kept.underway.message.key == underway.message.key
        };
        match self.messages.iter_mut().find(is_it) {
            Some(kept) => (kept.underway, kept.delivered) = (underway.clone(), delivered),
            None => self.messages.push(Kept {
                carrier: carrier.clone(),
                underway: underway.clone(),
                delivered,
                is_made_here: false,
            }),
        }
    }
}
