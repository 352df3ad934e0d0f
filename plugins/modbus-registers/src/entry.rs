//! One line of the map: where a value stands and how its bits become a measure, both ways.

use hearthward_driver::modbus::{Request, Table};
use hearthward_driver::quantity::{self, Quantity};
use hearthward_driver::{Fault, Quality, Value, fault, reading};

/// How the bits are to be understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Bool,
    U16,
    I16,
    U32,
    I32,
    F32,
}

impl Kind {
    /// Registers that one value takes.
    pub(crate) fn words(self) -> u16 {
        match self {
            Self::Bool | Self::U16 | Self::I16 => 1,
            Self::U32 | Self::I32 | Self::F32 => 2,
        }
    }

    /// The contents of the register, or of the part of it under a mask, that a whole number stands for: as they are, or with the sign
    /// that they would have. None if it can hold no such thing. A float's number and its bits may both be meant.
    pub(crate) fn contents(self, whole: i64, mask: Option<u16>) -> Vec<u32> {
        let plain = |most: u32| u32::try_from(whole).ok().filter(|contents| *contents <= most);
        let part = |mask: u16| u32::from(mask >> mask.trailing_zeros());
        let (one, other) = match self {
            Self::Bool => (None, None),
            Self::U16 => (plain(mask.map_or(u32::from(u16::MAX), part)), None),
            Self::I16 => (plain(u32::from(u16::MAX)), i16::try_from(whole).ok().map(|signed| u32::from(signed.cast_unsigned()))),
            Self::U32 => (plain(u32::MAX), None),
            Self::I32 => (plain(u32::MAX), i32::try_from(whole).ok().map(i32::cast_unsigned)),
            Self::F32 => (plain(u32::MAX), Some(whole as f32).filter(|float| *float as i64 == whole).map(f32::to_bits)),
        };
        one.into_iter().chain(other).collect()
    }

    /// The least and the greatest number that it can hold, or the part of it under a mask; none where that bounds nothing.
    pub(crate) fn range(self, mask: Option<u16>) -> Option<(f64, f64)> {
        match self {
            Self::Bool | Self::F32 => None,
            Self::U16 => {
                let most = mask.map_or(u16::MAX, |mask| mask >> mask.trailing_zeros());
                Some((0.0, f64::from(most)))
            }
            Self::I16 => Some((f64::from(i16::MIN), f64::from(i16::MAX))),
            Self::U32 => Some((0.0, f64::from(u32::MAX))),
            Self::I32 => Some((f64::from(i32::MIN), f64::from(i32::MAX))),
        }
    }
}

/// One line of the map.
#[derive(Clone, Debug)]
pub(crate) struct Entry {
    /// The name under `map`.
    pub(crate) name: String,
    /// The name as the service shows it.
    pub(crate) shown: String,
    pub(crate) quantity: Quantity,
    pub(crate) table: Table,
    /// Address on the wire, from 0.
    pub(crate) at: u16,
    pub(crate) kind: Kind,
    /// The low word of two comes first.
    pub(crate) low_first: bool,
    /// The bits of the register that belong to this value.
    pub(crate) mask: Option<u16>,
    pub(crate) invert: bool,
    /// In the written unit of measure: register × scale + offset.
    pub(crate) scale: f64,
    pub(crate) offset: f64,
    /// From the written unit to the quantity's own: × factor + shift.
    pub(crate) factor: f64,
    pub(crate) shift: f64,
    /// Bounds in the written unit; outside, a reading is bad and a write refused.
    pub(crate) least: f64,
    pub(crate) most: f64,
    /// What the register, or its part under the mask, holds when the device has no value: contents, not what they mean.
    pub(crate) broken: Vec<u32>,
    pub(crate) write: bool,
    pub(crate) often: bool,
    /// Function code that writes it.
    pub(crate) function: u8,
    /// A contactor and the like: writing `safe` takes heat away.
    pub(crate) cuts_heat: bool,
}

/// Words as they stand, or would stand, in the device; of a masked register only the value's own bits.
pub(crate) type Raw = Vec<u16>;

impl Entry {
    /// Registers, or bits of a bit table, that it takes.
    pub(crate) fn words(&self) -> u16 {
        if self.table.is_bits() { 1 } else { self.kind.words() }
    }

    /// The measure in these words.
    pub(crate) fn decode(&self, words: &[u16]) -> (Value, Quality) {
        if self.kind == Kind::Bool {
            let on = words[0] & self.mask.unwrap_or(u16::MAX) != 0;
            return (Value::Flag(on != self.invert), Quality::Good);
        }
        let raw = self.number(words);
        let measured = raw * self.scale + self.offset;
        let sound =
            measured.is_finite() && (self.least..=self.most).contains(&measured) && !self.broken.contains(&self.contents(words));
        let quality = if sound { Quality::Good } else { Quality::Bad };
        let own = if measured.is_finite() { measured * self.factor + self.shift } else { 0.0 };
        if self.quantity.kind == quantity::Kind::Whole {
            // A count's scale and offset are whole and small; the cast saturates anyway.
            return (Value::Whole(own as i64), quality);
        }
        (Value::Number(own), quality)
    }

    /// The words that stand for a measure.
    ///
    /// # Errors
    /// A value of the wrong kind, out of bounds, or more than the register can hold.
    pub(crate) fn encode(&self, value: &Value) -> Result<Raw, Fault> {
        if self.kind == Kind::Bool {
            let Value::Flag(on) = value else { return Err(self.misfit(value, "true or false")) };
            let set = if self.table.is_bits() { 1 } else { self.mask.unwrap_or(1) };
            return Ok(vec![if *on != self.invert { set } else { 0 }]);
        }
        let Some(own) = reading::as_number(value) else { return Err(self.misfit(value, "a number")) };
        let measured = (own - self.shift) / self.factor;
        // Rounding in the conversion must not refuse the bound itself.
        let room = 1e-9 * (1.0 + measured.abs());
        if !(measured >= self.least - room && measured <= self.most + room) {
            return Err(self.misfit(value, "inside the map's min and max"));
        }
        self.words_of((measured - self.offset) / self.scale).ok_or_else(|| self.misfit(value, "what the register can hold"))
    }

    /// The upper bound in the quantity's own unit, if the map sets one.
    pub(crate) fn most_in_its_own_unit(&self) -> Option<f64> {
        self.most.is_finite().then_some(self.most * self.factor + self.shift)
    }

    /// The request that makes the device hold these words.
    pub(crate) fn write_request(&self, raw: &[u16]) -> Request {
        let at = self.at;
        match (self.table, self.mask) {
            (Table::Coil | Table::DiscreteInput, _) if self.function == 15 => Request::WriteCoils { at, on: vec![raw[0] != 0] },
            (Table::Coil | Table::DiscreteInput, _) => Request::WriteCoil { at, on: raw[0] != 0 },
            (_, Some(mask)) => Request::MaskWrite { at, and: !mask, or: raw[0] },
            (_, None) if self.function == 6 => Request::WriteRegister { at, value: raw[0] },
            (_, None) => Request::WriteRegisters { at, values: raw.to_vec() },
        }
    }

    /// Whether the device holds these words.
    pub(crate) fn holds(&self, words: &[u16], raw: &[u16]) -> bool {
        let mask = self.mask.unwrap_or(u16::MAX);
        words.len() == raw.len() && words.iter().zip(raw).all(|(held, wanted)| held & mask == *wanted)
    }

    fn number(&self, words: &[u16]) -> f64 {
        let contents = self.contents(words);
        match self.kind {
            Kind::Bool | Kind::U16 | Kind::U32 => f64::from(contents),
            Kind::I16 => f64::from((contents as u16).cast_signed()),
            Kind::I32 => f64::from(contents.cast_signed()),
            Kind::F32 => f64::from(f32::from_bits(contents)),
        }
    }

    /// The bits of the value, and no others.
    fn contents(&self, words: &[u16]) -> u32 {
        let mask = self.mask.unwrap_or(u16::MAX);
        if self.kind.words() == 1 { u32::from((words[0] & mask) >> mask.trailing_zeros()) } else { self.double(words) }
    }

    fn double(&self, words: &[u16]) -> u32 {
        let (high, low) = if self.low_first { (words[1], words[0]) } else { (words[0], words[1]) };
        u32::from(high) << 16 | u32::from(low)
    }

    /// None where the number does not fit.
    fn words_of(&self, number: f64) -> Option<Raw> {
        let whole = number.round();
        let within = |least: f64, most: f64| (least..=most).contains(&whole);
        let double = |bits: u32| {
            let (high, low) = ((bits >> 16) as u16, bits as u16);
            if self.low_first { vec![low, high] } else { vec![high, low] }
        };
        match self.kind {
            Kind::Bool | Kind::U16 => {
                let mask = self.mask.unwrap_or(u16::MAX);
                let most = f64::from(mask >> mask.trailing_zeros());
                within(0.0, most).then(|| vec![(whole as u16) << mask.trailing_zeros()])
            }
            Kind::I16 => within(f64::from(i16::MIN), f64::from(i16::MAX)).then(|| vec![(whole as i16).cast_unsigned()]),
            Kind::U32 => within(0.0, f64::from(u32::MAX)).then(|| double(whole as u32)),
            Kind::I32 => within(f64::from(i32::MIN), f64::from(i32::MAX)).then(|| double((whole as i32).cast_unsigned())),
            Kind::F32 => {
                let narrow = number as f32;
                narrow.is_finite().then(|| double(narrow.to_bits()))
            }
        }
    }

    fn misfit(&self, value: &Value, wanted: &str) -> Fault {
        let given = match value {
            Value::Flag(flag) => flag.to_string(),
            Value::Number(number) => number.to_string(),
            Value::Whole(whole) => whole.to_string(),
            Value::Text(text) => format!("\"{text}\""),
        };
        fault::not_allowed(format!("{} cannot become {given}: it must be {wanted}", self.shown))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(kind: Kind) -> Entry {
        Entry {
            name: "value".to_owned(),
            shown: "value".to_owned(),
            quantity: quantity::TEMPERATURE_C,
            table: Table::Holding,
            at: 10,
            kind,
            low_first: false,
            mask: None,
            invert: false,
            scale: 1.0,
            offset: 0.0,
            factor: 1.0,
            shift: 0.0,
            least: f64::NEG_INFINITY,
            most: f64::INFINITY,
            broken: Vec::new(),
            write: true,
            often: false,
            function: 6,
            cuts_heat: false,
        }
    }

    /// Goal: each type both ways. Two's complement and big-endian words by APS 4.2; 0x41C80000 is 25.0 by IEEE 754
    /// (sign 0, exponent 131, fraction 0.5625: 1.5625 × 2⁴, worked by hand).
    #[test]
    fn types_both_ways() {
        let cases = [
            (Kind::U16, vec![0xFFFF], 65535.0),
            (Kind::I16, vec![0xFFFE], -2.0),
            (Kind::U32, vec![0x0001, 0x0000], 65536.0),
            (Kind::I32, vec![0xFFFF, 0xFFFD], -3.0),
            (Kind::F32, vec![0x41C8, 0x0000], 25.0),
        ];
        for (kind, words, number) in cases {
            let entry = entry(kind);
            assert_eq!(entry.decode(&words), (Value::Number(number), Quality::Good), "{kind:?}");
            assert_eq!(entry.encode(&Value::Number(number)), Ok(words), "{kind:?}");
        }
        let low_first = Entry { low_first: true, ..entry(Kind::F32) };
        assert_eq!(low_first.decode(&[0x0000, 0x41C8]).0, Value::Number(25.0));
        assert_eq!(low_first.encode(&Value::Whole(25)), Ok(vec![0x0000, 0x41C8]));
    }

    /// Goal: tenths of a degree Fahrenheit become degrees Celsius and back: 1472 °F is 800 °C by definition of the scales.
    #[test]
    fn scale_and_unit_of_measure() {
        let (factor, shift) = quantity::TEMPERATURE_C.measure("F").expect("known");
        let tenths = Entry { scale: 0.1, factor, shift, ..entry(Kind::U16) };
        let (Value::Number(celsius), Quality::Good) = tenths.decode(&[14720]) else { panic!("a good number") };
        assert!((celsius - 800.0).abs() < 1e-9);
        assert_eq!(tenths.encode(&Value::Number(800.0)), Ok(vec![14720]));
    }

    /// Goal: what the device cannot mean is bad, what the register cannot hold is refused.
    #[test]
    fn bounds_and_broken_sensors() {
        let bounded = Entry { least: -100.0, most: 1300.0, broken: Kind::I16.contents(-1, None), ..entry(Kind::I16) };
        assert_eq!(bounded.decode(&[1400]).1, Quality::Bad);
        assert_eq!(bounded.decode(&[0xFFFF]).1, Quality::Bad);
        assert_eq!(bounded.decode(&[0]).1, Quality::Good);
        assert!(bounded.encode(&Value::Number(1300.0)).is_ok());
        assert_eq!(bounded.encode(&Value::Number(1300.1)).map_err(|fault| fault.code), Err(fault::NOT_ALLOWED));
        assert!(entry(Kind::I16).encode(&Value::Number(40000.0)).is_err());
        assert!(entry(Kind::I16).encode(&Value::Number(f64::NAN)).is_err());
        assert!(entry(Kind::I16).encode(&Value::Flag(true)).is_err());
        let nan = entry(Kind::F32).decode(&[0x7FC0, 0x0000]);
        assert_eq!(nan, (Value::Number(0.0), Quality::Bad));
    }

    /// Goal: a number that stands for "no value" is found in the register, whether it is written as the register holds it or with its
    /// sign; what the register cannot hold is none. 0xFFFF is -1 and 0xFFFFFFFE is -2 in two's complement, worked by hand; 9999 as a
    /// float is 0x461C3C00 (sign 0, exponent 140, 9999 / 2¹³ = 1.220581…), 0x7F7FFFFF the greatest float (IEEE 754, from memory).
    #[test]
    fn contents_that_stand_for_no_value() {
        let cases: [(Kind, &[i64], Vec<u16>); 7] = [
            (Kind::U16, &[0xFFFF], vec![0xFFFF]),
            (Kind::I16, &[0xFFFF, -1], vec![0xFFFF]),
            (Kind::I16, &[0x8000, -32768], vec![0x8000]),
            (Kind::U32, &[0xFFFF_FFFF], vec![0xFFFF, 0xFFFF]),
            (Kind::I32, &[0xFFFF_FFFE, -2], vec![0xFFFF, 0xFFFE]),
            (Kind::F32, &[9999, 0x461C_3C00], vec![0x461C, 0x3C00]),
            (Kind::F32, &[0x7F7F_FFFF], vec![0x7F7F, 0xFFFF]),
        ];
        for (kind, spellings, words) in cases {
            for spelling in spellings {
                let entry = Entry { broken: kind.contents(*spelling, None), ..entry(kind) };
                assert_eq!(entry.decode(&words).1, Quality::Bad, "{kind:?} {spelling}");
                assert_eq!(entry.decode(&vec![1; words.len()]).1, Quality::Good, "{kind:?} {spelling}");
            }
        }
        let nibble = Entry { mask: Some(0x00F0), broken: Kind::U16.contents(0xF, Some(0x00F0)), ..entry(Kind::U16) };
        assert_eq!((nibble.decode(&[0xABFC]).1, nibble.decode(&[0xFBEC]).1), (Quality::Bad, Quality::Good));
        for (kind, mask, whole) in [
            (Kind::U16, None, -1),
            (Kind::U16, None, 0x1_0000),
            (Kind::U16, Some(0x00F0), 16),
            (Kind::I16, None, 0x1_0000),
            (Kind::I16, None, -32769),
            (Kind::U32, None, -1),
            (Kind::I32, None, 0x1_0000_0000),
            (Kind::F32, None, -16_777_217),
        ] {
            assert_eq!(kind.contents(whole, mask), Vec::<u32>::new(), "{kind:?} {whole}");
        }
    }

    /// Goal: a masked value leaves its neighbours alone, in reading, writing and confirming.
    #[test]
    fn masked_values() {
        let nibble = Entry { mask: Some(0x00F0), function: 22, ..entry(Kind::U16) };
        assert_eq!(nibble.decode(&[0xAB5C]).0, Value::Number(5.0));
        let raw = nibble.encode(&Value::Number(9.0)).expect("fits");
        assert_eq!(nibble.write_request(&raw), Request::MaskWrite { at: 10, and: 0xFF0F, or: 0x0090 });
        assert!(nibble.holds(&[0xFF9F], &raw) && !nibble.holds(&[0xFF8F], &raw));
        assert!(nibble.encode(&Value::Number(16.0)).is_err());
        let bit = Entry { mask: Some(0x0004), function: 22, invert: true, ..entry(Kind::Bool) };
        assert_eq!(bit.decode(&[0x0004]).0, Value::Flag(false));
        assert_eq!(bit.encode(&Value::Flag(false)), Ok(vec![0x0004]));
    }
}
