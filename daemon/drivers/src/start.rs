//! Putting the host together: every problem first, then everything at once.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use hearthward_equipment::{Address, Evidence, FurnaceId, Name, PointId, UnitAddress, UnitId};
use hearthward_supervise::output::Via;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{Notify, mpsc};

use crate::clock::ShopClock;
use crate::cut::{CutCell, StandingCut, StandingCuts, StandingEntry};
use crate::driver::{Contactor, Handle, JOBS_MOST, Parts, Shared, Task, Unit, Wired};
use crate::engine::Engine;
use crate::host::{Host, Runtimes, watch_leases};
use crate::inbox::{Inbox, Sink, report_cuts};
use crate::line::{CutGroup, Line};
use crate::plan::{FurnaceWiring, HostPlan};
use crate::refusal::Problem;
use crate::slot::OrderSlot;
use crate::survey::{Sound, survey_all};

/// Threads that carry guests: two, so that one runaway leaves the other free. One processor is left to the core and the lines, which
/// runaways on all of them would make wait for the operating system.
const GUEST_THREADS_MOST: usize = 2;

/// Stack of our own threads; guests run on stacks of their own.
const THREAD_STACK: usize = 512 << 10;

/// What is known before anything starts.
struct Plans {
    plan: HostPlan,
    sound: Vec<Sound>,
    cells: Vec<Arc<CutCell>>,
    told: Arc<Notify>,
}

pub(crate) fn start(engine: &Engine, plan: HostPlan, clock: ShopClock, inbox: Arc<dyn Inbox>) -> Result<Host, Vec<Problem>> {
    let plans = checked(engine, plan)?;
    let runtimes = runtimes().map_err(|why| vec![Problem { key: "host".to_owned(), message: why.to_string() }])?;
    let guests = runtimes.guests.handle().clone();
    let lanes = runtimes.lines.handle().clone();
    let lines: Vec<Line> = plans.plan.lines.iter().map(|spec| Line::start(spec, &guests, &lanes)).collect();
    let shared: Vec<Arc<Shared>> = plans
        .plan
        .drivers
        .iter()
        .zip(&plans.sound)
        .map(|(spec, sound)| Arc::new(Shared::new(spec.clone(), sound.clone())))
        .collect();
    let standing = wire_cuts(&plans, &lines, &shared);
    let mut slots: Vec<[Option<Arc<OrderSlot>>; 2]> = plans.cells.iter().map(|_| [None, None]).collect();
    let mut drivers = Vec::new();
    for (place, shared) in shared.iter().enumerate() {
        let (jobs, taken) = mpsc::channel(JOBS_MOST);
        let sink = Sink::new((!clock.is_stepped()).then(|| Arc::clone(&inbox)));
        let granted = shared.spec.lines.iter().filter_map(|name| lines.iter().find(|line| line.name() == name)).cloned();
        let task = Task::new(Parts {
            engine: engine.clone(),
            shared: Arc::clone(shared),
            clock: clock.clone(),
            lines: granted.collect(),
            units: units(&plans, place, shared, &mut slots),
            jobs: taken,
            sink,
        });
        guests.spawn(task.run());
        drivers.push(Handle { shared: Arc::clone(shared), jobs });
    }
    let leases = Arc::new(Notify::new());
    if !clock.is_stepped() {
        lanes.spawn(report_cuts(plans.cells.clone(), Arc::clone(&plans.told), inbox));
        lanes.spawn(watch_leases(plans.cells.clone(), clock.clone(), Arc::clone(&leases)));
    }
    Ok(Host {
        units: unit_places(&plans),
        points: points(&plans.plan),
        heat_points: heat_points(&plans),
        by_hand: plans
            .sound
            .iter()
            .map(|driver| driver.units.iter().map(|unit| unit.evidence == Evidence::Confirmed).collect())
            .collect(),
        cells: plans.cells,
        clock,
        slots,
        drivers,
        lines,
        standing,
        leases,
        runtimes: Mutex::new(Some(runtimes)),
    })
}

fn runtimes() -> std::io::Result<Runtimes> {
    let processors = std::thread::available_parallelism().map_or(1, usize::from);
    let threads = (processors - 1).clamp(1, GUEST_THREADS_MOST);
    let guests = Builder::new_multi_thread()
        .worker_threads(threads)
        .thread_name("guests")
        .thread_stack_size(THREAD_STACK)
        .enable_all()
        .build()?;
    let lines: Runtime = Builder::new_multi_thread()
        .worker_threads(1)
        .thread_name("lines")
        .thread_stack_size(THREAD_STACK)
        .enable_all()
        .build()?;
    Ok(Runtimes { guests, lines })
}

/// Everything that can be wrong, at once.
fn checked(engine: &Engine, plan: HostPlan) -> Result<Plans, Vec<Problem>> {
    let mut problems = Vec::new();
    twice(plan.lines.iter().map(|line| &line.name), "line", &mut problems);
    twice(plan.drivers.iter().map(|driver| &driver.name), "driver", &mut problems);
    for driver in &plan.drivers {
        for line in driver.lines.iter().filter(|line| plan.lines.iter().all(|known| known.name != **line)) {
            problems.push(Problem { key: format!("driver.{}.lines", driver.name), message: format!("there is no line {line}") });
        }
    }
    let mut sound = Vec::new();
    for (surveyed, found) in survey_all(engine, &plan.drivers) {
        sound.extend(found);
        problems.extend(surveyed.problems.into_iter().map(|problem| {
            let key = if problem.key.is_empty() { String::new() } else { format!(".{}", problem.key) };
            Problem { key: format!("driver.{}{key}", surveyed.name), message: problem.message }
        }));
    }
    if sound.len() == plan.drivers.len() {
        addresses(&plan, &sound, &mut problems);
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let furnaces = plan.wiring.iter().map(|wired| wired.furnace.index() + 1).max().unwrap_or(0);
    let told = Arc::new(Notify::new());
    let cells = (0..furnaces)
        .map(|place| {
            let furnace = FurnaceId(u16::try_from(place).unwrap_or(u16::MAX));
            Arc::new(CutCell::new(furnace, Arc::clone(&told)))
        })
        .collect();
    Ok(Plans { plan, sound, cells, told })
}

fn twice<'a>(names: impl Iterator<Item = &'a Name>, what: &str, problems: &mut Vec<Problem>) {
    let mut seen = BTreeMap::new();
    for name in names {
        *seen.entry(name).or_insert(0) += 1;
    }
    for (name, _) in seen.into_iter().filter(|(_, times)| *times > 1) {
        problems.push(Problem { key: format!("{what}.{name}"), message: format!("there are two {what}s of this name") });
    }
}

/// Every unit and point of the directory must be somebody's, and every wire must lead somewhere.
fn addresses(plan: &HostPlan, sound: &[Sound], problems: &mut Vec<Problem>) {
    let has_unit = |address: &UnitAddress| {
        let driver = plan.drivers.iter().position(|driver| driver.name == address.driver)?;
        sound[driver].units.iter().find(|unit| unit.name == address.unit)
    };
    for address in plan.directory.units().iter().filter(|address| has_unit(address).is_none()) {
        problems.push(Problem { key: address.to_string(), message: "no driver offers this unit".to_owned() });
    }
    for address in plan.directory.points() {
        let offered = has_unit(&address.unit).is_none_or(|unit| unit.readings.iter().any(|(name, _)| *name == address.point));
        if !offered {
            problems.push(Problem { key: address.to_string(), message: "the unit has no such point".to_owned() });
        }
    }
    for wired in &plan.wiring {
        let key = format!("furnace number {}", wired.furnace.0);
        if wired.controller.is_some_and(|unit| plan.directory.unit_address(unit).is_none()) {
            problems.push(Problem { key: key.clone(), message: "its controller is not in the directory".to_owned() });
        }
        if wired.contactor.is_some_and(|point| plan.directory.point_address(PointId(point.0)).is_none()) {
            problems.push(Problem { key, message: "its contactor is not in the directory".to_owned() });
        }
    }
}

/// The unit's driver and place in it.
fn place_of(plans: &Plans, address: &UnitAddress) -> Option<(usize, usize)> {
    let driver = plans.plan.drivers.iter().position(|driver| driver.name == address.driver)?;
    let unit = plans.sound[driver].units.iter().position(|unit| unit.name == address.unit)?;
    Some((driver, unit))
}

fn unit_places(plans: &Plans) -> Vec<Option<(usize, usize)>> {
    plans.plan.directory.units().iter().map(|address| place_of(plans, address)).collect()
}

fn points(plan: &HostPlan) -> Vec<(UnitId, String)> {
    let unit = |address: &Address| plan.directory.find_unit(&address.unit).unwrap_or(UnitId(u16::MAX));
    plan.directory.points().iter().map(|address| (unit(address), address.point.as_str().to_owned())).collect()
}

/// Points that can heat: contactors, and what can heat by itself or by its driver's word.
fn heat_points(plans: &Plans) -> Vec<bool> {
    (0..)
        .zip(plans.plan.directory.points())
        .map(|(number, address)| {
            let contactor = plans.plan.wiring.iter().any(|wired| wired.contactor.is_some_and(|point| point.0 == number));
            let Some((driver, unit)) = place_of(plans, &address.unit) else { return true };
            contactor || plans.sound[driver].units[unit].can_heat(&address.point)
        })
        .collect()
}

/// Who carries out what when a furnace is cut: the lines' lanes their standing cuts, the driver tasks the rest.
fn wire_cuts(plans: &Plans, lines: &[Line], shared: &[Arc<Shared>]) -> StandingCuts {
    let mut groups: Vec<Vec<Arc<CutGroup>>> = lines.iter().map(|_| Vec::new()).collect();
    let mut standing = StandingCuts::default();
    for wired in &plans.plan.wiring {
        for (via, driver, cuts) in sources(plans, wired) {
            let cell = &plans.cells[wired.furnace.index()];
            let granted = &plans.plan.drivers[driver].lines;
            // Every line of the driver is told, as its exchanges have to be withdrawn; those with standing cuts carry them.
            let mut wakes = vec![Arc::clone(&shared[driver].wake)];
            let mut carrying = 0;
            for (place, line) in lines.iter().enumerate().filter(|(_, line)| granted.contains(line.name())) {
                wakes.push(line.lane());
                let here: Vec<StandingCut> = cuts
                    .iter()
                    .filter(|(index, _)| granted.get(*index as usize) == Some(line.name()))
                    .map(|(_, cut)| cut.clone())
                    .collect();
                if here.is_empty() {
                    continue;
                }
                carrying += 1;
                groups[place].push(Arc::new(CutGroup::new(Arc::clone(cell), via, here.clone())));
                standing.entries.push(StandingEntry { furnace: wired.furnace, via, line: line.name().clone(), cuts: here });
            }
            cell.way(via).set_lines(carrying);
            cell.way(via).set_wakes(wakes);
        }
    }
    for (line, groups) in lines.iter().zip(groups) {
        line.set_groups(groups);
    }
    standing
}

/// What heats a furnace: by what, driver, and the standing cuts that take it away, each with the index of its line.
type Source = (Via, usize, Vec<(u32, StandingCut)>);

fn sources(plans: &Plans, wired: &FurnaceWiring) -> Vec<Source> {
    let directory = &plans.plan.directory;
    let mut sources = Vec::new();
    if let Some((driver, unit)) =
        wired.controller.and_then(|unit| directory.unit_address(unit)).and_then(|address| place_of(plans, address))
    {
        sources.push((Via::Controller, driver, plans.sound[driver].units[unit].cuts.clone()));
    }
    if let Some(address) = wired.contactor.and_then(|point| directory.point_address(PointId(point.0)))
        && let Some((driver, unit)) = place_of(plans, &address.unit)
    {
        let facts = &plans.sound[driver].units[unit];
        let wire = facts.readings.iter().find(|(name, _)| *name == address.point).map_or("", |(_, wire)| wire.as_str());
        sources.push((Via::Contactor, driver, facts.cuts_of(wire)));
    }
    sources
}

/// The units of one driver with their points and what heats by them.
fn units(plans: &Plans, driver: usize, shared: &Shared, slots: &mut [[Option<Arc<OrderSlot>>; 2]]) -> Vec<Unit> {
    let directory = &plans.plan.directory;
    let name = &plans.plan.drivers[driver].name;
    let mut slot = |wired: &FurnaceWiring, via: Via| {
        let cell = Arc::clone(&plans.cells[wired.furnace.index()]);
        let heartbeat = wired.heartbeat.filter(|_| via == Via::Contactor);
        let slot = Arc::new(OrderSlot::new(Arc::clone(&cell), via, Arc::clone(&shared.wake), heartbeat));
        slots[wired.furnace.index()][via as usize] = Some(Arc::clone(&slot));
        Wired::new(cell, via, slot)
    };
    (0..)
        .zip(&plans.sound[driver].units)
        .map(|(index, facts)| {
            let address = UnitAddress { driver: name.clone(), unit: facts.name.clone() };
            let id = directory.find_unit(&address);
            let used = facts.readings.iter().filter_map(|(point, _)| {
                let found = directory.find_point(&Address { unit: address.clone(), point: point.clone() })?;
                Some((point.as_str().to_owned(), found))
            });
            let mut unit = Unit::new(facts.clone(), index, id, used.collect());
            for wired in &plans.plan.wiring {
                if wired.controller.is_some() && wired.controller == id {
                    unit.controls = Some(slot(wired, Via::Controller));
                }
                let closes = wired.contactor.and_then(|point| directory.point_address(PointId(point.0)));
                if let Some(point) = closes.filter(|point| point.unit == address) {
                    let wire = unit.wire_name(point.point.as_str()).unwrap_or_default().to_owned();
                    let name = point.point.as_str().to_owned();
                    unit.contactors.push(Contactor { wired: slot(wired, Via::Contactor), wire, name });
                }
            }
            unit
        })
        .collect()
}
