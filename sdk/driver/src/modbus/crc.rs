//! The check sum of RTU frames.

/// CRC-16 as *MODBUS over Serial Line V1.02*, 6.2.2 makes it: polynomial A001 (reflected), start FFFF. It travels low byte
/// first.
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, &byte| {
        (0..8).fold(crc ^ u16::from(byte), |crc, _| if crc & 1 == 1 { (crc >> 1) ^ 0xA001 } else { crc >> 1 })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: the worked example of the standard. *Serial Line V1.02*, 6.2.2: address 02, function 07 gives 1241 hex, sent
    /// as 41 12 (figures from memory).
    #[test]
    fn the_example_of_the_guide() {
        assert_eq!(crc16(&[0x02, 0x07]), 0x1241);
    }

    /// Goal: the usual check string. Catalogue of parametrised CRC algorithms, CRC-16/MODBUS, check 4B37 (from memory).
    #[test]
    fn the_usual_check_string() {
        assert_eq!(crc16(b"123456789"), 0x4B37);
    }

    /// Goal: a frame followed by its own check sum, low byte first, gives 0 (property of this kind of check sum).
    #[test]
    fn a_whole_frame_gives_nothing() {
        assert_eq!(crc16(&[0x02, 0x07, 0x41, 0x12]), 0);
    }
}
