//! The page encrypted, with a certificate of the bench's own: no authority of the internet vouches
//! for a machine in a workshop. A browser warns of that once, and whoever sits before it compares
//! the fingerprint with the one in the terminal.

use std::fs;
use std::net::IpAddr;
use std::path::Path;
use std::sync::Arc;

use anyhow::Context;
use rcgen::{CertificateParams, DistinguishedName, DnType, KeyPair, date_time_ymd};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};

use super::access::keep_private;

/// What a connection is encrypted with.
pub struct Tls {
    pub acceptor: TlsAcceptor,
    /// SHA-256 of the certificate, as browsers show it.
    pub fingerprint: String,
}

/// What lies in the data folder, so that a browser that has been told to go on need not ask again.
#[derive(Serialize, Deserialize)]
struct Kept {
    addresses: Vec<IpAddr>,
    /// UTC, nanoseconds since 1970.
    until_utc_ns: i64,
    certificate: String,
    key: String,
}

/// Browsers refuse what is valid for longer than 825 days (Baseline Requirements of the CA/Browser
/// Forum before 2020, still held against certificates of one's own).
const DAYS: i64 = 800;
const DAY_NS: i64 = 24 * 3600 * 1_000_000_000;
/// A new one is made before a batch can outlast it.
const LEFT_DAYS: i64 = 7;

impl Tls {
    /// The kept certificate while it is valid for where the page is, else a new one.
    ///
    /// # Errors
    /// When the data folder cannot be read or written, or what lies there is damaged.
    pub fn open(folder: &Path, addresses: &[IpAddr], utc_ns: i64) -> anyhow::Result<Tls> {
        let file = folder.join("page-certificate.json");
        let kept: Option<Kept> = match fs::read(&file) {
            Ok(bytes) => Some(serde_json::from_slice(&bytes).with_context(|| {
                format!("{} is damaged; delete it, and a new one is made", file.display())
            })?),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
            Err(error) => {
                return Err(error).with_context(|| format!("{} cannot be read", file.display()));
            }
        };
        let fits = |kept: &Kept| {
            addresses.iter().all(|address| kept.addresses.contains(address))
                && kept.until_utc_ns - utc_ns > LEFT_DAYS * DAY_NS
                && kept.until_utc_ns - utc_ns <= DAYS * DAY_NS
        };
        let kept = match kept.filter(fits) {
            Some(kept) => kept,
            None => {
                let kept = make(addresses, utc_ns)?;
                keep_private(&file, &serde_json::to_vec(&kept)?)?;
                kept
            }
        };
        kept.open().with_context(|| format!("{} cannot be used; delete it", file.display()))
    }
}

impl Kept {
    fn open(&self) -> anyhow::Result<Tls> {
        let certificate = CertificateDer::from_pem_slice(self.certificate.as_bytes())?;
        let key = PrivateKeyDer::from_pem_slice(self.key.as_bytes())?;
        let digest = Sha256::digest(&certificate);
        let pairs: Vec<String> = digest.iter().map(|byte| format!("{byte:02X}")).collect();
        let mut config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()?
            .with_no_client_auth()
            .with_single_cert(vec![certificate], key)?;
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Tls { acceptor: TlsAcceptor::from(Arc::new(config)), fingerprint: pairs.join(":") })
    }
}

fn make(addresses: &[IpAddr], utc_ns: i64) -> anyhow::Result<Kept> {
    let names = std::iter::once("localhost".to_owned());
    let names = names.chain(addresses.iter().map(IpAddr::to_string));
    let mut about = CertificateParams::new(names.collect::<Vec<_>>())?;
    about.distinguished_name = DistinguishedName::new();
    about.distinguished_name.push(DnType::CommonName, "panroom bench page");
    // a tablet whose clock is a little behind must not find it not valid yet
    let from = utc_ns - DAY_NS;
    let until_utc_ns = from + DAYS * DAY_NS;
    let midnight = |utc_ns: i64| {
        let at = jiff::Timestamp::from_nanosecond(utc_ns.into())?;
        let day = jiff::tz::TimeZone::UTC.to_datetime(at).date();
        let (month, day_of_month) = (day.month().unsigned_abs(), day.day().unsigned_abs());
        anyhow::Ok(date_time_ymd(day.year().into(), month, day_of_month))
    };
    about.not_before = midnight(from)?;
    about.not_after = midnight(until_utc_ns)?;
    let key = KeyPair::generate()?;
    let certificate = about.self_signed(&key)?.pem();
    Ok(Kept { addresses: addresses.to_vec(), until_utc_ns, certificate, key: key.serialize_pem() })
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    const NOW: i64 = 1_795_593_600_000_000_000;

    fn opened(folder: &Path, address: [u8; 4], utc_ns: i64) -> String {
        Tls::open(folder, &[IpAddr::from(address)], utc_ns).unwrap().fingerprint
    }

    #[test]
    fn the_certificate_stays_while_it_fits() {
        let folder = tempfile::tempdir().unwrap();
        let first = opened(folder.path(), [10, 0, 0, 5], NOW);
        assert_eq!(first.len(), 32 * 3 - 1);
        assert_eq!(opened(folder.path(), [10, 0, 0, 5], NOW + 700 * DAY_NS), first);
        assert_ne!(opened(folder.path(), [10, 0, 0, 6], NOW), first, "another address");
    }

    #[test]
    fn a_new_one_is_made_before_it_ends() {
        let folder = tempfile::tempdir().unwrap();
        let first = opened(folder.path(), [10, 0, 0, 5], NOW);
        let left = |days: i64| NOW - DAY_NS + (DAYS - days) * DAY_NS;
        assert_eq!(opened(folder.path(), [10, 0, 0, 5], left(8)), first);
        assert_ne!(opened(folder.path(), [10, 0, 0, 5], left(7)), first);
    }

    #[test]
    fn the_key_is_the_owners_alone_and_damage_is_said() {
        let folder = tempfile::tempdir().unwrap();
        opened(folder.path(), [10, 0, 0, 5], NOW);
        let file = folder.path().join("page-certificate.json");
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        fs::write(&file, "{").unwrap();
        let error = Tls::open(folder.path(), &[], NOW).err().unwrap();
        assert!(format!("{error:#}").contains("delete it"), "{error:#}");
    }
}
