//! The page encrypted, over a real connection, looked at with nothing but its own certificate.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::Arc;
use std::time::Duration;

use sha2::{Digest, Sha256};
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};

use super::e2e::{Served, succeed};

struct Secret {
    at: String,
    trust: Arc<ClientConfig>,
}

impl Secret {
    /// The whole answer.
    fn ask(&self, request: &str, headers: &[&str]) -> String {
        let stream = connect(&self.at);
        let name = ServerName::try_from("127.0.0.1").unwrap();
        let client = ClientConnection::new(Arc::clone(&self.trust), name).unwrap();
        exchange(StreamOwned::new(client, stream), &self.at, request, headers)
    }
}

fn connect(at: &str) -> TcpStream {
    let stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
    stream
}

fn exchange(mut stream: impl Read + Write, at: &str, request: &str, headers: &[&str]) -> String {
    let headers: String = headers.iter().map(|header| format!("{header}\r\n")).collect();
    let head = format!("{request} HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n{headers}\r\n");
    stream.write_all(head.as_bytes()).unwrap();
    let mut answer = Vec::new();
    // a peer that closes without saying so has still answered
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

#[test]
fn with_tls_all_is_encrypted_and_a_plain_request_is_shown_the_way() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    let served = Served::from_nothing_with(folder, &["--tls"]);
    let said = succeed(folder, &["page"]);
    let url = said.split_whitespace().find(|word| word.starts_with("https://")).unwrap();
    let at = url.trim_start_matches("https://").trim_end_matches('/');
    let at = at.replace("localhost", "127.0.0.1");

    // what the terminal says is what the certificate is
    let kept = std::fs::read(folder.join("page-certificate.json")).unwrap();
    let kept: serde_json::Value = serde_json::from_slice(&kept).unwrap();
    let pem = kept["certificate"].as_str().unwrap();
    let certificate = CertificateDer::from_pem_slice(pem.as_bytes()).unwrap();
    let digest = Sha256::digest(&certificate);
    let pairs: Vec<String> = digest.iter().map(|byte| format!("{byte:02X}")).collect();
    assert!(said.contains(&pairs.join(":")), "{said}");

    let mut roots = RootCertStore::empty();
    roots.add(certificate).unwrap();
    let trust = ClientConfig::builder().with_root_certificates(roots).with_no_client_auth();
    let page = Secret { at: at.clone(), trust: Arc::new(trust) };
    let first = page.ask("GET /", &["Accept: text/html"]);
    assert!(first.starts_with("HTTP/1.1 200"), "{first}");
    let line = first.lines().find(|l| l.to_lowercase().starts_with("set-cookie")).unwrap();
    assert!(line.contains("; Secure") && line.contains("HttpOnly"), "{line}");
    let cookie = line.split(": ").nth(1).unwrap().split(';').next().unwrap();
    let cookie = format!("Cookie: {cookie}");

    let view = page.ask("GET /api/view", &[&cookie]);
    assert!(view.starts_with("HTTP/1.1 200"), "{view}");
    // the origin is the encrypted one, and no other
    for (origin, status) in [(format!("https://{at}"), "400"), (format!("http://{at}"), "403")] {
        let origin = format!("Origin: {origin}");
        let json = "Content-Type: application/json";
        let answer = page.ask("POST /api/act", &[&cookie, &origin, json, "Content-Length: 0"]);
        assert!(answer.starts_with(&format!("HTTP/1.1 {status}")), "{origin}: {answer}");
    }

    let plain = exchange(connect(&at), &at, "GET /api/view", &[&cookie]);
    assert!(plain.starts_with("HTTP/1.1 307"), "{plain}");
    assert!(plain.contains(&format!("https://{at}/")) && !plain.contains("batches"), "{plain}");
    drop(served);
}
