//! What is done away from the pan: recipes, the bench file, batches that are over.

use std::collections::BTreeMap;
use std::path::PathBuf;

use anyhow::{Context, bail};

use super::desk::Desk;
use super::files::{self, Expected, Kept, SaveError};
use super::shelf::{FileName, Shelved};
use super::works::{Works, sheets_suffice};
use crate::bench::BatchId;
use crate::bench_file::BenchFile;
use crate::plan::Alterations;
use crate::problem::Source;
use crate::web::StartRequest;
use crate::wire::SheetLibrary;

/// The bench file as it lies on the disk, which may be another than the one in use.
#[derive(Clone, Debug)]
pub struct BenchOnDisk {
    pub path: PathBuf,
    /// `None` where none has been saved yet.
    pub kept: Option<Kept>,
}

/// What became of a bench file that was to be applied.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Applied {
    /// It is in use.
    Yes,
    /// It waits for this batch to be closed.
    Waits(BatchId),
}

/// A recipe of the shelf, to be started.
#[derive(Clone, Debug, Default)]
pub struct RecipeStart {
    pub operator: Option<String>,
    pub altered: Alterations,
    pub lots: BTreeMap<String, String>,
    /// Oils that are in the pot already.
    pub in_pot: BTreeMap<String, String>,
}

impl Desk {
    pub async fn recipes(&self) -> anyhow::Result<Vec<Shelved>> {
        let shelf = self.shelf.clone();
        let list = tokio::task::spawn_blocking(move || shelf.list()).await?;
        list.with_context(|| format!("{} cannot be read", self.shelf.folder().display()))
    }

    pub async fn recipe(&self, file: &FileName) -> anyhow::Result<Option<Shelved>> {
        let (shelf, file) = (self.shelf.clone(), file.clone());
        Ok(tokio::task::spawn_blocking(move || shelf.get(&file)).await??)
    }

    /// Saves over the file that was opened, known by its digest.
    pub async fn save_recipe(
        &self,
        file: &FileName,
        text: String,
        opened: String,
    ) -> Result<(), SaveError> {
        let (shelf, file) = (self.shelf.clone(), file.clone());
        on_the_side(move || shelf.save(&file, &text, &opened).map(|_| ())).await
    }

    /// Saves as a new file, named for the soap.
    pub async fn add_recipe(&self, soap: String, text: String) -> Result<FileName, SaveError> {
        let shelf = self.shelf.clone();
        on_the_side(move || shelf.add(&soap, &text)).await
    }

    /// Takes a recipe off the shelf; its file stays, in a folder beside.
    pub async fn put_away(&self, file: &FileName) -> Result<(), SaveError> {
        let (shelf, file) = (self.shelf.clone(), file.clone());
        on_the_side(move || shelf.put_away(&file)).await
    }

    /// Starts a batch of a recipe of the shelf, by the same act as any other start.
    pub async fn start_recipe(
        &self,
        file: &FileName,
        start: RecipeStart,
    ) -> Result<BatchId, String> {
        let shelved = self.recipe(file).await.map_err(|error| format!("{error:#}"))?;
        let shelved = shelved.ok_or_else(|| format!("no recipe is called `{}`", file.as_str()))?;
        let RecipeStart { operator, altered, lots, in_pot } = start;
        let file = format!("{}.toml", file.as_str());
        let text = shelved.kept.text;
        self.start(StartRequest { file, text, operator, altered, lots, in_pot }).await
    }

    /// The bench file in use.
    pub fn bench_file(&self) -> BenchFile {
        self.now().bench_file.clone()
    }

    pub fn sheets(&self) -> &SheetLibrary {
        &self.ground.sheets
    }

    /// `None` where this daemon keeps no bench file, as in the demonstration.
    pub async fn bench_on_disk(&self) -> anyhow::Result<Option<BenchOnDisk>> {
        let Some(path) = self.bench_path.clone() else { return Ok(None) };
        let shown = path.display().to_string();
        let read = move || files::read(&path).map(|kept| BenchOnDisk { path, kept });
        let read = tokio::task::spawn_blocking(read).await?;
        read.map(Some).with_context(|| format!("bench file {shown} cannot be read"))
    }

    /// Saves the bench file over the one that was opened, or as the first one.
    pub async fn save_bench(&self, text: String, opened: Option<String>) -> Result<(), SaveError> {
        let path = self.bench_path.clone().unwrap_or_else(|| self.ground.folder.bench_file());
        let expected = opened.map_or(Expected::Nothing, Expected::Digest);
        on_the_side(move || files::save(&path, &text, &expected).map(|_| ())).await
    }

    /// Takes the bench file on the disk into use: ports are closed and opened again, and a new
    /// session begins. Not while a batch is open: it was begun with the instruments it has.
    ///
    /// # Errors
    /// When the file is missing or refused, or names a wire sheet that is not known.
    pub async fn apply_bench(&self) -> anyhow::Result<Applied> {
        let mut works = self.works.lock().await;
        if let Some(batch) = self.view().batches.first() {
            return Ok(Applied::Waits(batch.batch.clone()));
        }
        let Some(BenchOnDisk { path, kept: Some(kept) }) = self.bench_on_disk().await? else {
            bail!("no bench file has been saved yet");
        };
        let source = Source { file: &path.display().to_string(), text: &kept.text };
        let bench_file = BenchFile::read(source)?;
        sheets_suffice(&bench_file, &self.ground.sheets)?;
        let Some(old) = works.take() else { bail!("the daemon is stopping") };
        if let Err(error) = old.take_down().await {
            tracing::error!("{error:#}");
        }
        match Works::put_up(&self.ground, bench_file) {
            Ok((new, now)) => {
                *works = Some(new);
                self.set_now(now);
                tracing::info!("bench file {} is in use", path.display());
                Ok(Applied::Yes)
            }
            Err(error) => {
                // better no process, which a supervisor starts again and every screen notices,
                // than one that looks alive and guards nothing
                tracing::error!("the bench cannot be put up again: {error:#}");
                std::process::abort()
            }
        }
    }
}

/// Does what waits for a disk where nothing else waits.
async fn on_the_side<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, SaveError> + Send + 'static,
) -> Result<T, SaveError> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(error) => Err(SaveError::Io {
            path: PathBuf::new(),
            source: std::io::Error::other(error.to_string()),
        }),
    }
}
