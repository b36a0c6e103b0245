//! Heat: lye that warms itself, a pot on a plate, everything cooling. First order, and no more
//! than a bench log can tell apart.

use crate::chemistry::Alkali;

/// Molar masses, g/mol (IUPAC/CIAAW atomic weights).
const NAOH_G_PER_MOL: f64 = 39.9971;
const KOH_G_PER_MOL: f64 = 56.1056;
const WATER_G_PER_MOL: f64 = 18.0153;
/// Heat of solution of sodium hydroxide in n mol of water per mol, kJ/mol at 25 °C. Infinite
/// dilution −44.51: Parker, NSRDS-NBS 2 (1965); the steps below it are those of the older table
/// of integral heats, as reproduced in textbooks of material and energy balances.
const NAOH_HEAT: [(f64, f64); 10] = [
    (0.0, 0.0),
    (3.0, 30.53),
    (4.0, 36.07),
    (5.0, 39.40),
    (6.0, 41.38),
    (8.0, 43.50),
    (10.0, 44.14),
    (15.0, 44.45),
    (20.0, 44.51),
    (1e9, 44.51),
];
/// Potassium hydroxide at infinite dilution, kJ/mol (same source): an upper bound.
const KOH_HEAT: f64 = 57.61;
/// Specific heat of lye as a line in its mass fraction, J/(g K). It stays within 3 % of the
/// published fits for sodium hydroxide between 20 and 110 °C.
const LYE_CP_AT_ZERO: f64 = 4.1;
const LYE_CP_SLOPE: f64 = -1.65;
/// Solid caustic, J/(g K); from memory, and without weight here.
const GRAIN_CP: f64 = 1.49;
/// Heats of solution are tabled at this temperature.
const TABLE_C: f64 = 25.0;
/// Grains are gone to a third in this time while somebody stirs; common practice, no source.
const DISSOLVING_S: f64 = 8.0;
/// A jug on the table, and a jug in a cold bath; common practice, no source.
pub const JUG_COOLING_S: f64 = 2400.0;
pub const BATH_COOLING_S: f64 = 80.0;

/// Specific heats, J/(g K): common oils, and steel.
const OIL_CP: f64 = 2.0;
const STEEL_CP: f64 = 0.5;
/// What the pot gives off to the room, W/K, and the most the plate gives to it, W.
const POT_LOSS_W_PER_K: f64 = 1.2;
pub const PLATE_W: f64 = 500.0;
/// Nothing in an open pot gets much hotter than this: water leaves instead.
const BOILING_C: f64 = 101.0;

/// The jug with liquid, grains and what is dissolved.
#[derive(Clone, Debug, PartialEq)]
pub struct Lye {
    pub alkali: Alkali,
    pub water_g: f64,
    pub grains_g: f64,
    pub dissolved_g: f64,
    pub celsius: f64,
    /// Time constant of its cooling.
    pub cooling_s: f64,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Pot {
    pub steel_g: f64,
    pub oil_g: f64,
    pub lye_g: f64,
    pub celsius: f64,
    pub plate_w: f64,
}

/// Newton's law of cooling, exact over any time.
pub fn newton(celsius: f64, around_c: f64, time_constant_s: f64, dt_s: f64) -> f64 {
    around_c + (celsius - around_c) * (-dt_s / time_constant_s).exp()
}

impl Lye {
    pub const fn new(alkali: Alkali, celsius: f64) -> Lye {
        Lye {
            alkali,
            water_g: 0.0,
            grains_g: 0.0,
            dissolved_g: 0.0,
            celsius,
            cooling_s: JUG_COOLING_S,
        }
    }

    pub fn mass_g(&self) -> f64 {
        self.water_g + self.grains_g + self.dissolved_g
    }

    /// More liquid comes in, at its own temperature.
    pub fn add_water(&mut self, grams: f64, celsius: f64) {
        let heat_j = self.heat_j() + grams * LYE_CP_AT_ZERO * (celsius - TABLE_C);
        self.water_g += grams;
        self.set_heat(heat_j);
    }

    /// Solid caustic comes in.
    pub fn add_grains(&mut self, grams: f64, celsius: f64) {
        let heat_j = self.heat_j() + grams * GRAIN_CP * (celsius - TABLE_C);
        self.grains_g += grams;
        self.set_heat(heat_j);
    }

    /// Some of it is poured off, as warm as it is.
    pub fn keep(&mut self, part: f64) {
        self.water_g *= part;
        self.grains_g *= part;
        self.dissolved_g *= part;
    }

    pub fn step(&mut self, around_c: f64, dt_s: f64) {
        if self.water_g > 0.0 && self.grains_g > 0.0 {
            let heat_j = self.heat_j() - self.solution_heat_j();
            let part = self.grains_g * (1.0 - (-dt_s / DISSOLVING_S).exp());
            self.grains_g -= part;
            self.dissolved_g += part;
            self.set_heat(heat_j + self.solution_heat_j());
        }
        self.celsius = newton(self.celsius, around_c, self.cooling_s, dt_s);
    }

    /// All is in solution, as far as an eye can tell.
    pub fn is_clear(&self) -> bool {
        self.grains_g < 0.02 * self.dissolved_g
    }

    /// What is stored above the temperature of the table: the state alone tells, not the way to
    /// it.
    fn heat_j(&self) -> f64 {
        self.capacity_j_per_k() * (self.celsius - TABLE_C)
    }

    fn set_heat(&mut self, heat_j: f64) {
        let capacity = self.capacity_j_per_k();
        if capacity > 0.0 {
            self.celsius = TABLE_C + heat_j / capacity;
        }
    }

    fn capacity_j_per_k(&self) -> f64 {
        let solution_g = self.water_g + self.dissolved_g;
        let fraction = if solution_g > 0.0 { self.dissolved_g / solution_g } else { 0.0 };
        solution_g * (LYE_CP_AT_ZERO + LYE_CP_SLOPE * fraction) + self.grains_g * GRAIN_CP
    }

    /// All heat of solution so far.
    fn solution_heat_j(&self) -> f64 {
        let (g_per_mol, alkali) = match self.alkali {
            Alkali::SodiumHydroxide => (NAOH_G_PER_MOL, true),
            Alkali::PotassiumHydroxide => (KOH_G_PER_MOL, false),
        };
        let moles = self.dissolved_g / g_per_mol;
        if moles <= 0.0 {
            return 0.0;
        }
        let waters = self.water_g / WATER_G_PER_MOL / moles;
        let kj_per_mol = if alkali { interpolate(&NAOH_HEAT, waters) } else { KOH_HEAT };
        moles * kj_per_mol * 1000.0
    }
}

impl Pot {
    pub const fn new(steel_g: f64, celsius: f64) -> Pot {
        Pot { steel_g, oil_g: 0.0, lye_g: 0.0, celsius, plate_w: 0.0 }
    }

    pub fn step(&mut self, around_c: f64, dt_s: f64) {
        let capacity = self.capacity_j_per_k();
        self.celsius += self.plate_w * dt_s / capacity;
        self.celsius = newton(self.celsius, around_c, capacity / POT_LOSS_W_PER_K, dt_s);
        self.celsius = self.celsius.min(BOILING_C);
    }

    pub fn add_oil(&mut self, grams: f64, celsius: f64) {
        self.mix(grams * OIL_CP, celsius);
        self.oil_g += grams;
    }

    pub fn add_lye(&mut self, grams: f64, celsius: f64) {
        self.mix(grams * (LYE_CP_AT_ZERO + LYE_CP_SLOPE * 0.28), celsius);
        self.lye_g += grams;
    }

    fn mix(&mut self, added_j_per_k: f64, celsius: f64) {
        let own = self.capacity_j_per_k();
        self.celsius = (own * self.celsius + added_j_per_k * celsius) / (own + added_j_per_k);
    }

    fn capacity_j_per_k(&self) -> f64 {
        let lye = self.lye_g * (LYE_CP_AT_ZERO + LYE_CP_SLOPE * 0.28);
        self.steel_g * STEEL_CP + self.oil_g * OIL_CP + lye
    }
}

fn interpolate(table: &[(f64, f64)], at: f64) -> f64 {
    let after = table.partition_point(|&(x, _)| x < at).clamp(1, table.len() - 1);
    let ((x0, y0), (x1, y1)) = (table[after - 1], table[after]);
    y0 + (y1 - y0) * ((at - x0) / (x1 - x0)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Adiabatic end temperature from 20 °C, °C, by mass fraction of sodium hydroxide: heat of
    /// solution from Parker, NSRDS-NBS 2 (1965), specific heat from Olsson, Jernqvist, Aly, Int.
    /// J. Thermophys. 18 (1997) 779, worked out apart from this room.
    const ADIABATIC: [(f64, f64); 5] =
        [(0.10, 48.9), (0.20, 79.2), (0.2672, 96.5), (0.30, 103.2), (0.3333, 108.6)];

    fn dissolved(fraction: f64, cooling_s: f64) -> f64 {
        let mut lye = Lye::new(Alkali::SodiumHydroxide, 20.0);
        lye.add_water(1000.0 * (1.0 - fraction), 20.0);
        lye.add_grains(1000.0 * fraction, 20.0);
        lye.cooling_s = cooling_s;
        let mut hottest = 20.0_f64;
        for _ in 0..20_000 {
            lye.step(20.0, 0.01);
            hottest = hottest.max(lye.celsius);
        }
        assert!(lye.is_clear());
        hottest
    }

    #[test]
    fn lye_without_loss_reaches_the_adiabatic_bound() {
        for (fraction, bound) in ADIABATIC {
            let reached = dissolved(fraction, 1e12);
            assert!((reached - bound).abs() < 2.5, "w = {fraction}: {reached}, bound {bound}");
        }
    }

    #[test]
    fn lye_on_a_table_stays_below_the_bound_and_near_it() {
        for (fraction, bound) in ADIABATIC {
            let reached = dissolved(fraction, JUG_COOLING_S);
            assert!(reached < bound + 1.0, "w = {fraction}: {reached}, bound {bound}");
            let part = (reached - 20.0) / (bound - 20.0);
            assert!(part > 0.9, "w = {fraction}: {part} of the rise");
        }
    }

    #[test]
    fn cooling_is_newtons_law_whatever_the_step() {
        let whole = newton(90.0, 20.0, 600.0, 300.0);
        assert!((whole - (20.0 + 70.0 * (-0.5_f64).exp())).abs() < 1e-9);
        let steps = (0..30_000).fold(90.0, |celsius, _| newton(celsius, 20.0, 600.0, 0.01));
        assert!((steps - whole).abs() < 1e-6);
    }

    #[test]
    fn a_pot_balances_plate_against_loss() {
        let mut pot = Pot::new(812.0, 20.0);
        pot.add_oil(300.0, 20.0);
        pot.plate_w = POT_LOSS_W_PER_K * 60.0;
        (0..2_000_000).for_each(|_| pot.step(20.0, 0.01));
        assert!((pot.celsius - 80.0).abs() < 0.1, "{}", pot.celsius);
    }

    #[test]
    fn mixing_keeps_heat() {
        let mut pot = Pot::new(0.0, 60.0);
        pot.add_oil(100.0, 60.0);
        pot.add_oil(100.0, 20.0);
        assert!((pot.celsius - 40.0).abs() < 1e-9);
    }
}
