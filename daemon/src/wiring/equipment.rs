//! Furnaces, tanks, supplies and the room with their addresses found.

use std::collections::BTreeMap;
use std::time::Duration;

use hearthward_drivers::FurnaceWiring;
use hearthward_equipment::quantity::celsius;
use hearthward_equipment::reading::field;
use hearthward_equipment::{Address, Directory, FurnaceId, HeatPointId, PointId, SupplyId, UnitAddress, UnitId};
use hearthward_supervise::alarm::AlarmPlan;
use hearthward_supervise::plan::{
    Contactor, DeadMan, FurnacePlan, GasPlan, Heating, PolicyPlan, RoomPlan, ShopPlan, SupplyPlan, TankPlan, ValvePlan,
};

use super::catalogue::{Catalogue, UnitFacts};
use super::roles::{self, Role};
use super::rules;
use crate::settings::{AlarmSettings, DriverSettings, FurnaceSettings, GasSettings, PointRef, Problems, Settings, TankSettings};

/// Finds addresses and numbers them.
pub(super) struct Finder<'a> {
    directory: Directory,
    catalogue: &'a Catalogue,
    drivers: &'a [DriverSettings],
    problems: &'a Problems,
    /// Which key has taken an output, so that no two things hang on one.
    outputs: BTreeMap<String, String>,
    /// What a reading tells of, so that none is taken for two things.
    readings: BTreeMap<String, String>,
}

impl Finder<'_> {
    fn address(&self, reference: Option<&PointRef>, usual: &str) -> Option<Address> {
        self.catalogue.point(reference?, usual, self.problems)
    }

    /// The point that a reference names, numbered, or nothing and a problem noted.
    pub(super) fn point(&mut self, reference: Option<&PointRef>, usual: &str) -> Option<PointId> {
        let address = self.address(reference, usual)?;
        Some(self.directory.point(&address))
    }

    /// The same for a point that has to serve as something.
    fn address_as(&self, role: Role, reference: Option<&PointRef>, usual: &str) -> Option<Address> {
        let address = self.address(reference, usual)?;
        let facts = self.catalogue.facts(&address.unit)?;
        match roles::refusal(role, facts, &address, reference?) {
            Some(words) => {
                self.note(&reference?.source, reference?.key.clone(), words);
                None
            }
            None => Some(address),
        }
    }

    fn point_as(&mut self, role: Role, reference: Option<&PointRef>, usual: &str) -> Option<PointId> {
        let address = self.address_as(role, reference, usual)?;
        Some(self.directory.point(&address))
    }

    fn reading(&mut self, unit: &UnitAddress, facts: &UnitFacts, name: &str) -> Option<PointId> {
        let point = facts.readings.iter().find(|reading| reading.as_str() == name)?.clone();
        Some(self.directory.point(&Address { unit: unit.clone(), point }))
    }

    /// Notes a problem.
    pub(super) fn note(&self, home: &str, key: String, words: String) {
        self.problems.note(home, key, words);
    }

    /// The same for a point that tells of this one thing, and of no other.
    fn own_point(&mut self, role: Role, reference: Option<&PointRef>, usual: &str, tells_of: String) -> Option<PointId> {
        let address = self.address_as(role, reference, usual)?;
        let reference = reference?;
        self.take_reading(&address, tells_of, &reference.source, &reference.key);
        Some(self.directory.point(&address))
    }

    /// Notes that a reading tells of this one thing, and of no other.
    fn take_reading(&mut self, address: &Address, tells_of: String, home: &str, key: &str) {
        let text = address.to_string();
        let Some(other) = self.readings.get(&text) else {
            self.readings.insert(text, tells_of);
            return;
        };
        let words = format!("is {text}, which is {other}; it cannot tell of both, so give each its own");
        self.note(home, key.to_owned(), words);
    }

    /// Notes that points are read too seldom for the age at which their reader takes them as missing: two polls have to fit, since
    /// one of them may be late.
    pub(super) fn check_age(&self, points: &[Option<PointId>], stale_after: Duration, home: &str, key: &str) {
        for address in points.iter().flatten().filter_map(|point| self.directory.point_address(*point)) {
            let Some(driver) = self.drivers.iter().find(|driver| driver.spec.name == address.unit.driver) else { continue };
            let (name, poll) = (&driver.spec.name, driver.spec.poll_every);
            if stale_after < poll * 2 {
                let words = format!(
                    "is {} ms, but {name} is read every {} ms (`driver.{name}.poll`): a reading would be too old before the next one \
                     comes; give it {} ms at least, or read more often",
                    stale_after.as_millis(),
                    poll.as_millis(),
                    (poll * 2).as_millis()
                );
                self.note(home, key.to_owned(), words);
            }
        }
    }

    /// Notes that a key switches this output, and nothing else does. The horn of the room may be that of the alarms.
    fn take_output(&mut self, output: String, home: &str, key: &str) {
        let Some(other) = self.outputs.get(&output) else {
            self.outputs.insert(output, key.to_owned());
            return;
        };
        if (other.as_str(), key) != ("room.horn", "alarms.horn") {
            let words =
                format!("is {output}, which `{other}` uses already; two things cannot share an output, so give each its own");
            self.note(home, key.to_owned(), words);
        }
    }

    /// The point that a reference names as a horn or a lamp.
    fn signal(&mut self, reference: Option<&PointRef>, usual: &str) -> Option<PointId> {
        let address = self.address_as(Role::SIGNAL, reference, usual)?;
        let reference = reference?;
        self.take_output(address.to_string(), &reference.source, &reference.key);
        Some(self.directory.point(&address))
    }
}

/// Beats in the time after which a contactor drops: two may be lost before it does.
const BEATS: u32 = 3;

pub(super) fn plan(settings: &Settings, catalogue: &Catalogue, problems: &Problems) -> Option<(ShopPlan, Vec<FurnaceWiring>)> {
    let mut finder = Finder {
        directory: Directory::default(),
        catalogue,
        drivers: &settings.drivers,
        problems,
        outputs: BTreeMap::new(),
        readings: BTreeMap::new(),
    };
    let supplies = settings.supplies.iter().map(|supply| {
        let pressure = finder.point_as(Role::GAUGE, supply.pressure.as_ref(), field::PRESSURE);
        if let Some(gauge) = &supply.pressure {
            finder.check_age(&[pressure], supply.stale_after, &gauge.source, &format!("supply.{}.stale_after", supply.name));
        }
        SupplyPlan {
            name: supply.name.clone(),
            gas: supply.gas,
            oxygen: supply.oxygen,
            capacity: supply.capacity,
            cylinder_volume: supply.cylinder_volume,
            pressure,
            gauge_error: supply.gauge_error,
            stale_after: supply.stale_after,
        }
    });
    let supplies: Vec<SupplyPlan> = supplies.collect();
    let built: Vec<_> = settings.furnaces.iter().map(|furnace| self::furnace(furnace, settings, &mut finder)).collect();
    let tanks: Vec<_> = settings.tanks.iter().map(|tank| self::tank(tank, &mut finder)).collect();
    let room = RoomPlan {
        oxygen: finder.own_point(Role::OXYGEN, settings.room.oxygen.as_ref(), "oxygen", "the monitor of the room".to_owned()),
        first_level: settings.room.first_level,
        second_level: settings.room.second_level,
        debounce: settings.room.debounce,
        stale_after: settings.room.stale_after,
        horn: finder.signal(settings.room.horn.as_ref(), "horn"),
    };
    if let Some(monitor) = &settings.room.oxygen {
        finder.check_age(&[room.oxygen], room.stale_after, &monitor.source, "room.stale_after");
    }
    let alarms = self::alarms(&settings.alarms, &mut finder);
    let (mut furnaces, contactors): (Vec<_>, Vec<_>) = built.into_iter().collect::<Option<Vec<_>>>()?.into_iter().unzip();
    rules::add(settings, &mut furnaces, &room, &mut finder);
    let tanks = tanks.into_iter().collect::<Option<_>>()?;
    let wiring = (0_u16..).zip(furnaces.iter().zip(&contactors)).map(|(place, (furnace, contactor))| FurnaceWiring {
        furnace: FurnaceId(place),
        controller: furnace.controller.filter(|_| furnace.heating != Heating::Watched && furnace.heating != Heating::ByHand),
        contactor: *contactor,
        heartbeat: match furnace.dead_man {
            DeadMan::ContactorHeartbeat { drops_after } => Some(drops_after / BEATS),
            DeadMan::ControllerTimeOut { .. } | DeadMan::Nothing => None,
        },
    });
    let wiring = wiring.collect();
    let plan = ShopPlan {
        name: settings.name.clone(),
        scan: settings.scan,
        ride_through: settings.ride_through,
        directory: finder.directory,
        furnaces,
        tanks,
        supplies,
        room,
        electrical_demand: settings.electrical_demand,
        alarms,
    };
    Some((plan, wiring))
}

fn furnace(settings: &FurnaceSettings, shop: &Settings, finder: &mut Finder<'_>) -> Option<(FurnacePlan, Option<HeatPointId>)> {
    let key = |entry: &str| format!("furnace.{}.{entry}", settings.name);
    let none = UnitFacts::default();
    let controller = settings.controller.as_ref();
    let facts = controller
        .and_then(|unit| finder.catalogue.unit(unit, &settings.home, &key("controller"), finder.problems))
        .unwrap_or(&none);
    if let Some(unit) = controller
        && settings.heating != Heating::Watched
    {
        finder.take_output(unit.to_string(), &settings.home, &key("controller"));
        check_heating(settings, unit, facts, finder);
    }
    check_power(settings, shop, finder);
    let own = |finder: &mut Finder<'_>, name: &str| controller.and_then(|unit| finder.reading(unit, facts, name));
    let own_temperature = if settings.temperature.is_none() { own(finder, field::TEMPERATURE) } else { None };
    let temperature = thermometer(settings, own_temperature, facts, finder);
    check_heartbeat(settings, shop, finder);
    let own_door = own(finder, field::DOOR_OPEN);
    let contactor = self::contactor(settings, finder);
    let door = match &settings.door {
        Some(_) => finder.point_as(Role::CONTACT, settings.door.as_ref(), field::DOOR_OPEN),
        None => own_door,
    };
    let load = settings.load_temperature.as_ref();
    let load_temperature = finder.own_point(Role::THERMOMETER, load, field::TEMPERATURE, of("the load thermometer", settings));
    let probe = finder.own_point(Role::OXYGEN, settings.probe.as_ref(), "oxygen", of("the oxygen probe", settings));
    let gas = settings.gas.as_ref().and_then(|gas| self::gas(gas, settings, shop, finder));
    let flow = gas.as_ref().filter(|gas| !gas.by_eye).map(|gas| gas.flow);
    let feedback = contactor.as_ref().and_then(|contactor| contactor.feedback);
    let read = [temperature, door, load_temperature, probe, flow, feedback];
    finder.check_age(&read, settings.stale_after, &settings.home, &key("stale_after"));
    let plan = FurnacePlan {
        name: settings.name.clone(),
        controller: controller.map(|unit| finder.directory.unit(unit)),
        heating: settings.heating.clone(),
        dead_man: settings.dead_man.clone(),
        stale_after: settings.stale_after,
        set_point: own(finder, field::SET_POINT),
        output_share: own(finder, field::OUTPUT_SHARE),
        heat_on: own(finder, field::HEAT_ON),
        over_temperature: own(finder, field::OVER_TEMPERATURE),
        door,
        load_temperature,
        probe,
        contactor: contactor.clone(),
        chamber: settings.chamber.clone(),
        rated: settings.rated,
        limit: settings.limit,
        power: settings.power,
        band: settings.band,
        steepest_k_per_s: settings.steepest_k_per_s,
        no_response_after: settings.no_response_after,
        short_opening: settings.short_opening,
        run_time_limit: settings.run_time_limit,
        gas,
        on_silence: settings.on_silence,
        takes_to: facts.most(field::SET_POINT).filter(|_| settings.heating == Heating::SetPoint).map(celsius),
        still_quenchable: settings.still_quenchable,
        falls_k_per_s: settings.falls_k_per_s,
        policy: PolicyPlan {
            may_bypass: settings.policy.may_bypass.clone(),
            rules: Vec::new(),
            proof_stands: settings.policy.proof_stands,
        },
        // After all else was looked up, so that what is wrong there is said too.
        temperature: temperature?,
    };
    Some((plan, contactor.map(|contactor| contactor.output)))
}

/// What a reading tells of, in words.
fn of(what: &str, furnace: &FurnaceSettings) -> String {
    format!("{what} of furnace {}", furnace.name)
}

/// What tells the chamber's temperature: a thermometer of its own, else the controller's.
fn thermometer(settings: &FurnaceSettings, own: Option<PointId>, facts: &UnitFacts, finder: &mut Finder<'_>) -> Option<PointId> {
    let Some(reference) = &settings.temperature else {
        let key = format!("furnace.{}.controller", settings.name);
        // Of a unit that is no furnace's, enough is said.
        if own.is_none() && !facts.readings.is_empty() && !finder.problems.tells_of(&key) {
            let words = "gives no temperature; name one with `temperature`".to_owned();
            finder.note(&settings.home, key.clone(), words);
        }
        // Of a controller that another furnace has, enough is said.
        if let Some(address) = own.and_then(|point| finder.directory.point_address(point)).cloned()
            && !finder.problems.tells_of(&key)
        {
            finder.take_reading(&address, of("the thermometer", settings), &settings.home, &key);
        }
        return own;
    };
    finder.own_point(Role::THERMOMETER, Some(reference), field::TEMPERATURE, of("the thermometer", settings))
}

/// The contactor, with what says whether it is closed.
fn contactor(settings: &FurnaceSettings, finder: &mut Finder<'_>) -> Option<Contactor> {
    let key = |entry: &str| format!("furnace.{}.{entry}", settings.name);
    let contactor = settings.contactor.as_ref()?;
    let address = finder.address_as(Role::CONTACTOR, Some(&contactor.output), "closed")?;
    finder.take_output(address.to_string(), &settings.home, &key("contactor"));
    let output = HeatPointId(finder.directory.point(&address).0);
    let feedback =
        finder.own_point(Role::CONTACT, contactor.feedback.as_ref(), "closed", of("the feedback of the contactor", settings));
    Some(Contactor { output, feedback })
}

/// A furnace that draws more than all may together would never have its turn.
fn check_power(settings: &FurnaceSettings, shop: &Settings, finder: &Finder<'_>) {
    if shop.electrical_demand.is_some_and(|demand| settings.power > demand) {
        let words = "is more than all furnaces together may draw (`share.electrical_demand`): it would wait for its turn for ever, \
                     and so would all behind it";
        finder.note(&settings.home, format!("furnace.{}.power", settings.name), words.to_owned());
    }
}

/// A heartbeat that cannot be kept would cut heat from a sound furnace for ever.
fn check_heartbeat(settings: &FurnaceSettings, shop: &Settings, finder: &Finder<'_>) {
    if let DeadMan::ContactorHeartbeat { drops_after } = settings.dead_man
        && drops_after < shop.scan * BEATS
    {
        let words = format!(
            "is {} ms, but the contactor is told every {} ms at the soonest (`shop.scan`) and two beats may be lost: \
             give it {} ms at least",
            drops_after.as_millis(),
            shop.scan.as_millis(),
            (shop.scan * BEATS).as_millis()
        );
        let key = format!("furnace.{}.if_computer_dies.contactor_drops_after", settings.name);
        finder.problems.note(&settings.home, key, words);
    }
}

/// Heat may be ordered only where the order arrives, and where it can be taken away again.
fn check_heating(settings: &FurnaceSettings, unit: &UnitAddress, facts: &UnitFacts, finder: &Finder<'_>) {
    if finder.catalogue.facts(unit).is_none() || settings.heating == Heating::ByHand {
        return;
    }
    let words = if facts.by_hand {
        format!("{unit} is kept by hand, so heat cannot be ordered there; write heating = \"by-hand\"")
    } else if let Some((way, mend)) = told_by(&settings.heating)
        && !facts.noted("heats").any(|noted| noted == way)
    {
        format!(
            "{unit} cannot be told to heat: its driver notes no {way} that can be written; with the register driver `map.{mend}` \
             needs write = true; else write heating = \"by-hand\" or \"watched\""
        )
    } else if facts.on_a_line && !facts.standing_cuts && settings.contactor.is_none() {
        format!(
            "{unit} gives no way to take its heat away (its driver has no cut for it, and no contactor is wired); \
             add a cut to its register map, name a `contactor`, or write heating = \"watched\""
        )
    } else {
        return;
    };
    finder.problems.note(&settings.home, format!("furnace.{}.controller", settings.name), words);
}

/// What is written to make a controller heat, and the register driver's field for it.
fn told_by(heating: &Heating) -> Option<(&'static str, &'static str)> {
    match heating {
        Heating::SetPoint => Some((field::SET_POINT, "set_point")),
        Heating::Program => Some(("program", "program")),
        Heating::ByHand | Heating::Watched => None,
    }
}

fn gas(gas: &GasSettings, furnace: &FurnaceSettings, shop: &Settings, finder: &mut Finder<'_>) -> Option<GasPlan> {
    let Some(supply) = shop.supplies.iter().position(|supply| supply.name == gas.supply) else {
        // One that is configured and has problems of its own is complained about at its own place.
        if !shop.supply_names.contains(&gas.supply) {
            let words = format!("{} is not configured; add [supply.{}]", gas.supply, gas.supply);
            finder.problems.note(&furnace.home, format!("furnace.{}.supply", furnace.name), words);
        }
        return None;
    };
    if gas.purge.flow > shop.supplies[supply].capacity {
        let words = format!("is more than the supply {} can give at all (`capacity`)", gas.supply);
        finder.problems.note(&furnace.home, format!("furnace.{}.purge.flow", furnace.name), words);
    }
    let address = finder.address_as(Role::METER, gas.meter.as_ref(), field::FLOW)?;
    finder.take_reading(&address, of("the meter", furnace), &furnace.home, &format!("furnace.{}.meter", furnace.name));
    let by_eye = finder.catalogue.facts(&address.unit).is_some_and(|facts| facts.by_hand);
    let flow = finder.directory.point(&address);
    let settable = finder
        .catalogue
        .facts(&address.unit)
        .is_some_and(|facts| facts.readings.iter().any(|reading| reading.as_str() == field::SET_FLOW));
    let meter: Option<UnitId> = (settable || by_eye).then(|| finder.directory.unit(&address.unit));
    let valve = gas.valve.as_ref().and_then(|(reference, open_unpowered)| {
        let output = finder.address_as(Role::VALVE, Some(reference), "open")?;
        finder.take_output(output.to_string(), &reference.source, &reference.key);
        Some(ValvePlan { output: finder.directory.point(&output), open_unpowered: *open_unpowered })
    });
    let supply = SupplyId(u16::try_from(supply).ok()?);
    Some(GasPlan { supply, meter, flow, resolution: gas.resolution, by_eye, valve, purge: gas.purge })
}

/// Horn and lamp of the alarms. They are switched by what people hear of, so nothing that heats or gives gas may hang on them.
fn alarms(settings: &AlarmSettings, finder: &mut Finder<'_>) -> AlarmPlan {
    let (horn, lamp) = (finder.signal(settings.horn.as_ref(), "horn"), finder.signal(settings.lamp.as_ref(), "lamp"));
    AlarmPlan { horn, lamp, ..settings.plan.clone() }
}

fn tank(tank: &TankSettings, finder: &mut Finder<'_>) -> Option<TankPlan> {
    let address = finder.address_as(Role::THERMOMETER, Some(&tank.thermometer), field::TEMPERATURE)?;
    finder.take_reading(
        &address,
        format!("the thermometer of tank {}", tank.name),
        &tank.thermometer.source,
        &tank.thermometer.key,
    );
    let facts = finder.catalogue.facts(&address.unit).cloned().unwrap_or_default();
    let commanded = facts.readings.iter().any(|reading| reading.as_str() == field::HEATER_ON);
    let own = |finder: &mut Finder<'_>, name: &str| finder.reading(&address.unit, &facts, name);
    let level = if tank.level.is_some() {
        finder.point_as(Role::LEVEL, tank.level.as_ref(), field::LEVEL_SHARE)
    } else {
        own(finder, field::LEVEL_SHARE)
    };
    let agitation = if tank.agitation.is_some() {
        finder.point_as(Role::SWITCH, tank.agitation.as_ref(), field::AGITATION_ON)
    } else {
        own(finder, field::AGITATION_ON)
    };
    let part_under = finder.point_as(Role::CONTACT, tank.part_under.as_ref(), "part-under");
    let temperature = finder.directory.point(&address);
    let read = [Some(temperature), level, agitation, part_under];
    finder.check_age(&read, tank.stale_after, &tank.thermometer.source, &format!("tank.{}.stale_after", tank.name));
    Some(TankPlan {
        name: tank.name.clone(),
        unit: (commanded && !facts.by_hand).then(|| finder.directory.unit(&address.unit)),
        temperature,
        level,
        agitation,
        part_under,
        stale_after: tank.stale_after,
        volume: tank.volume,
        heater: tank.heater,
        window_low: tank.window.0,
        window_high: tank.window.1,
        flash_point: tank.flash_point,
        flash_margin: tank.flash_margin,
        level_least: tank.level_least,
    })
}
