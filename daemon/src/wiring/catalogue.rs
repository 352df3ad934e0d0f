//! The units that the drivers offer, and how an address in the configuration finds one.

use std::collections::{BTreeMap, BTreeSet};

use hearthward_equipment::reading::field;
use hearthward_equipment::{Address, Name, UnitAddress, nearest};

use crate::settings::{PointRef, Problems};

/// What a driver said of one of its units.
#[derive(Clone, Debug, Default)]
pub struct UnitFacts {
    /// The names of its readings.
    pub readings: Vec<Name>,
    /// Those of them that can heat when they are written.
    pub heating: Vec<Name>,
    /// Whether its values are what a person reads.
    pub by_hand: bool,
    /// Whether the host holds bytes that take its heat away without the driver.
    pub standing_cuts: bool,
    /// Whether it is reached over a line at all.
    pub on_a_line: bool,
    /// The faces that it is read by, by the contract's names.
    pub faces: Vec<String>,
    /// What the driver notes of it in words, by the names in the contract's table of notes.
    pub notes: Vec<(String, String)>,
    /// How long one exchange with it may take before its driver gives it up, in milliseconds, where the driver notes it.
    pub waits_ms: Option<f64>,
    /// The highest values that its readings can have, in the units of their quantities, where the driver notes any.
    pub most: Vec<(Name, f64)>,
}

impl UnitFacts {
    /// What a reading measures, by the contract's words for quantities; nothing where the driver does not say.
    #[must_use]
    pub fn quantity(&self, reading: &Name) -> Option<&str> {
        let of_face = |(face, name, quantity): &(&str, &str, &'static str)| {
            (*name == reading.as_str() && self.faces.iter().any(|known| known == face)).then_some(*quantity)
        };
        let noted = format!("quantity.{reading}");
        let of_point = || self.notes.iter().find(|(known, _)| *known == noted).map(|(_, text)| text.as_str());
        FIELDS.iter().find_map(of_face).or_else(of_point)
    }

    /// The highest value that a reading can have, or be told.
    #[must_use]
    pub fn most(&self, reading: &str) -> Option<f64> {
        self.most.iter().find(|(known, _)| known.as_str() == reading).map(|(_, most)| *most)
    }

    /// Whether the service can write it.
    #[must_use]
    pub fn writes(&self, reading: &Name) -> bool {
        self.noted("write").any(|name| name == reading.as_str())
    }

    /// Whether heat is let through by it, and cut by switching it off.
    #[must_use]
    pub fn cuts_heat_by(&self, reading: &Name) -> bool {
        self.noted("heats").chain(self.noted("cut")).any(|name| name == reading.as_str())
    }

    /// Every text noted under a name.
    pub fn noted<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.notes.iter().filter(move |(known, _)| known == name).map(|(_, text)| text.as_str())
    }
}

/// What the fields of the faces measure, as the contract has them.
const FIELDS: [(&str, &str, &str); 14] = [
    ("furnace", field::TEMPERATURE, "temperature_c"),
    ("furnace", field::SET_POINT, "temperature_c"),
    ("furnace", field::OUTPUT_SHARE, "share"),
    ("furnace", field::HEAT_ON, "state"),
    ("furnace", field::DOOR_OPEN, "state"),
    ("furnace", field::OVER_TEMPERATURE, "state"),
    ("flow-meter", field::FLOW, "flow_standard_l_min"),
    ("flow-meter", field::SET_FLOW, "flow_standard_l_min"),
    ("flow-meter", field::PRESSURE, "pressure_kpa"),
    ("flow-meter", field::GAS_TEMPERATURE, "temperature_c"),
    ("quench-tank", field::TEMPERATURE, "temperature_c"),
    ("quench-tank", field::LEVEL_SHARE, "share"),
    ("quench-tank", field::AGITATION_ON, "state"),
    ("quench-tank", field::HEATER_ON, "state"),
];

/// All units of all drivers that could be surveyed.
#[derive(Clone, Debug, Default)]
pub struct Catalogue {
    units: BTreeMap<UnitAddress, UnitFacts>,
    /// Drivers that could not be surveyed: what they would offer is not known, so nothing is said about addresses into them.
    dark: Vec<Name>,
}

impl Catalogue {
    /// Adds a unit.
    pub fn add(&mut self, address: UnitAddress, facts: UnitFacts) {
        self.units.insert(address, facts);
    }

    /// Notes a driver that could not be surveyed.
    pub fn add_dark(&mut self, driver: Name) {
        self.dark.push(driver);
    }

    /// What is known of a unit.
    #[must_use]
    pub fn facts(&self, unit: &UnitAddress) -> Option<&UnitFacts> {
        self.units.get(unit)
    }

    /// All units, in the order of their addresses.
    pub fn units(&self) -> impl Iterator<Item = (&UnitAddress, &UnitFacts)> {
        self.units.iter()
    }

    /// Whether nothing is known of this driver because it could not be surveyed.
    #[must_use]
    pub fn is_dark(&self, driver: &Name) -> bool {
        self.dark.contains(driver)
    }

    /// Finds the unit that an address names, or notes why not.
    pub fn unit(&self, address: &UnitAddress, source: &str, key: &str, problems: &Problems) -> Option<&UnitFacts> {
        let found = self.units.get(address);
        if found.is_none() && !self.is_dark(&address.driver) {
            problems.note(source, key, format!("{address} is not there; {}", self.units_of(&address.driver)));
        }
        found
    }

    /// Finds the point that a reference names, or notes why not. `usual` is the reading that a unit named alone stands for.
    pub fn point(&self, reference: &PointRef, usual: &str, problems: &Problems) -> Option<Address> {
        match self.find(&reference.text, usual) {
            Ok(address) => Some(address),
            Err(Some(words)) => {
                problems.note(&reference.source, &reference.key, words);
                None
            }
            Err(None) => None,
        }
    }

    fn find(&self, text: &str, usual: &str) -> Result<Address, Option<String>> {
        let form = || format!("{text:?} is no address; write it like \"io/north-door\" or \"io/north.door-open\"");
        let (driver, rest) = text.split_once('/').ok_or_else(|| Some(form()))?;
        let driver = Name::new(driver).map_err(|_| Some(form()))?;
        if self.is_dark(&driver) {
            return Err(None);
        }
        if let Some((unit, point)) = rest.split_once('.') {
            let unit = UnitAddress { driver, unit: Name::new(unit).map_err(|_| Some(form()))? };
            let point = Name::new(point).map_err(|_| Some(form()))?;
            let facts =
                self.units.get(&unit).ok_or_else(|| Some(format!("{unit} is not there; {}", self.units_of(&unit.driver))))?;
            if facts.readings.contains(&point) {
                return Ok(Address { unit, point });
            }
            return Err(Some(format!("{unit} has no {point}; it has {}", list(&facts.readings))));
        }
        let name = Name::new(rest).map_err(|_| Some(form()))?;
        self.find_short(driver, name, usual)
    }

    /// `driver/name`: a unit, of which the usual, the only or the like-named reading is meant; or a reading that one unit alone has.
    fn find_short(&self, driver: Name, name: Name, usual: &str) -> Result<Address, Option<String>> {
        let unit = UnitAddress { driver, unit: name };
        if let Some(facts) = self.units.get(&unit) {
            let pick = facts.readings.iter().find(|reading| reading.as_str() == usual);
            let only = if let [only] = &facts.readings[..] { Some(only) } else { None };
            let pick = pick.or(only).or_else(|| facts.readings.iter().find(|reading| **reading == unit.unit));
            return pick.map(|point| Address { unit: unit.clone(), point: point.clone() }).ok_or_else(|| {
                Some(match facts.readings.first() {
                    Some(first) => format!(
                        "{unit} has no {usual}; write which of {} is meant, like \"{unit}.{first}\"",
                        list(&facts.readings)
                    ),
                    None => format!("{unit} has no {usual}, nor any other reading"),
                })
            });
        }
        let having: Vec<&UnitAddress> = self
            .units
            .iter()
            .filter(|(address, facts)| address.driver == unit.driver && facts.readings.contains(&unit.unit))
            .map(|(address, _)| address)
            .collect();
        match having[..] {
            [one] => Ok(Address { unit: one.clone(), point: unit.unit }),
            [] => Err(Some(format!("{unit} is not there; {}", self.units_of(&unit.driver)))),
            _ => Err(Some(format!(
                "several units of {} have a {}; write which one, like \"{}.{}\"",
                unit.driver, unit.unit, having[0], unit.unit
            ))),
        }
    }

    fn units_of(&self, driver: &Name) -> String {
        let of_driver: Vec<String> = self
            .units
            .iter()
            .filter(|(unit, _)| unit.driver == *driver)
            .map(|(unit, facts)| format!("{unit} ({})", list(&facts.readings)))
            .collect();
        if of_driver.is_empty() {
            let drivers: BTreeSet<&str> =
                self.units.keys().map(|unit| &unit.driver).chain(&self.dark).map(Name::as_str).collect();
            match nearest(driver.as_str(), drivers.iter().copied()) {
                Some(meant) => format!("there is no driver {driver} with any unit; did you mean `{meant}`?"),
                None if drivers.is_empty() => format!("there is no driver {driver}, nor any other with a unit"),
                None => {
                    let known = drivers.into_iter().collect::<Vec<_>>().join(", ");
                    format!("there is no driver {driver} with any unit; there is {known}")
                }
            }
        } else {
            format!("{driver} offers {}", of_driver.join("; "))
        }
    }
}

fn list(names: &[Name]) -> String {
    names.iter().map(Name::as_str).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn catalogue() -> Catalogue {
        let names = |list: &[&str]| list.iter().map(|name| Name::new(*name).expect("a name")).collect();
        let mut catalogue = Catalogue::default();
        let unit = |text: &str| text.parse::<UnitAddress>().expect("an address");
        catalogue.add(unit("io/board"), UnitFacts { readings: names(&["north-door", "horn"]), ..UnitFacts::default() });
        catalogue.add(unit("loops/north"), UnitFacts { readings: names(&["temperature", "set-point"]), ..UnitFacts::default() });
        catalogue
    }

    #[test]
    fn short_and_long_addresses_find_the_same_point() {
        let catalogue = catalogue();
        let found = |text: &str, usual: &str| catalogue.find(text, usual).map(|address| address.to_string());
        assert_eq!(found("io/north-door", "door-open"), Ok("io/board.north-door".to_owned()));
        assert_eq!(found("io/board.north-door", "door-open"), Ok("io/board.north-door".to_owned()));
        assert_eq!(found("loops/north", "temperature"), Ok("loops/north.temperature".to_owned()));
    }

    #[test]
    fn what_is_not_there_is_said_with_what_is() {
        let words = catalogue().find("io/south-door", "door-open").expect_err("not there").expect("words");
        assert!(words.contains("north-door"), "{words}");
        assert!(catalogue().find("north-door", "door-open").is_err());
        let said = |text: &str| catalogue().find(text, "temperature").expect_err("not there").expect("words");
        assert!(said("lopps/north").ends_with("there is no driver lopps with any unit; did you mean `loops`?"));
        assert!(said("kilns/north").ends_with("there is no driver kilns with any unit; there is io, loops"));
    }

    #[test]
    fn what_is_suggested_can_be_written_as_it_stands() {
        let mut catalogue = catalogue();
        let unit = |text: &str| text.parse::<UnitAddress>().expect("an address");
        let names = |list: &[&str]| list.iter().map(|name| Name::new(*name).expect("a name")).collect();
        catalogue.add(unit("io/second"), UnitFacts { readings: names(&["horn", "lamp"]), ..UnitFacts::default() });
        catalogue.add(unit("io/empty"), UnitFacts::default());
        for (text, usual, words) in [
            (
                "loops/north",
                "door-open",
                "loops/north has no door-open; write which of temperature, set-point is meant, like \"loops/north.temperature\"",
            ),
            ("io/horn", "horn", "several units of io have a horn; write which one, like \"io/board.horn\""),
        ] {
            assert_eq!(catalogue.find(text, usual), Err(Some(words.to_owned())));
            let suggested = words.split('"').nth(1).expect("an address in quotes");
            assert_eq!(catalogue.find(suggested, usual).map(|address| address.to_string()), Ok(suggested.to_owned()));
        }
        let empty = "io/empty has no flow, nor any other reading";
        assert_eq!(catalogue.find("io/empty", "flow"), Err(Some(empty.to_owned())));
    }

    #[test]
    fn nothing_is_said_about_a_driver_that_could_not_be_surveyed() {
        let mut catalogue = catalogue();
        catalogue.add_dark(Name::new("lost").expect("a name"));
        assert_eq!(catalogue.find("lost/anything", "flow"), Err(None));
    }
}
