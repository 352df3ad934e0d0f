//! "Ready by seven": a load that is in and begins by itself, so that it is ready when people come. Only where nobody is needed
//! meanwhile: heat and gas are commanded and the room is monitored; without that, only tempers, and the bath of a load that people
//! begin.

use std::time::Duration;

use hearthward_equipment::quantity::{in_celsius, in_kelvins};
use uom::si::catalytic_activity::katal;

use super::{At, Cycle, FurnaceNow, ShopNow, Stage, Turn, bath, enter, route, steel, words};
use crate::event::{EventBody, Priority};
use crate::gas::chamber_moles;
use crate::interlock::entry;
use crate::plan::{FurnacePlan, GasPlan, Heating, ShopPlan, TankPlan};
use crate::questions::{Asked, Purpose};
use crate::recipe::{Load, Medium, Pace, Protection, Step};
use crate::request::Ask;

/// The longest that a load may wait: beyond two days somebody comes by (assumed, no source).
const LONGEST: Duration = Duration::from_secs(48 * 3600);
/// Taken for heating at full power, in K/s (assumed, no source).
const RAMP_K_PER_S: f64 = 0.15;
/// What a day adds to every plan: a flow that settles late, a turn at the manifold (assumed, no source).
const SLACK_MS: u64 = 600_000;
const SLACK_S: f64 = SLACK_MS as f64 / 1000.0;
/// Nothing hotter is a temper: steel begins to harden anew from about 720 °C on (common practice, no source).
const TEMPERS_TO_C: f64 = 700.0;
/// Where a furnace begins from without a reading, in °C (assumed).
const ROOM_C: f64 = 21.0;

/// What may be done for a load that is to be ready by a time, while nobody is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Waits {
    /// It may begin by itself.
    Alone,
    /// Its bath is made ready; people begin it. The words say why.
    ForPeople(String),
}

/// What may be done for a load without a person beside it.
///
/// # Errors
/// A sentence that says what is missing, where nothing can be done.
pub(crate) fn may_wait(shop: &ShopPlan, plan: &FurnacePlan, load: &Load, ready_in: Duration) -> Result<Waits, String> {
    if ready_in > LONGEST {
        return Err(format!("A load may wait for two days at most, not {} h.", ready_in.as_secs() / 3600));
    }
    let Err(missing) = may_begin(shop, plan, load) else { return Ok(Waits::Alone) };
    let why = format!("Load {} may not begin without a person, since {missing}", load.name);
    let bathes = load.steps.iter().any(|step| matches!(step, Step::Quench { medium: Medium::Tank(_), .. }));
    if bathes { Ok(Waits::ForPeople(why)) } else { Err(format!("{why}: only a temper may. Start it when somebody is there.")) }
}

/// Whether a load may begin by itself, or what is missing.
fn may_begin(shop: &ShopPlan, plan: &FurnacePlan, load: &Load) -> Result<(), String> {
    let name = &plan.name;
    if !matches!(plan.heating, Heating::SetPoint | Heating::Program) {
        return Err(format!("{name} is set by hand"));
    }
    let hottest_c =
        load.steps.iter().filter_map(|step| if let Step::Temper { at, .. } = step { Some(in_celsius(*at)) } else { None });
    let hottest_c = hottest_c.fold(f64::NEG_INFINITY, f64::max);
    let tempers = load.steps.iter().all(|step| match step {
        Step::Temper { furnace: None, .. } | Step::Cool { in_air: false, .. } => true,
        // Hotter than it tempers it is no part of a temper.
        Step::Preheat { to, .. } => in_celsius(*to) <= hottest_c,
        _ => false,
    });
    if tempers && hottest_c <= TEMPERS_TO_C && load.protection != Protection::Gas && hottest_c.is_finite() {
        return Ok(());
    }
    Err(match &plan.gas {
        _ if load.protection != Protection::Gas => "the load is not protected by gas".to_owned(),
        Some(gas) if is_automatic(gas) && shop.room.oxygen.is_some() => return Ok(()),
        Some(gas) if is_automatic(gas) => "no monitor watches the oxygen of the room".to_owned(),
        _ => format!("the gas of {name} is set by hand"),
    })
}

/// The service can open and set the gas, and reads it.
fn is_automatic(gas: &GasPlan) -> bool {
    !gas.by_eye && (gas.meter.is_some() || gas.valve.is_some())
}

/// The load is in; it waits.
pub(super) fn begin(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    cycle.stage = Stage::Waiting;
    let left_ms = cycle.ready_ms.unwrap_or(0);
    let begins_ms = left_ms.saturating_sub(lead_ms(cycle, at));
    let text = format!(
        "Load {} waits in {} and begins in about {}, to be ready in {}.",
        cycle.load.name,
        at.plan.name,
        words::span(begins_ms),
        words::span(left_ms)
    );
    turn.say(at.id, Priority::Notice, text, EventBody::Noted);
}

/// Whether a load that is to be ready by a time has to begin now.
pub(super) fn is_due(cycle: &Cycle, at: &At<'_>) -> bool {
    cycle.ready_ms.is_none_or(|left_ms| left_ms <= lead_ms(cycle, at))
}

/// A time that nobody knows any more is now, on a person's word.
pub(super) fn make_due(cycle: &mut Cycle, at: &At<'_>) {
    (cycle.ready_ms, cycle.late_ms) = (Some(lead_ms(cycle, at)), 0);
}

/// Begins when what lies ahead takes as long as is left. What forbids a start then is waited out within the slack of the plan; after that,
/// and where nobody looked at its time, a person has to look.
pub(super) fn wait(cycle: &mut Cycle, at: &mut At<'_>, turn: &mut Turn<'_>) {
    let (left_ms, lead_ms) = (cycle.ready_ms.unwrap_or(0), lead_ms(cycle, at));
    if cycle.stage != Stage::Waiting || cycle.held || left_ms > lead_ms {
        return;
    }
    let why = forbids(turn.shop, at.now).or_else(|| withheld(at));
    if left_ms.saturating_add(SLACK_MS) <= lead_ms {
        let why = why.unwrap_or_else(|| WENT_BY.to_owned());
        return leave_to_people(cycle, at, turn, &why);
    }
    if why.is_some() {
        return;
    }
    (cycle.stage, cycle.ready_ms) = (Stage::Running, None);
    let index = cycle.index;
    enter(cycle, at, turn, index);
}

/// Why nothing may begin in a furnace now, whoever wants it to: the air of the room, the record, heat that may not be gone, a rule of the
/// shop's own.
pub(crate) fn forbids(shop: ShopNow<'_>, furnace: FurnaceNow<'_>) -> Option<String> {
    if !shop.room_is_well {
        let why = "the room's oxygen is low, cannot be read or was not reset (ventilate, look at the monitor, reset)";
        return Some(why.to_owned());
    }
    if let Some(why) = shop.record_failing {
        return Some(format!("the record cannot be written ({why})"));
    }
    if furnace.unconfirmed {
        return Some("its last cut is not confirmed (go and look whether it still heats)".to_owned());
    }
    furnace.forbidden_by.map(|rule| format!("rule {} forbids a start ({})", rule.name, rule.text))
}

/// Why heat would be withheld from a load that begins with nobody there: gas would flow for nothing.
fn withheld(at: &At<'_>) -> Option<String> {
    let kind = at.rows.withholding().next()?;
    Some(format!("heat is withheld from {} ({})", at.plan.name, entry(kind).title.to_lowercase()))
}

/// Why a load whose time is over does not begin by itself.
const WENT_BY: &str = "its time went by while it was held or the service was away";

/// The load does not begin by itself any more.
fn leave_to_people(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>, why: &str) {
    // Whether it is still in is for the person to see.
    (cycle.stage, cycle.out, cycle.ready_ms, cycle.alone, cycle.warms) = (Stage::Loading, true, None, false, false);
    let (load, name) = (&cycle.load.name, &at.plan.name);
    turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::BringBath);
    turn.questions.ask(at.id, Purpose::LoadAndShut, turn.now, turn.events, || {
        let text = format!(
            "Load {load} did not begin in {name} at its time, since {why}. Mend that, look that the load is in and the door shut, and say so: then it begins."
        );
        Asked { priority: Priority::Warning, ..Asked::to_do(Ask::LoadAndShut, text) }
    });
}

/// Makes the bath of a load that waits ready in time: warms it where the service can, else asks a person to. A bath that nobody came for
/// is not kept warm for ever.
pub(super) fn prepare(cycle: &mut Cycle, at: &At<'_>, turn: &mut Turn<'_>) {
    let Some(left_ms) = cycle.ready_ms.filter(|_| !cycle.held) else { return };
    let tank = route::tank_ahead(cycle).and_then(|id| Some((turn.tanks.get(id.index())?, turn.plan.tanks.get(id.index())?)));
    let Some((tank, plan)) = tank else { return };
    cycle.late_ms = cycle.late_ms.saturating_add(if left_ms == 0 { turn.dt_ms } else { 0 });
    if cycle.late_ms > KEPT_WARM_MS {
        return give_up(cycle, at, plan, turn);
    }
    if cycle.warms {
        if tank.is_ready_for(cycle.bath_warmest_c) {
            turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::BringBath);
        }
        return;
    }
    let lead_ms = bath::warms_in_ms(plan, tank.temperature, cycle.bath_warmest_c);
    let by_itself = plan.unit.is_some();
    if left_ms > lead_ms || (!by_itself && tank.is_ready_for(cycle.bath_warmest_c)) {
        return;
    }
    cycle.warms = true;
    let (low_c, high_c) = (in_celsius(plan.window_low), in_celsius(plan.window_high));
    let high_c = cycle.bath_warmest_c.map_or(high_c, |warmest_c| warmest_c.min(high_c));
    let basis = if plan.heater.is_some() { "" } else { " (taken, since the power of its heater is not given)" };
    let what = format!(
        "it needs about {}{basis} to its window of {low_c:.0} to {high_c:.0} °C, for load {} that is to be ready in {}.",
        words::span(lead_ms),
        cycle.load.name,
        words::span(left_ms)
    );
    if by_itself {
        let text =
            format!("The service warms {} now: {what} Hot oil burns: keep its lid and an extinguisher at hand.", plan.name);
        turn.say(at.id, Priority::Notice, text, EventBody::Noted);
    } else {
        let text = format!("Warm {} now: {what}", plan.name);
        turn.questions
            .ask(at.id, Purpose::BringBath, turn.now, turn.events, || Asked::to_do(Ask::BringBath { low_c, high_c }, text));
    }
}

/// How long a bath is kept warm for people who do not come (assumed, no source).
const KEPT_WARM_MS: u64 = 2 * 3_600_000;

fn give_up(cycle: &mut Cycle, at: &At<'_>, plan: &TankPlan, turn: &mut Turn<'_>) {
    if cycle.stage == Stage::Waiting {
        return leave_to_people(cycle, at, turn, WENT_BY);
    }
    (cycle.warms, cycle.ready_ms) = (false, None);
    turn.questions.withdraw(at.id, turn.events, |purpose| purpose == Purpose::BringBath);
    let (tank, load) = (&plan.name, &cycle.load.name);
    let text = format!(
        "Nobody came for load {load}: {tank} is not kept warm for it any longer. Begin the load when you are there, or end it."
    );
    turn.say(at.id, Priority::Warning, text, EventBody::Noted);
}

/// How long the steps take until the load is ready, in milliseconds: to its first pull, else to its end.
fn lead_ms(cycle: &Cycle, at: &At<'_>) -> u64 {
    let mut from_c = at.last_c.unwrap_or(ROOM_C);
    let mut sum_s = SLACK_S;
    let band_k = in_kelvins(at.plan.band);
    for step in &cycle.load.steps {
        let (to, k_per_s, hold) = match step {
            Step::Purge => {
                sum_s += purge_s(at.plan);
                continue;
            }
            Step::Preheat { to, hold } => (*to, RAMP_K_PER_S, *hold),
            Step::Ramp { to, pace: Pace::Rate(k_per_h) } => (*to, k_per_h / 3600.0, Duration::ZERO),
            Step::Ramp { to, pace: Pace::Full } => (*to, RAMP_K_PER_S, Duration::ZERO),
            Step::Ramp { to, pace: Pace::Over(span) } => {
                sum_s += span.as_secs_f64();
                from_c = in_celsius(*to);
                continue;
            }
            Step::Soak { at: heat, minimum: hold, .. } | Step::Temper { at: heat, hold, .. } => {
                sum_s += steel::takes_s(&cycle.load, in_celsius(*heat), band_k);
                (*heat, RAMP_K_PER_S, *hold)
            }
            Step::Cool { to, .. } => (*to, at.plan.falls_k_per_s, Duration::ZERO),
            Step::Pull { .. } | Step::Quench { .. } => break,
        };
        sum_s += (in_celsius(to) - from_c).abs() / k_per_s.max(1e-3) + hold.as_secs_f64();
        from_c = in_celsius(to);
    }
    libm::ceil(sum_s.clamp(0.0, 1e9) * 1000.0) as u64
}

fn purge_s(plan: &FurnacePlan) -> f64 {
    let Some(gas) = &plan.gas else { return 0.0 };
    let flow = gas.purge.flow.get::<katal>();
    if flow > 0.0 { gas.purge.changes * chamber_moles(plan, ROOM_C) / flow } else { 0.0 }
}
