//! The small machine of one cut: sent, read back, or not; then the contactor, again and again until it is read back.

use std::time::Duration;

use hearthward_equipment::{FurnaceId, Generation, ShopMs};

use crate::event::{Event, EventBody, Priority};
use crate::interlock::InterlockKind;
use crate::observe::CutState;
use crate::output::{Cut, Via};
use crate::plan::{DeadMan, FurnacePlan, Heating};
use serde::{Deserialize, Serialize};

/// How far a cut has come.
///
/// ```text
/// None ──heat taken away──▶ Waiting ──taken, and no heat is shown──▶ Confirmed
///   ▲                          └─2 s, or it failed──▶ Unconfirmed ──repeated each 2 s, then the same──▶ Confirmed
///   └──────────── an order to heat was given ◀── any
/// ```
///
/// Beside it, a contactor that its own switch shows closed after its time is stuck, until the switch shows it open after a cut: no
/// order to heat in between mends it. While it is stuck every cut goes to it too, and is repeated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
enum Phase {
    /// Heat was not taken away, or was given since.
    #[default]
    None,
    /// The cut is on its way.
    Waiting,
    /// The device says that it does not heat.
    Confirmed,
    /// It did not say so in time.
    Unconfirmed,
}

/// The cuts of one furnace.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Cuts {
    generation: Generation,
    phase: Phase,
    for_ms: u64,
    again_ms: u64,
    failed: bool,
    /// It was given in this tick, whose time passed before it.
    new: bool,
    /// When it was given.
    at: ShopMs,
    /// The device has said that it took it.
    taken: bool,
    /// The contactor was told to open.
    dropped: bool,
    /// It was told by the cut in force.
    dropped_now: bool,
    /// When the contactor's own switch may say no more that it is closed.
    open_by: Option<ShopMs>,
    /// It said so after that, and has not been seen open since.
    stuck: bool,
}

/// How long a cut may take to be read back: a frame, the unit's turnaround and two polls (common practice, no source).
const UNCONFIRMED_AFTER_MS: u64 = 2_000;

/// What a contactor's own switch said, and when: closed or not.
pub(crate) type Feedback = Option<(bool, ShopMs)>;

/// What a controller shows of its heat. That a device took a cut is the echo of a write; whether it heats is what is read after.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum ShowsHeat {
    /// It has nothing that shows it, or nobody orders heat there.
    #[default]
    Nowhere,
    /// It cannot be read now.
    Unread,
    /// It was read.
    Read {
        /// Whether it heats, or would.
        heats: bool,
        /// When.
        at: ShopMs,
    },
}

impl Cuts {
    /// Goes on from an earlier run.
    pub(crate) fn after(generation: Generation) -> Self {
        Self { generation, ..Self::default() }
    }

    /// The count of cuts.
    pub(crate) fn generation(&self) -> Generation {
        self.generation
    }

    /// Takes heat away.
    pub(crate) fn cut(
        &mut self,
        id: FurnaceId,
        plan: &FurnacePlan,
        because: Vec<InterlockKind>,
        (priority, why): (Priority, String),
        cuts: &mut Vec<Cut>,
        events: &mut Vec<Event>,
    ) {
        self.generation = self.generation.next();
        (self.phase, self.for_ms, self.again_ms) = (Phase::Waiting, 0, 0);
        (self.failed, self.taken, self.new) = (false, false, true);
        let via = first_via(plan);
        self.dropped_now = via == Via::Contactor || self.stuck;
        self.dropped |= self.dropped_now;
        cuts.push(Cut { furnace: id, generation: self.generation, via });
        if self.stuck && via != Via::Contactor {
            cuts.push(Cut { furnace: id, generation: self.generation, via: Via::Contactor });
        }
        let body = EventBody::Cut { generation: self.generation, via, because };
        events.push(Event { furnace: Some(id), priority, person: None, text: why, body });
    }

    /// The host tells how far a cut has come.
    pub(crate) fn told(&mut self, generation: Generation, is: &CutState) {
        if generation < self.generation || !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) {
            return;
        }
        match is {
            CutState::Sent => {}
            CutState::Failed(_) => self.failed = true,
            CutState::Confirmed => self.taken = true,
        }
    }

    /// A cut that the device took is confirmed by what the controller shows after it. Where that cannot be read, the contactor that was
    /// dropped for it will do; where a controller has nothing to show, its word does.
    pub(crate) fn settle(&mut self, id: FurnaceId, plan: &FurnacePlan, now: ShopMs, shows: ShowsHeat, events: &mut Vec<Event>) {
        if self.new {
            self.at = now;
        }
        let seen_off = match shows {
            ShowsHeat::Read { heats, at } if at > self.at => !heats,
            ShowsHeat::Read { .. } | ShowsHeat::Unread => false,
            ShowsHeat::Nowhere => true,
        };
        let by_contactor = shows == ShowsHeat::Unread && self.dropped_now;
        if !self.taken || !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) || !(seen_off || by_contactor) {
            return;
        }
        self.phase = Phase::Confirmed;
        let name = &plan.name;
        let text = if by_contactor {
            format!("The contactor of {name} took the cut. {name} itself cannot be read: go and look.")
        } else {
            format!("{name} says that it does not heat.")
        };
        // A controller at rest is no word for a contactor that is stuck.
        if !self.stuck {
            self.say_confirmed(id, text, events);
        }
    }

    /// Whether a controller shows heat though nobody gave it any for longer than a cut may take.
    pub(crate) fn heat_is_back(&self, shows: ShowsHeat) -> bool {
        let after_ms = Duration::from_millis(UNCONFIRMED_AFTER_MS);
        matches!(self.phase, Phase::None | Phase::Confirmed)
            && matches!(shows, ShowsHeat::Read { heats: true, at } if at > self.at + after_ms)
    }

    /// Lets time pass: a cut that is not read back is repeated, and the contactor is dropped where one is wired.
    pub(crate) fn step(&mut self, id: FurnaceId, plan: &FurnacePlan, dt_ms: u64, cuts: &mut Vec<Cut>, events: &mut Vec<Event>) {
        if std::mem::take(&mut self.new) {
            return;
        }
        self.for_ms = self.for_ms.saturating_add(dt_ms);
        let stuck = self.stuck && self.phase == Phase::Confirmed;
        if !stuck && !matches!(self.phase, Phase::Waiting | Phase::Unconfirmed) {
            return;
        }
        self.again_ms = self.again_ms.saturating_add(dt_ms);
        let due = self.again_ms >= UNCONFIRMED_AFTER_MS || (self.failed && self.phase == Phase::Waiting);
        if !due {
            return;
        }
        if self.phase == Phase::Waiting {
            self.phase = Phase::Unconfirmed;
            self.say_silent(id, plan, events);
        }
        (self.again_ms, self.failed) = (0, false);
        let generation = self.generation;
        if stuck {
            cuts.push(Cut { furnace: id, generation, via: Via::Contactor });
            return;
        }
        cuts.push(Cut { furnace: id, generation, via: first_via(plan) });
        if plan.contactor.is_some() && first_via(plan) == Via::Controller {
            // The controller's word does not go for the contactor.
            self.taken &= self.dropped_now;
            (self.dropped, self.dropped_now) = (true, true);
            cuts.push(Cut { furnace: id, generation, via: Via::Contactor });
        }
    }

    /// Holds what the contactor's own switch says against what it was told. One that reads closed when it must have opened is a cut
    /// that is not confirmed, whatever the controller says. A switch that cannot be read says nothing: its unit is told of as lost.
    pub(crate) fn watch_contactor(
        &mut self,
        id: FurnaceId,
        plan: &FurnacePlan,
        now: ShopMs,
        feedback: Feedback,
        cuts: &mut Vec<Cut>,
        events: &mut Vec<Event>,
    ) {
        if self.phase == Phase::None {
            return;
        }
        let opens_within = match plan.dead_man {
            _ if self.dropped => Duration::ZERO,
            // Heat was taken away, so nobody gives it another beat.
            DeadMan::ContactorHeartbeat { drops_after } => drops_after,
            DeadMan::ControllerTimeOut { .. } | DeadMan::Nothing => return,
        };
        let new = now + opens_within + Duration::from_millis(UNCONFIRMED_AFTER_MS);
        let open_by = self.open_by.map_or(new, |open_by| open_by.min(new));
        self.open_by = Some(open_by);
        // What was read before then may show it as it was.
        let Some((closed, _)) = feedback.filter(|(_, read_at)| *read_at > open_by) else { return };
        if std::mem::replace(&mut self.stuck, closed) == closed {
            return;
        }
        let name = &plan.name;
        if closed {
            self.dropped = true;
            cuts.push(Cut { furnace: id, generation: self.generation, via: Via::Contactor });
            let text = format!(
                "The contactor of {name} reads closed after its heat was cut: turn the furnace off by hand now. It may be welded."
            );
            self.say_unconfirmed(id, "the contactor reads closed", text, events);
        } else if self.phase == Phase::Confirmed {
            self.say_confirmed(id, format!("The contactor of {name} reads open: it does not heat."), events);
        }
    }

    fn say_confirmed(&self, id: FurnaceId, text: String, events: &mut Vec<Event>) {
        let body = EventBody::CutConfirmed { generation: self.generation, after_ms: self.for_ms };
        events.push(Event { furnace: Some(id), priority: Priority::Record, person: None, text, body });
    }

    fn say_silent(&self, id: FurnaceId, plan: &FurnacePlan, events: &mut Vec<Event>) {
        let name = &plan.name;
        let (detail, text) = if plan.contactor.is_some() {
            (
                "the contactor is dropped",
                format!("{name} has not confirmed that it does not heat: its contactor is dropped. Go and look."),
            )
        } else {
            (
                "no contactor is wired",
                format!("{name} has not confirmed that it does not heat, and no contactor is wired: turn it off by hand now."),
            )
        };
        self.say_unconfirmed(id, detail, text, events);
    }

    fn say_unconfirmed(&self, id: FurnaceId, detail: &str, text: String, events: &mut Vec<Event>) {
        let body = EventBody::CutUnconfirmed { generation: self.generation, detail: detail.to_owned() };
        events.push(Event { furnace: Some(id), priority: Priority::Urgent, person: None, text, body });
    }

    /// An order to heat was given: what was cut before is over, but not what is known of the contactor.
    pub(crate) fn heated(&mut self) {
        self.phase = Phase::None;
        (self.dropped, self.open_by) = (false, None);
    }

    /// The contactor was last seen closed when it had to be open.
    pub(crate) fn is_stuck(&self) -> bool {
        self.stuck
    }

    /// The device has not confirmed in time that it does not heat, or its contactor denies it.
    pub(crate) fn is_unconfirmed(&self) -> bool {
        self.phase == Phase::Unconfirmed || self.stuck
    }

    /// For the digest.
    pub(crate) fn bits(&self) -> u64 {
        self.generation.0 << 8 | u64::from(self.stuck) << 4 | self.phase as u64
    }
}

fn first_via(plan: &FurnacePlan) -> Via {
    match plan.heating {
        Heating::ByHand => Via::Contactor,
        _ if plan.controller.is_none() => Via::Contactor,
        _ => Via::Controller,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Contactor;
    use hearthward_equipment::{Fault, FaultCode, HeatPointId};

    const NORTH: FurnaceId = FurnaceId(1);

    /// A cut on its way, in a furnace with or without a contactor.
    struct Case {
        plan: FurnacePlan,
        all: Cuts,
        cuts: Vec<Cut>,
        events: Vec<Event>,
    }

    impl Case {
        fn cut(contactor: bool) -> Self {
            let contactor = contactor.then_some(Contactor { output: HeatPointId(3), feedback: None });
            let plan = FurnacePlan { contactor, ..crate::testing::furnace("north") };
            let mut case = Self { plan, all: Cuts::after(Generation(4)), cuts: Vec::new(), events: Vec::new() };
            case.cut_again();
            assert_eq!(case.all.generation(), Generation(5));
            assert_eq!(case.step(60_000), (Vec::new(), false), "the time of its own tick passed before it");
            case
        }

        /// Heat is taken away; the ways of the cuts that are sent.
        fn cut_again(&mut self) -> Vec<Via> {
            self.cuts.clear();
            let why = (Priority::Record, "Heat ends.".to_owned());
            self.all.cut(NORTH, &self.plan, Vec::new(), why, &mut self.cuts, &mut self.events);
            self.cuts.iter().map(|cut| cut.via).collect()
        }

        /// Time passes; the ways of the cuts that are sent, and whether people are told.
        fn step(&mut self, dt_ms: u64) -> (Vec<Via>, bool) {
            let told = self.events.len();
            self.cuts.clear();
            self.all.step(NORTH, &self.plan, dt_ms, &mut self.cuts, &mut self.events);
            assert!(self.cuts.iter().all(|cut| (cut.furnace, cut.generation) == (NORTH, self.all.generation())));
            (self.cuts.iter().map(|cut| cut.via).collect(), self.events.len() > told)
        }

        fn told(&mut self, generation: u64, is: &CutState) {
            self.all.told(Generation(generation), is);
            self.shows(0, ShowsHeat::Nowhere);
        }

        /// What the controller shows, and whether people are told that the cut is confirmed.
        fn shows(&mut self, now_ms: u64, shows: ShowsHeat) -> bool {
            let told = self.events.len();
            self.all.settle(NORTH, &self.plan, ShopMs(now_ms), shows, &mut self.events);
            self.events.len() > told
        }

        fn confirmed(&self) -> Option<u64> {
            self.events.iter().find_map(|event| match event.body {
                EventBody::CutConfirmed { after_ms, .. } => Some(after_ms),
                _ => None,
            })
        }
    }

    fn failed() -> CutState {
        CutState::Failed(Fault::new(FaultCode::TIMED_OUT, "no answer"))
    }

    #[test]
    fn what_is_not_read_back_is_repeated_and_the_contactor_is_dropped() {
        for contactor in [false, true] {
            let ways = if contactor { vec![Via::Controller, Via::Contactor] } else { vec![Via::Controller] };
            let mut case = Case::cut(contactor);
            assert_eq!(case.step(1_999), (Vec::new(), false));
            assert!(!case.all.is_unconfirmed());
            assert_eq!(case.step(1), (ways.clone(), true), "people are told once");
            assert!(case.all.is_unconfirmed());
            let text = &case.events.last().expect("it was told").text;
            assert_eq!(text.contains("no contactor is wired"), !contactor, "{text}");
            case.told(5, &failed());
            assert_eq!(case.step(1_999), (Vec::new(), false), "a failure hurries only the first");
            assert_eq!(case.step(1), (ways, false));
            case.told(5, &CutState::Confirmed);
            assert_eq!(case.confirmed(), Some(4_000));
            assert_eq!(case.step(60_000), (Vec::new(), false));
        }
    }

    #[test]
    fn where_the_contactor_is_the_only_way_it_is_dropped_once_a_time() {
        let mut case = Case::cut(true);
        case.plan.heating = Heating::ByHand;
        assert_eq!(case.step(2_000), (vec![Via::Contactor], true));
    }

    #[test]
    fn a_cut_that_failed_does_not_wait() {
        let mut case = Case::cut(true);
        case.told(5, &CutState::Sent);
        assert_eq!(case.step(1), (Vec::new(), false));
        case.told(5, &failed());
        assert_eq!(case.step(1), (vec![Via::Controller, Via::Contactor], true));
    }

    const HEATS: bool = true;

    fn read(heats: bool, at_ms: u64) -> ShowsHeat {
        ShowsHeat::Read { heats, at: ShopMs(at_ms) }
    }

    /// A cut at 1 s that the device took, as far as its word goes.
    fn taken(contactor: bool) -> Case {
        let mut case = Case::cut(contactor);
        case.cut_again();
        assert!(!case.shows(1_000, ShowsHeat::Nowhere), "nothing was taken yet");
        case.all.new = false;
        case.all.told(Generation(6), &CutState::Confirmed);
        case
    }

    #[test]
    fn a_device_that_took_the_cut_must_show_that_it_obeyed() {
        for unread in [ShowsHeat::Unread, read(!HEATS, 900), read(!HEATS, 1_000), read(HEATS, 1_100)] {
            let mut case = taken(false);
            assert!(!case.shows(1_200, unread), "{unread:?}");
            assert!(case.shows(1_300, read(!HEATS, 1_250)));
            assert_eq!(case.all.phase, Phase::Confirmed);
            assert!(!case.shows(1_400, read(!HEATS, 1_350)), "said once");
        }
        assert!(taken(false).shows(1_200, ShowsHeat::Nowhere), "its word is all that there is");
        let mut case = Case::cut(false);
        case.all.new = false;
        assert!(!case.shows(1_200, read(!HEATS, 1_100)), "what is read does not say that the cut arrived");
    }

    #[test]
    fn a_contactor_stands_in_for_a_controller_that_cannot_be_read() {
        let mut case = taken(true);
        assert!(!case.shows(1_200, ShowsHeat::Unread), "it was not dropped");
        assert_eq!(case.step(2_000), (vec![Via::Controller, Via::Contactor], true));
        assert!(
            !case.shows(1_300, read(HEATS, 1_250)),
            "a controller that still heats has not obeyed, whatever the contactor does"
        );
        assert!(!case.shows(1_400, ShowsHeat::Unread), "the controller's word does not go for it");
        case.all.told(Generation(6), &CutState::Confirmed);
        assert!(!case.shows(1_450, read(HEATS, 1_440)));
        assert!(case.shows(1_500, ShowsHeat::Unread));
        assert!(case.events.last().is_some_and(|event| event.text.contains("The contactor of north took the cut")));
        let mut case = taken(true);
        case.all.dropped = true;
        assert!(!case.shows(1_100, ShowsHeat::Unread), "an earlier cut dropped it, not this one");
        assert!(case.shows(1_200, read(!HEATS, 1_100)));
        assert!(case.events.last().is_some_and(|event| event.text == "north says that it does not heat."));
    }

    #[test]
    fn heat_that_nobody_gave_is_seen_once_the_cut_has_had_its_time() {
        let mut case = taken(false);
        assert!(!case.all.heat_is_back(read(HEATS, 9_000)), "the cut is on its way");
        case.shows(1_200, read(!HEATS, 1_100));
        for (shows, back) in [
            (read(HEATS, 3_000), false),
            (read(HEATS, 3_001), true),
            (read(!HEATS, 3_001), false),
            (ShowsHeat::Unread, false),
            (ShowsHeat::Nowhere, false),
        ] {
            assert_eq!(case.all.heat_is_back(shows), back, "{shows:?}");
        }
        assert!(Cuts::after(Generation(4)).heat_is_back(read(HEATS, 2_001)), "an earlier run's cut stands too");
    }

    /// What the switch of a contactor says at a time, and whether that is an alarm then and what was sent and told for it.
    fn watch(case: &mut Case, at_ms: u64, feedback: Option<bool>) -> (bool, Vec<Via>, usize) {
        let told = case.events.len();
        case.cuts.clear();
        let feedback = feedback.map(|closed| (closed, ShopMs(at_ms)));
        case.all.watch_contactor(NORTH, &case.plan, ShopMs(at_ms), feedback, &mut case.cuts, &mut case.events);
        (case.all.is_unconfirmed(), case.cuts.iter().map(|cut| cut.via).collect(), case.events.len() - told)
    }

    #[test]
    fn a_contactor_that_reads_closed_after_its_time_is_an_unconfirmed_cut() {
        let mut case = Case::cut(true);
        assert_eq!(watch(&mut case, 60_000, Some(true)), (false, vec![], 0), "it was not told to open, and has no heartbeat");
        case.all.dropped = true;
        case.told(5, &CutState::Confirmed);
        assert_eq!(watch(&mut case, 61_000, Some(true)), (false, vec![], 0));
        assert_eq!(watch(&mut case, 63_000, Some(true)), (false, vec![], 0), "two seconds are its time");
        assert_eq!(watch(&mut case, 63_001, None), (false, vec![], 0), "a switch that cannot be read says nothing");
        assert_eq!(watch(&mut case, 63_002, Some(true)), (true, vec![Via::Contactor], 1));
        assert!(case.events.last().is_some_and(|event| event.text.contains("reads closed")), "{:?}", case.events);
        assert_eq!(case.all.bits(), 5 << 8 | 1 << 4 | 2);
        assert_eq!(watch(&mut case, 64_000, Some(true)), (true, vec![], 0), "said once");
        assert_eq!(watch(&mut case, 65_000, None), (true, vec![], 0));
        assert_eq!(case.step(5_000), (vec![Via::Contactor], false), "it is told again while it is stuck");
        assert_eq!(case.step(1_999), (vec![], false));
        assert_eq!(case.step(1), (vec![Via::Contactor], false));
        assert_eq!(watch(&mut case, 66_000, Some(false)), (false, vec![], 1));
        assert!(matches!(case.events.last().map(|event| &event.body), Some(EventBody::CutConfirmed { after_ms: 7_000, .. })));
        assert_eq!(case.step(60_000), (vec![], false));
        case.all.heated();
        assert_eq!(watch(&mut case, 90_000, Some(true)), (false, vec![], 0), "it is to be closed now");
        assert_eq!(case.all.open_by, None);
    }

    #[test]
    fn an_order_to_heat_mends_no_stuck_contactor() {
        let mut case = Case::cut(true);
        case.all.dropped = true;
        watch(&mut case, 0, Some(true));
        assert_eq!(watch(&mut case, 2_001, Some(true)), (true, vec![Via::Contactor], 1));
        case.all.heated();
        assert!(case.all.is_stuck());
        assert_eq!(watch(&mut case, 10_000, Some(true)), (true, vec![], 0), "the alarm stands while it heats");
        assert_eq!(case.cut_again(), [Via::Controller, Via::Contactor]);
        assert_eq!(watch(&mut case, 20_000, Some(true)), (true, vec![], 0));
        assert!(!watch(&mut case, 22_001, Some(false)).0);
        assert!(!case.all.is_stuck());
        case.plan.heating = Heating::ByHand;
        case.all.stuck = true;
        assert_eq!(case.cut_again(), [Via::Contactor], "once is enough");
    }

    #[test]
    fn a_contactor_without_beats_has_to_drop_in_its_time() {
        let mut case = Case::cut(true);
        case.plan.dead_man = DeadMan::ContactorHeartbeat { drops_after: Duration::from_secs(3) };
        assert_eq!(watch(&mut case, 0, Some(true)), (false, vec![], 0));
        assert_eq!(watch(&mut case, 5_000, Some(true)), (false, vec![], 0));
        assert_eq!(watch(&mut case, 5_001, Some(true)), (true, vec![Via::Contactor], 1));
    }

    #[test]
    fn a_controller_at_rest_is_no_word_for_a_contactor_that_is_stuck() {
        let mut case = Case::cut(true);
        assert_eq!(case.step(2_000), (vec![Via::Controller, Via::Contactor], true));
        assert_eq!(watch(&mut case, 0, Some(true)), (true, vec![], 0));
        assert_eq!(watch(&mut case, 2_001, Some(true)), (true, vec![Via::Contactor], 1));
        case.told(5, &CutState::Confirmed);
        assert_eq!((case.confirmed(), case.all.is_unconfirmed()), (None, true));
        assert_eq!(watch(&mut case, 3_000, Some(false)), (false, vec![], 1));
        assert_eq!(case.confirmed(), Some(2_000));
        let mut case = Case::cut(true);
        case.plan.heating = Heating::ByHand;
        case.cut_again();
        assert_eq!(watch(&mut case, 0, Some(true)), (false, vec![], 0));
        assert_eq!(watch(&mut case, 2_001, Some(true)), (true, vec![Via::Contactor], 1), "the contactor is its only way");
        assert_eq!(watch(&mut case, 2_002, Some(false)), (false, vec![], 0), "the output itself has yet to be read back");
    }

    #[test]
    fn what_is_said_of_an_older_cut_or_of_none_counts_for_nothing() {
        let mut case = Case::cut(false);
        case.told(4, &CutState::Confirmed);
        assert_eq!(case.confirmed(), None);
        case.all.heated();
        case.told(5, &CutState::Confirmed);
        assert_eq!((case.confirmed(), case.step(60_000)), (None, (Vec::new(), false)), "heat was given since");
        let mut case = Case::cut(false);
        case.told(5, &CutState::Confirmed);
        case.told(5, &CutState::Confirmed);
        assert_eq!(case.events.len(), 2, "it is said once");
    }

    #[test]
    fn a_cut_is_told_as_it_matters_and_its_state_is_in_the_digest() {
        let mut case = Case::cut(false);
        assert_eq!(case.events[0].priority, Priority::Record);
        assert_eq!(case.all.bits(), 5 << 8 | 1);
        let because = vec![InterlockKind::DoorOpen];
        let why = (Priority::Warning, "The door is open.".to_owned());
        case.all.cut(NORTH, &case.plan, because, why, &mut case.cuts, &mut case.events);
        assert_eq!(case.events[1].priority, Priority::Warning);
        assert_eq!((case.cuts.len(), case.all.bits()), (1, 6 << 8 | 1));
    }

    #[test]
    fn the_first_way_is_the_controller_unless_there_is_none_or_a_person_heats() {
        for (heating, controller, via) in [
            (Heating::SetPoint, true, Via::Controller),
            (Heating::Program, true, Via::Controller),
            (Heating::SetPoint, false, Via::Contactor),
            (Heating::ByHand, true, Via::Contactor),
        ] {
            let plan = crate::testing::furnace("north");
            let plan = FurnacePlan { controller: plan.controller.filter(|_| controller), heating, ..plan };
            assert_eq!(first_via(&plan), via, "{plan:?}");
        }
    }
}
