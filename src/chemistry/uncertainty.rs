//! Propagation of uncertainty as in JCGM 100:2008 (GUM), for uncorrelated inputs.
//!
//! Values are plain numbers here, in whatever units the caller's model has; they do not leave the
//! room of chemistry.

/// A value with its standard uncertainty, both in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Input {
    pub value: f64,
    pub u: f64,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) struct Combined {
    pub value: f64,
    /// Combined standard uncertainty.
    pub u: f64,
    /// What each input adds, |sensitivity| × u, in the order of the inputs.
    pub contributions: Vec<f64>,
}

impl Input {
    /// Anywhere within ± half_width with equal right: a / √3 (GUM 4.3.7).
    pub fn rectangular(value: f64, half_width: f64) -> Input {
        Input { value, u: half_width / 3.0_f64.sqrt() }
    }
}

/// The same for a range that is not centred on its working value: the longer side counts for
/// both, which errs on the side of more uncertainty.
pub(super) fn within(low: f64, value: f64, high: f64) -> Input {
    Input::rectangular(value, (value - low).max(high - value))
}

/// Standard uncertainty of a reading rounded to whole steps: step / √12 (GUM F.2.2.1).
pub(super) fn resolution(step: f64) -> f64 {
    step / 12.0_f64.sqrt()
}

/// Combines the uncertainties of the inputs of `model` (GUM 5.1.2, equation 10). Sensitivities
/// are taken from the model itself, as half the change between x + u and x − u (GUM 5.1.3,
/// note 2), so that no derivative is written down twice.
pub(super) fn combine(inputs: &[Input], model: impl Fn(&[f64]) -> f64) -> Combined {
    let mut values: Vec<f64> = inputs.iter().map(|input| input.value).collect();
    let value = model(&values);
    let mut contributions = Vec::with_capacity(inputs.len());
    for (index, input) in inputs.iter().enumerate() {
        values[index] = input.value + input.u;
        let above = model(&values);
        values[index] = input.value - input.u;
        let below = model(&values);
        values[index] = input.value;
        contributions.push((above - below).abs() / 2.0);
    }
    let u = contributions.iter().map(|part| part * part).sum::<f64>().sqrt();
    Combined { value, u, contributions }
}

/// The chance that a normal value lies more than `z` standard uncertainties below its mean.
///
/// Abramowitz and Stegun, equation 7.1.26 (from memory): error below 2 × 10⁻⁷.
pub(super) fn normal_tail(z: f64) -> f64 {
    let x = z.abs() / 2.0_f64.sqrt();
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let series = [1.061_405_429, -1.453_152_027, 1.421_413_741, -0.284_496_736, 0.254_829_592]
        .iter()
        .fold(0.0, |sum, coefficient| (sum + coefficient) * t);
    let tail = series * (-x * x).exp() / 2.0;
    if z >= 0.0 { tail } else { 1.0 - tail }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    fn triangular(value: f64, half_width: f64) -> Input {
        Input { value, u: half_width / 6.0_f64.sqrt() }
    }

    fn near(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() <= within, "{found} instead of {expected}");
    }

    pub(in crate::chemistry) fn end_gauge() -> Combined {
        // JCGM 100:2008, H.1: l = ls + d − ls (δα θ + αs δθ), in nm
        let input = |value, u| Input { value, u };
        let inputs = [
            input(50_000_623.0, 25.0),
            input(215.0, 5.8),
            input(0.0, 3.9),
            input(0.0, 6.7),
            Input::rectangular(11.5e-6, 2e-6),
            Input::rectangular(0.0, 1e-6),
            Input::rectangular(0.0, 0.05),
            input(-0.1, 0.2),
            // cyclic variation of ±0.5 K about the mean: arcsine, a / √2
            input(0.0, 0.5 / 2.0_f64.sqrt()),
        ];
        combine(&inputs, |x| {
            let (standard, differences) = (x[0], x[1] + x[2] + x[3]);
            let theta = x[7] + x[8];
            standard + differences - standard * (x[5] * theta + x[4] * x[6])
        })
    }

    #[test]
    fn end_gauge_of_gum_h_1() {
        let length = end_gauge();
        near(length.value, 50_000_838.0, 0.01);
        near(length.u, 31.6639, 0.0005);
        for (index, expected) in [(0, 25.0), (1, 5.8), (2, 3.9), (3, 6.7), (6, 16.599)] {
            near(length.contributions[index], expected, 0.001);
        }
        near(length.contributions[5], 2.886_79, 0.0001);
        near(length.contributions[4], 0.0, 1e-9);
    }

    pub(in crate::chemistry) fn cadmium_standard() -> Combined {
        // EURACHEM/CITAC Guide CG 4, example A1: c = 1000 m P / V, in mg/L
        let inputs = [
            Input::rectangular(0.9999, 0.0001),
            Input { value: 100.28, u: 0.05 },
            triangular(100.0, 0.1),
            Input { value: 0.0, u: 0.02 },
            Input::rectangular(0.0, 0.084),
        ];
        combine(&inputs, |x| 1000.0 * x[1] * x[0] / (x[2] + x[3] + x[4]))
    }

    #[test]
    fn cadmium_standard_of_eurachem_a_1() {
        let c = cadmium_standard();
        near(c.value, 1_002.699_72, 1e-5);
        near(c.u, 0.835_199, 1e-6);
        for (index, expected) in
            [0.057_896_7, 0.499_95, 0.409_35, 0.200_54, 0.486_284].into_iter().enumerate()
        {
            near(c.contributions[index], expected, 1e-5);
        }
    }

    #[test]
    fn a_tenth_of_a_gram_and_the_difference_of_two_readings() {
        near(resolution(0.1), 0.028_868, 5e-7);
        let reading = Input { value: 0.0, u: resolution(0.1) };
        near(combine(&[reading, reading], |x| x[0] - x[1]).u, 0.040_825, 5e-7);
    }

    #[test]
    fn tails_of_the_normal_distribution() {
        // standard normal table
        for (z, tail) in [(0.0, 0.5), (1.0, 0.158_655), (2.0, 0.022_750), (3.0, 0.001_350)] {
            near(normal_tail(z), tail, 1e-6);
            near(normal_tail(-z), 1.0 - tail, 1e-6);
        }
    }
}
