//! Standing cuts: writes that the host can send without the driver.

use hearthward_driver::StandingCut;
use hearthward_driver::modbus::{Framing, Request};

/// Transaction number of every standing cut. The driver's own numbers leave it out, so that the echo of a cut is never taken
/// for the answer to something else.
pub(crate) const CUT_TRANSACTION: u16 = 0xC0C0;

/// The write as bytes, with the echo that confirms it. None only for a write that no request can carry, which the map has
/// refused before.
pub(crate) fn standing(framing: Framing, line: u32, address: u8, write: &Request) -> Option<StandingCut> {
    let pdu = write.pdu().ok()?;
    // Functions 5, 6 and 22 are echoed whole; 15 and 16 up to the count.
    let expect = framing.request(CUT_TRANSACTION, address, &pdu[..write.reply_bytes()]);
    Some(StandingCut {
        line,
        request: framing.request(CUT_TRANSACTION, address, &pdu),
        reply: framing.rules(write),
        mask: vec![0xFF; expect.len()],
        expect,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Goal: the echo that is expected is the one the specification makes: a single write is repeated, a multiple one
    /// answered with address and count (*Application Protocol V1.1b3*, 6.5 and 6.12, from memory).
    #[test]
    fn the_expected_echo() {
        let coil = standing(Framing::Tcp, 0, 3, &Request::WriteCoil { at: 7, on: false }).expect("possible");
        assert_eq!(coil.request, [0xC0, 0xC0, 0, 0, 0, 6, 3, 5, 0, 7, 0, 0]);
        assert_eq!(coil.expect, coil.request);
        let registers = Request::WriteRegisters { at: 0x10, values: vec![0, 0] };
        let words = standing(Framing::Tcp, 0, 3, &registers).expect("possible");
        assert_eq!(words.expect, [0xC0, 0xC0, 0, 0, 0, 6, 3, 16, 0, 0x10, 0, 2]);
        assert_eq!(words.mask.len(), words.expect.len());
        let rtu = standing(Framing::Rtu, 0, 3, &registers).expect("possible");
        assert_eq!((rtu.request.len(), rtu.expect.len()), (13, 8));
    }
}
