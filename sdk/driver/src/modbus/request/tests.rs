//! The frames that *MODBUS Application Protocol Specification V1.1b3* (APS) prints as examples, by section. The document
//! cannot be fetched where this was written: sections and bytes are from memory. The end-to-end tests hold the codec against
//! an independent server.

use super::*;

fn pdu(request: &Request) -> Vec<u8> {
    request.pdu().expect("a request of the specification")
}

/// Bits 20 to 38 of APS 6.1, as its text lists them: CD = 27–20, 6B = 35–28, 05 = 38–36.
fn bits(bytes: &[u8], count: usize) -> Vec<bool> {
    (0..count).map(|bit| bytes[bit / 8] & (1 << (bit % 8)) != 0).collect()
}

/// APS 6.1, Read Coils: outputs 20–38.
#[test]
fn read_coils() {
    let ask = Request::ReadBits { table: Table::Coil, at: 0x13, count: 0x13 };
    assert_eq!(pdu(&ask), [0x01, 0x00, 0x13, 0x00, 0x13]);
    assert_eq!(ask.reply(&[0x01, 0x03, 0xCD, 0x6B, 0x05]), Ok(Reply::Bits(bits(&[0xCD, 0x6B, 0x05], 19))));
}

/// APS 6.2, Read Discrete Inputs: inputs 197–218.
#[test]
fn read_discrete_inputs() {
    let ask = Request::ReadBits { table: Table::DiscreteInput, at: 0xC4, count: 0x16 };
    assert_eq!(pdu(&ask), [0x02, 0x00, 0xC4, 0x00, 0x16]);
    assert_eq!(ask.reply(&[0x02, 0x03, 0xAC, 0xDB, 0x35]), Ok(Reply::Bits(bits(&[0xAC, 0xDB, 0x35], 22))));
}

/// APS 6.3, Read Holding Registers: registers 108–110, contents 555, 0, 100.
#[test]
fn read_holding_registers() {
    let ask = Request::ReadRegisters { table: Table::Holding, at: 0x6B, count: 3 };
    assert_eq!(pdu(&ask), [0x03, 0x00, 0x6B, 0x00, 0x03]);
    let reply = ask.reply(&[0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64]);
    assert_eq!(reply, Ok(Reply::Registers(vec![555, 0, 100])));
}

/// APS 6.4, Read Input Registers: register 9, content 10.
#[test]
fn read_input_registers() {
    let ask = Request::ReadRegisters { table: Table::Input, at: 8, count: 1 };
    assert_eq!(pdu(&ask), [0x04, 0x00, 0x08, 0x00, 0x01]);
    assert_eq!(ask.reply(&[0x04, 0x02, 0x00, 0x0A]), Ok(Reply::Registers(vec![10])));
}

/// APS 6.5, Write Single Coil: output 173 on; the reply repeats the request.
#[test]
fn write_single_coil() {
    let ask = Request::WriteCoil { at: 0xAC, on: true };
    assert_eq!(pdu(&ask), [0x05, 0x00, 0xAC, 0xFF, 0x00]);
    assert_eq!(ask.reply(&[0x05, 0x00, 0xAC, 0xFF, 0x00]), Ok(Reply::Written));
    assert_eq!(ask.reply(&[0x05, 0x00, 0xAC, 0x00, 0x00]), Err(ModbusError::WrongEcho));
}

/// APS 6.6, Write Single Register: register 2 to 3.
#[test]
fn write_single_register() {
    let ask = Request::WriteRegister { at: 1, value: 3 };
    assert_eq!(pdu(&ask), [0x06, 0x00, 0x01, 0x00, 0x03]);
    assert_eq!(ask.reply(&[0x06, 0x00, 0x01, 0x00, 0x03]), Ok(Reply::Written));
}

/// APS 6.11, Write Multiple Coils: ten coils from 20, bytes CD 01.
#[test]
fn write_multiple_coils() {
    let ask = Request::WriteCoils { at: 0x13, on: bits(&[0xCD, 0x01], 10) };
    assert_eq!(pdu(&ask), [0x0F, 0x00, 0x13, 0x00, 0x0A, 0x02, 0xCD, 0x01]);
    assert_eq!(ask.reply(&[0x0F, 0x00, 0x13, 0x00, 0x0A]), Ok(Reply::Written));
}

/// APS 6.12, Write Multiple Registers: two registers from 2, to 000A and 0102.
#[test]
fn write_multiple_registers() {
    let ask = Request::WriteRegisters { at: 1, values: vec![0x000A, 0x0102] };
    assert_eq!(pdu(&ask), [0x10, 0x00, 0x01, 0x00, 0x02, 0x04, 0x00, 0x0A, 0x01, 0x02]);
    assert_eq!(ask.reply(&[0x10, 0x00, 0x01, 0x00, 0x02]), Ok(Reply::Written));
    assert_eq!(ask.reply(&[0x10, 0x00, 0x01, 0x00, 0x01]), Err(ModbusError::WrongEcho));
}

/// APS 6.16, Mask Write Register: register 5, AND mask F2, OR mask 25.
#[test]
fn mask_write_register() {
    let ask = Request::MaskWrite { at: 4, and: 0x00F2, or: 0x0025 };
    assert_eq!(pdu(&ask), [0x16, 0x00, 0x04, 0x00, 0xF2, 0x00, 0x25]);
    assert_eq!(ask.reply(&[0x16, 0x00, 0x04, 0x00, 0xF2, 0x00, 0x25]), Ok(Reply::Written));
}

/// APS 7: a read of output 1245 that the device lacks is answered with function 81 and code 02.
#[test]
fn an_exception() {
    let ask = Request::ReadBits { table: Table::Coil, at: 0x04A1, count: 1 };
    assert_eq!(pdu(&ask), [0x01, 0x04, 0xA1, 0x00, 0x01]);
    let error = ask.reply(&[0x81, 0x02]).expect_err("an exception");
    assert_eq!(error, ModbusError::Exception(Exception(2)));
    assert_eq!(error.to_string(), "the device answered with exception 2 (illegal data address)");
}

/// Goal: a reply of another shape than the request makes it is never taken apart.
#[test]
fn replies_that_do_not_fit() {
    let ask = Request::ReadRegisters { table: Table::Holding, at: 0, count: 2 };
    assert_eq!(ask.reply(&[]), Err(ModbusError::WrongLength { wanted: 2, came: 0 }));
    assert_eq!(ask.reply(&[0x03, 0x02, 0, 1]), Err(ModbusError::WrongLength { wanted: 6, came: 4 }));
    assert_eq!(ask.reply(&[0x03, 0x02, 0, 1, 0, 2]), Err(ModbusError::WrongLength { wanted: 4, came: 2 }));
    assert_eq!(ask.reply(&[0x04, 0x04, 0, 1, 0, 2]), Err(ModbusError::WrongFunction { wanted: 3, came: 4 }));
    assert_eq!(ask.reply(&[0x84, 0x02]), Err(ModbusError::WrongFunction { wanted: 3, came: 0x84 }));
    assert_eq!(ask.reply(&[0x83]), Err(ModbusError::WrongLength { wanted: 2, came: 1 }));
}

/// Goal: the limits of APS 6.1, 6.3, 6.11 and 6.12 (from memory), and the last address.
#[test]
fn requests_that_cannot_be() {
    let read = |at, count| Request::ReadRegisters { table: Table::Holding, at, count }.pdu();
    assert!(read(0, 125).is_ok() && read(0xFFFF, 1).is_ok());
    assert!(read(0, 126).is_err() && read(0, 0).is_err() && read(0xFFFF, 2).is_err());
    assert!(Request::ReadBits { table: Table::Coil, at: 0, count: 2001 }.pdu().is_err());
    assert!(Request::WriteCoils { at: 0, on: vec![true; 1969] }.pdu().is_err());
    assert!(Request::WriteRegisters { at: 0, values: vec![0; 124] }.pdu().is_err());
}
