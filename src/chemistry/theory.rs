//! What molar masses alone say: the saponification value of pure substances.

use super::Fat;
use super::fat::{AcidShare, FatKind};

/// IUPAC/CIAAW atomic weights, long values (from memory; the sums agree with published masses).
const H: f64 = 1.007_94;
const C: f64 = 12.010_7;
const O: f64 = 15.999_4;

/// Rounded as published: 39.9971 and 56.1056 g/mol.
pub(super) const NAOH_G_PER_MOL: f64 = 39.9971;
pub(super) const KOH_G_PER_MOL: f64 = 56.1056;

/// A substance of carbon, hydrogen and oxygen that takes up `hydroxides` per molecule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Substance {
    pub carbon: u16,
    pub hydrogen: u16,
    pub oxygen: u16,
    pub hydroxides: u8,
}

const FATTY_ACIDS: [(&str, [u16; 3]); 11] = [
    ("caprylic", [8, 16, 2]),
    ("capric", [10, 20, 2]),
    ("lauric", [12, 24, 2]),
    ("myristic", [14, 28, 2]),
    ("palmitic", [16, 32, 2]),
    ("stearic", [18, 36, 2]),
    ("oleic", [18, 34, 2]),
    ("linoleic", [18, 32, 2]),
    ("linolenic", [18, 30, 2]),
    ("ricinoleic", [18, 34, 3]),
    ("erucic", [22, 42, 2]),
];

impl Substance {
    pub const fn new([carbon, hydrogen, oxygen]: [u16; 3], hydroxides: u8) -> Substance {
        Substance { carbon, hydrogen, oxygen, hydroxides }
    }

    pub fn g_per_mol(self) -> f64 {
        f64::from(self.carbon) * C + f64::from(self.hydrogen) * H + f64::from(self.oxygen) * O
    }

    /// mg KOH that one gram takes up.
    pub fn koh_mg_per_g(self) -> f64 {
        f64::from(self.hydroxides) * KOH_G_PER_MOL * 1000.0 / self.g_per_mol()
    }

    /// Three of this acid on glycerol, C3H8O3, less three of water.
    pub fn triglyceride(self) -> Substance {
        let [c, h, o] = [3 * self.carbon + 3, 3 * self.hydrogen + 2, 3 * self.oxygen];
        Substance::new([c, h, o], 3)
    }
}

pub(super) fn fatty_acid(name: &str) -> Option<Substance> {
    FATTY_ACIDS.iter().find(|(known, _)| *known == name).map(|(_, atoms)| Substance::new(*atoms, 1))
}

impl Fat {
    /// The saponification value that the usual fatty acids and unsaponifiables give, mg KOH per g;
    /// the acids of a triglyceride are taken as simple triglycerides. `None` where no acids are
    /// stated, or one of them is not known here.
    pub fn sap_from_usual_acids(&self) -> Option<f64> {
        if self.usual_acids.is_empty() || self.kind == FatKind::WaxEster {
            return None;
        }
        let value = |part: &AcidShare| {
            let acid = fatty_acid(&part.acid)?;
            let bound = self.kind == FatKind::Triglyceride;
            let substance = if bound { acid.triglyceride() } else { acid };
            Some(substance.koh_mg_per_g() * part.share.fraction())
        };
        let saponifiable: f64 = self.usual_acids.iter().map(value).sum::<Option<f64>>()?;
        Some(saponifiable * (1.0 - self.usual_unsaponifiable.fraction()))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::chemistry::{Alkali, Basis, FatTable};
    use crate::quantity::Share;

    const NA: f64 = 22.989_769_28;
    const K: f64 = 39.098_3;

    /// Published molar masses and saponification values of the triglyceride and the free acid.
    pub(in crate::chemistry) const EXPECTED: [(&str, [f64; 4]); 11] = [
        ("caprylic", [470.6823, 357.602, 144.2114, 389.051]),
        ("capric", [554.8418, 303.360, 172.2646, 325.694]),
        ("lauric", [639.0013, 263.406, 200.3178, 280.083]),
        ("myristic", [723.1607, 232.752, 228.3709, 245.678]),
        ("palmitic", [807.3202, 208.488, 256.4241, 218.800]),
        ("stearic", [891.4797, 188.806, 284.4772, 197.224]),
        ("oleic", [885.4321, 190.096, 282.4614, 198.631]),
        ("linoleic", [879.3844, 191.403, 280.4455, 200.059]),
        ("linolenic", [873.3368, 192.728, 278.4296, 201.507]),
        ("ricinoleic", [933.4303, 180.321, 298.4608, 187.983]),
        ("erucic", [1053.7510, 159.731, 338.5677, 165.715]),
    ];

    #[test]
    fn pure_substances_come_out_as_published() {
        for (name, [bound_mass, bound_sap, free_mass, free_sap]) in EXPECTED {
            let free = fatty_acid(name).unwrap();
            for (substance, mass, sap) in
                [(free.triglyceride(), bound_mass, bound_sap), (free, free_mass, free_sap)]
            {
                assert!((substance.g_per_mol() - mass).abs() < 0.005, "{name} {mass}");
                assert!((substance.koh_mg_per_g() - sap).abs() < 0.1, "{name} {sap}");
                let naoh = substance.koh_mg_per_g() * Alkali::SodiumHydroxide.per_koh();
                assert!((naoh - sap * 0.712_889_6).abs() < 0.1, "{name} {naoh}");
            }
        }
    }

    #[test]
    fn molar_masses_of_the_alkalis_to_the_printed_digit() {
        assert!((NA + O + H - NAOH_G_PER_MOL).abs() < 5e-5);
        assert!((K + O + H - KOH_G_PER_MOL).abs() < 5e-5);
        assert!((Alkali::SodiumHydroxide.per_koh() - 0.712_889_6).abs() < 5e-8);
    }

    #[test]
    fn working_values_from_theory_are_what_theory_gives() {
        let mut seen = 0;
        for fat in FatTable::built_in().iter().filter(|fat| fat.basis == Basis::Theory) {
            let whole: Share = fat.usual_acids.iter().map(|part| part.share).sum();
            assert_eq!(whole, Share::WHOLE, "{}", fat.key);
            let theory = fat.sap_from_usual_acids().unwrap();
            assert_eq!((theory * 2.0).floor() / 2.0, fat.sap, "{}: {theory}", fat.key);
            seen += 1;
        }
        assert!(seen >= 6);
    }
}
