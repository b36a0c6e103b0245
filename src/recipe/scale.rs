//! A recipe made larger or smaller, or with another oil: always a new recipe.

/// Raw soap, for pots and moulds. Common practice, no source: oils lie about 0.92 g/ml, lye about
/// 1.3 g/ml.
pub const DENSITY_ASSUMED_G_PER_ML: f64 = 1.0;
