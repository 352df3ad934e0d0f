//! Modbus
