//! A program's token (RFC 6750). Owns which are long enough, and a comparison that takes as long for any other.

use ring::hmac;
use std::fmt;

/// The shortest token, characters: 32 of hexadecimal digits are 128 bits.
pub const TOKEN_MIN: usize = 32;
/// The longest that is looked at.
const TOKEN_MAX: usize = 512;

/// Why a text is no token; none repeats it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TokenFault {
    /// It is too short or too long.
    #[error("found {0} characters")]
    Length(usize),
    /// It can't stand in the header.
    #[error("found a character that the header can't hold")]
    Character,
}

/// A token, kept as its tag under a key of this process.
#[derive(Clone)]
pub struct Token {
    key: hmac::Key,
    tag: hmac::Tag,
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("••••")
    }
}

impl Token {
    /// Takes a token.
    ///
    /// # Errors
    /// If it is too short, or can't stand in the header.
    pub fn new(text: &str) -> Result<Self, TokenFault> {
        let letters = text.chars().count();
        if !(TOKEN_MIN..=TOKEN_MAX).contains(&letters) {
            return Err(TokenFault::Length(letters));
        }
        // RFC 6750, section 2.1.
        let is_taken = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~+/=".contains(&byte);
        if !text.bytes().all(is_taken) {
            return Err(TokenFault::Character);
        }
        let key = hmac::Key::new(hmac::HMAC_SHA256, &rand::random::<[u8; 32]>());
        Ok(Self { tag: hmac::sign(&key, text.as_bytes()), key })
    }

    /// Whether it is this one.
    #[must_use]
    pub fn is(&self, shown: &str) -> bool {
        // Compares in constant time.
        shown.len() <= TOKEN_MAX && hmac::verify(&self.key, shown.as_bytes(), self.tag.as_ref()).is_ok()
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn a_token_is_itself_alone_and_is_never_shown() {
        let text = "0123456789abcdef0123456789abcdef";
        let token = Token::new(text).unwrap();
        assert!(token.is(text));
        for other in ["", "0123456789abcdef0123456789abcdeg", "0123456789abcdef0123456789abcdef0"] {
            assert!(!token.is(other), "{other}");
        }
        assert!(!format!("{token:?}").contains("0123"));
    }

    #[test]
    fn a_token_that_could_be_guessed_or_not_be_sent_is_refused() {
        assert_eq!(Token::new("0123456789abcdef").err(), Some(TokenFault::Length(16)));
        assert_eq!(Token::new("0123456789abcdef0123456789 bcdef").err(), Some(TokenFault::Character));
        assert_eq!(Token::new(&"x".repeat(513)).err(), Some(TokenFault::Length(513)));
    }
}
