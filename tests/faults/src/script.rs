//! What goes wrong in a run, and when: a list that is the same for its seed and that can be shortened.

use crate::chance::Chance;

/// The kinds of fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// The thermometer repeats one value, with fresh times.
    Stuck,
    /// It gives its last reading again and again, with the old time.
    Frozen,
    /// It walks away from the truth.
    Drifting,
    /// It jumps about.
    Noisy,
    /// The thermocouple is open: the device says bad.
    BrokenWire,
    /// It gives what is no number.
    NotANumber,
    /// It gives a number that no thermometer can have.
    Unbelievable,
    /// The device gives no value.
    Empty,
    /// The device doubts its own value.
    Uncertain,
    /// One wrong reading.
    Spike,
    /// The load's thermometer is bad.
    LoadBad,
    /// All readings of the furnace come late.
    Late,
    /// None comes.
    Lost,
    /// Some do not.
    SomeLost,
    /// Each comes twice.
    Doubled,
    /// They overtake each other.
    Reordered,
    /// Their times lie ahead.
    FromTheFuture,
    /// The driver says that its unit does not answer.
    DriverSilent,
    /// The driver is out of service.
    DriverOut,
    /// The door opens.
    DoorOpens,
    /// The door opens and shuts between two ticks.
    DoorBlips,
    /// The door's switch gives nothing.
    SwitchDead,
    /// The switch is not to be relied upon.
    SwitchDoubtful,
    /// The switch says shut, whatever the door does.
    SwitchStuck,
    /// The relay heats whatever it is told.
    RelayWelded,
    /// A cut is not read back.
    CutSilent,
    /// A cut cannot be sent.
    CutFails,
    /// The controller's own alarm comes.
    AlarmRaised,
    /// The heater heats no more.
    ElementBroken,
    /// The supply is empty.
    SupplyOut,
    /// A furnace's gas valve is shut by hand.
    ValveShut,
    /// The hood is off.
    HoodOff,
    /// The hood's switch gives nothing.
    HoodDead,
    /// Less gas comes than was asked for.
    FlowLow,
    /// The meter repeats its last flow.
    MeterStuck,
    /// The meter gives nothing.
    MeterDead,
    /// The probe shows air.
    ProbeHigh,
    /// The probe gives nothing.
    ProbeDead,
    /// A bath is cold.
    BathCold,
    /// A bath is near its flash point.
    BathHot,
    /// A bath does not cover a part.
    BathLow,
    /// A bath is not stirred.
    BathStill,
    /// A bath cannot be read.
    BathUnread,
    /// The room's oxygen is under its first level.
    RoomLow,
    /// It is under the second.
    RoomDanger,
    /// It is, for a moment.
    RoomDips,
    /// The monitor gives nothing.
    MonitorDead,
    /// The monitor gives what may not be relied upon.
    MonitorBad,
    /// People confirm what they have not done.
    PeopleLie,
    /// People do not answer.
    PeopleSilent,
    /// A person presses stop.
    PersonStops,
    /// A person resets whatever there is.
    PersonResets,
    /// A person ends the cycle.
    PersonAborts,
    /// A person skips the step.
    PersonSkips,
    /// A person holds the cycle, and resumes it later.
    PersonHolds,
    /// A person bypasses an interlock, perhaps one that may not be.
    PersonBypasses,
    /// A person restores what is bypassed.
    PersonRestores,
    /// A person begins a proof test.
    PersonProves,
    /// A person acknowledges, shelves or takes out alarms, or brings them back.
    PersonMeddles,
    /// A person answers what was not asked.
    PersonErrs,
    /// The service dies after all was on disk, and comes back at once.
    Restart,
    /// It dies in a tick, before that was on disk.
    RestartTorn,
    /// It is away for long, or nobody knows how long.
    RestartLong,
    /// It is ended in order, and started again.
    OrderlyEnd,
    /// The clock that the core is told goes back.
    ClockBack,
    /// The computer sleeps: the clock goes on and nothing is decided.
    ClockJumps,
    /// The wall clock runs ahead of the shop's.
    WallAhead,
    /// The record cannot be written.
    RecordFails,
    /// The disk is slow.
    DiskSlow,
    /// The controller's program goes beside the recipe.
    ProgramAstray,
    /// The set point cannot be read.
    SetPointDead,
    /// The controller says yes to every cut and goes on with what it was told last.
    ControllerDeaf,
    /// Somebody turns heat on at the controller's panel.
    PanelTurned,
    /// Whether it heats cannot be read.
    HeatUnread,
    /// The switch at the tank says that a part is under, whatever is, and now and then doubts it.
    TankSwitchStuck,
    /// It gives nothing.
    TankSwitchDead,
    /// A person resets the oxygen of the room, with a furnace named.
    PersonResetsRoom,
    /// A person tests an interlock, and calls the test off in the end or says what they saw of one.
    PersonTests,
}

impl Kind {
    /// All of them, with how often each comes and for how long, in seconds.
    pub const ALL: [(Self, u32, (u64, u64)); 69] = [
        (Self::Stuck, 10, (5, 90)),
        (Self::Frozen, 10, (2, 30)),
        (Self::Drifting, 8, (20, 120)),
        (Self::Noisy, 14, (10, 60)),
        (Self::BrokenWire, 4, (1, 20)),
        (Self::NotANumber, 3, (1, 5)),
        (Self::Unbelievable, 3, (1, 5)),
        (Self::Empty, 6, (1, 12)),
        (Self::Uncertain, 4, (1, 5)),
        (Self::Spike, 6, (1, 1)),
        (Self::LoadBad, 4, (5, 30)),
        (Self::Late, 20, (5, 60)),
        (Self::Lost, 14, (1, 90)),
        (Self::SomeLost, 20, (10, 60)),
        (Self::Doubled, 20, (10, 60)),
        (Self::Reordered, 20, (10, 60)),
        (Self::FromTheFuture, 8, (5, 30)),
        (Self::DriverSilent, 8, (2, 30)),
        (Self::DriverOut, 8, (2, 90)),
        (Self::DoorOpens, 20, (2, 60)),
        (Self::DoorBlips, 16, (1, 1)),
        (Self::SwitchDead, 8, (2, 60)),
        (Self::SwitchDoubtful, 4, (1, 10)),
        (Self::SwitchStuck, 4, (10, 60)),
        (Self::RelayWelded, 6, (20, 120)),
        (Self::CutSilent, 8, (10, 60)),
        (Self::CutFails, 6, (10, 60)),
        (Self::AlarmRaised, 4, (1, 10)),
        (Self::ElementBroken, 4, (60, 600)),
        (Self::SupplyOut, 4, (10, 120)),
        (Self::ValveShut, 8, (5, 60)),
        (Self::HoodOff, 10, (2, 60)),
        (Self::HoodDead, 6, (2, 30)),
        (Self::FlowLow, 8, (5, 60)),
        (Self::MeterStuck, 6, (10, 60)),
        (Self::MeterDead, 6, (2, 30)),
        (Self::ProbeHigh, 4, (5, 60)),
        (Self::ProbeDead, 4, (5, 60)),
        (Self::BathCold, 6, (60, 300)),
        (Self::BathHot, 2, (10, 60)),
        (Self::BathLow, 3, (20, 120)),
        (Self::BathStill, 4, (20, 120)),
        (Self::BathUnread, 4, (20, 120)),
        (Self::RoomLow, 3, (10, 60)),
        (Self::RoomDanger, 2, (15, 60)),
        (Self::RoomDips, 4, (1, 3)),
        (Self::MonitorDead, 3, (10, 60)),
        (Self::MonitorBad, 3, (5, 30)),
        (Self::PeopleLie, 8, (30, 180)),
        (Self::PeopleSilent, 8, (30, 300)),
        (Self::PersonStops, 3, (1, 1)),
        (Self::PersonResets, 12, (1, 30)),
        (Self::PersonAborts, 2, (1, 1)),
        (Self::PersonSkips, 3, (1, 1)),
        (Self::PersonHolds, 6, (20, 120)),
        (Self::PersonBypasses, 14, (1, 1)),
        (Self::PersonRestores, 8, (1, 1)),
        (Self::PersonProves, 4, (1, 1)),
        (Self::PersonMeddles, 16, (1, 40)),
        (Self::PersonErrs, 10, (5, 60)),
        (Self::Restart, 3, (2, 20)),
        (Self::RestartTorn, 3, (2, 20)),
        (Self::RestartLong, 1, (40, 200)),
        (Self::OrderlyEnd, 1, (5, 60)),
        (Self::ClockBack, 6, (1, 5)),
        (Self::ClockJumps, 2, (2, 90)),
        (Self::WallAhead, 3, (1, 1)),
        (Self::RecordFails, 3, (5, 60)),
        (Self::DiskSlow, 8, (10, 60)),
    ];

    /// Those that came later, and for how long: drawn apart, so that the faults of a seed that was known before stay as they were.
    pub const LATER: [(Self, (u64, u64)); 9] = [
        (Self::ProgramAstray, (30, 300)),
        (Self::SetPointDead, (10, 200)),
        (Self::ControllerDeaf, (10, 120)),
        (Self::PanelTurned, (1, 1)),
        (Self::HeatUnread, (2, 60)),
        (Self::TankSwitchStuck, (10, 300)),
        (Self::TankSwitchDead, (10, 120)),
        (Self::PersonResetsRoom, (1, 90)),
        (Self::PersonTests, (5, 600)),
    ];
}

/// One thing that goes wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// When it begins, in seconds of the run.
    pub at_s: u32,
    /// How long it lasts.
    pub for_s: u32,
    /// At which furnace; what is shared takes it as a number to choose by.
    pub place: usize,
    /// What.
    pub kind: Kind,
    /// How bad, 0 to 1.
    pub size: f64,
}

/// Faults that an hour of one furnace gets at least.
pub const LEAST_AN_HOUR: f64 = 20.0;

/// Calm and storm: faults come in clusters, so that loads get somewhere in between.
const WINDOW_S: u32 = 600;

/// The faults of a run in the order in which they begin.
#[must_use]
pub fn script(seed: u64, furnaces: usize, span_s: u32) -> Vec<Fault> {
    let weights: u64 = Kind::ALL.iter().map(|(_, weight, _)| u64::from(*weight)).sum();
    let mut faults = Vec::new();
    for place in 0..furnaces {
        for window in 0..span_s.div_ceil(WINDOW_S) {
            let mut chance = Chance::of(seed, &[30, place as u64, u64::from(window)]);
            let stormy = chance.happens(0.4);
            let count = if stormy { chance.from_to(6, 12) } else { chance.from_to(0, 2) };
            for _ in 0..count {
                let at_s = window * WINDOW_S + chance.below(u64::from(WINDOW_S)) as u32;
                faults.push(fault(&mut chance, weights, place, at_s));
            }
            let mut chance = Chance::of(seed, &[31, place as u64, u64::from(window)]);
            if chance.happens(0.4) {
                let (kind, (shortest, longest)) = chance.pick(&Kind::LATER);
                let at_s = window * WINDOW_S + chance.below(u64::from(WINDOW_S)) as u32;
                let for_s = chance.from_to(shortest, longest) as u32;
                faults.push(Fault { at_s, for_s, place, kind, size: chance.share() });
            }
        }
    }
    faults.retain(|fault| fault.at_s < span_s);
    faults.sort_by_key(|fault| (fault.at_s, fault.place));
    faults
}

fn fault(chance: &mut Chance, weights: u64, place: usize, at_s: u32) -> Fault {
    let mut draw = chance.below(weights);
    let mut chosen = Kind::ALL[0];
    for one in Kind::ALL {
        chosen = one;
        if draw < u64::from(one.1) {
            break;
        }
        draw -= u64::from(one.1);
    }
    let (kind, _, (shortest, longest)) = chosen;
    Fault { at_s, for_s: chance.from_to(shortest, longest) as u32, place, kind, size: chance.share() }
}
