use std::sync::Arc;
use std::time::Duration;

use tokio::sync::{broadcast, watch};

use super::bench_loop::Handle;
use super::evidence::review_of;
use super::folder::Folder;
use super::hearing::Hearing;
use crate::bench::{Act, BatchId, Cue, Reply, View};
use crate::bench_file::BenchFile;
use crate::chemistry::FatTable;
use crate::clock::Clock;
use crate::journal::{BatchRow, Reader};
use crate::plan;
use crate::problem::Source;
use crate::recipe::Recipe;
use crate::review::Review;
use crate::web::StartRequest;

/// A disk that takes longer than this is said to be slow, not waited for.
const RECORDED_WITHIN: Duration = Duration::from_secs(1);

/// What a screen may ask of the daemon.
pub struct Desk {
    folder: Folder,
    bench_file: BenchFile,
    handle: Handle,
    clock: Clock,
    /// Two batches started at once must not get one number.
    starting: tokio::sync::Mutex<()>,
    /// Which screens can be heard.
    pub hearing: Arc<Hearing>,
}

impl Desk {
    pub(super) fn new(folder: Folder, bench_file: BenchFile, handle: Handle, clock: Clock) -> Desk {
        let starting = tokio::sync::Mutex::new(());
        let hearing = Arc::new(Hearing::new(handle.clone(), clock.clone()));
        Desk { folder, bench_file, handle, clock, starting, hearing }
    }

    /// The newest whole view.
    pub fn view(&self) -> Arc<View> {
        Arc::clone(&self.handle.views.borrow())
    }

    pub fn views(&self) -> watch::Receiver<Arc<View>> {
        self.handle.views.clone()
    }

    pub fn cues(&self) -> broadcast::Receiver<Cue> {
        self.handle.cues.subscribe()
    }

    /// Has the act done. The answer comes once it is on the disk, or after a second without: then
    /// the view says that nothing is being recorded.
    pub async fn act(&self, act: Act) -> Result<Reply, &'static str> {
        let answer = self.handle.act(act).await?;
        let mut views = self.handle.views.clone();
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
        let options = plan::Options::default();
        let plan = plan::plan(&recipe, fats, Some(&self.bench_file), &options)
            .map_err(|problems| problems.to_string())?;
        let _one_at_a_time = self.starting.lock().await;
        let batch = self.next_number().await.map_err(|error| format!("{error:#}"))?;
        let act = Act::Start {
            batch: batch.clone(),
            control: Arc::new(plan.control),
            operator: request.operator.filter(|name| !name.trim().is_empty()),
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

    /// Today's date and the next free letter: "2026-11-25-a".
    async fn next_number(&self) -> anyhow::Result<BatchId> {
        let today = self.clock.today();
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
        let path = self.folder.journal();
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
