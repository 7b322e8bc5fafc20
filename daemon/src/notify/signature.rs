//! Signs what a webhook is sent: HTTP Message Signatures (RFC 9421) with HMAC-SHA-256, over a digest of the content
//! (RFC 9530). Owns which parts are covered. Pure.

use base64::prelude::{BASE64_STANDARD, Engine};
use dwell_analysis::time::Timestamp;
use ring::{digest, hmac};

/// What a request is signed by.
pub(super) struct Parts<'r> {
    /// Path of the address, percent-encoded, without its query.
    pub(super) path: &'r str,
    pub(super) content_type: &'r str,
    pub(super) key: &'r str,
    pub(super) body: &'r [u8],
}

/// The headers that a signed request has besides its own.
#[derive(Debug)]
pub(super) struct Signed {
    pub(super) content_digest: String,
    pub(super) signature_input: String,
    pub(super) signature: String,
}

/// Names the one signature of a request.
const LABEL: &str = "dwellwatch";

/// Signs a request with the secret that goes by `key_id`. The host and the query are not covered: a receiver behind a
/// proxy does not know the name it was called by, and a query may hold a key that no log of the receiver should need.
pub(super) fn sign(parts: &Parts<'_>, key_id: &str, secret: &[u8], at: Timestamp) -> Signed {
    let content_digest = content_digest(parts.body);
    let covered = [
        ("@method", "POST"),
        ("@path", parts.path),
        ("content-type", parts.content_type),
        ("content-digest", content_digest.as_str()),
        ("idempotency-key", parts.key),
    ];
    let names: Vec<_> = covered.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    let created = at.as_ms().div_euclid(1000);
    let parameters = format!("({});created={created};keyid={};alg=\"hmac-sha256\"", names.join(" "), quoted(key_id));
    let signature = hmac_sha256(secret, &base(&covered, &parameters));
    Signed {
        signature_input: format!("{LABEL}={parameters}"),
        signature: format!("{LABEL}=:{signature}:"),
        content_digest,
    }
}

/// RFC 9530, section 2.
fn content_digest(body: &[u8]) -> String {
    format!("sha-256=:{}:", BASE64_STANDARD.encode(digest::digest(&digest::SHA256, body)))
}

/// RFC 9421, section 2.5: what is signed.
fn base(covered: &[(&str, &str)], parameters: &str) -> String {
    let line = |(name, value): &(&str, &str)| format!("\"{name}\": {value}");
    let lines = covered.iter().map(line).collect::<Vec<_>>().join("\n");
    format!("{lines}\n\"@signature-params\": {parameters}")
}

/// RFC 9421, section 3.3.3.
fn hmac_sha256(secret: &[u8], base: &str) -> String {
    BASE64_STANDARD.encode(hmac::sign(&hmac::Key::new(hmac::HMAC_SHA256, secret), base.as_bytes()))
}

/// RFC 8941, section 4.1.6: a string of plain ASCII.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    /// RFC 9421, appendix B.2.5, with the shared secret of B.1.5.
    #[test]
    fn the_standard_s_own_example_comes_out() {
        let secret = BASE64_STANDARD
            .decode("uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==")
            .unwrap();
        let covered = [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ];
        let parameters = "(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\"";
        assert_eq!(hmac_sha256(&secret, &base(&covered, parameters)), "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=");
    }

    /// RFC 9530, appendix B.1 has this body; its digest is what `sha256sum` and `base64` make of it.
    #[test]
    fn a_digest_is_the_content_s_sha_256() {
        let digest = content_digest(b"{\"hello\": \"world\"}\n");
        assert_eq!(digest, "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
    }

    #[test]
    fn what_is_covered_is_told_and_a_changed_byte_changes_the_signature() {
        let at = Timestamp::from_ms(1_772_438_400_999);
        let parts = Parts { path: "/alarms", content_type: "application/json", key: "a-1", body: b"{}" };
        let signed = sign(&parts, "bench \"1\"", b"hush", at);
        assert_eq!(
            signed.signature_input,
            "dwellwatch=(\"@method\" \"@path\" \"content-type\" \"content-digest\" \"idempotency-key\");\
             created=1772438400;keyid=\"bench \\\"1\\\"\";alg=\"hmac-sha256\""
        );
        for other in [
            Parts { path: "/alarm", ..parts },
            Parts { content_type: "text/plain", ..parts },
            Parts { key: "a-2", ..parts },
            Parts { body: b"{ }", ..parts },
        ] {
            assert_ne!(sign(&other, "bench \"1\"", b"hush", at).signature, signed.signature);
        }
        assert_ne!(sign(&parts, "bench \"1\"", b"hash", at).signature, signed.signature);
    }
}
