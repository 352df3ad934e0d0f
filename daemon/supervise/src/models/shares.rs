//! What furnaces share: every order of asking for gas and power, more and less, and giving back.

use std::hash::{Hash, Hasher};

use hearthward_equipment::FurnaceId;
use stateright::{Model, Property};
use uom::si::catalytic_activity::katal;
use uom::si::f64::{CatalyticActivity, Power};
use uom::si::power::kilowatt;

use super::visit_all;
use crate::cycle::Cycle;
use crate::furnace::{Furnace, GasShare, PowerShare};
use crate::plan::ShopPlan;
use crate::shop::share;
use crate::testing;

/// What each of the furnaces may ask for, in mol/s; together more than the manifold gives.
const FLOWS: [f64; 3] = [0.0, 0.02, 0.05];
const CAPACITY: f64 = 0.08;
/// Their power in kW; together more than the demand limit.
const POWERS_KW: [f64; 4] = [2.0, 3.0, 5.0, 2.0];
const DEMAND_KW: f64 = 7.0;
const COUNT: usize = POWERS_KW.len();

/// A furnace's two shares, and who has waited for gas and power since when, by rank.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Share {
    gas: GasShare,
    power: PowerShare,
    heats: bool,
}

#[derive(Clone, Debug, PartialEq)]
struct Shares([Share; COUNT]);

impl Hash for Shares {
    fn hash<H: Hasher>(&self, state: &mut H) {
        for share in &self.0 {
            (share.gas.wanted.to_bits(), share.gas.given.to_bits(), share.gas.turn).hash(state);
            (share.power.given, share.power.turn, share.heats).hash(state);
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Act {
    Gas(usize, usize),
    Heat(usize, bool),
}

struct Machine {
    plan: ShopPlan,
}

impl Machine {
    fn new() -> Self {
        let names = ["north", "south", "east", "west"];
        let mut plan = testing::shop(names.iter().map(|name| testing::furnace(name)).collect());
        plan.supplies[0].capacity = CatalyticActivity::new::<katal>(CAPACITY);
        plan.electrical_demand = Some(Power::new::<kilowatt>(DEMAND_KW));
        for (furnace, power_kw) in plan.furnaces.iter_mut().zip(POWERS_KW) {
            furnace.power = Power::new::<kilowatt>(power_kw);
        }
        Self { plan }
    }

    /// Lets a tick share.
    fn shared(&self, shares: &Shares) -> Shares {
        let mut furnaces: Vec<Furnace> = (0..COUNT)
            .map(|at| {
                let mut furnace = Furnace::new(FurnaceId(at as u16), &self.plan.furnaces[at]);
                (furnace.gas, furnace.power) = (shares.0[at].gas, shares.0[at].power);
                let mut cycle = Cycle::new(testing::load(), None, None, true);
                cycle.wanted_c = shares.0[at].heats.then_some(800.0);
                furnace.cycle = Some(cycle);
                furnace
            })
            .collect();
        let mut turns = 100;
        share::gas(&self.plan, &mut furnaces, &mut turns);
        share::power(&self.plan, &mut furnaces, &mut turns);
        let mut next = shares.clone();
        for (share, furnace) in next.0.iter_mut().zip(&furnaces) {
            (share.gas, share.power) = (furnace.gas, furnace.power);
        }
        rank(&mut next, |share| &mut share.gas.turn);
        rank(&mut next, |share| &mut share.power.turn);
        next
    }

    /// Whether this one gets what it wants while the others give back and ask again at once, for as long as it waits.
    fn is_served(&self, from: &Shares, which: usize, waits: impl Fn(&Share) -> bool) -> bool {
        let mut shares = from.clone();
        for round in 0..3 * COUNT {
            if !waits(&shares.0[which]) {
                return true;
            }
            let other = round % COUNT;
            if other == which {
                continue;
            }
            let before = shares.0[other];
            (shares.0[other].gas.wanted, shares.0[other].heats) = (0.0, false);
            shares = self.shared(&shares);
            (shares.0[other].gas.wanted, shares.0[other].heats) = (before.gas.wanted, before.heats);
            shares = self.shared(&shares);
        }
        !waits(&shares.0[which])
    }
}

/// Turns by their order alone: the count that gives them grows for ever.
fn rank(shares: &mut Shares, turn: impl Fn(&mut Share) -> &mut Option<u64>) {
    let mut turns: Vec<u64> = shares.0.iter_mut().filter_map(|share| *turn(share)).collect();
    turns.sort_unstable();
    for share in &mut shares.0 {
        let place = turn(share).and_then(|is| turns.iter().position(|&known| known == is));
        *turn(share) = place.map(|place| place as u64 + 1);
    }
}

impl Model for Machine {
    type State = Shares;
    type Action = Act;

    fn init_states(&self) -> Vec<Shares> {
        vec![Shares([Share { gas: GasShare::default(), power: PowerShare::default(), heats: false }; COUNT])]
    }

    fn actions(&self, _: &Shares, actions: &mut Vec<Act>) {
        for at in 0..COUNT {
            actions.extend((0..FLOWS.len()).map(|flow| Act::Gas(at, flow)));
            actions.extend([Act::Heat(at, false), Act::Heat(at, true)]);
        }
    }

    fn next_state(&self, last: &Shares, act: Act) -> Option<Shares> {
        let mut next = last.clone();
        match act {
            Act::Gas(at, flow) => next.0[at].gas.wanted = FLOWS[flow],
            Act::Heat(at, heats) => next.0[at].heats = heats,
        }
        Some(self.shared(&next))
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always("the manifold gives no more than it can", |_: &Self, is: &Shares| {
                is.0.iter().map(|share| share.gas.given).sum::<f64>() <= CAPACITY * 1.000_001
            }),
            Property::always("no more heats than the demand limit", |_: &Self, is: &Shares| {
                let heating = is.0.iter().zip(POWERS_KW).filter(|(share, _)| share.power.given);
                heating.map(|(_, power_kw)| power_kw).sum::<f64>() <= DEMAND_KW * 1.000_001
            }),
            Property::always("who wants less is given less at once, and nobody more than it wants", |_: &Self, is: &Shares| {
                is.0.iter().all(|share| share.gas.given <= share.gas.wanted && (share.heats || !share.power.given))
            }),
            Property::always("who waits for gas gets it", |machine: &Self, is: &Shares| {
                (0..COUNT).all(|which| machine.is_served(is, which, |share| share.gas.turn.is_some()))
            }),
            Property::always("who waits for power gets it", |machine: &Self, is: &Shares| {
                (0..COUNT).all(|which| machine.is_served(is, which, |share| share.power.turn.is_some()))
            }),
            Property::sometimes("somebody waits for both", |_: &Self, is: &Shares| {
                is.0.iter().any(|share| share.gas.turn.is_some() && share.power.turn.is_some())
            }),
        ]
    }
}

/// Goal: shared limits hold and nobody starves. Method: every order of asking, asking for less, and giving back.
#[test]
fn every_order_of_sharing() {
    let states = visit_all(Machine::new());
    assert!(states > 10_000, "{states} states are too few to be all of them");
}
