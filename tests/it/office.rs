//! Away from the pan, with the real daemon: a bench set up from nothing, recipes kept in files, a
//! batch started from one.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use panroom::bench::{Act, BatchId, Fact, Outcome, View};
use panroom::bench_file::BenchFile;
use panroom::clock::Clock;
use panroom::daemon::{self, Applied, Daemon, FileName, Folder, RecipeStart, SaveError};
use panroom::demo::SimPort;
use panroom::journal::Reader;
use panroom::plan::StepKind;
use panroom::quantity::Mass;
use panroom::reading::Value;
use panroom::wire::SheetLibrary;

use crate::e2e::succeed;

/// Reached only when something hangs.
const PATIENCE: Duration = Duration::from_secs(60);

/// A scale on a pseudo-terminal that says what the test puts on it, ten times a second.
pub struct Scale {
    tenths: Arc<AtomicI64>,
    stop: Sender<()>,
    feeder: Option<JoinHandle<()>>,
}

impl Scale {
    pub fn plugged_in(link: &Path) -> Scale {
        let mut port = SimPort::new(link.to_owned());
        port.plug().unwrap();
        let tenths = Arc::new(AtomicI64::new(0));
        let (stop, stopped) = channel();
        let load = Arc::clone(&tenths);
        let feeder = std::thread::spawn(move || {
            while stopped.recv_timeout(Duration::from_millis(100)) == Err(RecvTimeoutError::Timeout)
            {
                let now = load.load(Ordering::Relaxed);
                let line = format!("ST,+{:06}.{}  g\r\n", now / 10, now % 10);
                port.write(line.as_bytes()).unwrap();
            }
        });
        Scale { tenths, stop, feeder: Some(feeder) }
    }

    pub fn put(&self, grams: f64) {
        self.tenths.store((grams * 10.0).round() as i64, Ordering::Relaxed);
    }
}

impl Drop for Scale {
    fn drop(&mut self) {
        let _ = self.stop.send(());
        let _ = self.feeder.take().map(JoinHandle::join);
    }
}

async fn serve(folder: &Path) -> Daemon {
    let path = folder.join("bench.toml");
    let bench_file = BenchFile::empty("bench.toml");
    let options = daemon::Options {
        folder: Folder::new(folder),
        bench_file,
        bench_path: Some(path),
        sheets: SheetLibrary::built_in().unwrap(),
        clock: Clock::new(),
        page: None,
    };
    daemon::start(options).await.unwrap()
}

async fn wait(daemon: &Daemon, what: &str, so: impl Fn(&View) -> bool) -> Arc<View> {
    let mut views = daemon.desk.views();
    let seen = tokio::time::timeout(PATIENCE, views.wait_for(|view| so(view))).await;
    let seen = seen.unwrap_or_else(|_| panic!("{what} does not come; {:#?}", daemon.desk.view()));
    Arc::clone(&seen.expect("the daemon runs"))
}

pub fn bench_text(folder: &Path) -> String {
    format!(
        "masses = \"g\"\n\n[[instrument]]\nname = \"scale\"\nport = \"{}/scale\"\n\
         sheet = \"comma-status-line\"\n\n[[instrument.channel]]\nname = \"scale\"\n\
         role = \"scale\"\nd = \"0.1 g\"\ncapacity = \"3 kg\"\nunit = \"g\"\n",
        folder.display()
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_bench_is_set_up_from_nothing_and_read_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let scale = Scale::plugged_in(&folder.path().join("scale"));
    scale.put(812.4);
    let daemon = serve(folder.path()).await;
    assert!(daemon.desk.view().channels.is_empty());
    assert!(daemon.desk.apply_bench().await.is_err(), "nothing is saved yet");
    let text = bench_text(folder.path());
    daemon.desk.save_bench(text.clone(), None).await.unwrap();
    assert!(matches!(daemon.desk.save_bench(text, None).await, Err(SaveError::Exists(_))));
    assert_eq!(daemon.desk.apply_bench().await.unwrap(), Applied::Yes);
    let view = wait(&daemon, "a reading at rest", |view| {
        view.channels.iter().any(|channel| channel.stable && channel.value.is_some())
    })
    .await;
    let load = Mass::parse("812.4 g").unwrap();
    assert!(matches!(view.channels[0].value, Some(Value::Mass { mass, .. }) if mass == load));
    assert!(view.instruments[0].readings > 0);
    daemon.stop().await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_new_bench_file_waits_for_the_open_batch() {
    let folder = tempfile::tempdir().unwrap();
    let scale = Scale::plugged_in(&folder.path().join("scale"));
    let daemon = serve(folder.path()).await;
    let desk = &daemon.desk;
    desk.save_bench(bench_text(folder.path()), None).await.unwrap();
    desk.apply_bench().await.unwrap();
    let text = panroom::recipe::EXAMPLE.replace("pot = \"big pot\"", "");
    let file = desk.add_recipe("Harbour Bar".to_owned(), text).await.unwrap();
    let lots = [("olive oil", "OL-23"), ("naoh", " N-5 ")];
    let lots = lots.map(|(id, lot)| (id.to_owned(), lot.to_owned()));
    let start = |in_pot: &str| RecipeStart {
        operator: Some("  ".to_owned()),
        lots: BTreeMap::from(lots.clone()),
        in_pot: BTreeMap::from([("coconut oil".to_owned(), in_pot.to_owned())]),
        ..RecipeStart::default()
    };
    let refused = desk.start_recipe(&file, start("2 g")).await.unwrap_err();
    assert!(refused.contains("less than half or more than twice"), "{refused}");
    assert!(desk.view().batches.is_empty(), "nothing is started that way");
    let start = start("200 g ± 5 g");
    let batch = desk.start_recipe(&file, start).await.unwrap();
    assert_eq!(desk.apply_bench().await.unwrap(), Applied::Waits(batch.clone()));
    assert_eq!(desk.view().batches[0].batch, batch);
    let (operator, lots) = started(folder.path(), &batch);
    assert_eq!(operator, None, "blank is not recorded");
    assert_eq!(lots["olive"], Some("OL-23".to_owned()));
    assert_eq!(lots["naoh"], Some("N-5".to_owned()));
    assert_eq!(lots["coconut"], Some("CO-0917".to_owned()), "as the recipe has it");
    let facts = Reader::open(&folder.path().join("journal.db")).unwrap().facts(&batch).unwrap();
    let said = facts.into_iter().find_map(|row| match row.numbered.fact {
        Fact::InPot { ingredient, mass, doubt, .. } => Some((ingredient.0, mass, doubt)),
        _ => None,
    });
    let g = |text: &str| Mass::parse(text).unwrap();
    assert_eq!(said, Some(("coconut".to_owned(), g("200 g"), Some(g("5 g")))));
    let gone = FileName::new("gone").unwrap();
    let refused = desk.start_recipe(&gone, RecipeStart::default()).await.unwrap_err();
    assert_eq!(refused, "no recipe is called `gone`");
    let act = Act::Abandon { batch: batch.clone(), reason: "a test".to_owned() };
    desk.act(act).await.unwrap();
    let ended = wait(&daemon, "the end of the batch", |view| view.batches.is_empty());
    ended.await;
    assert_eq!(desk.apply_bench().await.unwrap(), Applied::Yes);
    let row = &desk.ledger().await.unwrap()[0];
    assert_eq!((&row.batch, row.outcome), (&batch, Some(Outcome::Abandoned)));
    daemon.stop().await.unwrap();
    drop(scale);
}

/// Soap of one batch as an ingredient of the next: found again by the number of the first.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lot_of_base_is_an_ingredient_of_the_next_batch() {
    let folder = tempfile::tempdir().unwrap();
    let scale = Scale::plugged_in(&folder.path().join("scale"));
    let daemon = serve(folder.path()).await;
    let desk = &daemon.desk;
    desk.save_bench(bench_text(folder.path()), None).await.unwrap();
    desk.apply_bench().await.unwrap();
    let plain = panroom::recipe::EXAMPLE.replace("pot = \"big pot\"", "");
    let file = desk.add_recipe("Harbour Bar".to_owned(), plain.clone()).await.unwrap();
    let first = desk.start_recipe(&file, RecipeStart::default()).await.unwrap();
    let with_base = |name: &str, base: &BatchId| {
        let text = format!(
            "{plain}\n[[addition]]\nname = \"paste\"\namount = \"50 g\"\nwhen = \"before cook\"\n\
             base = \"{base}\"\n"
        );
        desk.add_recipe(name.to_owned(), text)
    };
    let nobody = BatchId("1999-01-01-a".to_owned());
    let unknown = with_base("Unknown", &nobody).await.unwrap();
    let second = with_base("Second", &first).await.unwrap();
    let refused = |why: &str, words: String| assert!(words.contains(why), "{words}");
    let start = RecipeStart::default;
    refused("in the ledger", desk.start_recipe(&unknown, start()).await.unwrap_err());
    refused("still open", desk.start_recipe(&second, start()).await.unwrap_err());
    let outcome = Outcome::Failed;
    let close = Act::Close { batch: first.clone(), outcome, note: "to be boiled again".to_owned() };
    desk.act(close).await.unwrap();
    wait(&daemon, "the end of the first", |view| view.batches.is_empty()).await;
    let batch = desk.start_recipe(&second, start()).await.unwrap();
    let rows = desk.ledger().await.unwrap();
    let found = panroom::review::found(&rows, &first.0, &|_| String::new());
    assert!(found.iter().any(|row| row.batch == batch), "{rows:?}");
    let (_, lots) = started(folder.path(), &batch);
    assert_eq!(lots["paste"], Some(first.0.clone()));
    let facts = Reader::open(&folder.path().join("journal.db")).unwrap().facts(&batch).unwrap();
    let control = facts.into_iter().find_map(|row| match row.numbered.fact {
        Fact::BatchStarted { control, .. } => Some(control),
        _ => None,
    });
    let control = control.unwrap();
    assert_eq!((&control.bases[0].batch, control.bases[0].superfat), (&first.0, None));
    let warned = |words: &str| control.findings.iter().any(|found| found.words.contains(words));
    assert!(warned("taken as saponified"));
    let paste = control.steps.iter().find(|step| step.key == "weigh-paste").unwrap();
    let told = |words: &str| paste.hazards.iter().any(|hazard| hazard.contains(words));
    assert!(told("nobody knows the superfat"), "{:?}", paste.hazards);
    assert!(told("closed as failed") && !told("over its guard"), "{:?}", paste.hazards);
    let act = Act::Abandon { batch: batch.clone(), reason: "a test".to_owned() };
    desk.act(act).await.unwrap();
    let third = with_base("Third", &batch).await.unwrap();
    refused("given up", desk.start_recipe(&third, start()).await.unwrap_err());
    daemon.stop().await.unwrap();
    drop(scale);
    // the printed plan says the same of each, and where there is no journal that nobody asked
    let elsewhere = tempfile::tempdir().unwrap();
    for (data, file, words) in [
        (folder.path(), &unknown, "UNFIT: paste: no batch `1999-01-01-a` is in the ledger"),
        (folder.path(), &second, "closed as failed"),
        (folder.path(), &third, "was given up; it is no base"),
        (elsewhere.path(), &third, "is not checked against the ledger: there is no journal in"),
    ] {
        let recipe = folder.path().join("recipes").join(format!("{}.toml", file.as_str()));
        let plan = succeed(data, &["plan", recipe.to_str().unwrap()]);
        let flat = plan.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(words), "{words}: {plan}");
    }
}

/// Operator and lots as the journal has them.
fn started(folder: &Path, batch: &BatchId) -> (Option<String>, BTreeMap<String, Option<String>>) {
    let reader = Reader::open(&folder.join("journal.db")).unwrap();
    let facts = reader.facts(batch).unwrap();
    let started = facts.into_iter().find_map(|row| match row.numbered.fact {
        Fact::BatchStarted { operator, control, .. } => Some((operator, control)),
        _ => None,
    });
    let (operator, control) = started.unwrap();
    let weigh = control.steps.iter().filter_map(|step| match &step.kind {
        StepKind::Weigh(weigh) => Some((weigh.ingredient.0.clone(), weigh.lot.clone())),
        _ => None,
    });
    (operator, weigh.collect())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sheet_nobody_knows_takes_nothing_down() {
    let folder = tempfile::tempdir().unwrap();
    let daemon = serve(folder.path()).await;
    let text = bench_text(folder.path()).replace("comma-status-line", "comma-statu-line");
    daemon.desk.save_bench(text, None).await.unwrap();
    let refused = format!("{:#}", daemon.desk.apply_bench().await.unwrap_err());
    assert!(refused.contains("comma-status-line"), "{refused}");
    // the bench still thinks
    let act = Act::Silence;
    daemon.desk.act(act).await.unwrap();
    daemon.stop().await.unwrap();
}
