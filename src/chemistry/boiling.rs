use thiserror::Error;

use super::caustic_heat::smooth;
use crate::quantity::{Share, Temperature};

/// A height that no bench stands at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("the altitude is {metres} m; expected {LOWEST_M} m to {HIGHEST_M} m above the sea")]
pub struct AltitudeError {
    pub metres: i32,
}

/// A lye stronger than the table of its boiling points.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("the boiling point of lye with {naoh} of NaOH is not known here; expected 0 % to 50 %")]
pub struct StrengthError {
    pub naoh: Share,
}

/// Below the shore of the Dead Sea, and above the highest town.
const LOWEST_M: i32 = -430;
const HIGHEST_M: i32 = 5500;

/// Coefficients n1 to n10 of IAPWS R7-97(2012), region 4, table 34.
const N: [f64; 10] = [
    0.116_705_214_527_67e4,
    -0.724_213_167_032_06e6,
    -0.170_738_469_400_92e2,
    0.120_208_247_024_70e5,
    -0.323_255_503_223_33e7,
    0.149_151_086_135_30e2,
    -0.482_326_573_615_91e4,
    0.405_113_405_420_57e6,
    -0.238_555_575_678_49,
    0.650_175_348_447_98e3,
];

/// Boiling point of NaOH lye above water's at 1013.25 hPa and at 794.95 hPa (2000 m): mass
/// fraction and K. Computed from Olsson, Jernqvist and Aly, Int. J. Thermophys. 18 (1997) 3.
const ELEVATION_SEA: [(f64, f64); 12] = [
    (0.0, 0.0),
    (0.05, 1.3),
    (0.10, 2.8),
    (0.15, 4.9),
    (0.20, 7.9),
    (0.25, 12.0),
    (0.30, 17.0),
    (0.35, 23.1),
    (0.38, 27.2),
    (0.40, 30.1),
    (0.45, 38.0),
    (0.50, 46.4),
];
const ELEVATION_2000_M: [(f64, f64); 12] = [
    (0.0, 0.0),
    (0.05, 1.3),
    (0.10, 2.7),
    (0.15, 4.8),
    (0.20, 7.8),
    (0.25, 11.8),
    (0.30, 16.8),
    (0.35, 22.8),
    (0.38, 26.9),
    (0.40, 29.8),
    (0.45, 37.6),
    (0.50, 45.8),
];
const SEA_PA: f64 = 101_325.0;
const AT_2000_M_PA: f64 = 79_495.2;

/// Air pressure of the standard atmosphere (ISO 2533:1975) by geopotential altitude, in Pa. The
/// weather moves it by some 3 %, which is 0.8 K in the boiling point.
pub fn standard_pressure_pa(altitude_m: i32) -> Result<f64, AltitudeError> {
    if !(LOWEST_M..=HIGHEST_M).contains(&altitude_m) {
        return Err(AltitudeError { metres: altitude_m });
    }
    Ok(SEA_PA * (1.0 - 0.0065 * f64::from(altitude_m) / 288.15).powf(5.255_88))
}

/// Where water boils in the standard atmosphere.
pub fn water_boils_at(altitude_m: i32) -> Result<Temperature, AltitudeError> {
    let kelvin = saturation_kelvin(standard_pressure_pa(altitude_m)? / 1e6);
    Ok(Temperature::from_celsius_rounded(kelvin - 273.15))
}

/// Where NaOH lye of this concentration boils. For potassium hydroxide no figures were found;
/// its lye too boils above water.
pub fn lye_boils_at(naoh: Share, altitude_m: i32) -> Result<Temperature, LyeBoilingError> {
    if !(Share::ZERO..=Share::from_percent(50)).contains(&naoh) {
        return Err(StrengthError { naoh }.into());
    }
    let pressure = standard_pressure_pa(altitude_m)?;
    let [sea, high] =
        [&ELEVATION_SEA, &ELEVATION_2000_M].map(|table| smooth(table, naoh.fraction()));
    let elevation = high + (sea - high) * (pressure - AT_2000_M_PA) / (SEA_PA - AT_2000_M_PA);
    let water = saturation_kelvin(pressure / 1e6) - 273.15;
    Ok(Temperature::from_celsius_rounded(water + elevation))
}

/// Why a boiling point of lye is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum LyeBoilingError {
    #[error(transparent)]
    Altitude(#[from] AltitudeError),
    #[error(transparent)]
    Strength(#[from] StrengthError),
}

/// IAPWS R7-97(2012), equation 31: boiling point of water in K at a pressure in MPa.
fn saturation_kelvin(mpa: f64) -> f64 {
    let beta = mpa.powf(0.25);
    let e = beta * beta + N[2] * beta + N[5];
    let f = N[0] * beta * beta + N[3] * beta + N[6];
    let g = N[1] * beta * beta + N[4] * beta + N[7];
    let d = 2.0 * g / (-f - (f * f - 4.0 * e * g).sqrt());
    let sum = N[9] + d;
    (sum - (sum * sum - 4.0 * (N[8] + N[9] * d)).sqrt()) / 2.0
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// ISO 2533:1975, geopotential altitude in m, hPa.
    pub(in crate::chemistry) const PRESSURES: [(i32, &str); 7] = [
        (0, "1013.250"),
        (500, "954.608"),
        (1000, "898.746"),
        (1500, "845.560"),
        (2000, "794.952"),
        (2500, "746.825"),
        (3000, "701.085"),
    ];

    /// IF97 at the pressures of ISO 2533: altitude in m, °C.
    pub(in crate::chemistry) const WATER_BOILS: [(i32, f64); 8] = [
        (0, 99.9743),
        (100, 99.6421),
        (500, 98.3125),
        (1000, 96.6488),
        (1500, 94.9830),
        (2000, 93.3151),
        (2500, 91.6449),
        (3000, 89.9723),
    ];

    /// Olsson 1997: mass fraction of NaOH, °C at 1013.25 hPa and at 794.95 hPa.
    pub(in crate::chemistry) const LYE_BOILS: [(f64, f64, f64); 9] = [
        (0.22, 109.4, 102.5),
        (0.24, 111.1, 104.2),
        (0.26, 112.9, 106.0),
        (0.2672, 113.6, 106.7),
        (0.28, 114.9, 107.9),
        (0.32, 119.3, 112.4),
        (0.3333, 120.9, 114.0),
        (0.45, 138.0, 130.9),
        (0.50, 146.4, 139.1),
    ];

    /// IAPWS R7-97(2012), table 35 (K, MPa) and table 36 (MPa, K).
    pub(in crate::chemistry) const TABLE_35: [(f64, &str); 3] =
        [(300.0, "3.53658941e-3"), (500.0, "2.63889776e0"), (600.0, "1.23443146e1")];
    pub(in crate::chemistry) const TABLE_36: [(f64, &str); 3] =
        [(0.1, "372.755919"), (1.0, "453.035632"), (10.0, "584.149488")];

    pub(in crate::chemistry) fn boiling_kelvin(mpa: f64) -> f64 {
        saturation_kelvin(mpa)
    }

    /// Equation 30, the same curve the other way: pressure in MPa at a temperature in K.
    pub(in crate::chemistry) fn saturation_mpa(kelvin: f64) -> f64 {
        let theta = kelvin + N[8] / (kelvin - N[9]);
        let a = theta * theta + N[0] * theta + N[1];
        let b = N[2] * theta * theta + N[3] * theta + N[4];
        let c = N[5] * theta * theta + N[6] * theta + N[7];
        (2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt())).powi(4)
    }

    #[test]
    fn verification_values_of_if97_to_all_digits() {
        for (kelvin, mpa) in TABLE_35 {
            assert_eq!(format!("{:.8e}", saturation_mpa(kelvin)), mpa);
        }
        for (mpa, kelvin) in TABLE_36 {
            assert_eq!(format!("{:.6}", saturation_kelvin(mpa)), kelvin);
        }
    }

    #[test]
    fn pressures_of_the_standard_atmosphere() {
        for (metres, hpa) in PRESSURES {
            assert_eq!(format!("{:.3}", standard_pressure_pa(metres).unwrap() / 100.0), hpa);
        }
        assert!(standard_pressure_pa(9000).is_err());
    }

    #[test]
    fn water_boils_lower_on_a_hill() {
        for (metres, celsius) in WATER_BOILS {
            let found = water_boils_at(metres).unwrap().celsius();
            assert!((found - celsius).abs() < 0.0002, "{metres} m: {found}");
        }
    }

    #[test]
    fn lye_boils_higher_than_water() {
        for (fraction, sea, hill) in LYE_BOILS {
            let naoh = Share::from_fraction_rounded(fraction);
            for (altitude, expected) in [(0, sea), (2000, hill)] {
                let found = lye_boils_at(naoh, altitude).unwrap().celsius();
                assert!((found - expected).abs() < 0.2, "{fraction}: {found} not {expected}");
            }
        }
        assert!(lye_boils_at(Share::from_percent(55), 0).is_err());
    }
}
