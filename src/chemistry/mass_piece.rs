use serde::{Deserialize, Serialize};

use super::ScaleFacts;
use crate::quantity::{Mass, MassUnit};

/// Class of a mass piece that a scale is tried with (OIML R 111-1:2004).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum PieceClass {
    E2,
    F1,
    F2,
    M1,
    M2,
}

/// Nominal mass in g and the maximum permissible error, ± hundredths of a mg, of E2, F1, F2, M1
/// and M2 (OIML R 111-1:2004, table 1, as transcribed).
const PIECES: [(i64, [i64; 5]); 12] = [
    (1, [3, 10, 30, 100, 300]),
    (2, [4, 12, 40, 120, 400]),
    (5, [5, 16, 50, 160, 500]),
    (10, [6, 20, 60, 200, 600]),
    (20, [8, 25, 80, 250, 800]),
    (50, [10, 30, 100, 300, 1000]),
    (100, [16, 50, 160, 500, 1600]),
    (200, [30, 100, 300, 1000, 3000]),
    (500, [80, 250, 800, 2500, 8000]),
    (1000, [160, 500, 1600, 5000, 16_000]),
    (2000, [300, 1000, 3000, 10_000, 30_000]),
    (5000, [800, 2500, 8000, 25_000, 80_000]),
];

/// What a scale without a class may be off by and still pass: two intervals or this many
/// thousandths, whichever is more. Ours.
const UNCLASSED_PER_MILLE: i64 = 2;

impl PieceClass {
    /// Maximum permissible error of a piece, ±. `None` for a nominal mass the table does not have.
    pub fn mpe(self, nominal: Mass) -> Option<Mass> {
        let (_, errors) =
            PIECES.iter().find(|(grams, _)| MassUnit::Gram.one() * *grams == nominal)?;
        let hundredths = errors[match self {
            PieceClass::E2 => 0,
            PieceClass::F1 => 1,
            PieceClass::F2 => 2,
            PieceClass::M1 => 3,
            PieceClass::M2 => 4,
        }];
        Mass::from_decimal(hundredths, 2, MassUnit::Milligram)
    }
}

impl ScaleFacts {
    /// How far a reading may lie from the piece on the pan: the scale's permissible error in
    /// service, the piece's own, and half an interval of rounding. `None` for an unknown piece.
    pub fn piece_allowance(&self, nominal: Mass, class: PieceClass) -> Option<Mass> {
        let unclassed = Mass::from_steps(nominal.steps() / 1000 * UNCLASSED_PER_MILLE);
        let scale = match self.verified {
            Some(verified) => verified.mpe_in_service(nominal),
            None => unclassed.max(self.d * 2),
        };
        Some(scale + class.mpe(nominal)? + Mass::from_steps(self.d.steps() / 2))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chemistry::{AccuracyClass, Verified};

    fn mass(text: &str) -> Mass {
        Mass::parse(text).unwrap()
    }

    #[test]
    fn pieces_are_as_good_as_table_1_says() {
        for (nominal, class, mpe) in [
            ("1 g", PieceClass::M1, "1 mg"),
            ("2 g", PieceClass::F1, "0.12 mg"),
            ("20 g", PieceClass::M1, "2.5 mg"),
            ("100 g", PieceClass::F2, "1.6 mg"),
            ("500 g", PieceClass::M1, "25 mg"),
            ("1 kg", PieceClass::M2, "160 mg"),
            ("5 kg", PieceClass::E2, "8 mg"),
        ] {
            assert_eq!(class.mpe(mass(nominal)), Some(mass(mpe)), "{nominal} {class:?}");
        }
        assert_eq!(PieceClass::M1.mpe(mass("3 g")), None);
    }

    #[test]
    fn a_reading_may_be_off_by_scale_and_piece_together() {
        let plain = ScaleFacts::new(mass("0.1 g"), mass("3 kg"));
        // 0.2 % of 500 g, 25 mg of the piece, half of 0.1 g
        assert_eq!(plain.piece_allowance(mass("500 g"), PieceClass::M1), Some(mass("1.075 g")));
        assert_eq!(plain.piece_allowance(mass("20 g"), PieceClass::M1), Some(mass("0.2525 g")));
        let verified = Verified { class: AccuracyClass::II, e: mass("0.1 g") };
        let classed = ScaleFacts { verified: Some(verified), ..plain };
        assert_eq!(classed.piece_allowance(mass("500 g"), PieceClass::M1), Some(mass("0.175 g")));
        assert_eq!(classed.piece_allowance(mass("3 g"), PieceClass::M1), None);
    }
}
