//! Where the dashboard listens and what it asks of those who come from elsewhere, checked. What a password or token must
//! be is `access`'s.

use super::fault::{Key, Wrong, Wrongs};
use super::raw::RawWeb;
use super::secret::{Secrets, Surroundings};
use crate::access::{Access, PasswordHash, TOKEN_MIN, Token, WebAddress};
use std::net::SocketAddr;

/// Loopback: whoever wants more says so.
const LISTEN: &str = "127.0.0.1:7870";

/// The dashboard.
#[derive(Clone, Debug)]
pub struct WebPlan {
    /// Where it listens.
    pub listen: SocketAddr,
    /// Who may use it from elsewhere.
    pub access: Access,
}

pub(super) fn web(key: &Key, raw: &RawWeb, around: &Surroundings<'_>) -> Result<WebPlan, Wrongs> {
    let mut wrongs = Wrongs::default();
    let listen = wrongs.keep(listen(&key.name("listen"), raw));
    let password = wrongs.keep(password(&key.name("password_hash"), raw, around));
    let token = wrongs.keep(token(&key.name("token"), raw, around));
    let named = raw.addresses.iter().enumerate();
    let addresses = named.map(|(idx, text)| address(&key.name("addresses").nth(idx), text).map_err(Wrongs::from));
    let addresses = wrongs.keep(Wrongs::each(addresses));
    let loopback_signs_in = wrongs.keep(loopback_signs_in(&key.name("loopback_signs_in"), raw));
    match (listen, password.zip(token), addresses.zip(loopback_signs_in)) {
        (Some(listen), Some((password, token)), Some((addresses, loopback_signs_in))) => {
            Ok(WebPlan { listen, access: Access { password, token, addresses, loopback_signs_in } })
        }
        _ => Err(wrongs),
    }
}

fn listen(key: &Key, raw: &RawWeb) -> Result<SocketAddr, Wrong> {
    let text = raw.listen.as_deref().unwrap_or(LISTEN);
    let wrong = |found: String, right: &str| Wrong::new(key.clone(), found, right);
    let address: SocketAddr =
        text.parse().map_err(|_| wrong(format!("found {text:?}"), "an address and port such as \"127.0.0.1:7870\""))?;
    if !address.ip().is_loopback() && raw.password_hash.is_none() && raw.token.is_none() {
        let found = format!("found {text:?}, which other machines reach, and nothing that they sign in with");
        let right = "password_hash beside it, as `dwellwatch password` prints it, or a token, or the loopback address \
                     \"127.0.0.1:7870\"";
        return Err(wrong(found, right));
    }
    Ok(address)
}

fn password(key: &Key, raw: &RawWeb, around: &Surroundings<'_>) -> Result<Option<PasswordHash>, Wrong> {
    let Some(raw) = &raw.password_hash else { return Ok(None) };
    let text = around.secret(key, raw)?;
    let wrong = |fault: crate::access::PasswordFault| {
        Wrong::new(key.clone(), fault.to_string(), "the line that `dwellwatch password` prints")
    };
    match PasswordHash::parse(&text) {
        Ok(hash) => Ok(Some(hash)),
        // Whoever did not look it up serves no dashboard.
        Err(_) if around.secrets == Secrets::NotNeeded => Ok(None),
        Err(fault) => Err(wrong(fault)),
    }
}

fn token(key: &Key, raw: &RawWeb, around: &Surroundings<'_>) -> Result<Option<Token>, Wrong> {
    let Some(raw) = &raw.token else { return Ok(None) };
    let text = around.secret(key, raw)?;
    let right = || {
        format!(
            "at least {TOKEN_MIN} letters, digits and -._~+/= that nobody guesses, such as `openssl rand -hex 32` prints"
        )
    };
    match Token::new(&text) {
        Ok(token) => Ok(Some(token)),
        Err(_) if around.secrets == Secrets::NotNeeded => Ok(None),
        Err(fault) => Err(Wrong::new(key.clone(), fault.to_string(), right())),
    }
}

fn address(key: &Key, text: &str) -> Result<WebAddress, Wrong> {
    let right = "an address as browsers show it, such as \"https://bench.example\" or \"http://bench.example:7870\"";
    WebAddress::parse(text).ok_or_else(|| Wrong::new(key.clone(), format!("found {text:?}"), right))
}

fn loopback_signs_in(key: &Key, raw: &RawWeb) -> Result<bool, Wrong> {
    let asked = raw.loopback_signs_in.unwrap_or(false);
    if asked && raw.password_hash.is_none() {
        let found = "found true, and nothing that a person signs in with";
        return Err(Wrong::new(key.clone(), found, "password_hash beside it, as `dwellwatch password` prints it"));
    }
    Ok(asked)
}
