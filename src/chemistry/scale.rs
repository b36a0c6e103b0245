use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::uncertainty::resolution;
use crate::quantity::Mass;

/// What is known of the scale that weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ScaleFacts {
    /// Scale interval d.
    pub d: Mass,
    pub capacity: Mass,
    /// The class on the scale's plate; kitchen scales have none.
    #[serde(default)]
    pub verified: Option<Verified>,
}

/// What the plate of a verified scale says (OIML R 76-1:2006).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Verified {
    pub class: AccuracyClass,
    /// Verification scale interval e.
    pub e: Mass,
}

/// Accuracy class of a weighing instrument: special, high, medium, ordinary.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum AccuracyClass {
    I,
    II,
    III,
    IIII,
}

/// Why a scale cannot be what its plate is said to say.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ScaleError {
    #[error("the scale interval is {d}; expected more than nothing")]
    Interval { d: Mass },
    #[error("the capacity is {capacity} with an interval of {d}; expected at least ten intervals")]
    Capacity { capacity: Mass, d: Mass },
    #[error("e is {e} while d is {d}; expected d ≤ e ≤ 10 d, as on every plate (OIML R 76, 3.1.2)")]
    VerificationInterval { e: Mass, d: Mass },
    #[error(
        "class {class:?} with e = {e} has {intervals} intervals up to its capacity; expected \
         {least} to {most} (OIML R 76, table 3); read the plate again"
    )]
    Intervals { class: AccuracyClass, e: Mass, intervals: i64, least: i64, most: i64 },
    #[error("e is {e} for class {class:?}; expected at least {least} (OIML R 76, table 3)")]
    TooFine { class: AccuracyClass, e: Mass, least: Mass },
}

/// Loads in e up to which the maximum permissible error is 0.5 e, 1 e and 1.5 e
/// (OIML R 76-1:2006, table 6). Class I has no upper end.
const STEPS: [(AccuracyClass, [i64; 3]); 4] = [
    (AccuracyClass::I, [50_000, 200_000, i64::MAX]),
    (AccuracyClass::II, [5_000, 20_000, 100_000]),
    (AccuracyClass::III, [500, 2_000, 10_000]),
    (AccuracyClass::IIII, [50, 200, 1_000]),
];
const G: i64 = 1_600_000_000;
const MG: i64 = G / 1000;

impl ScaleFacts {
    /// A scale without a class on its plate.
    pub const fn new(d: Mass, capacity: Mass) -> ScaleFacts {
        ScaleFacts { d, capacity, verified: None }
    }

    /// Refuses what no scale's plate can say.
    pub fn check(&self) -> Result<(), ScaleError> {
        if self.d <= Mass::ZERO {
            return Err(ScaleError::Interval { d: self.d });
        }
        if self.capacity < self.d * 10 {
            return Err(ScaleError::Capacity { capacity: self.capacity, d: self.d });
        }
        self.verified.map_or(Ok(()), |verified| verified.check(self))
    }

    /// What of this scale's errors the superfat's uncertainty counts, to be printed beside it.
    pub const fn counted(&self) -> &'static str {
        match self.verified {
            Some(_) => "the scale's reading step and twice its class's error at verification",
            None => "the scale's reading step only, since no class stands on its plate",
        }
    }

    /// Standard uncertainty of a net mass, in grams: two readings (tared and loaded) rounded to d
    /// and, where the class is known, the maximum permissible error in service as a rectangle.
    /// Errors of one scale partly cancel between fats and caustic; they are counted in full.
    pub(super) fn u_g(&self, net: Mass) -> f64 {
        let reading = resolution(self.d.grams());
        let permissible =
            self.verified.map_or(0.0, |v| v.mpe_in_service(net).grams() / 3.0_f64.sqrt());
        (2.0 * reading * reading + permissible * permissible).sqrt()
    }
}

impl Verified {
    /// Maximum permissible error, ±, at verification (OIML R 76-1:2006, table 6). Above the
    /// class's last load the last step goes on.
    pub fn mpe_initial(self, load: Mass) -> Mass {
        let [half, one, _] = self.class.steps();
        // the bounds belong to the smaller error; comparing in e keeps them exact
        let load = i128::from(load.abs().steps());
        let up_to = |intervals: i64| load <= i128::from(self.e.steps()) * i128::from(intervals);
        let halves = if up_to(half) {
            1
        } else if up_to(one) {
            2
        } else {
            3
        };
        Mass::from_steps(self.e.steps() * halves / 2)
    }

    /// In use a scale may be wrong by twice as much (OIML R 76-1:2006, 3.5.2; clause from memory).
    pub fn mpe_in_service(self, load: Mass) -> Mass {
        self.mpe_initial(load) * 2
    }

    /// The smallest load worth weighing (OIML R 76-1:2006, table 3).
    pub fn minimum_capacity(self) -> Mass {
        self.e
            * match self.class {
                AccuracyClass::I => 100,
                AccuracyClass::II if self.e.steps() >= 100 * MG => 50,
                AccuracyClass::II | AccuracyClass::III => 20,
                AccuracyClass::IIII => 10,
            }
    }

    fn check(self, scale: &ScaleFacts) -> Result<(), ScaleError> {
        let (class, e) = (self.class, self.e);
        if e < scale.d || e > scale.d * 10 {
            return Err(ScaleError::VerificationInterval { e, d: scale.d });
        }
        let (finest, least, most) = match class {
            AccuracyClass::I => (MG, 50_000, i64::MAX),
            AccuracyClass::II if e.steps() >= 100 * MG => (MG, 5_000, 100_000),
            AccuracyClass::II => (MG, 100, 100_000),
            AccuracyClass::III if e.steps() >= 5 * G => (100 * MG, 500, 10_000),
            AccuracyClass::III => (100 * MG, 100, 10_000),
            AccuracyClass::IIII => (5 * G, 100, 1_000),
        };
        let finest = Mass::from_steps(finest);
        if e < finest {
            return Err(ScaleError::TooFine { class, e, least: finest });
        }
        let intervals = scale.capacity.steps() / e.steps();
        if !(least..=most).contains(&intervals) {
            return Err(ScaleError::Intervals { class, e, intervals, least, most });
        }
        Ok(())
    }
}

impl AccuracyClass {
    fn steps(self) -> [i64; 3] {
        match self {
            AccuracyClass::I => STEPS[0].1,
            AccuracyClass::II => STEPS[1].1,
            AccuracyClass::III => STEPS[2].1,
            AccuracyClass::IIII => STEPS[3].1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mass(text: &str) -> Mass {
        Mass::parse(text).unwrap()
    }

    #[test]
    fn errors_step_where_table_6_says() {
        // OIML R 76-1:2006, table 6: the load in e up to which each error holds
        let expected = [
            (AccuracyClass::I, [(50_000, 50_001), (200_000, 200_001)]),
            (AccuracyClass::II, [(5_000, 5_001), (20_000, 20_001)]),
            (AccuracyClass::III, [(500, 501), (2_000, 2_001)]),
            (AccuracyClass::IIII, [(50, 51), (200, 201)]),
        ];
        for (class, [(half, past_half), (one, past_one)]) in expected {
            let e = mass("10 g");
            let scale = Verified { class, e };
            let halves = |load| {
                scale.mpe_initial(Mass::from_steps(e.steps() * load)).steps() * 2 / e.steps()
            };
            let found = [0, half, past_half, one, past_one].map(halves);
            assert_eq!(found, [1, 1, 2, 2, 3], "{class:?}");
        }
    }

    #[test]
    fn three_kilograms_in_grams_of_class_iii() {
        let scale = Verified { class: AccuracyClass::III, e: mass("1 g") };
        for (load, initial, in_service) in
            [("400 g", "0.5 g", "1 g"), ("1000 g", "1 g", "2 g"), ("2500 g", "1.5 g", "3 g")]
        {
            assert_eq!(scale.mpe_initial(mass(load)), mass(initial));
            assert_eq!(scale.mpe_in_service(mass(load)), mass(in_service));
        }
        assert_eq!(scale.minimum_capacity(), mass("20 g"));
    }

    #[test]
    fn minimum_capacities_of_table_3() {
        for (class, e, minimum) in [
            (AccuracyClass::I, "0.001 g", "0.1 g"),
            (AccuracyClass::II, "0.01 g", "0.2 g"),
            (AccuracyClass::II, "0.1 g", "5 g"),
            (AccuracyClass::III, "5 g", "100 g"),
            (AccuracyClass::IIII, "5 g", "50 g"),
        ] {
            assert_eq!(Verified { class, e: mass(e) }.minimum_capacity(), mass(minimum));
        }
    }

    #[test]
    fn a_plate_that_cannot_be_is_refused() {
        let scale = |d, capacity, class, e| ScaleFacts {
            d: mass(d),
            capacity: mass(capacity),
            verified: Some(Verified { class, e: mass(e) }),
        };
        assert_eq!(scale("1 g", "3000 g", AccuracyClass::III, "1 g").check(), Ok(()));
        assert_eq!(scale("0.01 g", "620 g", AccuracyClass::II, "0.1 g").check(), Ok(()));
        let words = scale("0.1 g", "3000 g", AccuracyClass::III, "0.1 g").check().unwrap_err();
        assert_eq!(
            words.to_string(),
            "class III with e = 0.100 g has 30000 intervals up to its capacity; expected 100 to \
             10000 (OIML R 76, table 3); read the plate again"
        );
        let coarse = scale("1 g", "3000 g", AccuracyClass::III, "0.5 g").check();
        assert!(matches!(coarse, Err(ScaleError::VerificationInterval { .. })));
        let fine = scale("1 g", "1000 g", AccuracyClass::IIII, "1 g").check();
        assert!(matches!(fine, Err(ScaleError::TooFine { .. })));
        assert!(ScaleFacts::new(Mass::ZERO, mass("1 kg")).check().is_err());
        assert!(ScaleFacts::new(mass("1 g"), mass("5 g")).check().is_err());
    }

    #[test]
    fn a_class_adds_its_error_in_service() {
        let plain = ScaleFacts::new(mass("0.1 g"), mass("3 kg"));
        // difference of two readings of 0.1 g: 0.040 825 g (GUM F.2.2.1)
        assert!((plain.u_g(mass("64 g")) - 0.040_825).abs() < 1e-6);
        assert!(plain.counted().contains("no class"));
        let verified = Verified { class: AccuracyClass::II, e: mass("0.1 g") };
        let classed = ScaleFacts { verified: Some(verified), ..plain };
        let expected = (0.040_825_f64.powi(2) + 0.1_f64.powi(2) / 3.0).sqrt();
        assert!((classed.u_g(mass("64 g")) - expected).abs() < 1e-6);
    }
}
