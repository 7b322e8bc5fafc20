//! Who may use the dashboard from elsewhere, and how that is proved: a password, a session after it, or a program's token.
//! Owns keys, hashes and how often one may try; knows no HTTP.

mod address;
mod password;
mod session;
mod throttle;
mod token;

pub use address::WebAddress;
pub use password::{PASSWORD_MAX, PASSWORD_MIN, PasswordFault, PasswordHash};
pub use session::{SESSION_LASTS, Session, SessionFault, Sessions};
pub use throttle::{OF_ALL, Throttle, Turn, network};
pub use token::{TOKEN_MIN, Token, TokenFault};

/// What a configuration asks of those who come from elsewhere.
#[derive(Clone, Debug, Default)]
pub struct Access {
    /// What a person signs in with.
    pub password: Option<PasswordHash>,
    /// What a program shows.
    pub token: Option<Token>,
    /// Under which names the dashboard answers, besides those of this machine and addresses in figures.
    pub addresses: Vec<WebAddress>,
    /// Whether those who come from this machine sign in too.
    pub loopback_signs_in: bool,
}

impl Access {
    /// Whether anybody can come in from elsewhere.
    #[must_use]
    pub fn opens(&self) -> bool {
        self.password.is_some() || self.token.is_some()
    }
}
