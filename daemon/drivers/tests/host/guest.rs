//! Guests written as text against the contract's own binary layout, so that these tests need no second compiler and can do what
//! no honest tool chain would let an author do.
//!
//! Addresses and sizes are those of the canonical ABI for the records of `sdk/wit/v0_1`.

use std::path::{Path, PathBuf};

use wit_component::{StringEncoding, embed_component_metadata};
use wit_parser::Resolve;

/// The contract's text.
pub(crate) const CONTRACT: &str = include_str!("../../../../sdk/wit/v0_1/equipment.wit");

/// The module, with marks for what differs from guest to guest.
const TEMPLATE: &str = include_str!("guest.wat");

/// Where the static lists begin.
const STATIC: u32 = 4096;

/// A guest of one furnace unit per name.
pub(crate) struct Guest {
    pub(crate) units: Vec<&'static str>,
    /// Statements of `furnace.read` before it returns the result; `$unit` is the unit.
    pub(crate) read: String,
    /// Statements of `furnace.cut`, and of `furnace.heat`.
    pub(crate) cut: String,
    pub(crate) heat: String,
    /// Statements of `describe`, `check` and `open`, run first.
    pub(crate) check: String,
    pub(crate) open: String,
    /// A `start` function's statements.
    pub(crate) start: Option<String>,
    /// Anything else at module level.
    pub(crate) extra: String,
    /// Whether each unit has a standing cut `S`, unit → the same echoed.
    pub(crate) standing: bool,
    /// Whether each unit lists what its read costs on line 0.
    pub(crate) on_a_line: bool,
    /// The contract that it is built against.
    pub(crate) contract: String,
}

impl Guest {
    /// A guest that always reads 25 °C, door shut, heat off, from nowhere.
    pub(crate) fn steady(units: &[&'static str]) -> Self {
        Self {
            units: units.to_vec(),
            read: String::new(),
            cut: "(call $heat_on (i32.const 0))".into(),
            heat: "(call $heat_on (i32.const 1))".into(),
            check: String::new(),
            open: String::new(),
            start: None,
            extra: String::new(),
            standing: false,
            on_a_line: false,
            contract: CONTRACT.into(),
        }
    }

    /// A guest that asks the device on line 0: `R`, unit → `R`, degrees, door; `C`, unit → `C`, unit; `H`, unit → `H`, unit.
    pub(crate) fn on_a_line(units: &[&'static str]) -> Self {
        Self {
            read: "(call $ask (i32.const 0x52) (local.get $unit) (i32.const 3) (i32.const 30000))".into(),
            cut: "(call $ask (i32.const 0x43) (local.get $unit) (i32.const 2) (i32.const 500)) (call $heat_on (i32.const 0))"
                .into(),
            heat: "(call $ask (i32.const 0x48) (local.get $unit) (i32.const 2) (i32.const 500)) (call $heat_on (i32.const 1))"
                .into(),
            standing: true,
            on_a_line: true,
            ..Self::steady(units)
        }
    }

    /// The core module as the compiler of an author would leave it.
    pub(crate) fn module(&self) -> Vec<u8> {
        let mut module = wat::parse_str(self.text()).unwrap_or_else(|why| panic!("{why}"));
        let mut resolve = Resolve::default();
        let package = resolve.push_str("equipment.wit", &self.contract).expect("the contract parses");
        for world in ["base", "furnace-face"] {
            let world = resolve.select_world(&[package], Some(world)).expect("a world of the contract");
            embed_component_metadata(&mut module, &resolve, world, StringEncoding::UTF8).expect("embedding");
        }
        module
    }

    /// Writes the module into the folder.
    pub(crate) fn write(&self, folder: &Path, name: &str) -> PathBuf {
        let path = folder.join(format!("{name}.wasm"));
        std::fs::write(&path, self.module()).expect("writing the guest");
        path
    }

    fn text(&self) -> String {
        let at = if self.contract.contains("@0.2.0") { "0.2.0" } else { "0.1.0" };
        let (data, listed) = self.lists();
        let start = self.start.as_ref().map_or_else(String::new, |body| format!("(func $start {body}) (start $start)"));
        let parts = [
            ("<at>", at),
            ("<data>", &data),
            ("<listed>", &listed.to_string()),
            ("<start>", &start),
            ("<extra>", &self.extra),
            ("<check>", &self.check),
            ("<open>", &self.open),
            ("<read>", &self.read),
            ("<cut>", &self.cut),
            ("<heat>", &self.heat),
        ];
        // The head is for people, and mentions the marks.
        let (_, template) = TEMPLATE.split_once("(module").expect("it is a module");
        parts.iter().fold(format!("(module{template}"), |text, (mark, part)| text.replace(mark, part))
    }

    /// The static lists: who the driver is at [`STATIC`], then the units; and where the result of `check` and `open` stands.
    fn lists(&self) -> (String, u32) {
        let mut image = Image { at: STATIC, bytes: vec![0; 24] };
        let (name, version) = (image.text("in-text"), image.text("0.1.0"));
        image.put_at(0, &[name, version, (0, 0)]);
        let temperature = image.text("temperature_c");
        let heat_on = image.text("heat_on");
        let door = image.text("door_open");
        let readings = image.pairs(&[temperature, heat_on, door]);
        let face_name = image.text("face");
        let face_value = image.text("furnace");
        // A note: name, then the variant: case 3 (text) at 8, its text at 16.
        let note = image.words(&[face_name.0, face_name.1, 3, 0, face_value.0, face_value.1]);
        let mut units = Vec::new();
        for (number, unit) in self.units.iter().enumerate() {
            let name = image.text(unit);
            let costs = if self.on_a_line { (image.words(&[0, 2, 3]), 1) } else { (0, 0) };
            let cuts = if self.standing { (self.standing_cut(&mut image, number as u8), 1) } else { (0, 0) };
            units.extend([name, (readings, 3), costs, cuts, (note, 1)]);
        }
        let listed = image.pairs(&units);
        let result = image.words(&[0, listed, self.units.len() as u32, 0]);
        let bytes: String = image.bytes.iter().map(|byte| format!("\\{byte:02x}")).collect();
        (format!("(data (i32.const {STATIC}) \"{bytes}\")"), result)
    }

    fn standing_cut(&self, image: &mut Image, unit: u8) -> u32 {
        let request = image.raw(&[b'S', unit]);
        // A rule: at 0, mask and equals 0, case 0 (fixed) at 8, its bytes at 12.
        let rule = image.words(&[0, 0, 0, 2, 0, 0]);
        let mask = image.raw(&[0xFF, 0xFF]);
        image.words(&[0, request, 2, rule, 1, request, 2, mask, 2])
    }
}

/// Bytes laid out from an address on.
struct Image {
    at: u32,
    bytes: Vec<u8>,
}

impl Image {
    fn raw(&mut self, bytes: &[u8]) -> u32 {
        while !self.bytes.len().is_multiple_of(8) {
            self.bytes.push(0);
        }
        let address = self.at + self.bytes.len() as u32;
        self.bytes.extend_from_slice(bytes);
        address
    }

    fn text(&mut self, text: &str) -> (u32, u32) {
        (self.raw(text.as_bytes()), text.len() as u32)
    }

    fn words(&mut self, words: &[u32]) -> u32 {
        let bytes: Vec<u8> = words.iter().flat_map(|word| word.to_le_bytes()).collect();
        self.raw(&bytes)
    }

    fn pairs(&mut self, pairs: &[(u32, u32)]) -> u32 {
        let words: Vec<u32> = pairs.iter().flat_map(|(address, count)| [*address, *count]).collect();
        self.words(&words)
    }

    fn put_at(&mut self, place: usize, pairs: &[(u32, u32)]) {
        for (number, word) in pairs.iter().flat_map(|(address, count)| [*address, *count]).enumerate() {
            let start = place + number * 4;
            self.bytes[start..start + 4].copy_from_slice(&word.to_le_bytes());
        }
    }
}
