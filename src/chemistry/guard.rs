use serde::{Deserialize, Serialize};

use super::superfat::mass_at_superfat;
use super::{Formula, IngredientId, Masses, ScaleFacts};
use crate::quantity::{Mass, Share};

/// The mass of caustic above which an over-pour alarms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Guard {
    pub mass: Mass,
    /// False when the uncertainty is larger than the superfat, so that the margin is not proven.
    pub proven: bool,
}

/// U hardly changes with the mass of caustic, so the fixed point is met to a step within a few.
const ROUNDS: usize = 12;

impl Formula {
    /// The guard for one caustic over the fats really weighed; caustics already weighed count as
    /// weighed, the others at their targets. Always a whole number of scale intervals.
    ///
    /// - Proven: the largest mass at which (superfat − U) still meets the floor, if that leaves at
    ///   least one interval above the target rounded down, which is what the hand needs.
    /// - Not proven, when U is too large for that: the target plus the larger of one interval and
    ///   1 %. It then guards against a slip of the hand, not against the doubt about the fats, and
    ///   never lies beyond the mass at which the best estimate itself meets the floor, save for
    ///   the one interval that the hand needs.
    ///
    /// Where U grows past the superfat the second may lie above the last of the first by up to
    /// 1 % of the target: a tighter guard would buy nothing there, since what is in doubt is the
    /// target itself.
    pub fn guard(&self, id: &IngredientId, fats: &Masses, scale: &ScaleFacts) -> Guard {
        self.guard_by_hand(id, fats, &Masses::new(), scale)
    }

    /// The same where some of the fats were declared: `by_hand` holds the half-width of each, as
    /// for [`Formula::superfat_budget`].
    pub fn guard_by_hand(
        &self,
        id: &IngredientId,
        fats: &Masses,
        by_hand: &Masses,
        scale: &ScaleFacts,
    ) -> Guard {
        // a scale without an interval is refused elsewhere; here it must only not divide by zero
        let d = scale.d.max(Mass::from_steps(1));
        let target = self.rest_of(id, fats);
        let lowest_usable = self.least_guard(id, fats, scale);
        let mut weighed = fats.clone();
        for other in self.caustics.iter().filter(|other| &other.id != id) {
            weighed.entry(other.id.clone()).or_insert_with(|| self.rest_of(&other.id, fats));
        }
        if let Some(mass) = self.proven_mass(id, &mut weighed, by_hand, scale) {
            let mass = mass.floor_to(d);
            if mass >= lowest_usable {
                return Guard { mass, proven: true };
            }
        }
        let one_percent = Mass::from_grams_rounded(target.grams() * 0.01);
        let slip = (target.floor_to(d) + d.max(one_percent)).floor_to(d);
        let at_floor = mass_at_superfat(self, id, &weighed, self.floor.fraction());
        let mass = at_floor.map_or(slip, |at_floor| slip.min(at_floor.floor_to(d)));
        Guard { mass: mass.max(lowest_usable), proven: false }
    }

    /// No guard lies below this: one interval above the target rounded down. The target is what the
    /// caustics already weighed leave for this one, which may be nothing.
    pub fn least_guard(&self, id: &IngredientId, weighed: &Masses, scale: &ScaleFacts) -> Mass {
        let d = scale.d.max(Mass::from_steps(1));
        self.rest_of(id, weighed).floor_to(d) + d
    }

    fn rest_of(&self, id: &IngredientId, weighed: &Masses) -> Mass {
        self.caustic_beside(id, weighed).max(Mass::ZERO)
    }

    /// The mass at which the superfat, less its expanded uncertainty there, is the floor.
    fn proven_mass(
        &self,
        id: &IngredientId,
        weighed: &mut Masses,
        by_hand: &Masses,
        scale: &ScaleFacts,
    ) -> Option<Mass> {
        let mut mass = self.rest_of(id, weighed);
        let mut expanded = Share::ZERO;
        for _ in 0..ROUNDS {
            weighed.insert(id.clone(), mass);
            let budget = self.superfat_budget(weighed, by_hand, scale)?;
            expanded = expanded.max(budget.superfat.expanded);
            mass = mass_at_superfat(self, id, weighed, (self.floor + expanded).fraction())?;
        }
        Some(mass)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::chemistry::tests_support::{bar, grams, masses, pure, usual_bar, usual_fats};
    use crate::chemistry::{Alkali, Caustic};

    fn scale(d: &str) -> ScaleFacts {
        ScaleFacts::new(Mass::parse(d).unwrap(), Mass::parse("5 kg").unwrap())
    }

    fn naoh() -> IngredientId {
        "naoh".into()
    }

    /// Superfat less U with this much sodium hydroxide in, as a share.
    fn lower_end(formula: &Formula, fats: &Masses, mass: Mass, scale: &ScaleFacts) -> Share {
        let mut weighed = fats.clone();
        weighed.insert(naoh(), mass);
        let superfat = formula.superfat(&weighed, scale);
        superfat.achieved - superfat.expanded
    }

    #[test]
    fn a_proven_guard_is_the_last_interval_that_meets_the_floor() {
        let (formula, fats, scale) = (usual_bar("5 %"), usual_fats(), scale("0.1 g"));
        let guard = formula.guard(&naoh(), &fats, &scale);
        assert!(guard.proven);
        let one_more = guard.mass + scale.d;
        assert!(lower_end(&formula, &fats, guard.mass, &scale) >= Share::ZERO);
        assert!(lower_end(&formula, &fats, one_more, &scale) < Share::ZERO);
    }

    #[test]
    fn a_superfat_smaller_than_its_uncertainty_proves_nothing() {
        let (formula, fats, scale) = (usual_bar("2 %"), usual_fats(), scale("0.1 g"));
        let target = formula.caustic(&naoh(), &fats);
        let guard = formula.guard(&naoh(), &fats, &scale);
        assert!(!guard.proven);
        let one_percent = target.scaled(grams(1.0), grams(100.0));
        assert_eq!(guard.mass, (target.floor_to(scale.d) + one_percent).floor_to(scale.d));
    }

    #[test]
    fn no_superfat_leaves_one_interval_only() {
        let (formula, fats, scale) = (usual_bar("0 %"), usual_fats(), scale("0.1 g"));
        let target = formula.caustic(&naoh(), &fats).floor_to(scale.d);
        let guard = formula.guard(&naoh(), &fats, &scale);
        assert_eq!(guard, Guard { mass: target + scale.d, proven: false });
    }

    #[test]
    fn an_over_pour_of_the_first_caustic_tightens_the_second() {
        let formula = two_caustics();
        let (fats, scale, koh) = (masses(&[("olive", 1000.0)]), scale("0.1 g"), "koh".into());
        let before = formula.guard(&koh, &fats, &scale);
        let mut over = fats.clone();
        over.insert(naoh(), formula.caustic(&naoh(), &fats) + grams(2.0));
        let after = formula.guard(&koh, &over, &scale);
        assert!(before.proven && after.proven);
        // two grams of NaOH do the work of 2.8 g of KOH
        let less = (before.mass - after.mass).grams();
        assert!((2.7..=2.9).contains(&less), "{less}");
    }

    /// Olive oil of 8 % superfat, half of the demand each by sodium and potassium hydroxide.
    fn two_caustics() -> Formula {
        let mut formula = bar("8 %", &[("olive", 191.5)]);
        let half = |caustic: Caustic| Caustic { covers: Share::from_percent(50), ..caustic };
        formula.caustics = vec![
            half(pure("naoh", Alkali::SodiumHydroxide)),
            half(pure("koh", Alkali::PotassiumHydroxide)),
        ];
        formula
    }

    #[test]
    fn the_first_over_by_more_than_its_share_leaves_the_second_one_interval() {
        let (formula, scale, koh) = (two_caustics(), scale("0.1 g"), "koh".into());
        let mut weighed = masses(&[("olive", 1000.0)]);
        weighed.insert(naoh(), formula.caustic(&naoh(), &weighed) * 2 + grams(30.0));
        assert!(formula.caustic_beside(&koh, &weighed).is_negative());
        let guard = formula.guard(&koh, &weighed, &scale);
        assert_eq!(guard, Guard { mass: scale.d, proven: false });
    }

    proptest! {
        #[test]
        fn the_guard_of_the_second_caustic_never_passes_the_floor(
            oil in 100.0_f64..2000.0, first in 0.5_f64..2.5,
        ) {
            let (formula, scale, koh) = (two_caustics(), scale("0.1 g"), IngredientId::from("koh"));
            let mut weighed = masses(&[("olive", oil)]);
            let share = formula.caustic(&naoh(), &weighed).grams();
            weighed.insert(naoh(), grams(share * first));
            let rest = formula.caustic_beside(&koh, &weighed).max(Mass::ZERO);
            let guard = formula.guard(&koh, &weighed, &scale);
            let at_floor = mass_at_superfat(&formula, &koh, &weighed, 0.0).unwrap();
            prop_assert!(guard.mass <= at_floor.max(rest.floor_to(scale.d) + scale.d), "{guard:?}");
            prop_assert!(guard.mass >= rest.floor_to(scale.d) + scale.d, "the hand needs one interval");
        }

        #[test]
        fn a_guard_is_usable_and_never_looser_than_the_floor(
            superfat in 0_i64..15, oil in 50.0_f64..3000.0, tenths in 1_i64..20,
        ) {
            let formula = usual_bar(&format!("{superfat} %"));
            let fats = masses(&[("olive", oil)]);
            let d = Mass::parse("0.1 g").unwrap() * tenths;
            let scale = ScaleFacts::new(d, Mass::parse("5 kg").unwrap());
            let target = formula.caustic(&naoh(), &fats);
            let guard = formula.guard(&naoh(), &fats, &scale);
            prop_assert!(guard.mass >= target.floor_to(d) + d, "the hand needs one interval");
            prop_assert_eq!(guard.mass.floor_to(d), guard.mass);
            if guard.proven {
                prop_assert!(lower_end(&formula, &fats, guard.mass, &scale) >= Share::ZERO);
            } else {
                let slip = d.max(Mass::from_grams_rounded(target.grams() * 0.01));
                prop_assert!(guard.mass <= target + slip);
                let at_zero = mass_at_superfat(&formula, &naoh(), &fats, 0.0).unwrap();
                prop_assert!(guard.mass <= at_zero.max(target.floor_to(d) + d));
            }
        }
    }
}
