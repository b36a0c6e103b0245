use std::collections::BTreeMap;
use std::process::ExitCode;

use anyhow::{Context, bail};

use super::args;
use super::args::{Place, ScaleCommand};
use super::which::{self, Unnamed};
use crate::bench::{
    Act, Ask, BatchView, ChannelView, ProbeAt, PromptView, Reply, Role, View, ZeroCame,
    emergency_card,
};
use crate::chemistry::IngredientId;
use crate::plan::TestValue;
use crate::quantity::{Mass, Temperature};
use crate::reading::Channel;
use crate::web::{Client, Event, StartRequest, Started};

pub async fn start(at: Place, args: args::Start) -> anyhow::Result<ExitCode> {
    let text = std::fs::read_to_string(&args.recipe)
        .with_context(|| format!("recipe {} cannot be read", args.recipe.display()))?;
    let file = args.recipe.display().to_string();
    let altered = args.altered.into();
    let lot = "an ingredient and its lot, like `olive oil = OL-23`";
    let lots = pairs(&args.lots, lot)?;
    let in_pot = pairs(&args.in_pot, "an oil and its mass, like `olive oil = 400 g ± 10 g`")?;
    let request = StartRequest { file, text, operator: args.operator, altered, lots, in_pot };
    let started: Started = client(&at).post("/start", &request).await?;
    println!("batch {} is started; `panroom watch` shows it", started.batch);
    Ok(ExitCode::SUCCESS)
}

fn pairs(said: &[String], expected: &str) -> anyhow::Result<BTreeMap<String, String>> {
    let pair = |text: &String| {
        let (name, value) =
            text.split_once('=').with_context(|| format!("`{text}`: expected {expected}"))?;
        Ok((name.trim().to_owned(), value.trim().to_owned()))
    };
    said.iter().map(pair).collect()
}

pub async fn confirm(at: Place, args: args::Confirm) -> anyhow::Result<ExitCode> {
    let prompt =
        which::question(&view(&at).await?, args.question, args.batch.as_deref(), |_| true)?;
    act(&at, Act::Confirm { prompt }).await
}

pub async fn choose(at: Place, args: args::Choose) -> anyhow::Result<ExitCode> {
    let has_a_choice = |prompt: &PromptView| {
        matches!(prompt.asks, Ask::Remedy { .. } | Ask::Under { .. } | Ask::TakeShort { .. })
    };
    let (number, batch) = (args.question, args.batch.as_deref());
    let prompt = which::question(&view(&at).await?, number, batch, has_a_choice)?;
    act(&at, Act::Choose { prompt, remedy: args.remedy }).await
}

pub async fn vessel(at: Place, args: args::Vessel) -> anyhow::Result<ExitCode> {
    let asks_which = |prompt: &PromptView| {
        matches!(prompt.asks, Ask::WhichVessel { .. } | Ask::WrongVessel { .. })
    };
    let (number, batch) = (args.question, args.batch.as_deref());
    let prompt = which::question(&view(&at).await?, number, batch, asks_which)?;
    act(&at, Act::Vessel { prompt, vessel: args.vessel }).await
}

pub async fn remedy(at: Place, args: args::AskRemedy) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::TheOneThatAsks).await?.batch;
    let answer = act(&at, Act::AskRemedy { batch: batch.clone() }).await?;
    let asked = view(&at).await?.batches.into_iter().find(|open| open.batch == batch);
    if let Some(prompt) = asked.and_then(|batch| batch.prompt) {
        println!("{}", prompt.words);
    }
    Ok(answer)
}

pub async fn open_lot(at: Place, args: args::Lot) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::TheOneThatAsks).await?.batch;
    act(&at, Act::Lot { batch, lot: args.lot }).await
}

pub async fn correct(at: Place, args: args::Correct) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    let mass = Mass::parse(&args.mass)?;
    let ingredient = IngredientId(args.ingredient);
    act(&at, Act::Correct { batch, ingredient, mass, reason: args.reason }).await
}

pub async fn declare(at: Place, args: args::Declare) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::TheOneThatAsks).await?.batch;
    let mass = Mass::parse(&args.mass)?;
    let ingredient = IngredientId(args.ingredient);
    act(&at, Act::Declare { batch, ingredient, mass }).await
}

pub async fn observe(at: Place, args: args::Observe) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::TheOneThatAsks).await?.batch;
    act(&at, Act::Observe { batch, observation: args.what.into(), note: args.note }).await
}

pub async fn acknowledge(at: Place, args: args::Acknowledge) -> anyhow::Result<ExitCode> {
    let view = view(&at).await?;
    let of = match args.batch.as_deref() {
        Some(_) => Some(which::batch(&view, args.batch.as_deref(), Unnamed::Nobody)?.batch.clone()),
        None => None,
    };
    let named = |name: &str| args.alarm.as_deref().is_none_or(|wanted| wanted == name);
    let open: Vec<_> = view
        .alarms
        .into_iter()
        .filter(|alarm| !alarm.acknowledged && named(&alarm.alarm.to_string()))
        .filter(|alarm| of.as_ref().is_none_or(|of| alarm.alarm.batch() == Some(of)))
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
    let batch = batch(&at, args.batch, Unnamed::TheOneThatAsks).await?.batch;
    act(&at, Act::ProbeOut { batch, at: ProbeAt::Pot }).await
}

pub async fn hold(at: Place, args: args::Hold) -> anyhow::Result<ExitCode> {
    let view: View = client(&at).get("/view").await?;
    let is_hand_held = |role: &Role| matches!(role, Role::Probe { at: ProbeAt::Hand, .. });
    let mut known = view.channels.into_iter().filter(|known| is_hand_held(&known.role));
    let channel = match (args.channel, known.next(), known.next()) {
        (Some(named), _, _) => Channel::new(&named),
        (None, Some(only), None) => only.channel,
        (None, Some(_), Some(_)) => {
            bail!("several probes are hand-held; name one with --channel")
        }
        (None, None, _) => bail!(
            "no probe is hand-held; give one the role \"hand-held\" in the bench file, or say what \
             you read off with `panroom measured`"
        ),
    };
    match args.place.into() {
        Some(place) => {
            let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
            act(&at, Act::Hold { batch, channel, at: place, stays: args.stays }).await
        }
        None => act(&at, Act::PutAway { channel }).await,
    }
}

pub async fn measured(at: Place, args: args::Measured) -> anyhow::Result<ExitCode> {
    let Some(place) = args.place.into() else { bail!("measured where: lye, oils, pot or room?") };
    let temperature = Temperature::parse(&args.temperature)?;
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    act(&at, Act::Measured { batch, at: place, temperature }).await
}

pub async fn test(at: Place, args: args::Test) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    let value = TestValue::parse(&args.result);
    let method = args.by.map(Into::into);
    act(&at, Act::Test { batch, test: args.name, method, sample: args.sample, value }).await
}

pub async fn scale(at: Place, args: args::Scale) -> anyhow::Result<ExitCode> {
    if let Some(ScaleCommand::Zero { channel }) = args.command {
        return zero(&at, channel).await;
    }
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    act(&at, Act::Scale { batch }).await
}

/// Asks, and waits for what the scale does.
async fn zero(at: &Place, channel: Option<String>) -> anyhow::Result<ExitCode> {
    let scales = view(at).await?.channels.into_iter();
    let mut scales = scales.filter(|channel| matches!(channel.role, Role::Scale { .. }));
    let channel = match (channel, scales.next()) {
        (Some(named), _) => Channel::new(&named),
        (None, Some(scale)) => scale.channel,
        (None, None) => bail!("the bench file names no scale"),
    };
    let act = Act::Zero { channel: channel.clone() };
    match client(at).post("/act", &act).await? {
        Reply::Done | Reply::AlreadyDone => println!("told; leave the pan alone"),
        Reply::Refused { words, .. } => bail!("{words}"),
    }
    let mut came = None;
    let client = client(at);
    let watched = client.live(|event| {
        let Event::View(view) = event else { return true };
        let scale = view.channels.into_iter().find(|known| known.channel == channel);
        came = scale.filter(|scale| scale.zero != Some(ZeroCame::Asked));
        came.is_none()
    });
    watched.await?;
    match came {
        Some(ChannelView { zero: Some(ZeroCame::Taken), .. }) => {
            println!("the scale is at zero");
            Ok(ExitCode::SUCCESS)
        }
        Some(ChannelView { lost: Some(why), .. }) => bail!("the scale is gone: {why}"),
        Some(ChannelView { zero: Some(ZeroCame::InDoubt), .. }) => bail!(
            "nobody saw whether the scale took its zero: take everything off the pan; a bare pan \
             that shows a weight: press the scale's own zero key; one that shows nought: put a \
             vessel on it and take that off again"
        ),
        _ => bail!(
            "the scale did not take the zero: clear the pan, wait until it is still, and ask \
             again, or press its own key"
        ),
    }
}

pub async fn probe(at: Place, args: args::Probe) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    act(&at, Act::Probe { batch, channel: Channel::new(&args.channel) }).await
}

pub async fn silence(at: Place) -> anyhow::Result<ExitCode> {
    act(&at, Act::Silence).await
}

pub async fn next(at: Place, args: args::Next) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::TheOneThatAsks).await?;
    act(&at, Act::Advance { batch: batch.batch, step: batch.step }).await
}

pub async fn abandon(at: Place, args: args::Abandon) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    act(&at, Act::Abandon { batch, reason: args.reason }).await
}

pub async fn close(at: Place, args: args::Close) -> anyhow::Result<ExitCode> {
    let batch = batch(&at, args.batch, Unnamed::Nobody).await?.batch;
    act(&at, Act::Close { batch, outcome: args.outcome.into(), note: args.note }).await
}

pub fn client(at: &Place) -> Client {
    Client::new(&at.folder.socket())
}

async fn act(at: &Place, act: Act) -> anyhow::Result<ExitCode> {
    match client(at).post("/act", &act).await? {
        Reply::Done => match view(at).await?.journal.failed {
            None => println!("done"),
            Some(why) => println!("done, but not recorded: {why}; write it down"),
        },
        Reply::AlreadyDone => println!("already done"),
        Reply::Refused { words, prompt: Some(prompt) } => {
            bail!("{words} (question {prompt} is open)")
        }
        Reply::Refused { words, prompt: None } => bail!("{words}"),
    }
    Ok(ExitCode::SUCCESS)
}

async fn view(at: &Place) -> anyhow::Result<View> {
    Ok(client(at).get("/view").await?)
}

async fn batch(at: &Place, named: Option<String>, unnamed: Unnamed) -> anyhow::Result<BatchView> {
    let view = view(at).await?;
    Ok(which::batch(&view, named.as_deref(), unnamed)?.clone())
}
