use super::FormulaAcid;
use super::theory::Substance;
use crate::quantity::Share;

/// Citric acid without water, C6H8O7, three hydroxides.
const CITRIC: Substance = Substance::new([6, 8, 7], 3);
/// Citric acid with one water of crystallisation, C6H10O8.
const CITRIC_MONOHYDRATE: Substance = Substance::new([6, 10, 8], 3);
/// Lactic acid, C3H6O3, one hydroxide.
const LACTIC: Substance = Substance::new([3, 6, 3], 1);
/// Food grades hold at least 99.5 % (from memory); the spread is ours.
const CRYSTALS_LEAST: f64 = 0.99;

impl FormulaAcid {
    /// Citric acid, anhydrous: 1 g eats 0.624 g of NaOH.
    pub fn citric(id: &str) -> FormulaAcid {
        FormulaAcid::crystals(id, CITRIC)
    }

    /// Citric acid, monohydrate: 1 g eats 0.571 g of NaOH.
    pub fn citric_monohydrate(id: &str) -> FormulaAcid {
        FormulaAcid::crystals(id, CITRIC_MONOHYDRATE)
    }

    /// Lactic acid solution of this strength; sold as 80 to 90 %, two points either side are ours.
    pub fn lactic(id: &str, strength: Share) -> FormulaAcid {
        let koh = LACTIC.koh_mg_per_g() * strength.fraction();
        let spread = LACTIC.koh_mg_per_g() * 0.02;
        FormulaAcid::with_range(id, [koh - spread, koh, koh + spread])
    }

    fn crystals(id: &str, acid: Substance) -> FormulaAcid {
        let koh = acid.koh_mg_per_g();
        FormulaAcid::with_range(id, [koh * CRYSTALS_LEAST, koh, koh])
    }

    fn with_range(id: &str, [low, working, high]: [f64; 3]) -> FormulaAcid {
        FormulaAcid {
            id: id.into(),
            koh_low_mg_per_g: low,
            koh_mg_per_g: working,
            koh_high_mg_per_g: high,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::Alkali;

    #[test]
    fn acids_eat_what_their_molar_masses_say() {
        // 3 × 39.9971 ÷ 192.124, ÷ 210.139, and 39.9971 ÷ 90.078 (citric, its hydrate, lactic)
        for (acid, expected) in [
            (FormulaAcid::citric("a"), 0.624_55),
            (FormulaAcid::citric_monohydrate("a"), 0.571_01),
            (FormulaAcid::lactic("a", Share::WHOLE), 0.444_03),
            (FormulaAcid::lactic("a", Share::from_percent(80)), 0.355_22),
        ] {
            let naoh = acid.koh_mg_per_g / 1000.0 * Alkali::SodiumHydroxide.per_koh();
            assert!((naoh - expected).abs() < 1e-4, "{naoh} instead of {expected}");
            assert!(
                acid.koh_low_mg_per_g < acid.koh_mg_per_g
                    && acid.koh_mg_per_g <= acid.koh_high_mg_per_g
            );
        }
    }
}
