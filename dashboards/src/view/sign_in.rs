//! The view of the sign-in.

use dwell_analysis::time::Timestamp;
use jiff::tz::TimeZone;

/// The page.
#[derive(Clone, Debug)]
pub struct SignInView {
    /// How far it is.
    pub stage: SignInStage,
    /// The printer is a simulated one and its history invented.
    pub rehearsal: bool,
}

/// How far a sign-in is.
#[derive(Clone, Debug)]
pub enum SignInStage {
    /// It asks for the password.
    Asks {
        /// What is said first: why one is asked again, or what was wrong.
        said: Option<String>,
        /// Proves that the form came from a page of this daemon.
        token: String,
        /// Where it leads.
        to: String,
    },
    /// The person is signed in, and may sign out.
    SignedIn {
        /// Until when.
        until: Timestamp,
        /// The clock that times are shown on.
        zone: TimeZone,
        /// Proves that the form came from a page of this daemon.
        token: String,
    },
    /// The machine itself asks.
    NotNeeded,
    /// People can't sign in: there is no password.
    NoPassword,
}
