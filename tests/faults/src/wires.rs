//! From the plant to the core: each value as its device gives it, by a wire that may lose, delay, double and reorder.

use hearthward_equipment::quantity::celsius;
use hearthward_equipment::{Evidence, GasFlow, PointId, Quality, Reading, ShopMs, Value};
use uom::si::catalytic_activity::katal;
use uom::si::f64::Ratio;
use uom::si::ratio::ratio;

use crate::chance::Chance;
use crate::script::{Fault, Kind};

/// What a device says in this second: no value at all, or one with its quality and its age.
#[derive(Clone, Debug)]
pub struct Said {
    /// The value, if it gives one.
    pub value: Option<Value>,
    /// How far it relies upon it.
    pub quality: Quality,
    /// When it was read.
    pub at: ShopMs,
}

impl Said {
    fn good(value: Value, at: ShopMs) -> Self {
        Self { value: Some(value), quality: Quality::Good, at }
    }
}

/// The wires of a shop: what is still under way, and what each point said last.
#[derive(Clone, Debug, Default)]
pub struct Wires {
    late: Vec<(ShopMs, Reading)>,
    last: Vec<Option<(f64, ShopMs)>>,
}

impl Wires {
    /// Wires for so many points.
    #[must_use]
    pub fn new(points: usize) -> Self {
        Self { late: Vec::new(), last: vec![None; points] }
    }

    /// The service died: what was under way is lost, and its clock begins anew.
    pub fn restart(&mut self) {
        self.late.clear();
        self.last.fill(None);
    }

    /// A thermometer. A device that is silent gives nothing.
    pub fn thermometer(
        &mut self,
        point: PointId,
        truth_c: f64,
        now: ShopMs,
        second: u32,
        faults: &[Fault],
        seed: u64,
    ) -> Option<Said> {
        let mut read_c = truth_c;
        let (mut quality, mut at, mut empty) = (Quality::Good, now, false);
        let last = self.last[point.index()];
        for fault in faults {
            let mut chance = Chance::of(seed, &[40, u64::from(point.0), u64::from(second)]);
            match fault.kind {
                Kind::Stuck => read_c = last.map_or(read_c, |(last_c, _)| last_c),
                Kind::Frozen => (read_c, at) = last.unwrap_or((read_c, at)),
                Kind::Drifting => read_c += (fault.size - 0.4) * f64::from(second - fault.at_s.min(second)),
                Kind::Noisy => read_c += (chance.share() - 0.5) * 20.0 * fault.size,
                Kind::BrokenWire => quality = Quality::Bad,
                Kind::Uncertain => quality = Quality::Uncertain,
                Kind::NotANumber => read_c = f64::NAN,
                Kind::Unbelievable => read_c = if fault.size < 0.5 { -180.0 } else { 2300.0 },
                Kind::Empty => empty = true,
                Kind::Spike => read_c += (fault.size - 0.3) * 600.0,
                _ => {}
            }
        }
        // Read in tenths, as controllers give it.
        let read_c = (read_c * 10.0).round() / 10.0;
        if read_c.is_finite() {
            self.last[point.index()] = Some((read_c, at));
        }
        let value = (!empty).then(|| Value::Temperature(celsius(read_c)));
        Some(Said { value, quality: if empty { Quality::Bad } else { quality }, at })
    }

    /// A door switch.
    #[must_use]
    pub fn switch(open: bool, now: ShopMs, faults: &[Fault]) -> Option<Said> {
        let mut said = Said::good(Value::Flag(open), now);
        for fault in faults {
            match fault.kind {
                Kind::SwitchDead => return None,
                Kind::SwitchDoubtful => said.quality = Quality::Uncertain,
                Kind::SwitchStuck => said.value = Some(Value::Flag(false)),
                _ => {}
            }
        }
        Some(said)
    }

    /// A gas meter, in mol/s.
    pub fn meter(&mut self, point: PointId, flow: f64, now: ShopMs, faults: &[Fault]) -> Option<Said> {
        let mut read = flow;
        for fault in faults {
            match fault.kind {
                Kind::MeterDead => return None,
                Kind::MeterStuck => read = self.last[point.index()].map_or(read, |(last, _)| last),
                _ => {}
            }
        }
        self.last[point.index()] = Some((read, now));
        Some(Said::good(Value::GasFlow(GasFlow::new::<katal>(read)), now))
    }

    /// An oxygen probe.
    #[must_use]
    pub fn probe(oxygen: f64, now: ShopMs, faults: &[Fault]) -> Option<Said> {
        let mut read = oxygen;
        for fault in faults {
            match fault.kind {
                Kind::ProbeDead => return None,
                Kind::ProbeHigh => read = 0.2,
                _ => {}
            }
        }
        Some(Said::good(share(read), now))
    }

    /// Sends a reading on its way. What arrives at once is put into `arrived`.
    pub fn send(&mut self, point: PointId, said: Said, now: ShopMs, way: &Way<'_>, arrived: &mut Vec<Reading>) {
        let Said { value, quality, mut at } = said;
        let mut delay_ms = 0;
        let mut copies = 1;
        let mut chance = Chance::of(way.seed, &[41, u64::from(point.0), u64::from(way.second)]);
        for fault in way.faults {
            match fault.kind {
                Kind::Lost | Kind::DriverSilent | Kind::DriverOut => return,
                Kind::SomeLost if chance.happens(0.2 + 0.6 * fault.size) => return,
                Kind::Late => delay_ms = delay_ms.max(1000 + (fault.size * 9000.0) as u64),
                Kind::Reordered => delay_ms = delay_ms.max(chance.below(4000)),
                Kind::Doubled => copies = 2,
                Kind::FromTheFuture => at = ShopMs(at.0 + 1000 + (fault.size * 90_000.0) as u64),
                _ => {}
            }
        }
        for copy in 0..copies {
            let reading = Reading { point, at, value: value.clone(), quality, evidence: Evidence::Measured };
            let due_ms = now.0 + delay_ms + copy * chance.below(3000);
            if due_ms <= now.0 {
                arrived.push(reading);
            } else {
                self.late.push((ShopMs(due_ms), reading));
            }
        }
    }

    /// What arrives now of what was under way.
    pub fn arrive(&mut self, now: ShopMs, arrived: &mut Vec<Reading>) {
        let mut place = 0;
        while place < self.late.len() {
            if self.late[place].0 <= now {
                arrived.push(self.late.remove(place).1);
            } else {
                place += 1;
            }
        }
    }
}

/// The way of a furnace's readings in this second.
#[derive(Clone, Copy, Debug)]
pub struct Way<'a> {
    /// The run's seed.
    pub seed: u64,
    /// The second of the run.
    pub second: u32,
    /// What is wrong at this furnace.
    pub faults: &'a [Fault],
}

/// A share as a value.
#[must_use]
pub fn share(read: f64) -> Value {
    Value::Share(Ratio::new::<ratio>(read))
}

/// A reading that nothing spoils.
#[must_use]
pub fn plain(value: Value, at: ShopMs) -> Said {
    Said::good(value, at)
}
