//! Who is let in, and what happens to those who should not be: raw requests, byte for byte.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use panroom::web::Refusal;

use super::e2e::{serving, succeed};

const PATIENCE: Duration = Duration::from_secs(40);

struct Page {
    /// "127.0.0.1:7267"
    at: String,
    cookie: String,
}

struct Answer {
    status: u16,
    head: String,
    body: String,
}

impl Answer {
    /// The refusal in our own words.
    fn words(&self) -> String {
        let refusal: Refusal = serde_json::from_str(&self.body)
            .unwrap_or_else(|error| panic!("{error}: {} {}", self.status, self.body));
        refusal.words
    }
}

impl Page {
    fn of(url: &str) -> Page {
        let at = url.trim_start_matches("http://").trim_end_matches('/');
        let at = at.replace("localhost", "127.0.0.1");
        let mut page = Page { at, cookie: String::new() };
        let first = page.ask("GET / HTTP/1.1", &["Accept: text/html"], "");
        assert_eq!(first.status, 200, "{}", first.body);
        let line = first.head.lines().find(|l| l.to_lowercase().starts_with("set-cookie")).unwrap();
        assert!(line.contains("HttpOnly") && line.contains("SameSite=Strict"), "{line}");
        page.cookie = line.split(": ").nth(1).unwrap().split(';').next().unwrap().to_owned();
        page
    }

    fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.at).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream
    }

    /// With the right host and cookie unless others are given.
    fn ask(&self, line: &str, headers: &[&str], body: &str) -> Answer {
        let mut request = format!("{line}\r\n");
        let given = |name: &str| headers.iter().any(|header| header.starts_with(name));
        if !given("Host:") {
            request += &format!("Host: {}\r\n", self.at);
        }
        if !given("Cookie:") && !self.cookie.is_empty() {
            request += &format!("Cookie: {}\r\n", self.cookie);
        }
        for header in headers {
            request += &format!("{header}\r\n");
        }
        request += &format!("Content-Length: {}\r\nConnection: close\r\n\r\n", body.len());
        let mut stream = self.connect();
        stream.write_all(request.as_bytes()).unwrap();
        // refused before it is read whole
        let _ = stream.write_all(body.as_bytes());
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer).into_owned();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
        let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
        Answer { status, head: head.to_owned(), body: body.to_owned() }
    }

    fn act(&self, headers: &[&str], body: &str) -> Answer {
        let origin = format!("Origin: http://{}", self.at);
        let mut all = vec!["Content-Type: application/json"];
        if !headers.iter().any(|header| header.starts_with("Origin:")) {
            all.push(&origin);
        }
        all.extend(headers.iter().filter(|header| !header.ends_with(": ")));
        self.ask("POST /api/act HTTP/1.1", &all, body)
    }
}

#[test]
fn only_our_own_page_on_our_own_address_is_answered() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = serving(folder.path());
    let page = Page::of(&served.page());
    let port = page.at.split(':').nth(1).unwrap();

    for host in ["evil.example", "localhost", "127.0.0.1:1", "127.0.0.1.evil.example:80", ""] {
        let answer = page.ask("GET /api/view HTTP/1.1", &[&format!("Host: {host}")], "");
        assert_eq!(answer.status, 421, "{host}: {}", answer.body);
        assert!(answer.words().contains("not served under that name"));
    }
    let twice = format!("Host: {}\r\nHost: evil.example", page.at);
    assert_eq!(page.ask("GET /api/view HTTP/1.1", &[&twice], "").status, 421);
    let named = format!("Host: localhost:{port}");
    assert_eq!(page.ask("GET /api/view HTTP/1.1", &[&named], "").status, 200);

    let silence = r#""silence""#;
    assert_eq!(page.act(&[], silence).status, 200);
    for origin in ["http://evil.example", "null", "https://localhost", "http://localhost:1"] {
        let answer = page.act(&[&format!("Origin: {origin}")], silence);
        assert_eq!(answer.status, 403, "{origin}");
        assert!(answer.words().contains("another page"));
    }
    let json = "Content-Type: application/json";
    assert_eq!(page.ask("POST /api/act HTTP/1.1", &[json], silence).status, 403, "no origin");
    let cross = page.ask("GET /api/view HTTP/1.1", &["Sec-Fetch-Site: cross-site"], "");
    assert_eq!(cross.status, 403);

    for cookie in ["Cookie: x=y".to_owned(), format!("Cookie: panroom-{port}=0123456789abcdef")] {
        let answer = page.ask("GET /api/view HTTP/1.1", &[&cookie], "");
        assert_eq!(answer.status, 401);
        assert!(answer.words().contains("not paired"));
        assert_eq!(page.act(&[&cookie], silence).status, 401);
    }
    let head = page.ask("GET / HTTP/1.1", &["Accept: text/html"], "").head.to_lowercase();
    assert!(head.contains("default-src 'none'") && !head.contains("unsafe"), "{head}");
    assert!(head.contains("frame-ancestors 'none'") && head.contains("nosniff"), "{head}");
    // the code of the terminal is for the socket alone
    assert_eq!(page.ask("GET /api/page HTTP/1.1", &[], "").status, 404);
}

#[test]
fn what_does_not_fit_is_refused_in_our_words_and_the_batch_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = serving(folder.path());
    let recipe = std::fs::read_to_string(folder.path().join("plain-bar.toml")).unwrap();
    let name = "<script>document.title='taken'</script>";
    let file = folder.path().join("odd.toml");
    std::fs::write(&file, recipe.replace("Plain Bar", name)).unwrap();
    succeed(folder.path(), &["start", file.to_str().unwrap()]);
    let page = Page::of(&served.page());

    // held back on purpose, while everybody else is served
    let mut slow_head = page.connect();
    slow_head.write_all(b"GET / HTTP/1.1\r\nHost: ").unwrap();
    let mut slow_body = page.connect();
    let head = format!(
        "POST /api/act HTTP/1.1\r\nHost: {0}\r\nOrigin: http://{0}\r\nCookie: {1}\r\n\
         Content-Type: application/json\r\nContent-Length: 40\r\n\r\n\"",
        page.at, page.cookie
    );
    slow_body.write_all(head.as_bytes()).unwrap();

    for (body, status, words) in [
        ("{", 400, "no JSON"),
        ("", 400, "no JSON"),
        (r#"{"confirm":{}}"#, 422, "does not say what to do"),
        (r#"{"obey":{"prompt":1}}"#, 422, "does not say what to do"),
        (r#"{"confirm":{"prompt":-1}}"#, 422, "does not say what to do"),
    ] {
        let answer = page.act(&[], body);
        assert_eq!(answer.status, status, "{body}");
        assert!(answer.words().contains(words), "{body}: {}", answer.words());
    }
    let nested = "[".repeat(100_000);
    assert_eq!(page.act(&[], &nested).status, 400);
    let large = format!("\"{}\"", "x".repeat(300_000));
    let answer = page.act(&[], &large);
    assert_eq!(answer.status, 413);
    assert!(answer.words().contains("larger than anything"));
    let origin = format!("Origin: http://{}", page.at);
    let untyped = page.ask("POST /api/act HTTP/1.1", &[&origin], r#""silence""#);
    assert_eq!(untyped.status, 415);
    assert!(untyped.words().contains("send JSON"));

    for path in [
        "/assets/../page-access.json",
        "/assets/..%2f..%2fetc%2fpasswd",
        "/assets/%2e%2e/journal.db",
        "//etc/passwd",
        "/api/../page-access.json",
        "/api/review/..%2f..%2fx",
        "/assets/page.css%00",
    ] {
        let answer = page.ask(&format!("GET {path} HTTP/1.1"), &[], "");
        assert_eq!(answer.status, 404, "{path}: {}", answer.body);
        assert!(!answer.words().is_empty());
    }
    assert_eq!(
        page.ask("DELETE / HTTP/1.1", &[&origin], "").words(),
        "nothing of that name is here"
    );

    let shown = page.ask("GET / HTTP/1.1", &["Accept: text/html"], "").body;
    assert!(shown.contains("&lt;script&gt;document.title"), "{shown}");
    assert!(!shown.contains(name));

    let mut rest = Vec::new();
    slow_head.read_to_end(&mut rest).unwrap();
    let mut rest = Vec::new();
    slow_body.read_to_end(&mut rest).unwrap();
    let rest = String::from_utf8_lossy(&rest).into_owned();
    assert!(rest.contains("took too long"), "{rest}");
    let batch = served.wait_batch("the batch", |_| true);
    assert_eq!((batch.recipe.as_str(), batch.step_number), (name, 1));
}

#[test]
fn one_machine_cannot_ask_without_end() {
    let folder = tempfile::tempdir().unwrap();
    let (served, _bench) = serving(folder.path());
    let page = Page::of(&served.page());
    let began = Instant::now();
    let refused = loop {
        let answer = page.ask("GET /api/view HTTP/1.1", &[], "");
        if answer.status == 429 {
            break answer;
        }
        assert_eq!(answer.status, 200);
        assert!(began.elapsed() < PATIENCE, "nothing is refused");
    };
    assert!(refused.words().contains("too many requests"));
    while page.ask("GET /api/view HTTP/1.1", &[], "").status != 200 {
        assert!(began.elapsed() < PATIENCE, "never let in again");
    }
}
