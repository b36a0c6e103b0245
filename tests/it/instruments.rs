//! `ports`, `listen` and `identify`, by the real binary on real pseudo-terminals.

use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use panroom::bench_file::BenchFile;
use panroom::demo::SimPort;
use panroom::problem::Source;

const PATIENCE: Duration = Duration::from_secs(60);

fn start(words: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_panroom"))
        .args(words)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// An instrument on a pseudo-terminal, for as long as the command runs. It is given what it was
/// asked since the last time, and says what it says.
fn against(port: &SimPort, words: &[&str], says: impl FnMut(&[u8]) -> Vec<u8>) -> Output {
    until_it_ends(port, start(words), says)
}

pub fn until_it_ends(
    port: &SimPort,
    child: Child,
    mut says: impl FnMut(&[u8]) -> Vec<u8>,
) -> Output {
    const EVERY: Duration = Duration::from_millis(100);
    let (sender, ended) = std::sync::mpsc::channel();
    std::thread::spawn(move || sender.send(child.wait_with_output().unwrap()));
    let began = Instant::now();
    loop {
        assert!(began.elapsed() < PATIENCE, "the command does not end");
        // the pace of the instrument, cut short by the end of the command
        if let Ok(output) = ended.recv_timeout(EVERY) {
            return output;
        }
        let asked = port.read().unwrap();
        port.write(&says(&asked)).unwrap();
    }
}

fn plugged(folder: &Path) -> SimPort {
    let mut port = SimPort::new(folder.join("port"));
    port.plug().unwrap();
    port
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[test]
fn a_stream_is_identified_without_a_word_and_its_lines_make_a_bench() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let path = port.link().to_str().unwrap();
    let mut asked = Vec::new();
    let output = against(&port, &["identify", path], |bytes| {
        asked.extend_from_slice(bytes);
        b"ST,+00018.75 oz\r\n".to_vec()
    });
    let text = out(&output);
    assert!(output.status.success(), "{text}");
    assert_eq!(asked, b"", "it speaks to what speaks by itself");
    assert!(text.contains("It speaks like `comma-status-line`"), "{text}");
    assert!(text.contains("0 refused, 100 % of the bytes explained"), "{text}");
    assert!(text.contains("reads 18.75 oz stable"), "{text}");
    let lines = text.split("For the bench file:\n").nth(1).unwrap();
    let lines = lines.replace("capacity = \"\"", "capacity = \"6 lb\"");
    let bench = format!("name = \"a bench\"\n{lines}");
    let bench = BenchFile::read(Source { file: "bench.toml", text: &bench }).unwrap();
    assert_eq!(bench.instruments[0].port, path);
    assert_eq!(bench.instruments[0].sheet, "comma-status-line");
}

#[test]
fn what_is_silent_is_asked_and_only_if_it_may_be() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let path = port.link().to_str().unwrap();
    let answers = |bytes: &[u8]| {
        let asked = bytes.windows(3).any(|question| question == b"W\r\n");
        if asked { b"W S     523.40 g\r\n".to_vec() } else { Vec::new() }
    };
    let text = out(&against(&port, &["identify", path], answers));
    assert!(text.contains("It speaks like `letter-answer`"), "{text}");
    assert!(text.contains("reads 523.40 g stable"), "{text}");
    let mut asked = Vec::new();
    let output = against(&port, &["identify", "--listen-only", path], |bytes| {
        asked.extend_from_slice(bytes);
        Vec::new()
    });
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(asked, b"");
    assert!(out(&output).contains("Nothing came. Nothing was asked."), "{}", out(&output));
}

#[test]
fn what_nobody_knows_is_shown_as_it_came() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let path = port.link().to_str().unwrap();
    let began = Instant::now();
    let output = against(&port, &["identify", "--for", "8 s", path], |_| {
        b"GROSS: 0100.5 gr stable\r\n".to_vec()
    });
    assert!(began.elapsed() < Duration::from_secs(20), "its time is bounded");
    let text = out(&output);
    assert_eq!(output.status.code(), Some(1));
    assert!(text.contains("No wire sheet fits. What came at 9600 baud"), "{text}");
    assert!(text.contains("100 % of it is text, in lines that end with `\\r\\n`"), "{text}");
    assert!(text.contains("`GROSS: 0100.5 gr stable`"), "{text}");
    let sheet = text.split("my-instrument.toml`:\n").nth(1).unwrap();
    let path = folder.path().join("my-instrument.toml");
    std::fs::write(&path, sheet).unwrap();
    let words = ["sheet", "check", path.to_str().unwrap()];
    let checked = start(&words).wait_with_output().unwrap();
    assert!(checked.status.success(), "{sheet}\n{}", out(&checked));
}

#[test]
fn listening_shows_bytes_frames_and_readings() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let path = port.link().to_str().unwrap();
    let says = |_: &[u8]| b"US,+00124.1   g\r\n".to_vec();
    let words = ["listen", path, "--sheet", "comma-status-line", "--for", "2 s"];
    let text = out(&against(&port, &words, says));
    assert!(text.starts_with("open: 9600 baud, 8 bits, no parity, 1 stop bit"), "{text}");
    assert!(text.contains("55 53 2C 2B 30 30 31 32 34 2E 31 20 20 20 67 0D  US,+00124.1   g·"));
    assert!(text.contains("frame `US,+00124.1   g`\n"), "{text}");
    assert!(text.contains("reads 124.1 g in motion\n"), "{text}");
    let words = ["listen", path, "--baud", "4800", "--parity", "even", "--for", "1 s"];
    let text = out(&against(&port, &words, says));
    assert!(text.starts_with("open: 4800 baud, 8 bits, even parity, 1 stop bit"), "{text}");
    assert!(!text.contains("reads"), "{text}");
    assert!(text.contains("100 % of it is text, in lines that end with `\\r\\n`"), "{text}");
}

/// The objects of one command, in their order.
fn objects(output: &Output) -> Vec<serde_json::Value> {
    out(output).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn of<'a>(objects: &'a [serde_json::Value], event: &str) -> Vec<&'a serde_json::Value> {
    objects.iter().filter(|object| object["event"] == event).collect()
}

#[test]
fn programs_hear_one_object_a_line() {
    let folder = tempfile::tempdir().unwrap();
    let port = plugged(folder.path());
    let path = port.link().to_str().unwrap();
    let says = |_: &[u8]| b"US,+00018.75 oz\r\n".to_vec();
    let words = ["listen", path, "--sheet", "comma-status-line", "--for", "2 s", "--json"];
    let heard = objects(&against(&port, &words, says));
    assert_eq!(heard[0]["event"], "open");
    assert_eq!((&heard[0]["baud"], &heard[0]["parity"]), (&9600.into(), &"none".into()));
    let bytes = of(&heard, "bytes");
    assert_eq!(bytes[0]["at_s"], 0.0);
    assert!(bytes.last().unwrap()["at_s"].as_f64().unwrap() > 0.5);
    assert!(bytes[0]["hex"].as_str().unwrap().starts_with("55532C2B30303031"));
    assert_eq!(of(&heard, "frame")[0]["hex"], "55532C2B30303031382E3735206F7A");
    let reading = of(&heard, "reading")[0];
    // 18.75 oz of 28.349523125 g (international pound, 1959)
    assert!((reading["mass_g"].as_f64().unwrap() - 531.553_558_593_75).abs() < 1e-6, "{reading}");
    assert_eq!(reading["status"], "in-motion");
    assert_eq!(reading["shown"], "18.75 oz in motion");
    let counted = heard.last().unwrap();
    assert_eq!(counted["event"], "counted");
    assert_eq!(counted["readings"], of(&heard, "reading").len());

    let found = objects(&against(&port, &["identify", path, "--json"], says));
    assert!(found.iter().all(|object| object["event"].is_string()));
    assert_eq!(of(&found, "heard")[0]["asked_as"], serde_json::Value::Null);
    let best = of(&found, "fit")[0];
    assert_eq!((&best["place"], &best["sheet"]), (&1.into(), &"comma-status-line".into()));
    assert_eq!(best["frames_refused"], 0);
    assert!(of(&found, "bench")[0]["toml"].as_str().unwrap().contains("[[instrument]]"));

    let words = ["identify", path, "--for", "2 s", "--listen-only", "--json"];
    let silent = objects(&against(&port, &words, |_| Vec::new()));
    assert_eq!(silent.last().unwrap()["event"], "nothing-came");
}

struct Serving(Child);

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn watch_shows_what_each_port_has_counted_and_what_ails_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let [scale, probe] = ["scale-port", "probe-port"].map(|name| {
        let mut port = SimPort::new(at(name));
        port.plug().unwrap();
        port
    });
    let bench = format!(
        "name = \"a bench\"\n\
         [[instrument]]\nname = \"scale\"\nport = \"{}\"\nsheet = \"comma-status-line\"\n\
         [[instrument.channel]]\nname = \"scale\"\nrole = \"scale\"\nd = \"0.1 g\"\n\
         capacity = \"6 kg\"\n\
         [[instrument]]\nname = \"thermometer\"\nport = \"{}\"\nsheet = \"comma-probes\"\n\
         [[instrument.channel]]\nname = \"pot\"\nrole = \"pot\"\nsource = \"T1\"\n",
        scale.link().display(),
        probe.link().display()
    );
    std::fs::write(at("bench.toml"), bench).unwrap();
    let (data, file) = (at("data"), at("bench.toml"));
    let (data, file) = (data.to_str().unwrap(), file.to_str().unwrap());
    let _serving = Serving(start(&["--data", data, "serve", "--bench", file]));
    let began = Instant::now();
    loop {
        assert!(began.elapsed() < PATIENCE, "the counters do not come");
        scale.write(b"ST,+00123.4   g\r\n").unwrap();
        probe.write(b"T=41.7 T=23.1\r\n").unwrap();
        let output = start(&["--data", data, "watch", "--json"]).wait_with_output().unwrap();
        let Ok(view) = serde_json::from_slice::<panroom::bench::View>(&output.stdout) else {
            continue;
        };
        let [scale, thermometer] = view.instruments.as_slice() else { panic!("{view:?}") };
        assert_eq!((scale.instrument.as_str(), &scale.trouble), ("scale", &None));
        if scale.readings < 5 || thermometer.trouble.is_none() {
            continue;
        }
        assert!(scale.open && thermometer.open);
        assert_eq!((thermometer.readings, scale.refused), (0, 0));
        assert!(thermometer.refused >= 20);
        let shown = out(&start(&["--data", data, "watch", "--once"]).wait_with_output().unwrap());
        assert!(shown.contains("readings   thermometer: 0 readings"), "{shown}");
        assert!(shown.contains("! thermometer: bytes come, but nothing in them can be read"));
        return;
    }
}

#[test]
fn a_port_that_is_not_there_is_named() {
    let output = start(&["identify", "/dev/no-such-port"]).wait_with_output().unwrap();
    let words = String::from_utf8(output.stderr).unwrap();
    assert_eq!(words, "panroom: /dev/no-such-port is not there; plug it in\n");
    let output = start(&["ports", "/dev/null"]).wait_with_output().unwrap();
    let words = String::from_utf8(output.stderr).unwrap();
    assert_eq!(words, "panroom: /dev/null is no serial port and no USB weighing device\n");
}

#[test]
fn ports_are_listed_for_programs_too() {
    let output = start(&["ports", "--json"]).wait_with_output().unwrap();
    assert!(output.status.success());
    let ports: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(ports.is_array());
}

/// By the system's own tool, where it is new enough to have one (udevadm verify, systemd 254).
#[test]
fn the_system_takes_the_rules() {
    let shipped = include_str!("../../udev/70-panroom.rules");
    let rules: String = shipped
        .lines()
        .filter_map(|line| line.strip_prefix("# "))
        .filter(|line| line.starts_with("SUBSYSTEM") || line.starts_with("ACTION"))
        .map(|line| format!("{line}\n"))
        .collect();
    assert_eq!(rules.lines().count(), 4);
    let mut file = tempfile::Builder::new().suffix(".rules").tempfile().unwrap();
    file.write_all(rules.as_bytes()).unwrap();
    let Ok(output) = Command::new("udevadm").arg("verify").arg(file.path()).output() else {
        return;
    };
    let words = String::from_utf8_lossy(&output.stderr).into_owned();
    let too_old = words.contains("Unknown command verb");
    assert!(too_old || output.status.success(), "{words}");
}
