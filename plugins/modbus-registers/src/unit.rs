//! A unit as the driver works with it, and as the contract lists it.

use hearthward_driver::modbus::Framing;
use hearthward_driver::quantity::{CODE, FLOW_STANDARD_L_MIN, PRESSURE_KPA, Quantity, SHARE, STATE, TEMPERATURE_C};
use hearthward_driver::{Fault, Named, StandingCut, Unit, Value, WireCost, fault, reading};

use crate::cuts;
use crate::entry::{Entry, Raw};
use crate::map;
use crate::plan::{Block, Place};

/// Which face a unit has beside `points`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Face {
    Furnace,
    FlowMeter,
    QuenchTank,
    Points,
}

/// A field of a face: its name under `map`, the name that the service shows, its quantity, and whether it may be written.
#[derive(Debug)]
pub(crate) struct Field {
    pub(crate) name: &'static str,
    pub(crate) shown: &'static str,
    pub(crate) quantity: Quantity,
    pub(crate) may_write: bool,
}

const fn field(name: &'static str, shown: &'static str, quantity: Quantity, may_write: bool) -> Field {
    Field { name, shown, quantity, may_write }
}

/// Fields in the order of the constants in [`furnace`].
const FURNACE: [Field; 7] = [
    field("temperature", "temperature", TEMPERATURE_C, false),
    field("set_point", "set-point", TEMPERATURE_C, true),
    field("output_share", "output-share", SHARE, true),
    field("heat_on", "heat-on", STATE, true),
    field("door_open", "door-open", STATE, false),
    field("over_temperature", "over-temperature", STATE, false),
    field("program", "program", CODE, true),
];

/// Fields in the order of the constants in [`meter`].
const FLOW_METER: [Field; 4] = [
    field("flow", "flow", FLOW_STANDARD_L_MIN, false),
    field("set_flow", "set-flow", FLOW_STANDARD_L_MIN, true),
    field("pressure", "pressure", PRESSURE_KPA, false),
    field("temperature", "gas-temperature", TEMPERATURE_C, false),
];

/// Fields in the order of the constants in [`tank`].
const QUENCH_TANK: [Field; 5] = [
    field("temperature", "temperature", TEMPERATURE_C, false),
    field("level", "level-share", SHARE, false),
    field("agitation", "agitation-on", STATE, true),
    field("heater", "heater-on", STATE, true),
    field("set_point", "set-point", TEMPERATURE_C, true),
];

/// Places in [`UnitPlan::fields`] of a furnace.
pub(crate) mod furnace {
    pub(crate) const TEMPERATURE: usize = 0;
    pub(crate) const SET_POINT: usize = 1;
    pub(crate) const OUTPUT_SHARE: usize = 2;
    pub(crate) const HEAT_ON: usize = 3;
    pub(crate) const DOOR_OPEN: usize = 4;
    pub(crate) const OVER_TEMPERATURE: usize = 5;
    pub(crate) const PROGRAM: usize = 6;
}

/// Places in [`UnitPlan::fields`] of a flow meter.
pub(crate) mod meter {
    pub(crate) const FLOW: usize = 0;
    pub(crate) const SET_FLOW: usize = 1;
    pub(crate) const PRESSURE: usize = 2;
    pub(crate) const TEMPERATURE: usize = 3;
}

/// Places in [`UnitPlan::fields`] of a quench tank.
pub(crate) mod tank {
    pub(crate) const TEMPERATURE: usize = 0;
    pub(crate) const LEVEL: usize = 1;
    pub(crate) const AGITATION: usize = 2;
    pub(crate) const HEATER: usize = 3;
    pub(crate) const SET_POINT: usize = 4;
}

impl Face {
    pub(crate) const CHOICE: [(&'static str, Self); 4] = [
        ("furnace", Self::Furnace),
        ("flow-meter", Self::FlowMeter),
        ("quench-tank", Self::QuenchTank),
        ("points", Self::Points),
    ];

    pub(crate) fn word(self) -> &'static str {
        Self::CHOICE.iter().find(|(_, face)| *face == self).map_or("", |(word, _)| word)
    }

    pub(crate) fn fields(self) -> &'static [Field] {
        match self {
            Self::Furnace => &FURNACE,
            Self::FlowMeter => &FLOW_METER,
            Self::QuenchTank => &QUENCH_TANK,
            Self::Points => &[],
        }
    }
}

/// A write of one entry: which, and the words that the device is to hold.
pub(crate) type Write = (usize, Raw);

/// Everything that is known of a unit before the first exchange.
#[derive(Clone, Debug)]
pub(crate) struct UnitPlan {
    pub(crate) name: String,
    pub(crate) face: Face,
    pub(crate) line: u32,
    /// The line's name, for messages.
    pub(crate) line_name: String,
    /// Modbus unit id.
    pub(crate) address: u8,
    pub(crate) entries: Vec<Entry>,
    /// For each field of the face the entry that holds it.
    pub(crate) fields: Vec<Option<usize>>,
    /// Entries that are points.
    pub(crate) extras: Vec<usize>,
    pub(crate) blocks: Vec<Block>,
    /// For each entry where its words are in the blocks.
    pub(crate) places: Vec<Place>,
    /// What makes the unit safe, in the order of sending.
    pub(crate) cuts: Vec<Write>,
    /// What is written after a heat command's own register.
    pub(crate) start: Vec<Write>,
    /// Reference conditions of a flow meter: degrees Celsius, kilopascals.
    pub(crate) reference: (f64, f64),
}

impl UnitPlan {
    /// The entry of a field, if it is mapped and may be written.
    pub(crate) fn writable(&self, field: usize) -> Result<usize, Fault> {
        let described = &self.face.fields()[field];
        let entry = self.fields[field].filter(|&entry| self.entries[entry].write);
        entry.ok_or_else(|| fault::not_supported(format!("{} has no {} that may be written", self.name, described.shown)))
    }

    /// The entry of a point by its name, which may come with `_` or as it is shown.
    pub(crate) fn extra(&self, name: &str) -> Result<usize, Fault> {
        let shown = name.replace('_', "-");
        let found = self.extras.iter().copied().find(|&entry| self.entries[entry].shown == shown);
        found.ok_or_else(|| fault::not_supported(format!("{} has no point {name}", self.name)))
    }

    /// A write of one entry, checked.
    pub(crate) fn write_to(&self, entry: usize, value: &Value) -> Result<Write, Fault> {
        let written = &self.entries[entry];
        if !written.write {
            return Err(fault::not_allowed(format!("{} of {} is only read", written.shown, self.name)));
        }
        Ok((entry, written.encode(value)?))
    }

    /// How the unit can be made to heat: fields and points, by the names that the service shows.
    pub(crate) fn heated_by(&self) -> Vec<String> {
        const WAYS: [usize; 3] = [furnace::SET_POINT, furnace::OUTPUT_SHARE, furnace::PROGRAM];
        match self.face {
            Face::Furnace => {
                WAYS.iter().filter_map(|&way| self.writable(way).ok()).map(|entry| self.entries[entry].shown.clone()).collect()
            }
            _ => self
                .extras
                .iter()
                .filter(|&&extra| self.entries[extra].cuts_heat)
                .map(|&extra| self.entries[extra].shown.clone())
                .collect(),
        }
    }

    /// As the contract lists it.
    pub(crate) fn listed(&self, framing: Framing, deadline_ms: u32) -> Unit {
        Unit {
            name: self.name.clone(),
            readings: self.readings(),
            costs: self.costs(framing),
            cuts: self.standing_cuts(framing),
            notes: self.notes(deadline_ms),
        }
    }

    fn readings(&self) -> Vec<String> {
        let fields = self.face.fields().iter().zip(&self.fields);
        let mapped = fields.filter(|(_, entry)| entry.is_some()).map(|(field, _)| field.shown.to_owned());
        mapped.chain(self.extras.iter().map(|&extra| self.entries[extra].shown.clone())).collect()
    }

    fn costs(&self, framing: Framing) -> Vec<WireCost> {
        let cost = |block: &Block| WireCost {
            line: self.line,
            request_bytes: framing.request(0, self.address, &block.pdu).len() as u32,
            reply_bytes: framing.reply_bytes(&block.request) as u32,
        };
        self.blocks.iter().map(cost).collect()
    }

    fn standing_cuts(&self, framing: Framing) -> Vec<StandingCut> {
        let cut =
            |(entry, raw): &Write| cuts::standing(framing, self.line, self.address, &self.entries[*entry].write_request(raw));
        self.cuts.iter().filter_map(cut).collect()
    }

    /// Every register that is written, in words that are the same whoever writes it. Bits of one register are not told apart: two
    /// drivers that each write some would undo each other's.
    fn occupied(&self) -> Vec<String> {
        let written = self.entries.iter().filter(|entry| entry.write);
        let registers =
            written.flat_map(|entry| (0..entry.words()).map(move |word| (entry.table, entry.at.saturating_add(word))));
        let words = registers.map(|(table, at)| format!("{}:unit {} {} {at}", self.line, self.address, map::word(table)));
        words.collect::<std::collections::BTreeSet<_>>().into_iter().collect()
    }

    fn notes(&self, deadline_ms: u32) -> Vec<Named> {
        let mut notes = vec![reading::note("face", self.face.word()), reading::note("evidence", "measured")];
        notes.push(Named { name: "waits_ms".to_owned(), value: Value::Whole(i64::from(deadline_ms)) });
        let mut many = |note: &str, names: Vec<String>| notes.extend(names.iter().map(|name| reading::note(note, name)));
        let named = |wanted: &dyn Fn(&Entry) -> bool| {
            self.entries.iter().filter(|entry| wanted(entry)).map(|entry| entry.shown.clone()).collect()
        };
        many("heats", self.heated_by());
        many("write", named(&|entry| entry.write));
        many("write_often", named(&|entry| entry.often));
        many("cut", self.cuts.iter().map(|(entry, _)| self.entries[*entry].shown.clone()).collect());
        many("occupies", self.occupied());
        let kind = |&extra: &usize| reading::quantity_note(&self.entries[extra].shown, self.entries[extra].quantity.word);
        notes.extend(self.extras.iter().map(kind));
        let most = |entry: &Entry| Some(reading::most_note(&entry.shown, entry.most_in_its_own_unit()?));
        notes.extend(self.entries.iter().filter_map(most));
        notes
    }
}
