use serde::{Deserialize, Serialize};

/// How a frame proves that it arrived whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Checksum {
    /// All covered bytes XORed, eight bits.
    Xor,
    /// All covered bytes added, the low eight bits.
    Sum,
    /// What must be added to the sum to make it zero, eight bits.
    TwosComplement,
    /// CRC-16 of Modbus over serial line V1.02, §6.2.2, low byte first.
    Crc16Modbus,
}

impl Checksum {
    /// The check as the bytes that follow the covered ones.
    pub fn of(self, covered: &[u8]) -> Vec<u8> {
        let sum = covered.iter().fold(0_u8, |sum, &byte| sum.wrapping_add(byte));
        match self {
            Checksum::Xor => vec![covered.iter().fold(0, |all, byte| all ^ byte)],
            Checksum::Sum => vec![sum],
            Checksum::TwosComplement => vec![sum.wrapping_neg()],
            Checksum::Crc16Modbus => crc16_modbus(covered).to_le_bytes().to_vec(),
        }
    }

    /// As a sheet names it.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Checksum::Xor => "`xor`",
            Checksum::Sum => "`sum`",
            Checksum::TwosComplement => "`twos-complement`",
            Checksum::Crc16Modbus => "`crc16-modbus`",
        }
    }

    /// Bytes of the check itself, before they are written as hex or as they are.
    pub const fn width(self) -> usize {
        match self {
            Checksum::Crc16Modbus => 2,
            Checksum::Xor | Checksum::Sum | Checksum::TwosComplement => 1,
        }
    }
}

/// Preload FFFF, XOR each byte into the low half, shift right, XOR A001 when a one falls out
/// (Modbus over serial line specification V1.02, §6.2.2).
pub fn crc16_modbus(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xffff, |mut crc: u16, &byte| {
        crc ^= u16::from(byte);
        for _ in 0..8 {
            let fell_out = crc & 1 == 1;
            crc >>= 1;
            if fell_out {
                crc ^= 0xa001;
            }
        }
        crc
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crc_16_agrees_with_the_published_example() {
        // Modbus over serial line V1.02, Appendix B: frame 02 07 gives 0x1241, sent as 41 12
        assert_eq!(crc16_modbus(&[0x02, 0x07]), 0x1241);
        assert_eq!(Checksum::Crc16Modbus.of(&[0x02, 0x07]), [0x41, 0x12]);
        // check value of the CRC-16/MODBUS catalogue entry (from memory, recomputed)
        assert_eq!(crc16_modbus(b"123456789"), 0x4b37);
    }

    #[test]
    fn xor_agrees_with_well_known_sentences() {
        // NMEA 0183 sentences, XOR between $ and * (from memory, recomputed)
        let text = b"GPGLL,5057.970,N,00146.110,E,142451,A";
        assert_eq!(Checksum::Xor.of(text), [0x27]);
        assert_eq!(Checksum::Xor.of(b"GPVTG,089.0,T,,,15.2,N,,"), [0x7f]);
    }

    #[test]
    fn a_twos_complement_makes_the_sum_zero() {
        let covered = b"W S 523.40 g";
        let check = Checksum::TwosComplement.of(covered);
        let whole = [covered.as_slice(), &check].concat();
        assert_eq!(Checksum::Sum.of(&whole), [0]);
    }
}
