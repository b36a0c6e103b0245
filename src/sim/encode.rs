//! How the simulated instruments speak. Written from the shapes of lines, apart from the decoders
//! of the wire room.

use super::pan::Shown;
use crate::quantity::MassUnit;

/// `ST,+00123.45  g`, `US,+00124.10  g`, `OL,+9999999   g`: status, sign, eight places, unit in
/// three places.
pub fn scale_line(shown: Shown, unit: MassUnit, decimals: usize) -> Vec<u8> {
    let symbol = unit.symbol();
    let (status, count) = match shown {
        Shown::Over => return format!("OL,+9999999 {symbol:>3}\r\n").into_bytes(),
        Shown::Stable(count) => ("ST", count),
        Shown::Moving(count) => ("US", count),
    };
    let sign = if count < 0 { '-' } else { '+' };
    let number = places(count.unsigned_abs(), decimals, 8);
    format!("{status},{sign}{number}{symbol:>3}\r\n").into_bytes()
}

/// `41.7,23.1,----`: one place a probe, tenths of a degree Celsius.
pub fn probes_line(tenths: &[Option<i64>]) -> Vec<u8> {
    let shown = tenths.iter().map(|tenths| match tenths {
        Some(tenths) => {
            let sign = if *tenths < 0 { "-" } else { "" };
            format!("{sign}{}", places(tenths.unsigned_abs(), 1, 1))
        }
        None => "----".to_owned(),
    });
    let line: Vec<String> = shown.collect();
    format!("{}\r\n", line.join(",")).into_bytes()
}

/// `T1 +041.7C`, and `OL` for an open probe.
pub fn probe_answer(tenths: Option<i64>) -> Vec<u8> {
    match tenths {
        Some(tenths) => {
            let sign = if tenths < 0 { '-' } else { '+' };
            format!("T1 {sign}{}C\r\n", places(tenths.unsigned_abs(), 1, 5)).into_bytes()
        }
        None => b"OL\r\n".to_vec(),
    }
}

/// A count of decimal steps, filled with noughts to a width.
fn places(count: u64, decimals: usize, width: usize) -> String {
    if decimals == 0 {
        return format!("{count:0width$}");
    }
    let step = 10_u64.pow(u32::try_from(decimals).unwrap_or(1));
    let whole_width = width.saturating_sub(decimals + 1);
    format!("{:0whole_width$}.{:0decimals$}", count / step, count % step)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(bytes: Vec<u8>) -> String {
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn scale_lines_have_their_shape() {
        let g = MassUnit::Gram;
        assert_eq!(text(scale_line(Shown::Stable(12345), g, 2)), "ST,+00123.45  g\r\n");
        assert_eq!(text(scale_line(Shown::Stable(-2), g, 2)), "ST,-00000.02  g\r\n");
        assert_eq!(text(scale_line(Shown::Moving(5234), g, 1)), "US,+000523.4  g\r\n");
        assert_eq!(text(scale_line(Shown::Over, g, 1)), "OL,+9999999   g\r\n");
        let oz = MassUnit::Ounce;
        assert_eq!(text(scale_line(Shown::Stable(18460), oz, 3)), "ST,+0018.460 oz\r\n");
        let widths: Vec<usize> = [Shown::Over, Shown::Stable(1), Shown::Moving(-300_000)]
            .iter()
            .map(|&shown| scale_line(shown, g, 1).len())
            .collect();
        assert_eq!(widths, [17, 17, 17]);
    }

    #[test]
    fn thermometer_lines_have_their_shape() {
        assert_eq!(text(probes_line(&[Some(417), Some(-31), None])), "41.7,-3.1,----\r\n");
        assert_eq!(text(probe_answer(Some(417))), "T1 +041.7C\r\n");
        assert_eq!(text(probe_answer(Some(-31))), "T1 -003.1C\r\n");
        assert_eq!(text(probe_answer(None)), "OL\r\n");
    }
}
