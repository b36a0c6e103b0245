//! Whether what is still to come fits on the scale and into its vessel, said before it is poured.

use super::batch::Batch;
use super::fact::Notice;
use super::law::Bench;
use super::pan::Pan;
use super::target::share_of;
use super::view::RoomView;
use super::{handling, words};
use crate::bench_file::Purpose;
use crate::chemistry::ScaleFacts;
use crate::plan::{Amount, DENSITY_ASSUMED_G_PER_ML, Vessel, Weigh};
use crate::quantity::{Mass, Share, Volume};

/// What fills a scale or a vessel to its last hundredth fits on paper only. Ours.
const NEARLY: Share = Share::from_percent(1);
/// A pot is filled to two thirds at most, since a cook climbs; a jug of lye to a half, since it
/// foams. Common practice, no source.
const POT_MOST: (f64, &str) = (2.0 / 3.0, "two thirds of a pot at most: a cook climbs");
const JUG_MOST: (f64, &str) = (0.5, "half of a jug at most: lye foams");
const CUP_MOST: (f64, &str) = (1.0, "not to be filled to the brim");

/// As every screen shows it.
pub fn view(bench: &Bench, batch: &Batch) -> Option<RoomView> {
    let (channel, scale) = bench.state.scale_of(&batch.id)?;
    let (weigh, weighing) = batch.weigh()?;
    let gross = bench.sense(channel)?.mass(bench.now, bench.allowed_age(channel));
    let gross = gross.filter(|_| !bench.load_is_doubted(&batch.id));
    let left = gross.map(|gross| (scale.capacity - (gross - batch.zero)).max(Mass::ZERO));
    let open = weighing.captured.is_none();
    let tight = if open { tight(batch, weigh, &scale) } else { Vec::new() };
    Some(RoomView { left, tight })
}

/// Said once, when the vessel is known and nothing is poured yet.
pub fn say(bench: &mut Bench, pan: &Pan) {
    let Some(batch) = bench.batch(&pan.id) else { return };
    let Some((weigh, _)) = batch.weigh() else { return };
    let scale = on_scale(batch, weigh, &pan.scale).filter(|lacks| *lacks > Mass::ZERO);
    let vessel = in_vessel(batch, weigh).filter(|fill| fill.wants > fill.most);
    let scale = scale.map(|lacks| Notice::NoRoomOnScale { lacks });
    let vessel = vessel.map(|fill| Notice::NoRoomInVessel { wants: fill.wants, most: fill.most });
    for notice in [scale, vessel].into_iter().flatten() {
        handling::notice_it(bench, pan, notice);
    }
}

fn tight(batch: &Batch, weigh: &Weigh, scale: &ScaleFacts) -> Vec<String> {
    let show = |mass: Mass| words::mass(&batch.control.units, mass);
    let mut tight = Vec::new();
    match on_scale(batch, weigh, scale) {
        Some(lacks) if lacks > Mass::ZERO => {
            tight.push(no_room_on_scale(&show(lacks), weigh.is_caustic()));
        }
        Some(lacks) if -lacks < share_of(scale.capacity, NEARLY) => tight.push(format!(
            "The scale is nearly full with it: {} to its capacity of {}.",
            show(-lacks),
            show(scale.capacity)
        )),
        _ => {}
    }
    if let Some(fill) = in_vessel(batch, weigh) {
        let nearly = fill.most.millilitres() * (1.0 - NEARLY.fraction());
        if fill.wants > fill.most {
            tight.push(no_room_in_vessel(fill.wants, fill.most));
        } else if fill.wants.millilitres() > nearly {
            tight.push(format!("{} is nearly full with it: {}.", fill.name, fill.why));
        }
    }
    tight
}

/// What the scale lacks when all of this is in; below zero it is what is to spare. `None` while
/// nobody knows what the vessel weighs.
fn on_scale(batch: &Batch, weigh: &Weigh, scale: &ScaleFacts) -> Option<Mass> {
    let (_, weighing) = batch.weigh()?;
    let in_pot = || match batch.pot_gross {
        Some(pot) => Some(pot - batch.zero),
        None if batch.said_combined => None,
        None => batch.control.pot.as_ref().map(|pot| pot.tare),
    };
    let empty = match (weighing.tare, weigh.into) {
        (Some(tare), _) => tare - batch.zero,
        (None, Vessel::Pot) => in_pot()?,
        (None, Vessel::Own) => return None,
    };
    Some(empty + weighing.target.mass - scale.capacity)
}

/// How full a vessel of known volume gets.
struct Fill {
    name: String,
    wants: Volume,
    most: Volume,
    why: &'static str,
}

fn in_vessel(batch: &Batch, weigh: &Weigh) -> Option<Fill> {
    let (_, weighing) = batch.weigh()?;
    let known = weighing.vessel.as_ref().map(|known| &known.vessel);
    let whole = known.and_then(|vessel| vessel.volume);
    let target = weighing.target.mass;
    let is_liquid = weigh.ingredient == batch.control.formula.liquid_id;
    let (contents, (part, why)) = match (weigh.into, known.map(|vessel| vessel.purpose)) {
        (Vessel::Pot, _) => (whole_batch(batch), POT_MOST),
        (Vessel::Own, Some(Purpose::LyeJug)) if is_liquid => (target + caustic(batch), JUG_MOST),
        (Vessel::Own, _) => (target, CUP_MOST),
    };
    let wants = Volume::from_millilitres_rounded(contents.grams() / DENSITY_ASSUMED_G_PER_ML);
    let most = Volume::from_millilitres_rounded(whole?.millilitres() * part);
    Some(Fill { name: words::capitalised(&known?.name), wants, most, why })
}

fn caustic(batch: &Batch) -> Mass {
    let masses = batch.masses();
    let caustics = batch.control.formula.caustics.iter();
    caustics.filter_map(|caustic| masses.get(&caustic.id)).copied().sum()
}

/// All that the pot will hold: as weighed, the rest as planned.
fn whole_batch(batch: &Batch) -> Mass {
    let formula = &batch.control.formula;
    let mut masses = batch.planned();
    masses.extend(batch.masses());
    let fats: Mass = formula.fats.iter().filter_map(|fat| masses.get(&fat.id)).copied().sum();
    for weigh in batch.control.weighings() {
        let id = &weigh.ingredient;
        if masses.contains_key(id) {
            continue;
        }
        let mass = match &weigh.amount {
            Amount::Fixed(mass) | Amount::AfterLye(mass) | Amount::MoreCaustic(mass) => *mass,
            Amount::OfFats(share) => share_of(fats, *share),
            Amount::Caustic => formula.caustic(id, &masses),
            Amount::Liquid => formula.liquid(&masses),
        };
        masses.insert(id.clone(), mass.max(Mass::ZERO));
    }
    masses.values().copied().sum()
}

pub fn no_room_on_scale(lacks: &str, caustic: bool) -> String {
    let instead = if caustic {
        // on another scale nobody watches for a pour too many
        "begin with a lighter cup, or make a smaller batch"
    } else {
        "weigh it on a larger scale and declare it, or begin with a lighter vessel"
    };
    format!(
        "It does not fit on the scale, which lacks {lacks}. Do not pour: {instead}. Do not press \
         the scale's tare key."
    )
}

pub fn no_room_in_vessel(wants: Volume, most: Volume) -> String {
    format!(
        "The vessel is too small: about {wants} for the {most} it may hold. Take a larger one, or \
         make less."
    )
}
