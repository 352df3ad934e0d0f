//! The judge's books of one furnace.

use std::collections::BTreeMap;

use hearthward_equipment::{Evidence, Generation, ShopMs, Tick};
use hearthward_supervise::Away;
use hearthward_supervise::interlock::InterlockKind;
use hearthward_supervise::recipe::{Load, Protection, Step, StepKind};

use super::policy::Policy;
use super::set::Set;

/// The door, as it may be taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Door {
    /// No switch is wired.
    #[default]
    Absent,
    /// Shut, and it was all the time.
    Shut,
    /// Open, or it was.
    Open,
    /// Not to be relied upon.
    Unknown,
}

/// One furnace.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    // What the readings of this tick say.
    pub(super) door: Door,
    pub(super) read_c: Option<f64>,
    pub(super) last_c: Option<f64>,
    /// Causes for people that stand in this tick.
    pub(super) seen: Set,
    /// What only a reset may clear, by the judge's own books.
    pub(super) latches: Set,
    /// Causes that a bypass has taken out of force.
    pub(super) bypassed: Set,
    pub(super) policy: Policy,
    /// For how long its thermometer has been read healthy without a break, in milliseconds; nothing once that was long enough.
    pub(super) healthy_ms: Option<u64>,
    pub(super) lost_ms: u64,
    pub(super) open_ms: u64,
    pub(super) alone_ms: u64,

    // What the core said.
    /// Rows that are not clear, and those of them that are latched.
    pub(super) standing: Set,
    pub(super) latched: Set,
    pub(super) permitted: Option<f64>,
    pub(super) permits: Vec<(Tick, f64)>,
    pub(super) generation: Generation,
    /// The end of the last lease, while no cut followed.
    pub(super) lease: Option<ShopMs>,
    /// Orders were given in the last tick.
    pub(super) heated: bool,
    pub(super) cut_at: Option<ShopMs>,
    /// Its controller has said that it took the cut, and its contactor that it did.
    pub(super) cut_taken: bool,
    pub(super) contactor_took: bool,
    /// Its controller has shown since that it does not heat, or its contactor is its only word.
    pub(super) obeyed: bool,
    pub(super) cut_doubted: bool,
    pub(super) contactor_cut: bool,

    // The load.
    /// It was shown one in the last tick.
    pub(super) was_loaded: bool,
    pub(super) load: Option<Load>,
    pub(super) step: Option<(u16, StepKind)>,
    /// A step of it has begun, here or in the furnace that it came from.
    pub(super) under_way: bool,
    pub(super) in_chamber: bool,
    pub(super) charged_hot: bool,
    /// The hottest that its chamber was read since it went in, by a thermometer without a fault.
    pub(super) hottest_c: f64,
    pub(super) in_band_ms: u64,
    /// Time in band that the core has not counted.
    pub(super) uncounted_ms: u64,
    /// A person has to say whether it goes on.
    pub(super) must_answer: bool,
    /// It was stopped, and nobody has chosen since what becomes of it.
    pub(super) stopped: bool,
    /// A short gap that may be ridden through: how long the service was away.
    pub(super) gap_ms: Option<u64>,
    pub(super) gap_from_c: Option<f64>,
    pub(super) opened_in_gap: bool,
    pub(super) forced: bool,

    // The purge.
    pub(super) changes: f64,
    pub(super) swept: f64,
    pub(super) proved: bool,
    pub(super) proved_before: bool,
    pub(super) by_eye: Option<f64>,
    pub(super) flow_lost_ms: u64,
    pub(super) overdue_ms: u64,
    /// What was swept before the step began, or before the last interruption: it may not count.
    pub(super) doubted: f64,
    pub(super) told_flow: f64,
    /// It was told to give more in this tick.
    pub(super) flow_rose: bool,
    pub(super) told_valve: Option<bool>,

    // Tests.
    /// The one that a person began, and whether its row has stood since.
    pub(super) proof: Option<(InterlockKind, bool)>,
    /// What came of the last of each: whether it passed, and what that rests on.
    pub(super) outcomes: BTreeMap<InterlockKind, (bool, Evidence)>,

    // The part that was called last.
    /// Whether the door was open since.
    pub(super) opened_for_part: bool,
    /// A person said in this tick that it is under.
    pub(super) said_under: bool,
    /// For how long the controller's program has asked for something else than the recipe, in milliseconds.
    pub(super) astray_ms: u64,
    /// The step that this is counted in.
    pub(super) astray_in: Option<(u16, StepKind)>,
    /// For how long no purge has been owed, in milliseconds.
    pub(super) free_ms: u64,

    // Turns and life.
    /// When it began to wait, by row.
    pub(super) waits: [Option<ShopMs>; 3],
    /// For how many ticks heat was due and not given.
    pub(super) due: u32,
    /// How long it has waited for power that nobody uses.
    pub(super) idle_power_ms: u64,
}

impl Known {
    /// A load that gas shall protect is in the chamber.
    pub(super) fn is_protected(&self) -> bool {
        self.in_chamber && self.load.as_ref().is_some_and(|load| load.protection == Protection::Gas)
    }

    /// Latches that withhold heat: a watch of the shop's own only warns, and a bypass takes a row out of force.
    pub(super) fn withholding(&self) -> Set {
        let mut set = self.latched.without(self.bypassed);
        set.remove(InterlockKind::ShopWatch);
        set
    }

    /// The step as the load's route has it.
    pub(super) fn route_step(&self) -> Option<&Step> {
        let (index, _) = self.step?;
        self.load.as_ref()?.steps.get(usize::from(index))
    }

    /// A load is announced.
    pub(super) fn begins(&mut self, load: Load) {
        self.ends();
        self.load = Some(load);
    }

    /// The load is gone.
    pub(super) fn ends(&mut self) {
        (self.load, self.step, self.in_chamber, self.charged_hot) = (None, None, false, false);
        self.under_way = false;
        (self.in_band_ms, self.uncounted_ms, self.must_answer, self.forced) = (0, 0, false, false);
        self.stopped = false;
        (self.changes, self.swept, self.proved, self.overdue_ms) = (0.0, 0.0, false, 0);
        (self.gap_ms, self.gap_from_c, self.proved_before) = (None, None, false);
        self.latches.remove(InterlockKind::Interrupted);
    }

    /// The chamber by a thermometer that may be relied upon: from its fault to its reset it may not.
    pub(super) fn believed_c(&self) -> Option<f64> {
        let fault = self.standing.with(self.latched).has(InterlockKind::SensorFault);
        self.read_c.filter(|_| self.healthy_ms.is_none() && !fault)
    }

    /// A thermometer that was doubted has to be read healthy for ten seconds; time in which nobody read it begins them anew.
    pub(super) fn judge_health(&mut self, doubted: bool, watched: bool, dt_ms: u64) {
        self.healthy_ms = match self.healthy_ms {
            _ if doubted => Some(0),
            Some(_) if !watched => Some(0),
            // Two seconds less than the rule: when a reading came in between two ticks is nobody's concern.
            known => known.map(|ms| ms + dt_ms).filter(|ms| *ms < 8_000),
        };
    }

    /// The load is in the chamber, a person says.
    pub(super) fn put_in(&mut self, ceiling_c: f64) {
        (self.in_chamber, self.stopped) = (true, false);
        self.charged_hot = self.believed_c().is_some_and(|read_c| read_c > ceiling_c);
        self.hottest_c = f64::NEG_INFINITY;
        (self.changes, self.swept, self.proved, self.overdue_ms) = (0.0, 0.0, false, 0);
    }

    pub(super) fn restarted(&mut self, away: Away, ride_ms: u64, moves: bool) {
        let pending = self.gap_ms.is_some();
        // Nothing was watched, so nothing goes on counting.
        (self.changes, self.flow_lost_ms, self.overdue_ms, self.due, self.idle_power_ms) = (0.0, 0, 0, 0, 0);
        (self.lease, self.heated, self.cut_at, self.waits) = (None, false, None, [None; 3]);
        (self.lost_ms, self.open_ms, self.read_c) = (0, 0, None);
        // Nobody has read it since: how far it had come counts no more.
        self.healthy_ms = self.latched.has(InterlockKind::SensorFault).then_some(0);
        (self.told_valve, self.opened_in_gap, self.gap_ms, self.was_loaded) = (None, false, None, false);
        (self.permitted, self.uncounted_ms, self.astray_ms) = (None, 0, 0);
        self.permits.clear();
        self.policy.restarted(away);
        self.seen = Set::default();
        // A run that died before it could ride through leaves its question to the next.
        self.proved_before = self.proved || (pending && self.proved_before);
        self.proved = false;
        let runs = self.step.is_some() && !self.must_answer && !moves;
        if !runs {
            return;
        }
        match away {
            Away::Known(gap) if gap.0 <= ride_ms => {
                self.gap_ms = Some(gap.0);
                self.gap_from_c = self.last_c;
            }
            _ => self.must_answer = true,
        }
    }
}
