//! The command line of `alarms`: the list, and what a person does with an alarm.

use super::Listing;
use clap::{Args, Subcommand};

/// The list of alarms, or something done about one.
#[derive(Clone, Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Alarms {
    /// What to do; the list if left out.
    #[command(subcommand)]
    pub act: Option<AlarmAct>,
    /// What the list shows.
    #[command(flatten)]
    pub listing: Listing,
}

/// What is done about alarms.
#[derive(Clone, Debug, Subcommand)]
pub enum AlarmAct {
    /// Something about one alarm.
    #[command(flatten)]
    Word(AlarmWord),
    /// Send a test message by every channel of the configuration, or by one, and say whether it arrived.
    Test {
        /// The channel's name.
        #[arg(long, value_name = "NAME")]
        channel: Option<String>,
    },
    /// How the alarms did: how many, how soon seen, which chatter or stand, which were false.
    Figures {
        /// Over so many days before the record's newest reading.
        #[arg(long, value_name = "DAYS", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=3650))]
        days: u32,
        /// One JSON document.
        #[arg(long)]
        json: bool,
    },
}

/// What a person says of one alarm.
#[derive(Clone, Debug, Subcommand)]
pub enum AlarmWord {
    /// Say that you have seen an alarm, or several.
    Acknowledge {
        /// The alarms' numbers, as `alarms` lists them.
        #[arg(required = true, value_name = "ID")]
        ids: Vec<i64>,
        /// Who you are [default: your user name].
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// In your words.
        #[arg(long, value_name = "TEXT")]
        why: Option<String>,
    },
    /// Hear nothing of an alarm's rule, on the same tool or printer, for a time.
    Shelve {
        /// The alarm's number, as `alarms` lists it.
        id: i64,
        /// For how many minutes, a week at most.
        #[arg(long, value_name = "MINUTES", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=10_080))]
        minutes: u32,
        /// Who you are [default: your user name].
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// In your words.
        #[arg(long, value_name = "TEXT")]
        why: Option<String>,
    },
    /// End shelving early.
    Unshelve {
        /// The alarm's number, as `alarms` lists it.
        id: i64,
        /// Who you are [default: your user name].
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
    },
    /// Take an alarm's rule, on the same tool or printer, out of service until you bring it back.
    OutOfService {
        /// The alarm's number, as `alarms` lists it.
        id: i64,
        /// Who you are [default: your user name].
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// In your words.
        #[arg(long, value_name = "TEXT")]
        why: String,
    },
    /// Bring it back into service.
    ReturnToService {
        /// The alarm's number, as `alarms` lists it.
        id: i64,
        /// Who you are [default: your user name].
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
    },
    /// Say whether an alarm was rightly raised.
    Mark {
        /// The alarm's number, as `alarms` lists it.
        id: i64,
        /// `right` or `false`.
        #[arg(value_parser = ["right", "false"])]
        as_what: String,
        /// Who you are [default: your user name].
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
    },
}
