//! What the batch will come to if all goes as planned: superfat and its uncertainty, the lye.

use crate::bench_file::BenchFile;
use crate::chemistry::{
    CausticForm, ExpectedLye, Formula, Guard, IngredientId, Masses, NoForecast, ScaleFacts,
    StartState, SuperfatBudget, lye_boils_at, show_ratio,
};
use crate::quantity::{Mass, Share, Temperature, TemperatureUnit};

use super::Units;

/// Computed from the planned masses; the batch itself follows what is really weighed.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    pub superfat: Option<SuperfatBudget>,
    /// The superfat if the caustic were as pure as it credibly can be.
    pub superfat_at_highest_purity: Option<Share>,
    /// Superfat and what is added after the cook, as a share of all fats.
    pub free_fat: Option<Share>,
    pub guards: Vec<CausticOutlook>,
    pub lye: LyeOutlook,
}

#[derive(Clone, Debug, PartialEq)]
pub struct CausticOutlook {
    pub id: IngredientId,
    pub target: Mass,
    pub guard: Guard,
    /// How far one scale interval moves the superfat.
    pub superfat_per_interval: Option<Share>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct LyeOutlook {
    /// Solid caustic, or that in the stock lye.
    pub caustic: Mass,
    /// All of the liquid, that of a stock lye with it.
    pub liquid: Mass,
    /// "2.7:1".
    pub ratio: String,
    /// Caustic as a share of caustic and liquid together.
    pub concentration: Share,
    /// Where its own heat takes it, or why that cannot be foretold.
    pub expected: Result<ExpectedLye, NoForecast>,
    /// Where the lye itself boils at this bench; known for sodium hydroxide.
    pub boils: Option<Temperature>,
    pub start: StartState,
}

pub(super) fn of(
    formula: &Formula,
    planned: &Masses,
    scale: Option<&ScaleFacts>,
    bench: Option<&BenchFile>,
    start: StartState,
) -> Outlook {
    let step = super::STEP_WITHOUT_SCALE;
    let assumed = ScaleFacts::new(step, step * 1_000_000);
    let scale = scale.unwrap_or(&assumed);
    let fats: Masses = planned
        .iter()
        .filter(|(id, _)| !formula.caustics.iter().any(|caustic| &caustic.id == *id))
        .map(|(id, mass)| (id.clone(), *mass))
        .collect();
    let guards = formula.caustics.iter().map(|caustic| CausticOutlook {
        id: caustic.id.clone(),
        target: planned.get(&caustic.id).copied().unwrap_or(Mass::ZERO),
        guard: formula.guard(&caustic.id, &fats, scale),
        superfat_per_interval: formula.superfat_per_interval(&caustic.id, &fats, scale),
    });
    Outlook {
        superfat: formula.superfat_budget(planned, &Masses::new(), scale),
        superfat_at_highest_purity: formula.superfat_at_highest_purity(planned),
        free_fat: formula.free_fat(planned),
        guards: guards.collect(),
        lye: lye(formula, planned, bench.map_or(0, |bench| bench.altitude_m), start),
    }
}

fn lye(formula: &Formula, planned: &Masses, altitude_m: i32, start: StartState) -> LyeOutlook {
    let mass = |id: &IngredientId| planned.get(id).copied().unwrap_or(Mass::ZERO);
    let (mut caustic, mut liquid) = (Mass::ZERO, mass(&formula.liquid_id));
    for part in &formula.caustics {
        let weighed = mass(&part.id);
        let solid = match part.form {
            CausticForm::Lye => Mass::from_grams_rounded(weighed.grams() * part.purity.fraction()),
            _ => weighed,
        };
        caustic += solid;
        liquid += weighed - solid;
    }
    let whole = caustic + liquid;
    let concentration = if whole > Mass::ZERO { caustic.grams() / whole.grams() } else { 0.0 };
    let strength = formula.lye_strength(planned).filter(|lye| lye.koh == Share::ZERO);
    LyeOutlook {
        caustic,
        liquid,
        ratio: show_ratio(liquid, caustic),
        concentration: Share::from_fraction_rounded(concentration),
        expected: formula.expected_lye(planned, Some(&start)),
        boils: strength.and_then(|lye| lye_boils_at(lye.naoh, altitude_m).ok()),
        start,
    }
}

impl Outlook {
    /// What to say of the lye's own heat where it is made.
    pub(super) fn lye_words(&self, units: Units) -> Option<String> {
        let expected = self.lye.expected.as_ref().ok()?;
        Some(format!(
            "the lye heats itself: from {} to a peak of {}",
            self.lye.start_words(units.temperature),
            expected.words(units.temperature)
        ))
    }
}

impl LyeOutlook {
    /// "20 °C", "20 °C with 20 % of the liquid as ice".
    pub(super) fn start_words(&self, unit: TemperatureUnit) -> String {
        let liquid = self.start.liquid.show(unit, 0);
        if self.start.ice > Share::ZERO {
            return format!("{liquid} with {} of the liquid as ice", self.start.ice.show(0));
        }
        liquid
    }
}
