//! How much of an ingredient is wanted, from what has been captured so far.

use super::batch::Batch;
use super::fact::Target;
use super::settings::CAUSTIC_SHORT;
use crate::chemistry::{Guard, Masses, ScaleFacts};
use crate::plan::{Amount, Tolerance, Weigh};
use crate::quantity::{Mass, Share};

/// The target of a step, from what has been captured so far.
pub fn target(batch: &Batch, weigh: &Weigh, scale: &ScaleFacts) -> Target {
    let formula = &batch.control.formula;
    let masses = batch.masses();
    match &weigh.amount {
        Amount::Fixed(mass) => around(batch.brought_down(*mass), weigh.tolerance, scale),
        Amount::AfterLye(_) => {
            let masses = batch.without_fats_to_come();
            let fats = formula.fats_after_lye(&batch.planned(), &masses);
            let mass = fats.and_then(|fats| fats.get(&weigh.ingredient).copied());
            around(mass.unwrap_or_default(), weigh.tolerance, scale)
        }
        Amount::MoreCaustic(mass) => {
            let mass = mass.floor_to(scale.d);
            let slip = share_of(mass, CAUSTIC_SHORT).max(scale.d);
            let guard = Guard { mass: (mass + slip).floor_to(scale.d), proven: false };
            Target { mass, low: mass - slip, high: mass + scale.d, guard: Some(guard) }
        }
        Amount::OfFats(share) => {
            let part = share_of(captured_fats(batch, &masses), *share);
            around(part, weigh.tolerance, scale)
        }
        Amount::Liquid if let Some(mass) = formula.liquid.mass() => {
            around(batch.brought_down(mass), weigh.tolerance, scale)
        }
        Amount::Liquid => around(formula.liquid(&masses), weigh.tolerance, scale),
        Amount::Caustic => {
            let masses = batch.foreseen();
            let mass = formula.caustic_beside(&weigh.ingredient, &masses);
            let mass = mass.max(Mass::ZERO).floor_to(scale.d);
            let by_hand = batch.by_hand(scale);
            let guard = formula.guard_by_hand(&weigh.ingredient, &masses, &by_hand, scale);
            let low = mass - share_of(mass, CAUSTIC_SHORT).max(scale.d);
            let high = (mass + scale.d).min(guard.mass);
            Target { mass, low, high, guard: Some(guard) }
        }
    }
}

fn around(mass: Mass, tolerance: Tolerance, scale: &ScaleFacts) -> Target {
    let half = match tolerance {
        Tolerance::Share(share) => share_of(mass, share).max(scale.d),
        Tolerance::Mass(half) => half.max(scale.d),
    };
    Target { mass, low: mass - half, high: mass + half, guard: None }
}

pub fn share_of(mass: Mass, share: Share) -> Mass {
    let millionths = i128::from(mass.steps()) * i128::from(share.millionths());
    Mass::from_steps((millionths / i128::from(Share::WHOLE.millionths())) as i64)
}

fn captured_fats(batch: &Batch, masses: &Masses) -> Mass {
    // fat added after the cook is no part of "the oils" that shares are of
    let fats = batch.control.formula.fats.iter().filter(|fat| !fat.after_cook);
    fats.filter_map(|fat| masses.get(&fat.id)).copied().sum()
}
