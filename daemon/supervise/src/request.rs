//! What people ask, and what they are told.

use std::time::Duration;

use hearthward_equipment::{FurnaceId, Name, PointId, Value};
use serde::{Deserialize, Serialize};

use crate::alarm::AlarmAsk;
use crate::interlock::InterlockKind;
use crate::plan::SteelChoice;
use crate::recipe::Load;

/// Who acts.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Person {
    /// As they are known in the shop.
    pub name: String,
}

/// Something that a person asks of the core.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Request {
    /// Begin a load's cycle in a furnace.
    Start {
        /// Where.
        furnace: FurnaceId,
        /// What.
        load: Load,
        /// In how long it shall be ready to be pulled (or tempered), if it shall wait until then; at most two days. Only where
        /// nobody is needed meanwhile.
        ready_in: Option<std::time::Duration>,
    },
    /// Say that what was asked for is done: door shut, part out, part under, valve set.
    Confirm {
        /// The question that asked.
        question: QuestionId,
        /// What was read, where the question asks for a reading.
        reading: Option<Value>,
    },
    /// Choose what happens to the steel.
    Choose {
        /// The question that asked.
        question: QuestionId,
        /// The choice.
        choice: Choice,
    },
    /// A value read on equipment that is kept by hand.
    Enter {
        /// Where it belongs.
        point: PointId,
        /// What was read.
        value: Value,
    },
    /// Keep the cycle where it is: set point held, no step begins.
    Hold {
        /// Which furnace.
        furnace: FurnaceId,
    },
    /// Go on after a hold or an interruption.
    Resume {
        /// Which furnace.
        furnace: FurnaceId,
    },
    /// End the step now, though it is not complete.
    Skip {
        /// Which furnace.
        furnace: FurnaceId,
        /// Why, for the record.
        reason: String,
    },
    /// End the cycle: heat off, gas as it is until the steel is cool.
    Abort {
        /// Which furnace.
        furnace: FurnaceId,
    },
    /// Clear a latch whose cause is gone.
    Reset {
        /// Which furnace; all of them if absent.
        furnace: Option<FurnaceId>,
        /// Which interlock; every one that can be reset if absent.
        interlock: Option<InterlockKind>,
    },
    /// Take an interlock out of force for a time, where the configuration is open to it.
    Bypass {
        /// Which furnace.
        furnace: FurnaceId,
        /// Which interlock.
        interlock: InterlockKind,
        /// Why, for every record made meanwhile.
        reason: String,
        /// For how long; [`BYPASS_USUAL`](crate::BYPASS_USUAL) unless given, at most [`BYPASS_MOST`](crate::BYPASS_MOST).
        span: Option<Duration>,
    },
    /// Put a bypassed interlock into force again.
    Restore {
        /// Which furnace.
        furnace: FurnaceId,
        /// Which interlock.
        interlock: InterlockKind,
    },
    /// Begin a guided test of an interlock.
    Prove {
        /// Which furnace.
        furnace: FurnaceId,
        /// Which interlock.
        interlock: InterlockKind,
        /// Time of day in milliseconds since 1970: a label for the outcome.
        wall_ms: i64,
    },
    /// Cut everything that heats, latched.
    Stop {
        /// One furnace, or the shop.
        furnace: Option<FurnaceId>,
    },
    /// Something about alarms.
    Alarm(AlarmAsk),
    /// Say what came of a test of an interlock that the service did not watch.
    Attest {
        /// Which furnace.
        furnace: FurnaceId,
        /// Which interlock.
        interlock: InterlockKind,
        /// Whether it tripped and cleared as it should.
        passed: bool,
        /// How it was tested and what was seen, for the record.
        how: String,
        /// Time of day in milliseconds since 1970: a label for the outcome.
        wall_ms: i64,
    },
    /// End the guided test of an interlock that runs, without an outcome: the last one stands.
    CallOff {
        /// Which furnace.
        furnace: FurnaceId,
        /// Which interlock.
        interlock: InterlockKind,
    },
}

/// Gives a request and its answer the same number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Ticket(pub u64);

/// Names a question to a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct QuestionId(pub u64);

/// What a person may choose.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Choice {
    /// About the steel.
    Steel(SteelChoice),
    /// Go on with the cycle.
    GoOn,
    /// Begin the step again.
    RestartStep,
    /// End the cycle.
    End,
}

impl Choice {
    /// Its words in a sentence.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Steel(SteelChoice::QuenchNow) => "quench now",
            Self::Steel(SteelChoice::Finish) => "finish",
            Self::Steel(SteelChoice::SlowCoolUnderGas) => "slow-cool under gas",
            Self::GoOn => "go on",
            Self::RestartStep => "begin the step again",
            Self::End => "end the cycle",
        }
    }
}

/// What the core asks of a person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ask {
    /// Load the chamber and shut the door.
    LoadAndShut,
    /// Set the gas flow by hand, and say what the meter shows.
    SetFlow {
        /// Litres a minute at the shown reference conditions.
        litres_per_minute: f64,
    },
    /// Say what a meter kept by eye shows now.
    ReadFlow,
    /// Set the controller by hand.
    SetController {
        /// To what, in °C.
        set_point_c: f64,
    },
    /// Turn the furnace off by hand.
    TurnOff,
    /// Bring the bath into its window, by hand.
    BringBath {
        /// Lower end, in °C.
        low_c: f64,
        /// Upper end, in °C.
        high_c: f64,
    },
    /// Take the next part out: say when it is under.
    PartUnder {
        /// Which part, from 1.
        part: u16,
        /// Of how many.
        of: u16,
    },
    /// Put the load into the furnace that tempers it, and shut the door.
    Transfer {
        /// The furnace's name.
        to: Name,
    },
    /// Let the load cool, outside the furnace, and say when it has.
    LetCool {
        /// Down to where, in °C.
        to_c: f64,
    },
    /// What shall become of the steel.
    Steel {
        /// What happened, in a sentence.
        because: String,
        /// For how long it can still be quenched, in seconds, if it can.
        quenchable_s: Option<u32>,
    },
    /// Whether to go on after an interruption.
    GoOn {
        /// What happened and what the purge, the soak and the steel are still worth.
        because: String,
        /// For how long nobody watched, in milliseconds: 0 where it was watched all the time and heat was cut; absent when nobody knows.
        away_ms: Option<u64>,
        /// The chamber before, in °C.
        before_c: Option<f64>,
        /// The chamber now, in °C.
        now_c: Option<f64>,
        /// The steel now, as estimated, in °C; absent without a part to estimate from.
        steel_c: Option<f64>,
        /// For how long it can still be quenched, in seconds, if it can.
        quenchable_s: Option<u32>,
    },
    /// Read what a person keeps by eye, and enter it at this point.
    EnterReading {
        /// The point's address, `driver/unit.point`.
        point: String,
    },
}

/// What came of a request.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Answer {
    /// It was done; the words say what happens next.
    Done(String),
    /// It was refused; the words say why and what would mend it.
    Refused(String),
}
