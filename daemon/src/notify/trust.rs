//! Whose certificates are believed on the way to a receiver: the machine's authorities and, where one is named, the
//! person's own. Owns the HTTP client and the TLS settings that follow.

use super::message::SendFault;
use crate::host::{Authority, use_ring};
use rustls::ClientConfig;
use rustls::crypto::ring;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use rustls_platform_verifier::Verifier;
use std::sync::Arc;
use std::time::Duration;

/// An HTTP client that follows no redirects: an answer from elsewhere would be given what is the receiver's alone.
pub(super) fn http(deadline: Duration, authority: Option<&Authority>) -> Result<reqwest::Client, SendFault> {
    use_ring();
    let builder = || {
        reqwest::Client::builder()
            .timeout(deadline)
            .redirect(reqwest::redirect::Policy::none())
            .referer(false)
            .no_proxy()
            .user_agent(concat!("dwellwatch/", env!("CARGO_PKG_VERSION")))
    };
    let made = match authority {
        Some(authority) => {
            let own = reqwest::Certificate::from_pem_bundle(authority.pem()).map_err(|error| unset(&error))?;
            builder().tls_certs_merge(own).build()
        }
        // A machine without any authority can still reach receivers by http.
        None => builder().build().or_else(|_| builder().tls_certs_only([]).build()),
    };
    made.map_err(|error| unset(&error))
}

/// TLS as the machine and the person's own authority have it.
pub(super) fn tls(authority: Option<&Authority>) -> Result<ClientConfig, SendFault> {
    let provider = Arc::new(ring::default_provider());
    let own = authority.map_or(Ok(Vec::new()), |authority| {
        CertificateDer::pem_slice_iter(authority.pem()).collect::<Result<Vec<_>, _>>().map_err(|error| unset(&error))
    })?;
    let verifier = Verifier::new_with_extra_roots(own, Arc::clone(&provider)).map_err(|error| unset(&error))?;
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|error| unset(&error))?
        // The verifier of the machine is the one that every other client uses; it is only handed over by this name.
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(verifier));
    Ok(config.with_no_client_auth())
}

/// TLS can't be set up.
pub(super) fn unset(error: &impl std::fmt::Display) -> SendFault {
    SendFault::new(format!("TLS can't be set up: {error}"))
}
