//! The gate as another machine in the house meets it: requests with ends that no test machine has.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response};
use tower::ServiceExt;

use super::gate::Ends;
use super::{Access, Gate, router};
use crate::bench_file::BenchFile;
use crate::clock::Clock;
use crate::daemon::{self, Daemon, Folder};
use crate::problem::Source;
use crate::web::Door;
use crate::wire::SheetLibrary;

const BENCH: &str = r#"
name = "far bench"
masses = "g"
temperatures = "°C"

[[instrument]]
name = "scale"
port = "/dev/panroom-nothing-is-here"
sheet = "comma-status-line"

[[instrument.channel]]
name = "scale"
role = "scale"
d = "0.1 g"
capacity = "3 kg"
unit = "g"
"#;
/// For documentation (RFC 5737).
const HOST: &str = "192.0.2.10:7267";
const TABLET: &str = "192.0.2.77:40000";

struct House {
    daemon: Daemon,
    gate: Arc<Gate>,
    router: Router,
    _folder: tempfile::TempDir,
}

impl House {
    async fn new() -> House {
        let folder = tempfile::tempdir().unwrap();
        let source = Source { file: "bench.toml", text: BENCH };
        let daemon = daemon::start(daemon::Options {
            folder: Folder::new(folder.path()),
            bench_file: BenchFile::read(source).unwrap(),
            bench_path: None,
            sheets: SheetLibrary::built_in().unwrap(),
            clock: Clock::new(),
            page: None,
        })
        .await
        .unwrap();
        let urls = vec!["http://localhost:7267/".to_owned(), format!("http://{HOST}/")];
        let access = Access::open(folder.path()).unwrap();
        let gate = Arc::new(Gate::new(access, Clock::new(), 7267, urls));
        let door = Door { desk: Arc::clone(&daemon.desk), gate: Some(Arc::clone(&gate)) };
        let router = router(&door, &gate);
        House { daemon, gate, router, _folder: folder }
    }

    async fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        let ends = Ends { peer: address(TABLET), local: address(HOST) };
        let mut request = Request::builder().method(method).uri(path).header("host", HOST);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let mut request = request.body(Body::from(body.to_owned())).unwrap();
        request.extensions_mut().insert(ends);
        Answer::of(self.router.clone().oneshot(request).await.unwrap()).await
    }

    async fn show(&self, code: &str) -> Answer {
        let origin = format!("http://{HOST}");
        let headers = [
            ("origin", origin.as_str()),
            ("content-type", "application/x-www-form-urlencoded"),
            ("accept", "text/html"),
        ];
        self.ask("POST", "/pair", &headers, &format!("code={code}")).await
    }
}

fn address(text: &str) -> SocketAddr {
    text.parse().unwrap()
}

struct Answer {
    status: u16,
    location: String,
    cookie: String,
    body: String,
}

impl Answer {
    async fn of(response: Response<Body>) -> Answer {
        let header = |name: &str| {
            let value = response.headers().get(name).and_then(|value| value.to_str().ok());
            value.unwrap_or_default().to_owned()
        };
        let (location, cookie) = (header("location"), header("set-cookie"));
        let status = response.status().as_u16();
        let body = to_bytes(response.into_body(), 1 << 20).await.unwrap();
        Answer { status, location, cookie, body: String::from_utf8_lossy(&body).into_owned() }
    }
}

const BROWSER: (&str, &str) = ("accept", "text/html");

#[tokio::test(flavor = "multi_thread")]
async fn a_screen_in_the_house_is_let_in_by_the_code_and_by_nothing_else() {
    let house = House::new().await;
    let first = house.ask("GET", "/", &[BROWSER], "").await;
    assert_eq!((first.status, first.location.as_str()), (303, "/pair"));
    assert_eq!(first.cookie, "", "a far screen is given nothing");
    assert_eq!(house.ask("GET", "/api/view", &[], "").await.status, 401);
    assert_eq!(house.ask("GET", "/live", &[], "").await.status, 401);
    assert_eq!(house.ask("GET", "/pair", &[BROWSER], "").await.status, 200);

    let wrong = house.show("AAAAAAAA").await;
    assert_eq!((wrong.status, wrong.cookie.as_str()), (403, ""));
    assert!(wrong.body.contains("This is not the code"), "{}", wrong.body);

    let right = house.show(house.gate.access.code()).await;
    assert_eq!((right.status, right.location.as_str()), (303, "/"));
    let cookie = right.cookie.split(';').next().unwrap().to_owned();
    let paired = [("cookie", cookie.as_str())];
    assert_eq!(house.ask("GET", "/api/view", &paired, "").await.status, 200);
    let foreign = [("cookie", cookie.as_str()), ("sec-fetch-site", "cross-site")];
    assert_eq!(house.ask("GET", "/api/view", &foreign, "").await.status, 403);
    house.daemon.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn guessing_is_stopped_after_a_few_tries_even_for_the_right_code() {
    let house = House::new().await;
    for guess in 0..5 {
        assert_eq!(house.show(&format!("GUESS{guess}XY")).await.status, 403);
    }
    let late = house.show(house.gate.access.code()).await;
    assert_eq!((late.status, late.cookie.as_str()), (429, ""));
    house.daemon.stop().await.unwrap();
}

/// Whoever looks at the sheet, or is about to start, reads there what the ledger says of a base.
#[tokio::test(flavor = "multi_thread")]
async fn the_sheet_and_the_start_say_what_the_ledger_says_of_a_base() {
    let house = House::new().await;
    let plain = crate::recipe::EXAMPLE.replace("pot = \"big pot\"", "");
    let text = format!(
        "{plain}\n[[addition]]\nname = \"paste\"\namount = \"50 g\"\nwhen = \"before cook\"\n\
         base = \"1999-01-01-a\"\n"
    );
    let plain = house.daemon.desk.add_recipe("Plain".to_owned(), plain).await.unwrap();
    let based = house.daemon.desk.add_recipe("Based".to_owned(), text).await.unwrap();
    let cookie = house.show(house.gate.access.code()).await.cookie;
    let paired = [("cookie", cookie.split(';').next().unwrap()), BROWSER];
    for page in ["sheet", "start"] {
        let get = |file: &str| format!("/recipes/{file}/{page}");
        let of_base = house.ask("GET", &get(based.as_str()), &paired, "").await;
        let words = "no batch `1999-01-01-a` is in the ledger";
        assert!(of_base.status == 200 && of_base.body.contains(words), "{}", of_base.body);
        let of_none = house.ask("GET", &get(plain.as_str()), &paired, "").await;
        assert!(of_none.status == 200 && !of_none.body.contains("ledger:"), "{}", of_none.body);
        if page == "start" {
            let starts = |answer: &Answer| answer.body.contains(">Start this batch</button>");
            assert!(!starts(&of_base) && starts(&of_none));
        }
    }
    house.daemon.stop().await.unwrap();
}
