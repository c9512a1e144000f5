//! The certificate of the pages on the local network: a certificate authority of
//! this machine's own, made once, which can speak for private addresses only,
//! and a certificate it signs anew at each start.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::net::IpAddr;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::{Timestamp, ToSpan as _};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, SanType,
};
use rustls::pki_types::PrivateKeyDer;
use time::OffsetDateTime;

/// How long the authority lasts, in hours: ten years.
const AUTHORITY_H: i64 = 10 * 365 * 24;
/// How long a certificate lasts, in hours: less than the 398 days that browsers take.
const CERTIFICATE_H: i64 = 390 * 24;

/// Why there is no certificate.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file in the data folder.
    #[error("`{path}` cannot be read or written")]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: io::Error,
    },
    /// The address is not one of a local network.
    #[error(
        "{0} is not an address of a local network; the pages are served on loopback and private \
         addresses (10.…, 172.16.… to 172.31.…, 192.168.…, 169.254.…, fc00::/7, fe80::/10) alone"
    )]
    NotPrivate(IpAddr),
    /// A certificate cannot be made or used.
    #[error(
        "the certificate cannot be made: {0}; if `pages-authority.pem` was damaged, move it \
             away and a new one is made, which phones have to be told to trust anew"
    )]
    Certificate(String),
}

/// What a server needs to speak TLS, and the authority phones are asked to trust.
#[derive(Clone, Debug)]
pub struct Tls {
    /// For the server.
    pub server: Arc<rustls::ServerConfig>,
    /// The authority's certificate, PEM.
    pub authority_pem: String,
}

/// Private addresses that an authority of this machine may speak for (RFC 1918,
/// RFC 3927, RFC 4193, RFC 4291).
fn private() -> Vec<CidrSubnet> {
    let four = [([10, 0, 0, 0], 8), ([172, 16, 0, 0], 12), ([192, 168, 0, 0], 16)];
    let four = four.into_iter().chain([([169, 254, 0, 0], 16), ([127, 0, 0, 0], 8)]);
    let (mut unique, mut link, mut own) = ([0; 16], [0; 16], [0; 16]);
    unique[0] = 0xfc;
    (link[0], link[1]) = (0xfe, 0x80);
    own[15] = 1;
    let six = [(unique, 7), (link, 10), (own, 128)];
    let four = four.map(|(address, bits)| CidrSubnet::from_v4_prefix(address, bits));
    four.chain(six.map(|(address, bits)| CidrSubnet::from_v6_prefix(address, bits))).collect()
}

/// Whether the address is of a local network.
#[must_use]
pub fn is_private(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(four) => four.is_private() || four.is_link_local() || four.is_loopback(),
        IpAddr::V6(six) => {
            six.is_unique_local() || six.is_unicast_link_local() || six.is_loopback()
        }
    }
}

/// A certificate for these names and addresses, signed by the authority of this
/// data folder, which is made where there is none.
///
/// # Errors
/// The authority cannot be read or made, or an address is not a private one.
pub fn tls(data: &Path, names: &[String], now: Timestamp) -> Result<Tls, TlsError> {
    for name in names {
        if let Ok(address) = name.parse::<IpAddr>()
            && !is_private(address)
        {
            return Err(TlsError::NotPrivate(address));
        }
    }
    let (authority_pem, key) = authority(data, names, now)?;
    let wrong = |error: rcgen::Error| TlsError::Certificate(error.to_string());
    let issuer = Issuer::from_ca_cert_pem(&authority_pem, key).map_err(wrong)?;
    let own = KeyPair::generate().map_err(wrong)?;
    let mut params = CertificateParams::default();
    params.distinguished_name.push(DnType::CommonName, "chalkhand");
    params.subject_alt_names =
        names.iter().map(|name| alternative(name)).collect::<Result<_, _>>().map_err(wrong)?;
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.use_authority_key_identifier_extension = true;
    (params.not_before, params.not_after) = lasts(now, CERTIFICATE_H);
    let certificate = params.signed_by(&own, &issuer).map_err(wrong)?;

    let wrong = |error: rustls::Error| TlsError::Certificate(error.to_string());
    let key = PrivateKeyDer::try_from(own.serialize_der())
        .map_err(|error| TlsError::Certificate(error.to_owned()))?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut server = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(wrong)?
        .with_no_client_auth()
        .with_single_cert(vec![certificate.der().clone()], key)
        .map_err(wrong)?;
    server.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Tls { server: Arc::new(server), authority_pem })
}

fn alternative(name: &str) -> Result<SanType, rcgen::Error> {
    match name.parse::<IpAddr>() {
        Ok(address) => Ok(SanType::IpAddress(address)),
        Err(_) => Ok(SanType::DnsName(name.try_into()?)),
    }
}

/// From an hour ago, for clocks that are behind.
fn lasts(now: Timestamp, hours: i64) -> (OffsetDateTime, OffsetDateTime) {
    let at = |hours: i64| {
        let at = now.checked_add(hours.hours()).unwrap_or(now);
        OffsetDateTime::from_unix_timestamp(at.as_second()).unwrap_or(OffsetDateTime::UNIX_EPOCH)
    };
    (at(-1), at(hours))
}

/// The authority's certificate and key. The key stays in a file that nobody else
/// may read.
fn authority(data: &Path, names: &[String], now: Timestamp) -> Result<(String, KeyPair), TlsError> {
    let (pem, key) = (data.join("pages-authority.pem"), data.join("pages-authority.key"));
    let wrong = |error: rcgen::Error| TlsError::Certificate(error.to_string());
    if pem.exists() {
        let read = |path: &Path| {
            fs::read_to_string(path)
                .map_err(|source| TlsError::File { path: path.to_owned(), source })
        };
        return Ok((read(&pem)?, KeyPair::from_pem(&read(&key)?).map_err(wrong)?));
    }
    let own = KeyPair::generate().map_err(wrong)?;
    let mut params = CertificateParams::default();
    params.distinguished_name.push(DnType::CommonName, "chalkhand on this company's own machine");
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    let machine = names.iter().filter(|name| name.parse::<IpAddr>().is_err()).cloned();
    let zones = ["local", "home.arpa", "internal", "localhost"].map(str::to_owned);
    let dns = zones.into_iter().chain(machine).map(GeneralSubtree::DnsName);
    let addresses = private().into_iter().map(GeneralSubtree::IpAddress);
    params.name_constraints = Some(NameConstraints {
        permitted_subtrees: dns.chain(addresses).collect(),
        excluded_subtrees: Vec::new(),
    });
    (params.not_before, params.not_after) = lasts(now, AUTHORITY_H);
    let certificate = params.self_signed(&own).map_err(wrong)?.pem();
    // The key first: without it the certificate is worth nothing.
    write(&key, own.serialize_pem().as_bytes(), 0o600)?;
    write(&pem, certificate.as_bytes(), 0o644)?;
    Ok((certificate, own))
}

fn write(path: &Path, bytes: &[u8], mode: u32) -> Result<(), TlsError> {
    let failed = |source| TlsError::File { path: path.to_owned(), source };
    let mut options = OpenOptions::new();
    let options = options.create(true).truncate(true).write(true).mode(mode);
    let mut file = options.open(path).map_err(failed)?;
    file.write_all(bytes).and_then(|()| file.sync_all()).map_err(failed)
}
