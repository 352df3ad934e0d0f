//! The tables of what furnaces share: supplies, tanks and the room, each value checked by itself and against its table.

use std::time::Duration;

use hearthward_equipment::Name;
use hearthward_equipment::quantity::{GasFlow, Temperature, TemperatureStep, kelvins};
use hearthward_process::gas::Gas;
use uom::si::f64::{Frequency, Power, Pressure, Ratio, Volume};
use uom::si::frequency::hertz;
use uom::si::pressure::kilopascal;
use uom::si::ratio::{part_per_million, percent, ratio};

use super::quantities;
use super::section::Section;

/// A point as the configuration names it, still to be found: `driver/point`, `driver/unit` or `driver/unit.point`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PointRef {
    /// As written.
    pub text: String,
    /// The key that names it, for problems.
    pub key: String,
    /// The file it is written in, for problems.
    pub source: String,
}

/// A gas supply.
#[derive(Clone, Debug)]
pub struct SupplySettings {
    /// Its name.
    pub name: Name,
    /// The gas.
    pub gas: Gas,
    /// Oxygen in it.
    pub oxygen: Ratio,
    /// What it can give to all furnaces together.
    pub capacity: GasFlow,
    /// Water volume of the cylinder.
    pub cylinder_volume: Option<Volume>,
    /// Gauge pressure of a full one.
    pub filled: Pressure,
    /// Its gauge.
    pub pressure: Option<PointRef>,
    /// The gauge's uncertainty.
    pub gauge_error: Pressure,
    /// How old the gauge reading may be.
    pub stale_after: Duration,
}

/// A quench tank.
#[derive(Clone, Debug)]
pub struct TankSettings {
    /// Its name.
    pub name: Name,
    /// Thermometer: a point, or the tank's unit.
    pub thermometer: PointRef,
    /// Level, where measured.
    pub level: Option<PointRef>,
    /// Agitation, where wired.
    pub agitation: Option<PointRef>,
    /// Switch that is on while a part is under.
    pub part_under: Option<PointRef>,
    /// Age at which a reading counts as missing.
    pub stale_after: Duration,
    /// Volume of the quenchant.
    pub volume: Volume,
    /// Power of its heater, from which the time to warm it is worked out.
    pub heater: Option<Power>,
    /// The working window.
    pub window: (Temperature, Temperature),
    /// Flash point.
    pub flash_point: Option<Temperature>,
    /// Distance to it.
    pub flash_margin: TemperatureStep,
    /// Lowest level that covers a part.
    pub level_least: Ratio,
}

/// The room.
#[derive(Clone, Debug)]
pub struct RoomSettings {
    /// Its volume.
    pub volume: Option<Volume>,
    /// How often its air is exchanged.
    pub air_changes: Frequency,
    /// Oxygen monitor.
    pub oxygen: Option<PointRef>,
    /// First level.
    pub first_level: Ratio,
    /// Second level.
    pub second_level: Ratio,
    /// How long the second must be undershot.
    pub debounce: Duration,
    /// Age at which the monitor counts as bad.
    pub stale_after: Duration,
    /// Horn.
    pub horn: Option<PointRef>,
}

pub(super) fn point(section: &Section<'_>, entry: &'static str) -> Option<PointRef> {
    let text = section.text(entry)?;
    Some(PointRef { text, key: section.key(entry), source: section.home().to_owned() })
}

/// Oxygen in a gas that may still be called protective; common practice, no source.
const OXYGEN_MOST_PPM: f64 = 1000.0;

pub(super) fn supplies(root: &Section<'_>) -> Vec<SupplySettings> {
    root.named("supply").into_iter().filter_map(|(name, section)| supply(name, section)).collect()
}

fn supply(name: Name, section: Section<'_>) -> Option<SupplySettings> {
    let gas = section.need("gas", "gas = \"argon\"", quantities::protective_gas);
    let oxygen = section.read("oxygen", quantities::share).unwrap_or_else(|| Ratio::new::<part_per_million>(10.0));
    if oxygen.get::<part_per_million>() > OXYGEN_MOST_PPM {
        let words = format!(
            "is {:.2} %: hot steel scales in that; a protective gas has {:.1} % oxygen at most, an argon cylinder some ppm",
            oxygen.get::<percent>(),
            OXYGEN_MOST_PPM * 1e-4
        );
        section.problem("oxygen", words);
    }
    let capacity = section.need("capacity", "capacity = \"20 L/min\"", quantities::capacity);
    let (mut cylinder_volume, mut filled, mut pressure, mut gauge_error) = (None, None, None, None);
    if let Some(cylinder) = section.section("cylinder") {
        cylinder_volume = cylinder.need("volume", "volume = \"43.8 L\"", quantities::volume);
        filled = cylinder.read("filled", quantities::filling_pressure);
        pressure = point(&cylinder, "pressure");
        gauge_error = cylinder.read("gauge_error", quantities::gauge_error);
        cylinder.finish();
    }
    let stale_after = section.read("stale_after", |text| quantities::duration_in(text, 1_000, 86_400_000));
    section.finish();
    Some(SupplySettings {
        name,
        gas: gas?,
        oxygen,
        capacity: capacity?,
        cylinder_volume,
        filled: filled.unwrap_or_else(|| Pressure::new::<kilopascal>(20_000.0)),
        pressure,
        gauge_error: gauge_error.unwrap_or_else(|| Pressure::new::<kilopascal>(500.0)),
        stale_after: stale_after.unwrap_or(Duration::from_secs(8 * 3600)),
    })
}

pub(super) fn tanks(root: &Section<'_>) -> Vec<TankSettings> {
    root.named("tank").into_iter().filter_map(|(name, section)| tank(name, section)).collect()
}

fn tank(name: Name, section: Section<'_>) -> Option<TankSettings> {
    let built = read_tank(name, &section);
    section.finish();
    built
}

fn read_tank(name: Name, section: &Section<'_>) -> Option<TankSettings> {
    let thermometer = point(section, "thermometer");
    if thermometer.is_none() {
        section.missing("thermometer", "thermometer = \"by-hand/oil-thermometer\"");
    }
    let volume = section.need("volume", "volume = \"12 L\"", quantities::volume);
    let heater = section.read("heater", quantities::power);
    let level = point(section, "level");
    let agitation = point(section, "agitation");
    let part_under = point(section, "part_under");
    let stale_after = section.read("stale_after", |text| quantities::duration_in(text, 1_000, 86_400_000));
    let level_least = section.read("level_least", quantities::share);
    let Some(oil) = section.section("oil") else {
        section.missing("oil", "oil = { window = [\"40 C\", \"70 C\"], flash_point = \"180 C\" }");
        return None;
    };
    let ends: Result<Vec<Temperature>, String> =
        oil.texts("window").iter().map(String::as_str).map(quantities::bath_temperature).collect();
    let window = match ends.as_deref() {
        Ok(&[low, high]) if low < high => Some((low, high)),
        Err(words) => {
            oil.problem("window", words);
            None
        }
        Ok(&[]) => {
            oil.missing("window", "window = [\"40 C\", \"70 C\"]");
            None
        }
        Ok(_) => {
            oil.problem("window", "is the lower and the upper end, written like [\"40 C\", \"70 C\"]");
            None
        }
    };
    let flash_point = oil.need("flash_point", "flash_point = \"180 C\"", quantities::bath_temperature);
    // 50 °F, as workplace rules for oil quenching have it (Washington Administrative Code 296-835-13005).
    let flash_margin = oil.read("flash_margin", quantities::step).unwrap_or_else(|| kelvins(50.0 / 1.8));
    oil.finish();
    if let (Some((_, high)), Some(flash)) = (window, flash_point)
        && high > flash - flash_margin
    {
        section.problem("oil.window", "reaches into the margin below the flash point; lower its upper end");
    }
    Some(TankSettings {
        name,
        thermometer: thermometer?,
        level,
        agitation,
        part_under,
        stale_after: stale_after.unwrap_or(Duration::from_secs(1800)),
        volume: volume?,
        heater,
        window: window?,
        flash_point,
        flash_margin,
        level_least: level_least.unwrap_or_else(|| Ratio::new::<ratio>(0.8)),
    })
}

pub(super) fn room(root: &Section<'_>) -> RoomSettings {
    let mut room = RoomSettings {
        volume: None,
        air_changes: Frequency::new::<hertz>(0.0),
        oxygen: None,
        first_level: Ratio::new::<percent>(19.5),
        second_level: Ratio::new::<percent>(18.0),
        debounce: Duration::from_secs(5),
        stale_after: Duration::from_secs(60),
        horn: None,
    };
    let Some(section) = root.section("room") else { return room };
    room.volume = section.read("volume", quantities::volume);
    room.air_changes = section.read("air_changes", quantities::air_changes).unwrap_or(room.air_changes);
    room.oxygen = point(&section, "oxygen");
    room.horn = point(&section, "horn");
    room.first_level = section.read("first_level", quantities::share).unwrap_or(room.first_level);
    room.second_level = section.read("second_level", quantities::share).unwrap_or(room.second_level);
    room.debounce = section.read("debounce", |text| quantities::duration_in(text, 0, 60_000)).unwrap_or(room.debounce);
    room.stale_after =
        section.read("stale_after", |text| quantities::duration_in(text, 1_000, 600_000)).unwrap_or(room.stale_after);
    if room.second_level >= room.first_level {
        section.problem("second_level", "is not below `first_level`");
    }
    section.finish();
    room
}
