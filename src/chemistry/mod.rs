//! What the caustic follows from: fats, demand, superfat and its uncertainty.
//!
//! Pure functions over exact masses. Figures of others stand where they are used, each with its
//! source; docs/checks.md shows them beside what comes out here. Nothing is put right silently:
//! what is impossible or dangerous is refused with the reason, and what is not known (the start
//! of a lye, the purity of potassium hydroxide) gets no answer instead of a guess.

mod acid;
mod boiling;
mod caustic_heat;
mod check;
#[cfg(test)]
mod checks_page;
mod dissolve;
mod fat;
mod fat_table;
mod formula;
mod guard;
mod liquid;
mod liquids;
mod lye;
mod lye_peak;
mod mass_piece;
mod remedy;
mod scale;
mod scaling;
mod superfat;
#[cfg(test)]
mod tests_support;
mod theory;
mod uncertainty;

pub use boiling::{
    AltitudeError, LyeBoilingError, StrengthError, lye_boils_at, standard_pressure_pa,
    water_boils_at,
};
pub use check::FormulaFault;
pub use dissolve::{Jug, JugMaterial, NoForecast, StartState};
pub use fat::{AcidShare, Basis, Fat, FatError, FatKind, Figures, LotCertificate, Reacting, Seen};
pub use fat_table::{FatTable, UnknownFat};
pub use formula::{
    Alkali, Caustic, CausticForm, Formula, FormulaAcid, FormulaFat, IngredientId, Masses,
};
pub use guard::Guard;
pub use liquid::{LiquidRule, LiquidRuleError, show_ratio};
pub use liquids::{Liquid, UnknownLiquid};
pub use lye::{LyeStrength, NotSoluble};
pub use lye_peak::{DissolveVerdict, ExpectedLye};
pub use mass_piece::PieceClass;
pub use remedy::{Circumstances, NoRemedy, Remedy, RemedyAct};
pub use scale::{AccuracyClass, ScaleError, ScaleFacts, Verified};
pub use scaling::{ScalingError, Substitution, scale_to_available, scale_to_total};
pub use superfat::{
    BudgetPart, Doubt, LYE_HEAVY_ASSUMPTIONS, Likelihood, SUPERFAT_PER_INTERVAL_MOST, Superfat,
    SuperfatBudget,
};
