//! The simulated smith: does what the service asks, after a human delay, and does two things that nobody asked for.

use std::collections::BTreeMap;
use std::time::Duration;

use hearthward_equipment::quantity::{SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA, gas_flow};
use hearthward_equipment::{FurnaceId, Name, ShopMs, Value};
use hearthward_supervise::plan::SteelChoice;
use hearthward_supervise::recipe::StepKind;
use hearthward_supervise::request::{Ask, Choice, QuestionId, Request};
use hearthward_supervise::view::{QuestionView, View};

/// What the person does.
#[derive(Debug)]
pub(super) enum Does {
    /// Something by hand on the bench: a door, a part into the oil.
    Deed {
        /// The point of the bench, as an address.
        point: &'static str,
        /// What it becomes.
        value: Value,
    },
    /// Something asked of the service.
    Asks(Request),
}

/// The person and what is still to be done.
#[derive(Debug)]
pub(super) struct Smith {
    north: FurnaceId,
    later: BTreeMap<(ShopMs, usize), Does>,
    planned: usize,
    seen: Vec<QuestionId>,
    opened_in_mid_ramp: bool,
}

/// The door of the working furnace is opened once at this heat while it ramps, as somebody does who is curious.
const CURIOUS_AT_C: f64 = 720.0;

/// One plane iron, 3 mm thick, made up.
const PART_KG: f64 = 0.15;

/// How long the curious look takes.
const LOOK: Duration = Duration::from_secs(6);

impl Smith {
    /// A person who has planned the day: what to start, and when.
    pub(super) fn new(north: FurnaceId, planned: Vec<(Duration, Does)>) -> Self {
        let mut smith = Self { north, later: BTreeMap::new(), planned: 0, seen: Vec::new(), opened_in_mid_ramp: false };
        for (after, does) in planned {
            smith.plan(ShopMs(0) + after, does);
        }
        smith
    }

    fn plan(&mut self, at: ShopMs, does: Does) {
        self.planned += 1;
        self.later.insert((at, self.planned), does);
    }

    fn door(&mut self, at: ShopMs, furnace: &Name, open: bool) {
        let point = match furnace.as_str() {
            "north" => "bench/north.door",
            "south" => "bench/south.door",
            _ => "bench/little.door",
        };
        self.plan(at, Does::Deed { point, value: Value::Flag(open) });
    }

    /// Looks at the shop and says what is done now.
    pub(super) fn turn(&mut self, now: ShopMs, view: &View) -> Vec<Does> {
        for question in &view.questions {
            if !self.seen.contains(&question.id) {
                self.seen.push(question.id);
                self.answer(now, question);
            }
        }
        let north = &view.furnaces[self.north.index()];
        let ramping = north.cycle.as_ref().is_some_and(|cycle| cycle.step == StepKind::Ramp);
        if !self.opened_in_mid_ramp && ramping && north.temperature_c.is_some_and(|c| c > CURIOUS_AT_C) {
            self.opened_in_mid_ramp = true;
            self.door(now, &north.name, true);
            self.door(now + LOOK, &north.name, false);
        }
        let mut due = Vec::new();
        while let Some(first) = self.later.first_entry() {
            if first.key().0 > now {
                break;
            }
            due.push(first.remove());
        }
        due
    }

    fn answer(&mut self, now: ShopMs, question: &QuestionView) {
        let seconds = Duration::from_secs;
        let confirm = |reading| Does::Asks(Request::Confirm { question: question.id, reading });
        let choose = |choice| Does::Asks(Request::Choose { question: question.id, choice });
        match (&question.ask, &question.furnace) {
            (Ask::LoadAndShut, Some(furnace)) => {
                self.door(now + seconds(5), furnace, true);
                self.door(now + seconds(35), furnace, false);
                self.plan(now + seconds(40), confirm(None));
            }
            (Ask::SetFlow { litres_per_minute }, _) => {
                let flow = gas_flow(*litres_per_minute, SHOWN_REFERENCE_C, SHOWN_REFERENCE_KPA);
                self.plan(now + seconds(15), confirm(Some(Value::GasFlow(flow))));
            }
            (Ask::PartUnder { .. }, Some(furnace)) => {
                // Tongs in hand before the door opens; two seconds to the oil.
                self.door(now + seconds(10), furnace, true);
                self.plan(now + seconds(12), Does::Deed { point: "bench/oil.quench-kg", value: Value::Number(PART_KG) });
                self.plan(now + seconds(12), confirm(None));
                self.door(now + seconds(13), furnace, false);
            }
            (Ask::Transfer { to }, _) => {
                self.door(now + seconds(60), to, true);
                self.door(now + seconds(75), to, false);
                self.plan(now + seconds(80), confirm(None));
            }
            (Ask::Steel { .. }, _) => self.plan(now + seconds(20), choose(Choice::Steel(SteelChoice::Finish))),
            (Ask::GoOn { .. }, _) => self.plan(now + seconds(20), choose(Choice::GoOn)),
            _ => self.plan(now + seconds(30), confirm(None)),
        }
    }
}
