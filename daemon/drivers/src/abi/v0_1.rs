//! Contract 0.1: its bindings, its imports, and its exports as a [`Guest`].

use std::time::Duration;

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, in_celsius};
use hearthward_equipment::{Fault, FaultCode, Name, ShopMs};
use hearthward_supervise::interlock::{HeatOrder, Means};
use uom::si::ratio::ratio;
use wasmtime::Store;
use wasmtime::component::{Component, HasSelf, InstancePre, Linker};

use super::v0_1_values as convert;
use super::{Answer, CallError, Complaint, Description, Face, Guest, Listed, Read, TankCommand, death};
use crate::engine::Engine;
use crate::line::FrameRule;
use crate::plan::Setting;
use crate::sandbox::{Call, Inside};
use crate::values::{TEXT_LONGEST, shorten, tidy};

pub(super) mod bindings {
    wasmtime::component::bindgen!({
        path: "../../sdk/wit/v0_1",
        world: "host",
        imports: {
            "hearthward:equipment/line": async | trappable,
            default: trappable,
        },
        exports: { default: async },
    });
}

use bindings::exports::hearthward::equipment::{driver, flow_meter, furnace, identify, points, quench_tank};
use bindings::hearthward::equipment::{line, log, shop_clock, types};

/// Problems of settings that are kept of one check; a form with more is wrong as a whole.
const COMPLAINTS_MOST: usize = 100;

/// A component of this contract with its exports looked up.
pub(super) struct Prepared {
    pre: InstancePre<Inside>,
    driver: driver::GuestIndices,
    furnace: Option<furnace::GuestIndices>,
    flow_meter: Option<flow_meter::GuestIndices>,
    quench_tank: Option<quench_tank::GuestIndices>,
    points: Option<points::GuestIndices>,
    identify: Option<identify::GuestIndices>,
}

/// One sandbox.
struct Sandbox {
    store: Store<Inside>,
    driver: driver::Guest,
    furnace: Option<furnace::Guest>,
    flow_meter: Option<flow_meter::Guest>,
    quench_tank: Option<quench_tank::Guest>,
    points: Option<points::Guest>,
    identify: Option<identify::Guest>,
}

impl Prepared {
    pub(super) fn new(engine: &Engine, component: &Component) -> wasmtime::Result<Self> {
        let mut linker = Linker::new(engine.wasm());
        bindings::Host_::add_to_linker::<_, HasSelf<Inside>>(&mut linker, |inside| inside)?;
        let pre = linker.instantiate_pre(component)?;
        let has = |face: &str| component.get_export_index(None, format!("hearthward:equipment/{face}@0.1.0")).is_some();
        Ok(Self {
            driver: driver::GuestIndices::new(&pre)?,
            furnace: has("furnace").then(|| furnace::GuestIndices::new(&pre)).transpose()?,
            flow_meter: has("flow-meter").then(|| flow_meter::GuestIndices::new(&pre)).transpose()?,
            quench_tank: has("quench-tank").then(|| quench_tank::GuestIndices::new(&pre)).transpose()?,
            points: has("points").then(|| points::GuestIndices::new(&pre)).transpose()?,
            identify: has("identify").then(|| identify::GuestIndices::new(&pre)).transpose()?,
            pre,
        })
    }

    async fn sandbox(&self, mut store: Store<Inside>, call: Call) -> wasmtime::Result<Sandbox> {
        store.data_mut().begin("instantiate", call);
        let instance = self.pre.instantiate_async(&mut store).await?;
        let driver = self.driver.load(&mut store, &instance)?;
        let furnace = self.furnace.as_ref().map(|face| face.load(&mut store, &instance)).transpose()?;
        let flow_meter = self.flow_meter.as_ref().map(|face| face.load(&mut store, &instance)).transpose()?;
        let quench_tank = self.quench_tank.as_ref().map(|face| face.load(&mut store, &instance)).transpose()?;
        let points = self.points.as_ref().map(|face| face.load(&mut store, &instance)).transpose()?;
        let identify = self.identify.as_ref().map(|face| face.load(&mut store, &instance)).transpose()?;
        store.data_mut().end();
        Ok(Sandbox { store, driver, furnace, flow_meter, quench_tank, points, identify })
    }
}

impl super::Prepared for Prepared {
    fn instantiate(&self, store: Store<Inside>, call: Call) -> Answer<'_, Box<dyn Guest>> {
        Box::pin(async move {
            let sandbox = self.sandbox(store, call).await.map_err(|why| death(&why))?;
            Ok(Box::new(sandbox) as Box<dyn Guest>)
        })
    }
}

impl std::fmt::Debug for Prepared {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Prepared").finish_non_exhaustive()
    }
}

impl Sandbox {
    /// Ends a call and tells what it came to, with the time of its first exchange.
    fn end<T>(&mut self, result: wasmtime::Result<Result<T, types::Fault>>) -> Result<(T, Option<ShopMs>), CallError> {
        let exchanged_at = self.store.data_mut().end();
        match result {
            Ok(Ok(value)) => Ok((value, exchanged_at)),
            Ok(Err(fault)) => Err(CallError::Fault(from_guest(fault))),
            Err(why) => Err(death(&why)),
        }
    }

    async fn write_point(&mut self, call: Call, unit: u32, point: &str, value: &Setting) -> Result<Read, CallError> {
        let face = self.points.as_ref().ok_or_else(|| lacks("points"))?;
        self.store.data_mut().begin("write", call);
        let result = face.call_write(&mut self.store, unit, point, &convert::to_guest(value)).await;
        let (read, at) = self.end(result)?;
        Ok(Read { samples: convert::points(vec![read]), exchanged_at: at })
    }
}

impl Guest for Sandbox {
    fn describe(&mut self, call: Call) -> Answer<'_, Description> {
        Box::pin(async move {
            self.store.data_mut().begin("describe", call);
            let result = self.driver.call_describe(&mut self.store).await;
            Ok(convert::description(self.end(result.map(Ok))?.0))
        })
    }

    fn check<'a>(
        &'a mut self,
        call: Call,
        settings: &'a [(String, Setting)],
        lines: &'a [Name],
    ) -> Answer<'a, Result<Vec<Listed>, Vec<Complaint>>> {
        Box::pin(async move {
            let (settings, lines) = convert::opening(settings, lines);
            self.store.data_mut().begin("check", call);
            let result = self.driver.call_check(&mut self.store, &settings, &lines).await;
            match self.end(result.map(Ok))?.0 {
                Ok(units) => Ok(Ok(convert::units(units, lines.len())?)),
                Err(problems) => Ok(Err(problems.into_iter().take(COMPLAINTS_MOST).map(convert::complaint).collect())),
            }
        })
    }

    fn open<'a>(&'a mut self, call: Call, settings: &'a [(String, Setting)], lines: &'a [Name]) -> Answer<'a, Vec<Listed>> {
        Box::pin(async move {
            let (settings, lines) = convert::opening(settings, lines);
            self.store.data_mut().begin("open", call);
            let result = self.driver.call_open(&mut self.store, &settings, &lines).await;
            convert::units(self.end(result)?.0, lines.len())
        })
    }

    fn close(&mut self, call: Call) -> Answer<'_, ()> {
        Box::pin(async move {
            self.store.data_mut().begin("close", call);
            let result = self.driver.call_close(&mut self.store).await;
            self.end(result.map(Ok)).map(|_| ())
        })
    }

    fn read(&mut self, call: Call, face: Face, unit: u32) -> Answer<'_, Read> {
        Box::pin(async move {
            self.store.data_mut().begin("read", call);
            let (samples, exchanged_at) = match face {
                Face::Furnace => {
                    let face = self.furnace.as_ref().ok_or_else(|| lacks("furnace"))?;
                    let result = face.call_read(&mut self.store, unit).await;
                    self.end(result).map(|(read, at)| (convert::furnace(read), at))?
                }
                Face::FlowMeter => {
                    let face = self.flow_meter.as_ref().ok_or_else(|| lacks("flow-meter"))?;
                    let result = face.call_read(&mut self.store, unit).await;
                    self.end(result).map(|(read, at)| (convert::flow_meter(read), at))?
                }
                Face::QuenchTank => {
                    let face = self.quench_tank.as_ref().ok_or_else(|| lacks("quench-tank"))?;
                    let result = face.call_read(&mut self.store, unit).await;
                    self.end(result).map(|(read, at)| (convert::tank(read), at))?
                }
                Face::Points => {
                    let face = self.points.as_ref().ok_or_else(|| lacks("points"))?;
                    let result = face.call_read(&mut self.store, unit).await;
                    self.end(result).map(|(read, at)| (convert::points(read), at))?
                }
            };
            Ok(Read { samples, exchanged_at })
        })
    }

    fn heat<'a>(&'a mut self, call: Call, unit: u32, order: &'a HeatOrder) -> Answer<'a, Read> {
        Box::pin(async move {
            let face = self.furnace.as_ref().ok_or_else(|| lacks("furnace"))?;
            let command = match order.means() {
                Means::SetPoint(wanted) => furnace::HeatCommand::SetPointC(tidy(in_celsius(*wanted))),
                Means::OutputShare(share) => furnace::HeatCommand::OutputShare(share.get::<ratio>()),
                Means::RunProgram(number) => furnace::HeatCommand::RunProgram(*number),
                Means::Close(_) => return Err(lacks("a contactor on the controller's face")),
            };
            self.store.data_mut().begin("heat", call);
            let result = face.call_heat(&mut self.store, unit, command).await;
            let (read, exchanged_at) = self.end(result)?;
            Ok(Read { samples: convert::furnace(read), exchanged_at })
        })
    }

    fn close_contactor<'a>(&'a mut self, call: Call, unit: u32, point: &'a str, order: &'a HeatOrder) -> Answer<'a, Read> {
        Box::pin(async move {
            match order.means() {
                Means::Close(_) => self.write_point(call, unit, point, &Setting::Flag(true)).await,
                Means::SetPoint(_) | Means::OutputShare(_) | Means::RunProgram(_) => Err(lacks("such a means on a contactor")),
            }
        })
    }

    fn cut(&mut self, call: Call, unit: u32) -> Answer<'_, Read> {
        Box::pin(async move {
            let face = self.furnace.as_ref().ok_or_else(|| lacks("furnace"))?;
            self.store.data_mut().begin("cut", call);
            let result = face.call_cut(&mut self.store, unit).await;
            let (read, exchanged_at) = self.end(result)?;
            Ok(Read { samples: convert::furnace(read), exchanged_at })
        })
    }

    fn set_flow(&mut self, call: Call, unit: u32, l_min: f64) -> Answer<'_, Read> {
        Box::pin(async move {
            let face = self.flow_meter.as_ref().ok_or_else(|| lacks("flow-meter"))?;
            let flow = flow_meter::GasFlow {
                standard_litres_per_minute: types::Number { value: l_min, quality: types::Quality::Good },
                reference_temperature_c: SHOWN_REFERENCE_C,
                reference_pressure_kpa: SHOWN_REFERENCE_KPA,
            };
            self.store.data_mut().begin("set-flow", call);
            let result = face.call_set_flow(&mut self.store, unit, flow).await;
            let (read, exchanged_at) = self.end(result)?;
            Ok(Read { samples: convert::flow_meter(read), exchanged_at })
        })
    }

    fn command_tank(&mut self, call: Call, unit: u32, command: TankCommand) -> Answer<'_, Read> {
        Box::pin(async move {
            let face = self.quench_tank.as_ref().ok_or_else(|| lacks("quench-tank"))?;
            let command = match command {
                TankCommand::Agitate(on) => quench_tank::TankCommand::Agitate(on),
                TankCommand::HeatToC(wanted) => quench_tank::TankCommand::HeatToC(wanted),
                TankCommand::HeaterOff => quench_tank::TankCommand::HeaterOff,
            };
            self.store.data_mut().begin("write", call);
            let result = face.call_write(&mut self.store, unit, command).await;
            let (read, exchanged_at) = self.end(result)?;
            Ok(Read { samples: convert::tank(read), exchanged_at })
        })
    }

    fn write<'a>(&'a mut self, call: Call, unit: u32, point: &'a str, value: Setting) -> Answer<'a, Read> {
        Box::pin(async move { self.write_point(call, unit, point, &value).await })
    }

    fn identify(&mut self, call: Call, unit: u32) -> Answer<'_, String> {
        Box::pin(async move {
            let face = self.identify.as_ref().ok_or_else(|| lacks("identify"))?;
            self.store.data_mut().begin("identify", call);
            let result = face.call_identify(&mut self.store, unit).await;
            Ok(shorten(self.end(result)?.0, TEXT_LONGEST))
        })
    }
}

impl types::Host for Inside {}

impl shop_clock::Host for Inside {
    fn now_ms(&mut self) -> wasmtime::Result<u64> {
        Ok(self.now()?.0)
    }
}

impl log::Host for Inside {
    fn write(&mut self, level: log::Level, text: String) -> wasmtime::Result<()> {
        let level = match level {
            log::Level::Error => tracing::Level::ERROR,
            log::Level::Warn => tracing::Level::WARN,
            log::Level::Info => tracing::Level::INFO,
            log::Level::Debug => tracing::Level::DEBUG,
        };
        Ok(self.log(level, text)?)
    }
}

impl line::Host for Inside {
    async fn exchange(
        &mut self,
        line: u32,
        request: Vec<u8>,
        reply: Vec<line::FrameRule>,
        deadline_ms: u32,
    ) -> wasmtime::Result<Result<Vec<u8>, types::Fault>> {
        let rules: Vec<FrameRule> = reply.into_iter().map(convert::rule).collect();
        if rules.is_empty() {
            return Ok(Err(to_guest(Fault::new(FaultCode::NOT_ALLOWED, "there is no rule that says where the reply ends"))));
        }
        let within = Duration::from_millis(u64::from(deadline_ms));
        Ok(self.exchange(line, &request, &rules, Some(within)).await?.map_err(to_guest))
    }

    async fn send(&mut self, line: u32, bytes: Vec<u8>) -> wasmtime::Result<Result<(), types::Fault>> {
        Ok(self.exchange(line, &bytes, &[], None).await?.map(|_| ()).map_err(to_guest))
    }
}

/// Codes are the same on both sides of the border in this track.
fn to_guest(fault: Fault) -> types::Fault {
    types::Fault { code: fault.code.0, detail: fault.detail }
}

fn from_guest(fault: types::Fault) -> Fault {
    Fault::new(FaultCode(fault.code), shorten(fault.detail, TEXT_LONGEST))
}

fn lacks(what: &str) -> CallError {
    CallError::Fault(Fault::new(FaultCode::NOT_SUPPORTED, format!("the driver does not have {what}")))
}
