//! Times in which nobody watched a load, because the service or a driver was gone: ridden through where they were short and clear,
//! otherwise an interruption, of which a person is told what it is still worth and asked whether to go on.

use std::fmt::Write as _;

use uom::si::ratio::ratio;

use super::Shop;
use crate::cycle::{Gone, Stage, Turn, ask_to_go_on, falls_to_c, follow, follow_through, span};
use crate::event::{EventBody, Priority};
use crate::facts::Door;
use crate::furnace::{Furnace, Gap};
use crate::interlock::{self, InterlockKind, Verdict, agrees, flow_is_lost};
use crate::output::Outputs;
use crate::plan::FurnacePlan;

/// How long a first reading is waited for after a gap that is too long anyway, so that the question can say how things stand.
const LOOK_MS: u64 = 10_000;

/// A time after which steel is as its chamber is, however thick.
const LONGEST_S: f64 = 1e7;

/// Why a load is not simply gone on with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Why {
    /// Nobody watched, and the door was opened.
    Opened,
    /// Nobody watched, and something is latched.
    Latched,
    /// Nobody watched, and the readings do not agree.
    Disagrees,
    /// Nobody watched, for too long.
    Long,
    /// It was watched all the time: heat was cut, and what cut it was reset.
    Reset,
}

impl Shop {
    /// Looks whether gaps may be ridden through, or a person has to be asked.
    pub(super) fn bridge_gaps(&mut self, dt_ms: u64, out: &mut Outputs) {
        let ride_ms = u64::try_from(self.plan.ride_through.as_millis()).unwrap_or(u64::MAX);
        let (mut turn, furnaces) = self.turn(dt_ms, out);
        let shop = turn.plan;
        for (furnace, plan) in furnaces.iter_mut().zip(&shop.furnaces) {
            match furnace.gap {
                Gap::None => judge_loss(furnace, plan, &mut turn),
                Gap::Open { .. } => bridge(furnace, plan, ride_ms, &mut turn),
            }
        }
    }
}

/// The service was gone.
fn bridge(furnace: &mut Furnace, plan: &FurnacePlan, ride_ms: u64, turn: &mut Turn<'_>) {
    let Gap::Open { away_ms, waited_ms, before_c, flowed } = furnace.gap else { return };
    let waited_ms = waited_ms + turn.dt_ms;
    let gap_ms = away_ms.saturating_add(waited_ms);
    let flow = plan.gas.is_none() || !flowed || !flow_is_lost(furnace.flow(plan), furnace.gas.given, 0.0);
    let read_c = furnace.believed_c().filter(|_| furnace.facts.door != Door::Unknown);
    let fell =
        |read_c: f64| before_c.is_some_and(|before_c| agrees(before_c - read_c, gap_ms as f64 / 1000.0, plan.falls_k_per_s));
    let agree = read_c.filter(|_| flow).zip(still_swept(furnace, plan)).map(|(read_c, swept)| swept && fell(read_c));
    let latched = InterlockKind::ALL.iter().any(|&kind| furnace.rows.row(kind).is_latched());
    let over = gap_ms > ride_ms;
    let why = match () {
        () if furnace.facts.door == Door::Open => Some(Why::Opened),
        () if latched => Some(Why::Latched),
        () if over && (read_c.is_some() || waited_ms >= LOOK_MS) => Some(Why::Long),
        () if !over && agree == Some(false) => Some(Why::Disagrees),
        () => None,
    };
    if let Some(why) = why {
        let away_ms = (away_ms != u64::MAX).then_some(gap_ms);
        return interrupt(furnace, plan, why, away_ms, before_c, turn);
    }
    let ridden = !over && agree == Some(true);
    furnace.gap = if ridden { Gap::None } else { Gap::Open { away_ms, waited_ms, before_c, flowed } };
    let Some(cycle) = &mut furnace.cycle else { return };
    // Should the service die again before this is settled, the two gaps are one.
    cycle.unwatched_ms = if ridden { 0 } else { gap_ms };
    if ridden {
        follow(cycle, read_c, gap_ms as f64 / 1000.0);
        let text =
            format!("{} was without the service for {} s; its readings agree, so its load goes on.", plan.name, gap_ms / 1000);
        turn.say(furnace.id, Priority::Notice, text, EventBody::RodeThrough { gap_ms });
    }
}

/// Whether the probe still says what the purge was proved by; nothing while it cannot be read. Without a probe, or before the proof,
/// there is nothing that it could gainsay, and during a recovery it is known to be high.
fn still_swept(furnace: &Furnace, plan: &FurnacePlan) -> Option<bool> {
    let proved = furnace.purge.is_proved() && furnace.has_gas_load(plan) && !furnace.air.account.recovering;
    let Some(gas) = plan.gas.as_ref().filter(|_| proved && plan.probe.is_some()) else { return Some(true) };
    furnace.facts.probe.good().map(|oxygen| oxygen <= gas.purge.oxygen_limit.get::<ratio>())
}

/// A driver was gone for longer than is ridden through, or what it reads now does not agree: it is answered for as soon as it reads.
fn judge_loss(furnace: &mut Furnace, plan: &FurnacePlan, turn: &mut Turn<'_>) {
    let row = furnace.rows.row(InterlockKind::DriverLost);
    let (stands, back) = (row.cause() || row.is_latched(), row.is_latched() && !row.cause());
    let why = if row.why() == interlock::Why::Third { Why::Disagrees } else { Why::Long };
    let Some(cycle) = &mut furnace.cycle else { return };
    let asks = back && !cycle.lost && !cycle.interrupted && !cycle.out && cycle.stage == Stage::Running;
    cycle.lost = stands && (cycle.lost || asks);
    if asks {
        let (gone_ms, before_c) = (cycle.unwatched_ms, cycle.seen_c);
        interrupt(furnace, plan, why, Some(gone_ms), before_c, turn);
    }
}

/// No heat until a person says so.
fn interrupt(
    furnace: &mut Furnace,
    plan: &FurnacePlan,
    why: Why,
    away_ms: Option<u64>,
    before_c: Option<f64>,
    turn: &mut Turn<'_>,
) {
    furnace.gap = Gap::None;
    furnace.cut_now = true;
    let away_s = away_ms.map(|away_ms| (away_ms as f64 / 1000.0).min(LONGEST_S));
    let chamber_c = furnace.believed_c().or_else(|| likely_c(plan, before_c, away_ms));
    if let Some(cycle) = &mut furnace.cycle {
        match away_s {
            Some(away_s) => follow_through(cycle, before_c, chamber_c, away_s),
            // After a time that nobody knows it is as the chamber is.
            None => follow(cycle, chamber_c, LONGEST_S),
        }
        cycle.steel_c = cycle.steel_c.filter(|_| chamber_c.is_some());
    }
    let because = worth(furnace, plan, why, away_ms, before_c);
    let hot_gas_load = furnace.is_hot(plan) && furnace.has_gas_load(plan);
    furnace.purge.doubt();
    furnace.air.doubt(hot_gas_load);
    if let (Some(cycle), at) = furnace.parts(plan) {
        ask_to_go_on(cycle, &at, turn, Gone { because, away_ms, before_c });
    }
    furnace.situation.interrupted = furnace.cycle.as_ref().is_some_and(|cycle| cycle.interrupted);
    let kind = InterlockKind::Interrupted;
    if let Some(change) = furnace.rows.step(kind, turn.now, Verdict::latched(true)) {
        super::rows::tell(furnace, plan, kind, change, turn.events);
    }
}

/// Where a chamber that cannot be read has likely fallen to since it was last read, in °C.
fn likely_c(plan: &FurnacePlan, before_c: Option<f64>, away_ms: Option<u64>) -> Option<f64> {
    falls_to_c(plan, before_c?, away_ms? as f64 / 1000.0)
}

/// What happened, and what the purge, the soak and the steel are still worth.
pub(super) fn worth(furnace: &Furnace, plan: &FurnacePlan, why: Why, away_ms: Option<u64>, before_c: Option<f64>) -> String {
    let name = &plan.name;
    let Some(cycle) = &furnace.cycle else { return String::new() };
    let long = away_ms.map_or("for a time that nobody knows".to_owned(), |away_ms| format!("for {}", span(away_ms)));
    let what = match why {
        Why::Opened => ", and its door was opened meanwhile",
        Why::Latched => ", and an interlock is latched",
        Why::Disagrees => ", and what it reads now does not agree with what it read before",
        Why::Long | Why::Reset => "",
    };
    let load = &cycle.load.name;
    let mut text = match why {
        Why::Reset => format!("Heat was cut from load {load} in {name}, and what cut it was reset."),
        _ => format!("The cycle of load {load} in {name} was interrupted: nobody watched it {long}{what}."),
    };
    let read_c = furnace.believed_c();
    let _ = match (before_c, read_c) {
        (_, Some(read_c)) if why == Why::Reset => write!(text, " Its chamber is at {read_c:.0} °C."),
        (Some(before_c), Some(read_c)) => write!(text, " Its chamber last read {before_c:.0} °C and is at {read_c:.0} °C."),
        (None, Some(read_c)) => write!(text, " Its chamber is at {read_c:.0} °C."),
        (Some(before_c), None) => match likely_c(plan, Some(before_c), away_ms) {
            Some(likely_c) => write!(
                text,
                " Its chamber last read {before_c:.0} °C and cannot be read now; closed and without heat it would be near {likely_c:.0} °C (estimated)."
            ),
            None => write!(text, " Its chamber last read {before_c:.0} °C and cannot be read now."),
        },
        (None, None) => write!(text, " Its temperature is not known."),
    };
    say_steel(furnace, &mut text);
    if furnace.has_gas_load(plan) && why != Why::Reset {
        text.push_str(" Its purge counts no more.");
    }
    if cycle.in_band_ms > 0 {
        let _ = write!(text, " {} in band are done.", span(cycle.in_band_ms));
    }
    text
}

/// Where the steel likely is, and what that rests on.
fn say_steel(furnace: &Furnace, text: &mut String) {
    let Some(cycle) = &furnace.cycle else { return };
    let _ = match (furnace.facts.load.good(), cycle.steel_c) {
        _ if cycle.out => write!(text, " The load is not in the chamber."),
        (Some(load_c), _) => write!(text, " The thermometer at its load reads {load_c:.0} °C."),
        (None, Some(steel_c)) => write!(text, " Its steel is likely near {steel_c:.0} °C (estimated from its section)."),
        (None, None) if cycle.load.part.is_none() => {
            write!(text, " No section is known to estimate its steel from: take it to be as its chamber.")
        }
        (None, None) => write!(text, " Where its steel is cannot be estimated."),
    };
}
