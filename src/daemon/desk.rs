use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use tokio::sync::{Mutex, broadcast, watch};

use super::evidence::{self, charted, review_of};
use super::hearing::Hearing;
use super::shelf::Shelf;
use super::works::{Ground, Now, Works};
use crate::bench::{Act, BatchId, Cue, Reply, View};
use crate::chemistry::FatTable;
use crate::journal::{BatchRow, Reader};
use crate::plan;
use crate::problem::Source;
use crate::recipe::Recipe;
use crate::review::{Charts, Review};
use crate::web::StartRequest;

/// A disk that takes longer than this is said to be slow, not waited for.
const RECORDED_WITHIN: Duration = Duration::from_secs(1);

/// What a screen may ask of the daemon.
pub struct Desk {
    pub(super) ground: Ground,
    pub(super) bench_path: Option<PathBuf>,
    pub(super) shelf: Shelf,
    now: RwLock<Arc<Now>>,
    /// Held while works are exchanged and while a batch is started, so that the two never meet.
    pub(super) works: Mutex<Option<Works>>,
    /// Held while a port is listened to, to find out how it speaks.
    pub(super) listening: Mutex<()>,
}

impl Desk {
    pub(super) fn new(ground: Ground, bench_path: Option<PathBuf>, works: Works, now: Now) -> Desk {
        let shelf = Shelf::new(ground.folder.recipes());
        let (now, works) = (RwLock::new(Arc::new(now)), Mutex::new(Some(works)));
        Desk { ground, bench_path, shelf, now, works, listening: Mutex::default() }
    }

    pub(super) fn now(&self) -> Arc<Now> {
        // nothing that can panic happens under this lock
        Arc::clone(&self.now.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Which screens can be heard.
    pub fn hearing(&self) -> Arc<Hearing> {
        Arc::clone(&self.now().hearing)
    }

    pub(super) fn set_now(&self, now: Now) {
        *self.now.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(now);
    }

    pub(super) async fn take_down(&self) -> anyhow::Result<()> {
        match self.works.lock().await.take() {
            Some(works) => works.take_down().await,
            None => Ok(()),
        }
    }

    /// The newest whole view.
    pub fn view(&self) -> Arc<View> {
        Arc::clone(&self.now().handle.views.borrow())
    }

    pub fn views(&self) -> watch::Receiver<Arc<View>> {
        self.now().handle.views.clone()
    }

    pub fn cues(&self) -> broadcast::Receiver<Cue> {
        self.now().handle.cues.subscribe()
    }

    /// Has the act done. The answer comes once it is on the disk, or after a second without: then
    /// the view says that nothing is being recorded.
    pub async fn act(&self, act: Act) -> Result<Reply, &'static str> {
        let now = self.now();
        let answer = now.handle.act(act).await?;
        let mut views = now.handle.views.clone();
        let recorded = views.wait_for(|view| view.journal.committed >= answer.up_to);
        let _ = tokio::time::timeout(RECORDED_WITHIN, recorded).await;
        Ok(answer.reply)
    }

    /// Plans the recipe for this bench and starts a batch of it.
    pub async fn start(&self, request: StartRequest) -> Result<BatchId, String> {
        let source = Source { file: &request.file, text: &request.text };
        let fats = FatTable::built_in();
        let recipe = Recipe::read(source, fats).map_err(|problems| problems.to_string())?;
        let recipe = request.altered.apply(&recipe, fats).map_err(|error| error.to_string())?;
        let recipe = recipe.with_lots(&request.lots).map_err(|error| error.to_string())?;
        let in_pot = recipe.in_pot(&request.in_pot)?;
        // no other bench file comes between the plan and its start, and two batches started at
        // once do not get one number
        let _works = self.works.lock().await;
        let ledger = self.ledger_for(&recipe).await;
        if let plan::Ledger::NotAsked { why } = &ledger {
            return Err(format!("the ledger cannot be asked about the soap that goes in: {why}"));
        }
        let options = plan::Options { ledger, ..plan::Options::default() };
        let plan = plan::plan(&recipe, fats, Some(&self.now().bench_file), &options)
            .map_err(|problems| problems.to_string())?;
        let batch = self.next_number().await.map_err(|error| format!("{error:#}"))?;
        let act = Act::Start {
            batch: batch.clone(),
            control: Arc::new(plan.control),
            operator: request.operator.filter(|name| !name.trim().is_empty()),
            in_pot,
        };
        match self.act(act).await? {
            Reply::Done | Reply::AlreadyDone => Ok(batch),
            Reply::Refused { words, .. } => Err(words),
        }
    }

    pub async fn ledger(&self) -> anyhow::Result<Vec<BatchRow>> {
        self.read(|journal| Ok(journal.batches()?)).await
    }

    pub async fn review(&self, batch: &BatchId) -> anyhow::Result<Option<Review>> {
        let batch = batch.clone();
        self.read(move |journal| review_of(journal, &batch)).await
    }

    /// The same with its charts.
    pub async fn charted(&self, batch: &BatchId) -> anyhow::Result<Option<(Review, Charts)>> {
        let batch = batch.clone();
        self.read(move |journal| charted(journal, &batch)).await
    }

    /// What the ledger says of the batches whose soap goes into this recipe.
    pub async fn ledger_for(&self, recipe: &Recipe) -> plan::Ledger {
        let (path, recipe) = (self.ground.folder.journal(), recipe.clone());
        let asked = tokio::task::spawn_blocking(move || evidence::ledger(&path, &recipe)).await;
        asked.unwrap_or_else(|error| plan::Ledger::NotAsked { why: error.to_string() })
    }

    /// Today's date and the next free letter: "2026-11-25-a".
    async fn next_number(&self) -> anyhow::Result<BatchId> {
        let today = self.ground.clock.today();
        // a batch that the disk has not taken yet has its number all the same
        let open: Vec<BatchId> =
            self.view().batches.iter().map(|batch| batch.batch.clone()).collect();
        self.read(move |journal| {
            let known = journal.batches()?.into_iter().map(|row| row.batch);
            Ok(next_number(&today, &known.chain(open).collect::<Vec<_>>()))
        })
        .await
    }

    async fn read<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Reader) -> anyhow::Result<T> + Send + 'static,
    ) -> anyhow::Result<T> {
        let path = self.ground.folder.journal();
        tokio::task::spawn_blocking(move || work(&Reader::open(&path)?)).await?
    }
}

/// The first letter free on that day; after z come aa, ab and so on.
fn next_number(today: &str, known: &[BatchId]) -> BatchId {
    let taken = |number: &str| known.iter().any(|batch| batch.0 == number);
    let mut count = 0_usize;
    loop {
        let number = format!("{today}-{}", letters(count));
        if !taken(&number) {
            return BatchId(number);
        }
        count += 1;
    }
}

fn letters(count: usize) -> String {
    let last = char::from(b'a' + (count % 26) as u8);
    match count / 26 {
        0 => last.to_string(),
        more => format!("{}{last}", letters(more - 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_run_on_after_z() {
        assert_eq!(letters(0), "a");
        assert_eq!(letters(25), "z");
        assert_eq!(letters(26), "aa");
        assert_eq!(letters(26 * 27), "aaa");
    }
}
