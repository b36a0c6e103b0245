use std::process::ExitCode;

use anyhow::{Context, bail};

use super::args;
use super::args::Place;
use crate::bench::{
    Act, Ask, BatchId, BatchView, ProbeAt, PromptId, PromptView, Reply, View, emergency_card,
};
use crate::chemistry::IngredientId;
use crate::quantity::Mass;
use crate::web::{Client, StartRequest, Started};

pub async fn start(at: Place, args: args::Start) -> anyhow::Result<ExitCode> {
    let text = std::fs::read_to_string(&args.recipe)
        .with_context(|| format!("recipe {} cannot be read", args.recipe.display()))?;
    let file = args.recipe.display().to_string();
    let altered = args.altered.into();
    let lots = args.lots.iter().map(|pair| lot(pair)).collect::<Result<_, _>>()?;
    let request = StartRequest { file, text, operator: args.operator, altered, lots };
    let started: Started = client(&at).post("/start", &request).await?;
    println!("batch {} is started; `panroom watch` shows it", started.batch);
    Ok(ExitCode::SUCCESS)
}

fn lot(pair: &str) -> anyhow::Result<(String, String)> {
    let (ingredient, lot) = pair.split_once('=').with_context(|| {
        format!("`{pair}`: expected an ingredient and its lot, like `olive oil = OL-23`")
    })?;
    Ok((ingredient.trim().to_owned(), lot.trim().to_owned()))
}

pub async fn confirm(at: Place, args: args::Confirm) -> anyhow::Result<ExitCode> {
    let prompt = question(&at, args.question, |_| true).await?;
    act(&at, Act::Confirm { prompt }).await
}

pub async fn choose(at: Place, args: args::Choose) -> anyhow::Result<ExitCode> {
    let has_a_choice = |prompt: &PromptView| {
        matches!(prompt.asks, Ask::Remedy { .. } | Ask::Under { .. } | Ask::TakeShort { .. })
    };
    let prompt = question(&at, args.question, has_a_choice).await?;
    act(&at, Act::Choose { prompt, remedy: args.remedy }).await
}

pub async fn remedy(at: Place, args: args::AskRemedy) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    let answer = act(&at, Act::AskRemedy { batch: batch.clone() }).await?;
    let view: View = client(&at).get("/view").await?;
    let asked = view.batches.into_iter().find(|open| open.batch == batch);
    if let Some(prompt) = asked.and_then(|batch| batch.prompt) {
        println!("{}", prompt.words);
    }
    Ok(answer)
}

pub async fn correct(at: Place, args: args::Correct) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    let mass = Mass::parse(&args.mass)?;
    let ingredient = IngredientId(args.ingredient);
    act(&at, Act::Correct { batch, ingredient, mass, reason: args.reason }).await
}

pub async fn declare(at: Place, args: args::Declare) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    let mass = Mass::parse(&args.mass)?;
    let ingredient = IngredientId(args.ingredient);
    act(&at, Act::Declare { batch, ingredient, mass }).await
}

pub async fn observe(at: Place, args: args::Observe) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    act(&at, Act::Observe { batch, observation: args.what.into(), note: args.note }).await
}

pub async fn acknowledge(at: Place, args: args::Acknowledge) -> anyhow::Result<ExitCode> {
    let view: View = client(&at).get("/view").await?;
    let named = |name: &str| args.alarm.as_deref().is_none_or(|wanted| wanted == name);
    let open: Vec<_> = view
        .alarms
        .into_iter()
        .filter(|alarm| !alarm.acknowledged && named(&alarm.alarm.to_string()))
        .collect();
    if open.is_empty() {
        match args.alarm {
            Some(name) => bail!("no alarm `{name}` waits to be acknowledged"),
            None => bail!("no alarm waits to be acknowledged"),
        }
    }
    for alarm in open {
        println!("{}", alarm.words);
        act(&at, Act::Acknowledge { alarm: alarm.alarm }).await?;
    }
    Ok(ExitCode::SUCCESS)
}

/// The card is shown whether or not a daemon can keep the time.
pub async fn emergency(at: Place) -> anyhow::Result<ExitCode> {
    let card = emergency_card();
    println!("{}\n", card.title);
    for line in card.lines {
        println!("- {line}");
    }
    println!();
    act(&at, Act::Emergency).await
}

pub async fn probe_out(at: Place, args: args::ProbeOut) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    act(&at, Act::ProbeOut { batch, at: ProbeAt::Pot }).await
}

pub async fn silence(at: Place) -> anyhow::Result<ExitCode> {
    act(&at, Act::Silence).await
}

pub async fn next(at: Place, args: args::Next) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?;
    act(&at, Act::Advance { batch: batch.batch, step: batch.step }).await
}

pub async fn abandon(at: Place, args: args::Abandon) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    act(&at, Act::Abandon { batch, reason: args.reason }).await
}

pub async fn close(at: Place, args: args::Close) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch).await?.batch;
    act(&at, Act::Close { batch, outcome: args.outcome.into(), note: args.note }).await
}

pub fn client(at: &Place) -> Client {
    Client::new(&at.folder.socket())
}

async fn act(at: &Place, act: Act) -> anyhow::Result<ExitCode> {
    match client(at).post("/act", &act).await? {
        Reply::Done => {
            let view: View = client(at).get("/view").await?;
            match view.journal.failed {
                None => println!("done"),
                Some(why) => println!("done, but not recorded: {why}; write it down"),
            }
        }
        Reply::AlreadyDone => println!("already done"),
        Reply::Refused { words, prompt: Some(prompt) } => {
            bail!("{words} (question {prompt} is open)")
        }
        Reply::Refused { words, prompt: None } => bail!("{words}"),
    }
    Ok(ExitCode::SUCCESS)
}

/// The batch named, or the only one there is.
async fn batch(at: &Place, named: Option<String>) -> anyhow::Result<BatchView> {
    let view: View = client(at).get("/view").await?;
    let wanted = named.map(BatchId);
    let mut open = view
        .batches
        .into_iter()
        .filter(|batch| wanted.as_ref().is_none_or(|wanted| &batch.batch == wanted));
    match (open.next(), open.next(), wanted) {
        (Some(batch), None, _) => Ok(batch),
        (Some(_), Some(_), _) => bail!("several batches are open; name one with --batch"),
        (None, _, Some(wanted)) => bail!("no open batch has the number {wanted}"),
        (None, _, None) => bail!("no batch is open; start one with `panroom start RECIPE`"),
    }
}

/// The question named, or the only one of its kind that is open.
async fn question(
    at: &Place,
    named: Option<u64>,
    fits: impl Fn(&PromptView) -> bool,
) -> anyhow::Result<PromptId> {
    if let Some(number) = named {
        return Ok(PromptId(number));
    }
    let view: View = client(at).get("/view").await?;
    let mut open =
        view.batches.iter().filter_map(|batch| batch.prompt.as_ref()).filter(|p| fits(p));
    match (open.next(), open.next()) {
        (Some(prompt), None) => Ok(prompt.prompt),
        (Some(_), Some(_)) => bail!("several questions are open; name one by its number"),
        (None, _) => bail!("nothing of that kind is asked now"),
    }
}
