//! Hosts that speak TLS, and what can be wrong with their certificates: each is told apart.

use super::*;
use rcgen::{BasicConstraints, CertificateParams, DistinguishedName, DnType, IsCa, Issuer, KeyPair, date_time_ymd};
use rustls::pki_types::PrivatePkcs8KeyDer;
use std::sync::Arc;
use tokio_rustls::TlsAcceptor;

/// An authority's key and certificate, and that as PEM.
pub(super) fn authority(name: &str) -> (Issuer<'static, KeyPair>, String) {
    let mut params = CertificateParams::new(Vec::new()).unwrap();
    params.distinguished_name = DistinguishedName::new();
    params.distinguished_name.push(DnType::CommonName, name);
    params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let key = KeyPair::generate().unwrap();
    let pem = params.self_signed(&key).unwrap().pem();
    (Issuer::new(params, key), pem)
}

fn for_names(names: &[&str]) -> CertificateParams {
    CertificateParams::new(names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>()).unwrap()
}

/// A host that answers `1` by https, with a certificate as `params` say; returns its port.
async fn host(params: CertificateParams, issuer: Option<&Issuer<'static, KeyPair>>) -> (u16, String) {
    let key = KeyPair::generate().unwrap();
    let certificate = match issuer {
        Some(issuer) => params.signed_by(&key, issuer).unwrap(),
        None => params.self_signed(&key).unwrap(),
    };
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![certificate.der().clone()], PrivatePkcs8KeyDer::from(key.serialize_der()).into())
        .unwrap();
    let acceptor = TlsAcceptor::from(Arc::new(config));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((socket, _)) = listener.accept().await {
            // A client that does not trust the host leaves within the handshake; that is what most tests are about.
            let Ok(mut socket) = acceptor.accept(socket).await else { continue };
            let mut head = [0; 1024];
            if socket.read(&mut head).await.is_ok() {
                socket.write_all(&http("200 OK", "", "1")).await.unwrap();
                socket.shutdown().await.unwrap();
            }
        }
    });
    (port, certificate.pem())
}

async fn get(port: u16, pem: Option<&str>) -> Result<Value, FetchError> {
    let address = Address::parse(&format!("https://127.0.0.1:{port}/")).unwrap();
    let authority = pem.map(|pem| Authority::new(pem.as_bytes().to_vec()));
    let client = Clients::new(ENOUGH).of(&Source { authority, ..Source::default() }).unwrap();
    client.get(&address, &Credentials::default()).await
}

#[tokio::test]
async fn a_host_signed_by_the_house_s_authority_is_trusted_with_it_alone() {
    let (issuer, pem) = authority("house");
    let (port, _) = host(for_names(&["127.0.0.1"]), Some(&issuer)).await;
    assert_eq!(get(port, Some(&pem)).await.unwrap(), Value::from(1));
    for other in [None, Some(authority("other").1.as_str()), Some(authority("house").1.as_str())] {
        let error = get(port, other).await.unwrap_err();
        assert_eq!(error, FetchError::CertificateAuthority);
        assert!(error.to_string().contains("authority_file") && !error.is_transient(), "{error}");
    }
}

#[tokio::test]
async fn a_host_that_signed_for_itself_is_trusted_by_its_own_certificate() {
    let (port, pem) = host(for_names(&["127.0.0.1"]), None).await;
    assert_eq!(get(port, None).await.unwrap_err(), FetchError::CertificateAuthority);
    assert_eq!(get(port, Some(&pem)).await.unwrap(), Value::from(1));
}

#[tokio::test]
async fn an_authority_s_certificate_as_the_host_s_own_is_told() {
    let mut params = for_names(&["127.0.0.1"]);
    params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let (port, pem) = host(params, None).await;
    assert_eq!(get(port, Some(&pem)).await.unwrap_err(), FetchError::CertificateIsAuthority);
}

#[tokio::test]
async fn a_certificate_for_another_name_says_for_which() {
    let (issuer, pem) = authority("house");
    let (port, _) = host(for_names(&["bench.invalid", "127.0.0.2"]), Some(&issuer)).await;
    let error = get(port, Some(&pem)).await.unwrap_err();
    assert_eq!(
        error.to_string(),
        "host's certificate is for bench.invalid, 127.0.0.2; configure the address with that name"
    );
    let (port, _) = host(for_names(&[]), Some(&issuer)).await;
    assert!(matches!(get(port, Some(&pem)).await.unwrap_err(), FetchError::CertificateName(_)));
}

#[tokio::test]
async fn a_certificate_before_or_after_its_time_is_told() {
    let (issuer, pem) = authority("house");
    for (from, until) in [(1990, 1995), (2990, 2995)] {
        let mut params = for_names(&["127.0.0.1"]);
        (params.not_before, params.not_after) = (date_time_ymd(from, 1, 1), date_time_ymd(until, 1, 1));
        let (port, _) = host(params, Some(&issuer)).await;
        let error = get(port, Some(&pem)).await.unwrap_err();
        assert_eq!(error, FetchError::CertificateExpired);
        assert!(!error.is_transient());
    }
}

#[tokio::test]
async fn https_to_a_host_that_speaks_http_and_a_handshake_that_ends_are_told() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        let (mut socket, _) = listener.accept().await.unwrap();
        socket.write_all(&super::http("400 No", "", "plain")).await.unwrap();
        drop(socket);
        let (mut socket, _) = listener.accept().await.unwrap();
        // A fatal alert: handshake_failure (RFC 8446, section 6).
        socket.write_all(&[21, 3, 3, 0, 2, 2, 40]).await.unwrap();
        let mut rest = Vec::new();
        socket.read_to_end(&mut rest).await.ok();
    });
    assert_eq!(get(port, None).await.unwrap_err(), FetchError::NotTls);
    let error = get(port, None).await.unwrap_err();
    assert!(matches!(error, FetchError::Tls(_)), "{error:?}");
}

#[tokio::test]
async fn a_step_up_to_https_is_not_followed_and_names_the_address_to_configure() {
    let (issuer, pem) = authority("house");
    let (port, _) = host(for_names(&["127.0.0.1"]), Some(&issuer)).await;
    let moved: Says = |head| {
        let port = head.trim_start_matches("GET /").split(' ').next().unwrap();
        http("301 Moved", &format!("Location: https://127.0.0.1:{port}/\r\n"), "")
    };
    let address = Address::parse(&format!("http://127.0.0.1:{}/{port}", server(moved, false).await)).unwrap();
    let client = Client::trusting(ENOUGH, &Authority::new(pem.into_bytes())).unwrap();
    let error = client.get(&address, &Credentials::default()).await.unwrap_err();
    assert_eq!(error, FetchError::RedirectedAway(format!("https://127.0.0.1:{port}")));
}
