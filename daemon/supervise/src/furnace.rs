//! Everything that the core keeps of one furnace.

use hearthward_equipment::{FurnaceId, Generation, Name, ShopMs};
use serde::{Deserialize, Serialize};
use uom::si::catalytic_activity::katal;

use crate::bypass::Bypasses;
use crate::cut::Cuts;
use crate::cycle::{At, Cycle, FurnaceNow, Stage, believed_c};
use crate::facts::{Facts, Situation};
use crate::gas::{Account, Atmosphere, flow_by_evidence, hot_c, scaling_c};
use crate::interlock::{Grant, InterlockKind, Memory, Rows};
use crate::plan::FurnacePlan;
use crate::proof::Proofs;
use crate::purge::{Purge, PurgePhase};
use crate::recipe::StepKind;
use crate::rule::{RuleEffect, RulePlan, RuleState, RulesNow};

/// One furnace.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Furnace {
    pub(crate) id: FurnaceId,
    pub(crate) facts: Facts,
    pub(crate) situation: Situation,
    pub(crate) rows: Rows,
    pub(crate) memory: Memory,
    pub(crate) bypasses: Bypasses,
    /// The test that runs, and what came of those before.
    pub(crate) proofs: Proofs,
    /// The shop's own rules, in the order of the plan.
    pub(crate) rules: Vec<RuleState>,
    pub(crate) rules_now: RulesNow,
    pub(crate) cuts: Cuts,
    pub(crate) grant: Grant,
    pub(crate) purge: Purge,
    pub(crate) air: Atmosphere,
    pub(crate) cycle: Option<Cycle>,
    /// The load that comes here for its temper.
    pub(crate) kept_for: Option<Name>,
    /// The last temperature in °C that could be relied upon.
    pub(crate) last_c: Option<f64>,
    /// Orders to heat were given in the last tick.
    pub(crate) heating: bool,
    /// A cause for people was seen in this tick.
    pub(crate) cut_now: bool,
    /// Time since the door was seen open.
    pub(crate) shut_for_s: f64,
    /// Time heating without a sign of life.
    pub(crate) alone_s: f64,
    pub(crate) gas: GasShare,
    /// Its share of the electrical demand.
    pub(crate) power: PowerShare,
    /// The forecast says that the gas will not reach.
    pub(crate) gas_short: bool,
    /// A person has said that the gas will do for this load.
    pub(crate) gas_word: bool,
    /// A person has said, since heat was last cut, that the load goes on.
    pub(crate) goes_on: bool,
    /// How far the gap before this run may be ridden through.
    pub(crate) gap: Gap,
    /// What a controller set by hand was last asked to be set to, in °C.
    pub(crate) hand_c: Option<f64>,
}

/// A furnace's gas: what it wants, what it was given of the manifold, what the meter was told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct GasShare {
    /// Wanted, in mol/s.
    pub(crate) wanted: f64,
    /// Given, in mol/s: what the meter is told.
    pub(crate) given: f64,
    /// Its place in the queue while it waits.
    pub(crate) turn: Option<u64>,
    /// The service has told the meter or the valve something, in this run or an earlier one: it is no longer as its owner left it.
    pub(crate) told: bool,
    /// That gas still flows after the load was said.
    pub(crate) after_said: bool,
}

/// A furnace's share of the electrical demand.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct PowerShare {
    pub(crate) given: bool,
    pub(crate) turn: Option<u64>,
}

/// The gap between an earlier run and this one.
///
/// ```text
/// None      Open ──readings agree in time──▶ None (ridden through)
///             └─too long, doubtful, no readings──▶ None (interrupted, latched)
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) enum Gap {
    /// There was none, or it is dealt with.
    #[default]
    None,
    /// It may still be ridden through.
    Open {
        /// How long the service was away, in milliseconds.
        away_ms: u64,
        /// How long readings have been waited for, in milliseconds.
        waited_ms: u64,
        /// The last temperature before it, in °C.
        before_c: Option<f64>,
        /// Gas had flowed, so that its flow must be proved again.
        flowed: bool,
    },
}

impl Furnace {
    /// A furnace of which nothing is known.
    pub(crate) fn new(id: FurnaceId, plan: &FurnacePlan) -> Self {
        Self {
            id,
            facts: Facts::nothing(),
            situation: Situation::default(),
            rows: Rows::default(),
            memory: Memory::default(),
            bypasses: Bypasses::default(),
            proofs: Proofs::new(),
            rules: vec![RuleState::default(); plan.policy.rules.len()],
            rules_now: RulesNow::default(),
            cuts: Cuts::after(Generation(0)),
            grant: Grant::default(),
            purge: Purge::default(),
            air: Atmosphere::new(plan),
            cycle: None,
            kept_for: None,
            last_c: None,
            heating: false,
            cut_now: true,
            shut_for_s: f64::INFINITY,
            alone_s: 0.0,
            gas: GasShare::default(),
            power: PowerShare::default(),
            gas_short: false,
            gas_word: false,
            goes_on: false,
            gap: Gap::None,
            hand_c: None,
        }
    }

    /// What its cycle sees.
    pub(crate) fn parts<'a>(&'a mut self, plan: &'a FurnacePlan) -> (Option<&'a mut Cycle>, At<'a>) {
        let now = self.now(plan);
        let at = At {
            now,
            id: self.id,
            plan,
            facts: &self.facts,
            rows: &self.rows,
            purge: &mut self.purge,
            last_c: self.last_c,
            recovering: self.air.account.recovering,
        };
        (self.cycle.as_mut(), at)
    }

    /// The chamber, in °C, by a thermometer that may be relied upon.
    pub(crate) fn believed_c(&self) -> Option<f64> {
        believed_c(&self.facts, &self.rows)
    }

    /// Steel in the chamber is hot, by the last reading that may be relied upon.
    pub(crate) fn is_hot(&self, plan: &FurnacePlan) -> bool {
        self.cycle.as_ref().is_some_and(|cycle| !cycle.out) && self.last_c.is_some_and(|last_c| last_c > hot_c(plan))
    }

    /// The load in the chamber is to be protected by gas that this furnace has.
    pub(crate) fn has_gas_load(&self, plan: &FurnacePlan) -> bool {
        plan.gas.is_some() && self.cycle.as_ref().is_some_and(|cycle| !cycle.out && cycle.wants_gas())
    }

    /// Whether the purge is wanted now: its step runs, or what follows goes above the ceiling without it.
    pub(crate) fn wants_purge(&self, plan: &FurnacePlan) -> bool {
        self.has_gas_load(plan)
            && self.cycle.as_ref().is_some_and(|cycle| {
                cycle.stage == Stage::Running
                    && (cycle.kind() == StepKind::Purge
                        || self.purge.phase != PurgePhase::Idle
                        || crate::cycle::highest_c(cycle) > scaling_c(plan))
            })
    }

    /// Gas flowing in, by its evidence.
    pub(crate) fn flow(&self, plan: &FurnacePlan) -> f64 {
        plan.gas.as_ref().map_or(f64::NAN, |gas| flow_by_evidence(gas, &self.facts, self.purge.by_eye))
    }

    /// The flow that it wants from its supply now, in mol/s.
    pub(crate) fn wanted_flow(&self, plan: &FurnacePlan) -> f64 {
        let Some(gas) = &plan.gas else { return 0.0 };
        let (high, hold) = (gas.purge.flow.get::<katal>(), gas.purge.hold.get::<katal>());
        if !self.has_gas_load(plan) {
            // What is left in a hot chamber stays protected until it is cool: the steel may still be in it.
            let hot = self.gas.given > 0.0 && self.cycle.is_none() && self.last_c.is_some_and(|last_c| last_c > scaling_c(plan));
            return if hot { self.gas.given.min(hold) } else { 0.0 };
        }
        let loading = self.cycle.as_ref().is_some_and(|cycle| matches!(cycle.stage, Stage::Loading | Stage::Waiting));
        let ending = self.cycle.as_ref().is_some_and(|cycle| cycle.stage == Stage::Ending);
        let sweeps = self.air.account.recovering
            || matches!(self.purge.phase, PurgePhase::Settling | PurgePhase::Counting | PurgePhase::Confirming)
            || (self.wants_purge(plan) && !self.purge.is_proved());
        match (loading, sweeps && !ending) {
            (true, _) => 0.0,
            (false, true) => high,
            (false, false) if self.purge.is_proved() || self.is_hot(plan) || self.gas.given > 0.0 => hold,
            (false, false) => 0.0,
        }
    }

    /// What may forbid a start in it.
    pub(crate) fn now<'a>(&self, plan: &'a FurnacePlan) -> FurnaceNow<'a> {
        FurnaceNow { forbidden_by: self.forbidding_rule(plan), unconfirmed: self.cuts.is_unconfirmed() }
    }

    /// The rule of the shop's own that forbids a start, if one does.
    fn forbidding_rule<'a>(&self, plan: &'a FurnacePlan) -> Option<&'a RulePlan> {
        let forbids = |(place, rule): &(usize, &RulePlan)| rule.effect == RuleEffect::WithholdStart && self.rules_now.has(*place);
        let bypassed = self.rows.row(InterlockKind::ShopWatch).is_bypassed();
        plan.policy.rules.iter().enumerate().find(forbids).map(|(_, rule)| rule).filter(|_| !bypassed)
    }

    /// The load is gone: what belonged to it goes too.
    pub(crate) fn forget_load(&mut self) {
        self.cycle = None;
        self.purge.forget();
        self.air.new_load();
        self.gap = Gap::None;
        (self.gas_short, self.gas_word, self.goes_on) = (false, false, false);
    }

    fn latched_rules(&self, plan: &FurnacePlan) -> Vec<Name> {
        let rules = plan.policy.rules.iter().zip(&self.rules);
        rules.filter(|(_, state)| state.latched).map(|(rule, _)| rule.name.clone()).collect()
    }

    /// What is kept across a restart.
    pub(crate) fn stood(&self, plan: &FurnacePlan) -> FurnaceStood {
        let mut rows = self.rows.clone();
        rows.begin_again(ShopMs(0));
        FurnaceStood {
            name: plan.name.clone(),
            rows,
            generation: self.cuts.generation(),
            purge: self.purge,
            account: self.air.account,
            cycle: self.cycle.clone(),
            kept_for: self.kept_for.clone(),
            last_c: self.last_c,
            gas: GasShare { after_said: false, ..self.gas },
            alone_s: self.alone_s,
            bypasses: self.bypasses.stood(),
            rules_latched: self.latched_rules(plan),
            proofs: self.proofs.clone(),
            hand_c: self.hand_c,
        }
    }
}

/// What is kept of a furnace across a restart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct FurnaceStood {
    pub(crate) name: Name,
    pub(crate) rows: Rows,
    pub(crate) generation: Generation,
    pub(crate) purge: Purge,
    pub(crate) account: Account,
    pub(crate) cycle: Option<Cycle>,
    pub(crate) kept_for: Option<Name>,
    pub(crate) last_c: Option<f64>,
    pub(crate) gas: GasShare,
    pub(crate) alone_s: f64,
    pub(crate) bypasses: Bypasses,
    pub(crate) rules_latched: Vec<Name>,
    pub(crate) proofs: Proofs,
    pub(crate) hand_c: Option<f64>,
}

impl Furnace {
    /// Takes a meter kept by eye as a person last read it.
    pub(crate) fn read_by_eye(&mut self, plan: &FurnacePlan, points: &crate::points::Points) {
        let Some(gas) = plan.gas.as_ref().filter(|gas| gas.by_eye) else { return };
        if let Some(flow) = points.last_good(gas.flow) {
            self.purge.by_eye = Some(flow);
        }
    }

    /// Its load goes to this tank and is on its way.
    pub(crate) fn comes_to(&self, tank: usize) -> bool {
        self.cycle.as_ref().is_some_and(|cycle| {
            (cycle.stage == Stage::Running || cycle.warms) && crate::cycle::tank_ahead(cycle).is_some_and(|id| id.index() == tank)
        })
    }
}
