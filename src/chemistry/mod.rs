//! What the caustic follows from: fats, demand, superfat and its uncertainty.

mod fat;
mod fat_table;
mod formula;

pub use fat::{AcidShare, Basis, Fat, FatError, FatKind, Figures, LotCertificate, Reacting, Seen};
pub use fat_table::{FatTable, UnknownFat};
pub use formula::{
    Alkali, Caustic, Formula, FormulaFat, Guard, IngredientId, LiquidRule, Masses, ScaleFacts,
    Superfat,
};
