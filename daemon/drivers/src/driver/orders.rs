//! What a task is told to do: cuts before all else, then heat, then acts.

use hearthward_equipment::reading::field;
use hearthward_equipment::{Fault, FaultCode, Quality, Value};
use hearthward_supervise::observe::{ActState, CutState, Observation};
use uom::si::ratio::ratio;

use super::task::Task;
use super::unit::Wired;
use super::{Deed, no_such_unit};
use crate::abi::{CallError, Read};
use crate::pause::pause_after;
use crate::plan::Setting;
use crate::sandbox::Call;
use crate::values::to_setting;

/// How many pauses the guest's repeated cut skips where standing cuts do the work: its first pause is a second.
const STANDING_AHEAD: u32 = 2;

/// The least share of power that counts as heating when a controller has nothing better to say.
const SHARE_OF_NOTHING: f64 = 0.001;

/// Where something that heats is found in a unit.
#[derive(Clone, Copy)]
enum Place {
    Controller,
    Contactor(usize),
}

impl Task {
    /// Carries out what is owed: all cuts of all units first, then orders.
    pub(super) async fn urgent(&mut self) {
        for which in 0..self.heating.len() {
            self.cuts_of(self.heating[which]).await;
        }
        for which in 0..self.heating.len() {
            let unit = self.heating[which];
            for place in self.places(unit) {
                self.order(unit, place).await;
                // A cut may have come while the order was carried out.
                self.cuts_of(unit).await;
            }
        }
    }

    async fn cuts_of(&mut self, unit: usize) {
        let suspect = self.units[unit].is_suspect();
        for place in self.places(unit) {
            let now = self.clock.now();
            // The host's own bytes are on their way; the guest could only wait for the same silence at its other units' cost.
            if suspect && self.has_standing(unit, place) {
                continue;
            }
            if let Some(wish) = self.wired(unit, place).due(now) {
                self.cut(unit, place, wish).await;
            }
        }
    }

    fn places(&self, unit: usize) -> impl Iterator<Item = Place> + use<> {
        let unit = &self.units[unit];
        unit.controls.is_some().then_some(Place::Controller).into_iter().chain((0..unit.contactors.len()).map(Place::Contactor))
    }

    fn wired(&mut self, unit: usize, place: Place) -> &mut Wired {
        let unit = &mut self.units[unit];
        match place {
            Place::Controller => unit.controls.as_mut().expect("`places` gives this place only for a unit that controls"),
            Place::Contactor(which) => &mut unit.contactors[which].wired,
        }
    }

    /// Whether the host can cut there without the guest.
    fn has_standing(&mut self, unit: usize, place: Place) -> bool {
        let wired = self.wired(unit, place);
        wired.cell.way(wired.via).has_standing()
    }

    /// The guest's own cut, with its reading back. The host's standing cut is on its way without it.
    async fn cut(&mut self, unit: usize, place: Place, wish: u64) {
        let alone = !self.has_standing(unit, place);
        // Nobody else can take this heat away: the quarantine has to wait.
        self.ensure_open(alone).await;
        let limit = self.shared.spec.call_limit;
        let index = self.units[unit].index;
        // The call is not tagged: a newer cut of the same furnace wants the same.
        let call = Call::write(None, limit);
        let result = match place {
            Place::Controller => call_cut!(self, |guest| guest.cut(call, index)),
            Place::Contactor(which) => {
                let wire = self.units[unit].contactors[which].wire.clone();
                call_cut!(self, |guest| guest.write(call, index, &wire, Setting::Flag(false)))
            }
        };
        let off = result.as_ref().is_ok_and(|read| self.is_off(unit, place, read));
        // Counted from its end: a call that waited long must not be due again at once, before the driver's other units.
        let now = self.clock.now();
        let wired = self.wired(unit, place);
        let news = wired.tried != wish;
        wired.tries = if news { 1 } else { wired.tries.saturating_add(1) };
        // Where the host sends its own bytes, the guest's part is the reading back, and can wait longer.
        let tries = if alone { wired.tries } else { wired.tries.saturating_add(STANDING_AHEAD) };
        (wired.tried, wired.again_at) = (wish, now + pause_after(tries));
        if off {
            wired.done = wish;
            wired.cell.confirm(wired.via, wish);
        } else if alone && news {
            let fault = match &result {
                Ok(_) => Fault::new(FaultCode::BAD_ANSWER, "the device still shows heat after the cut"),
                Err(error) => error.fault().clone(),
            };
            wired.cell.tell(wired.via, CutState::Failed(fault));
        }
        self.tell(unit, result);
    }

    /// Whether the device says that it does not heat.
    fn is_off(&self, unit: usize, place: Place, read: &Read) -> bool {
        let good_flag = |name: &str| {
            let sample = read.find(name).filter(|sample| sample.quality == Quality::Good)?;
            sample.value.as_ref().and_then(Value::as_flag)
        };
        match place {
            Place::Contactor(which) => good_flag(&self.units[unit].contactors[which].name) == Some(false),
            Place::Controller if read.find(field::HEAT_ON).is_some() => good_flag(field::HEAT_ON) == Some(false),
            Place::Controller => read
                .find(field::OUTPUT_SHARE)
                .filter(|sample| sample.quality == Quality::Good)
                .and_then(|sample| sample.value.as_ref().and_then(Value::as_share))
                .is_some_and(|share| share.get::<ratio>() <= SHARE_OF_NOTHING),
        }
    }

    async fn order(&mut self, unit: usize, place: Place) {
        // Not heating is safe, and what cannot be read is about to lose its permit.
        if self.units[unit].is_suspect() {
            return;
        }
        let now = self.clock.now();
        let slot = std::sync::Arc::clone(&self.wired(unit, place).slot);
        let Some((order, tag)) = slot.take(now) else { return };
        let index = self.units[unit].index;
        let call = Call::write(Some(tag.clone()), self.shared.spec.call_limit);
        let result = match place {
            Place::Controller => call!(self, |guest| guest.heat(call, index, &order)),
            Place::Contactor(which) => {
                let wire = self.units[unit].contactors[which].wire.clone();
                call!(self, |guest| guest.close_contactor(call, index, &wire, &order))
            }
        };
        match &result {
            Ok(_) => {
                self.say_order(unit, ActState::Done);
                slot.carried(&order, &tag, now);
            }
            Err(error) => {
                // A unit that is gone is told of as such.
                if matches!(error, CallError::Fault(fault) if fault.code != FaultCode::WITHDRAWN) {
                    self.say_order(unit, ActState::Failed(error.fault().clone()));
                }
                slot.failed(order, self.again_at(self.shared.spec.poll_every));
            }
        }
        self.tell(unit, result);
    }

    /// Says whether a unit takes orders to heat, when that changes.
    fn say_order(&mut self, unit: usize, is: ActState) {
        let known = &mut self.units[unit];
        let refuses = matches!(is, ActState::Failed(_));
        if std::mem::replace(&mut known.refuses, refuses) == refuses {
            return;
        }
        if let ActState::Failed(fault) = &is {
            tracing::warn!(driver = %self.shared.spec.name, unit = %known.facts.name, %fault, "orders to heat are not carried out");
        }
        if let Some(unit) = known.id {
            self.sink.put(Observation::Order { unit, is });
        }
    }

    /// What a command brought becomes known like a read, only that it need not bring everything.
    fn tell(&mut self, unit: usize, result: Result<Read, CallError>) {
        match result {
            Ok(read) => self.tell_read(unit, read, false),
            Err(error @ CallError::Dead(_)) => self.failed(unit, &error),
            // Whether the unit answers is for the next read to say.
            Err(CallError::Fault(_)) => {}
        }
    }

    /// Has a unit do something that is not heat. A driver that is not open yet is opened for it, unless it is in quarantine.
    pub(super) async fn act(&mut self, unit: usize, deed: Deed) -> ActState {
        self.ensure_open(false).await;
        let Some(known) = self.units.get(unit) else {
            return ActState::Failed(no_such_unit(hearthward_equipment::UnitId(u16::MAX)));
        };
        let (index, limit) = (known.index, self.shared.spec.call_limit);
        let call = Call::write(None, limit);
        let shown = format!("{}/{}: {deed:?}", self.shared.spec.name, known.facts.name);
        let result = match deed {
            Deed::SetFlow(l_min) => call!(self, |guest| guest.set_flow(call, index, l_min)),
            Deed::Tank(command) => call!(self, |guest| guest.command_tank(call, index, command)),
            Deed::Write { point, value } => match known.wire_name(&point).map(str::to_owned) {
                Some(wire) => {
                    let value = to_setting(&value);
                    call!(self, |guest| guest.write(call, index, &wire, value))
                }
                None => {
                    let detail = format!("the unit has no point {point}");
                    Err(CallError::Fault(Fault::new(FaultCode::NOT_SUPPORTED, detail)))
                }
            },
        };
        let is = match &result {
            Ok(_) => ActState::Done,
            Err(error) => {
                tracing::warn!(act = %shown, fault = %error.fault(), "an act was not carried out");
                ActState::Failed(error.fault().clone())
            }
        };
        self.tell(unit, result);
        is
    }

    pub(super) async fn identify(&mut self, unit: usize) -> Result<String, Fault> {
        let Some(known) = self.units.get(unit) else {
            return Err(no_such_unit(hearthward_equipment::UnitId(u16::MAX)));
        };
        let index = known.index;
        let call = Call::write(None, self.shared.spec.call_limit);
        call!(self, |guest| guest.identify(call, index)).map_err(|error| error.fault().clone())
    }
}
