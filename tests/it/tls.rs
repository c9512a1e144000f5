//! The pages on the local network: TLS by an authority of the machine's own that
//! can speak for private addresses alone (RFC 5280 section 4.2.1.10).

use std::io::{Read as _, Write as _};
use std::net::{IpAddr, TcpStream};
use std::os::unix::fs::PermissionsExt as _;

use chalkhand::web::tls::{is_private, tls};
use jiff::Timestamp;
use rcgen::{CertificateParams, Issuer, KeyPair, SanType};
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::ServerCertVerifier as _;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};

use crate::outside;
use crate::program::Home;
use crate::serve::Daemon;

fn now() -> Timestamp {
    "2026-11-25T08:00:00Z".parse().unwrap()
}

#[test]
fn the_authority_is_made_once_and_can_speak_for_private_addresses_alone() {
    let folder = tempfile::tempdir().unwrap();
    let names = ["192.168.1.20", "fd00::1", "office-pc.local", "office-pc"].map(str::to_owned);
    let made = tls(folder.path(), &names, now()).unwrap();
    assert_eq!(tls(folder.path(), &names, now()).unwrap().authority_pem, made.authority_pem);
    let key = folder.path().join("pages-authority.key");
    assert_eq!(std::fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600);

    // Whoever steals its key can impersonate nobody on the internet.
    let stolen = KeyPair::from_pem(&std::fs::read_to_string(&key).unwrap()).unwrap();
    let issuer = Issuer::from_ca_cert_pem(&made.authority_pem, stolen).unwrap();
    let mut roots = rustls::RootCertStore::empty();
    let authority = CertificateDer::from_pem_slice(made.authority_pem.as_bytes()).unwrap();
    roots.add(authority).unwrap();
    let provider = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    let verifier =
        WebPkiServerVerifier::builder_with_provider(roots.into(), provider).build().unwrap();
    let verified = |name: &str| {
        let own = KeyPair::generate().unwrap();
        let mut params = CertificateParams::default();
        params.subject_alt_names = vec![match name.parse::<IpAddr>() {
            Ok(address) => SanType::IpAddress(address),
            Err(_) => SanType::DnsName(name.try_into().unwrap()),
        }];
        let leaf = params.signed_by(&own, &issuer).unwrap();
        let name = ServerName::try_from(name.to_owned()).unwrap();
        let at = UnixTime::since_unix_epoch(std::time::Duration::from_secs(1_795_600_000));
        verifier.verify_server_cert(leaf.der(), &[], &name, &[], at).map(|_| ())
    };
    for fine in [
        "192.168.1.20",
        "10.0.0.1",
        "172.31.255.1",
        "fd00::1",
        "office-pc",
        "office-pc.local",
        "x.home.arpa",
    ] {
        verified(fine).unwrap_or_else(|error| panic!("{fine}: {error}"));
    }
    for wrong in
        ["example.com", "bank.example", "8.8.8.8", "172.32.0.1", "2001:4860::1", "local.example"]
    {
        assert!(verified(wrong).is_err(), "{wrong}");
    }

    let public = ["8.8.8.8".to_owned()];
    assert!(tls(folder.path(), &public, now()).unwrap_err().to_string().contains("local network"));
    std::fs::write(folder.path().join("pages-authority.pem"), "damaged").unwrap();
    let error = tls(folder.path(), &names, now()).unwrap_err().to_string();
    assert!(error.contains("move it away"), "{error}");
}

#[test]
fn private_addresses_are_those_the_standards_name() {
    // RFC 1918, RFC 3927, RFC 4193, RFC 4291.
    for private in [
        "10.1.2.3",
        "172.16.0.1",
        "192.168.255.255",
        "169.254.1.1",
        "127.0.0.1",
        "fd12::1",
        "fe80::1",
        "::1",
    ] {
        assert!(is_private(private.parse().unwrap()), "{private}");
    }
    for public in ["11.0.0.1", "172.32.0.1", "192.169.0.1", "1.1.1.1", "2001:db8::1", "ff02::1"] {
        assert!(!is_private(public.parse().unwrap()), "{public}");
    }
}

#[test]
fn another_program_trusts_the_pages_once_it_is_told_to() {
    let home = Home::new();
    let daemon = Daemon::listening(&home, "0.0.0.0");
    let told = daemon.says(&["watching"]);
    assert!(told.contains("SHA-256 ") && told.contains("/trust"), "{told}");
    let port = daemon.page.rsplit(':').next().unwrap();
    // Nothing is answered in the clear.
    let mut plain = TcpStream::connect(format!("127.0.0.1:{port}")).unwrap();
    plain.write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").unwrap();
    let mut answer = Vec::new();
    // It may also just hang up.
    let _ = plain.read_to_end(&mut answer);
    assert!(!String::from_utf8_lossy(&answer).contains("HTTP/1.1"));
    let Some(folder) = outside::folder("TLS read by Python's ssl") else { return };
    let authority = home.path("data/pages-authority.pem");
    let asked = serde_json::json!({
        "url": format!("https://localhost:{port}/trust"),
        "trusting": { "us": authority.to_str().unwrap(), "others": "" }
    });
    let health = serde_json::json!({
        "url": format!("https://localhost:{port}/health"),
        "trusting": { "us": authority.to_str().unwrap() }
    });
    let told = outside::run(&folder, "read_tls.py", &health.to_string());
    assert!(told.contains("404"), "the program's health is not for the network: {told}");
    let told = outside::run(&folder, "read_tls.py", &asked.to_string());
    let told: serde_json::Value = serde_json::from_str(&told).unwrap();
    assert!(told["us"].as_str().unwrap().contains("<!DOCTYPE html>"), "{told}");
    assert!(told["others"].as_str().unwrap().contains("CERTIFICATE_VERIFY_FAILED"), "{told}");
}
