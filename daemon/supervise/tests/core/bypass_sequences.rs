//! Goal: no bypass without a person, a reason and an expiry, none past its expiry, and every step of it an event, once. Method: a million
//! short sequences of what people, clocks, disks, configurations and restarts do, on the whole core, each step against a ledger that
//! shares nothing with it. A failure prints the number of its sequence, which is all that the sequence is made from, and its deeds.

use std::fmt::Debug;
use std::time::Duration;

use hearthward_equipment::{FurnaceId, ShopMs};
use hearthward_supervise::event::{Event, EventBody};
use hearthward_supervise::interlock::InterlockKind::{
    self, DoorOpen, DriverLost, OffSetPoint, QuenchReadiness, RunTimeLimit, SensorFault,
};
use hearthward_supervise::observe::Observation;
use hearthward_supervise::output::Outputs;
use hearthward_supervise::plan::ShopPlan;
use hearthward_supervise::request::{Answer, Person, Request};
use hearthward_supervise::view::View;
use hearthward_supervise::{Away, Shop};

use crate::bench::{Kind, NORTH, plan};

const SEQUENCES: u64 = 1_000_000;
const DAY_MS: u64 = 24 * 3_600_000;
const PEOPLE: [&str; 3] = ["ada", "bo", "cy"];
/// What people try to bypass; the last two are never open to it.
const KINDS: [InterlockKind; 6] = [RunTimeLimit, DriverLost, QuenchReadiness, OffSetPoint, DoorOpen, SensorFault];
const LONG: &str = "a reason that goes on and on, and on, as if nobody had to read it on each of the records that are made while it lasts, \
which is why it is kept to two hundred characters, and this one is longer than that by some";

/// A span of time that is worth trying.
#[derive(Clone, Copy, Debug)]
enum Span {
    Of(u64),
    /// As long as the bypass at this place has left, one less, or one more.
    Left(usize, i64),
}

/// One thing that happens, and a tick after it.
#[derive(Clone, Copy, Debug)]
enum Deed {
    Ask {
        furnace: FurnaceId,
        person: &'static str,
        kind: InterlockKind,
        reason: &'static str,
        span: Option<u64>,
    },
    Restore(&'static str, InterlockKind),
    Pass(Span),
    WallAhead(Span),
    /// The service dies and comes back, after a time that it knows or does not know.
    Restart(Option<Span>),
    /// The configuration is open to these, bit by bit.
    Open(u8),
    Record(bool),
}

/// Numbers that look like chance (splitmix64, public domain).
struct Chance(u64);

impl Chance {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % bound
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len() as u64) as usize]
    }

    fn span(&mut self) -> Span {
        match self.below(4) {
            0 => Span::Of(self.below(20_000)),
            1 => Span::Of(self.below(2 * DAY_MS)),
            _ => Span::Left(self.below(4) as usize, self.one(&[-1, 0, 1])),
        }
    }

    fn deed(&mut self) -> Deed {
        match self.below(16) {
            0..=6 => Deed::Ask {
                furnace: if self.below(32) == 0 { FurnaceId(7) } else { NORTH },
                person: self.one(&PEOPLE),
                kind: if self.below(4) == 0 { self.one(&KINDS) } else { self.one(&KINDS[..4]) },
                reason: if self.below(4) == 0 { self.one(&["", "  ", LONG]) } else { self.one(&["a long temper", " away "]) },
                span: match self.below(10) {
                    0 => None,
                    1 => Some(0),
                    2 => Some(DAY_MS + self.below(2)),
                    3 => Some(self.below(2 * DAY_MS)),
                    _ => Some(1 + self.below(20_000)),
                },
            },
            7 | 8 => Deed::Restore(self.one(&PEOPLE), self.one(&KINDS[..5])),
            9 | 10 => Deed::Pass(self.span()),
            11 => Deed::WallAhead(self.span()),
            12 | 13 => Deed::Restart(if self.below(4) == 0 { None } else { Some(self.span()) }),
            14 => Deed::Open(self.below(16) as u8),
            _ => Deed::Record(self.below(2) == 0),
        }
    }
}

/// A bypass as a person would note it.
#[derive(Clone, Debug, PartialEq)]
struct Noted {
    kind: InterlockKind,
    person: &'static str,
    reason: &'static str,
    left_ms: u64,
}

/// What people would have noted.
struct Ledger {
    noted: Vec<Noted>,
    open: u8,
    record: bool,
}

/// What became of bypasses over all sequences, so that none of it can be missing unnoticed.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    given: u64,
    refused: u64,
    restored: u64,
    lapsed: u64,
    outlived_a_restart: u64,
}

impl Ledger {
    fn span_ms(&self, span: Span) -> u64 {
        match span {
            Span::Of(span_ms) => span_ms,
            Span::Left(place, more_ms) => {
                self.noted.get(place).map_or(1_000, |noted| noted.left_ms.saturating_add_signed(more_ms))
            }
        }
    }

    fn is_open(&self, kind: InterlockKind) -> bool {
        // "never for door, over-temperature, sensor fault, room oxygen or stop"
        let place = KINDS.iter().position(|&one| one == kind).expect("one of those that are tried");
        !matches!(kind, DoorOpen | SensorFault) && self.open >> place & 1 == 1
    }

    fn pass(&mut self, span_ms: u64) {
        self.noted.iter_mut().for_each(|noted| noted.left_ms = noted.left_ms.saturating_sub(span_ms));
    }

    /// "lapses by itself": those whose time is over, or that the configuration is not open to any more.
    fn lapse(&mut self) -> Vec<EventBody> {
        let (stay, over): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.noted).into_iter().partition(|noted| noted.left_ms > 0 && self.is_open(noted.kind));
        self.noted = stay;
        over.into_iter().map(|noted| EventBody::Restored { interlock: noted.kind, lapsed: true }).collect()
    }

    /// "it names a person, a reason and an expiry": eight hours unless said otherwise, a day at most.
    fn bypass(
        &mut self,
        person: &'static str,
        kind: InterlockKind,
        reason: &'static str,
        span: Option<u64>,
    ) -> Option<EventBody> {
        let (reason, for_ms) = (reason.trim(), span.unwrap_or(8 * 3_600_000));
        let known = self.noted.iter().any(|noted| noted.kind == kind);
        let reasoned = (1..=200).contains(&reason.chars().count());
        if known || !reasoned || !(1..=DAY_MS).contains(&for_ms) || !self.is_open(kind) || !self.record {
            return None;
        }
        self.noted.push(Noted { kind, person, reason, left_ms: for_ms });
        Some(EventBody::Bypassed { interlock: kind, reason: reason.to_owned(), for_ms })
    }

    fn restore(&mut self, kind: InterlockKind) -> Option<EventBody> {
        let place = self.noted.iter().position(|noted| noted.kind == kind)?;
        self.noted.remove(place);
        Some(EventBody::Restored { interlock: kind, lapsed: false })
    }
}

/// One sequence on its way.
struct Run<'a> {
    plan: &'a ShopPlan,
    shop: Shop,
    now: ShopMs,
    ledger: Ledger,
    out: &'a mut Outputs,
    view: &'a mut View,
    seen: &'a mut Seen,
}

impl Run<'_> {
    fn plan_open_to(&self) -> ShopPlan {
        let mut plan = self.plan.clone();
        let open = KINDS.iter().enumerate().filter(|(place, _)| self.ledger.open >> place & 1 == 1).map(|(_, &kind)| kind);
        plan.furnaces[0].policy.may_bypass = open.collect();
        plan
    }

    /// Does one thing, ticks, and looks whether the core and the ledger agree.
    fn deed(&mut self, deed: Deed, at: &impl Debug) {
        let mut asked = None;
        match deed {
            Deed::Ask { furnace, person, kind, reason, span } => {
                let request = Request::Bypass {
                    furnace,
                    interlock: kind,
                    reason: reason.to_owned(),
                    span: span.map(Duration::from_millis),
                };
                self.shop.request(self.now, &Person { name: person.to_owned() }, request);
                asked = Some(person);
            }
            Deed::Restore(person, kind) => {
                self.shop.request(
                    self.now,
                    &Person { name: person.to_owned() },
                    Request::Restore { furnace: NORTH, interlock: kind },
                );
                asked = Some(person);
            }
            Deed::Pass(span) => {
                let span_ms = self.ledger.span_ms(span);
                self.now = ShopMs(self.now.0 + span_ms);
                self.ledger.pass(span_ms);
            }
            Deed::WallAhead(span) => {
                let by_ms = self.ledger.span_ms(span);
                self.shop.observe(self.now, Observation::WallAhead { by: ShopMs(by_ms) });
                self.ledger.pass(by_ms);
            }
            Deed::Restart(away) => self.restart(away),
            Deed::Open(open) => {
                self.ledger.open = open;
                let plan = self.plan_open_to();
                self.shop.replan(self.now, plan);
            }
            Deed::Record(works) => {
                self.ledger.record = works;
                self.shop.observe(self.now, Observation::Record { failing: (!works).then(|| "full".to_owned()) });
            }
        }
        self.shop.tick(self.now, self.out);
        let mut expected = self.ledger.lapse();
        self.seen.lapsed += expected.len() as u64;
        let done = match deed {
            Deed::Ask { furnace, person, kind, reason, span } if furnace == NORTH => {
                self.ledger.bypass(person, kind, reason, span)
            }
            Deed::Restore(_, kind) => self.ledger.restore(kind),
            _ => None,
        };
        self.answered(asked.is_some(), done.as_ref(), at);
        expected.extend(done);
        self.said(&expected, asked, at);
        self.shown(at);
    }

    /// The state goes through the bytes that a journal keeps of it.
    fn restart(&mut self, away: Option<Span>) {
        let away_ms = away.map(|span| self.ledger.span_ms(span));
        let bytes = postcard::to_allocvec(&self.shop.standing()).expect("what stands serialises");
        let stood = postcard::from_bytes(&bytes).expect("and comes back");
        let away = away_ms.map_or(Away::Unknown, |away_ms| Away::Known(ShopMs(away_ms)));
        self.shop = Shop::new(self.plan_open_to(), Some(stood), away);
        (self.now, self.ledger.record) = (ShopMs(0), true);
        self.ledger.pass(away_ms.unwrap_or(u64::MAX));
        self.seen.outlived_a_restart += self.ledger.noted.iter().filter(|noted| noted.left_ms > 0).count() as u64;
    }

    fn answered(&mut self, asked: bool, done: Option<&EventBody>, at: &impl Debug) {
        let answers: Vec<bool> = self.out.answers.iter().map(|(_, answer)| matches!(answer, Answer::Done(_))).collect();
        let expected: Vec<bool> = asked.then_some(done.is_some()).into_iter().collect();
        assert_eq!(answers, expected, "{at:?}");
        match done {
            Some(EventBody::Bypassed { .. }) => self.seen.given += 1,
            Some(_) => self.seen.restored += 1,
            None => self.seen.refused += u64::from(asked),
        }
    }

    /// "every change … is an event, exactly once"; a bypass "is on every record made meanwhile".
    fn said(&self, expected: &[EventBody], asked: Option<&str>, at: &impl Debug) {
        let ours = |event: &&Event| matches!(event.body, EventBody::Bypassed { .. } | EventBody::Restored { .. });
        let said: Vec<&Event> = self.out.events.iter().filter(ours).collect();
        assert_eq!(said.iter().map(|event| &event.body).collect::<Vec<_>>(), expected.iter().collect::<Vec<_>>(), "{at:?}");
        for event in said {
            let by_itself = matches!(event.body, EventBody::Restored { lapsed: true, .. });
            assert_eq!(event.person.as_deref(), if by_itself { None } else { asked }, "{at:?}");
        }
        for event in self.out.events.iter().filter(|event| event.furnace == Some(NORTH)) {
            let marks = event.text.matches("(Bypassed by ").count();
            let own = matches!(event.body, EventBody::Bypassed { .. });
            assert_eq!(marks, if own { 0 } else { self.ledger.noted.len() }, "{} {at:?}", event.text);
        }
    }

    fn shown(&mut self, at: &impl Debug) {
        self.shop.view(self.view);
        let rows = &self.view.furnaces[0].interlocks;
        let mut count = 0;
        for (row, shown) in rows.iter().filter_map(|row| Some((row, row.bypass.as_ref()?))) {
            let noted = self.ledger.noted.iter().find(|noted| noted.kind == row.kind);
            let same = noted.is_some_and(|noted| {
                (noted.person, noted.reason, noted.left_ms) == (&*shown.person, &*shown.reason, shown.left_ms)
            });
            assert!(same, "{shown:?} {noted:?} {at:?}");
            count += 1;
        }
        assert_eq!(count, self.ledger.noted.len(), "{at:?}");
    }
}

/// Lives through every sequence whose number leaves this rest.
fn sequences(plan: &ShopPlan, first: u64, step: usize) -> Seen {
    let (mut seen, mut out, mut view) = (Seen::default(), Outputs::default(), View::default());
    for number in (first..SEQUENCES).step_by(step) {
        let mut chance = Chance(number);
        let deeds: Vec<Deed> = (0..2 + chance.below(6)).map(|_| chance.deed()).collect();
        let shop = Shop::new(plan.clone(), None, Away::Unknown);
        let ledger = Ledger { noted: Vec::new(), open: 0b1111, record: true };
        let mut run = Run { plan, shop, now: ShopMs(0), ledger, out: &mut out, view: &mut view, seen: &mut seen };
        run.shop.tick(ShopMs(0), run.out);
        for &deed in &deeds {
            run.deed(deed, &(number, deed, &deeds));
        }
    }
    seen
}

#[test]
fn a_million_sequences_of_bypasses() {
    let mut plan = plan(&[Kind::plain("north")]);
    plan.furnaces[0].policy.may_bypass = KINDS[..4].to_vec();
    plan.furnaces[0].run_time_limit = Some(Duration::from_secs(600));
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let parts: Vec<Seen> = std::thread::scope(|scope| {
        let plan = &plan;
        let parts: Vec<_> = (0..threads).map(|part| scope.spawn(move || sequences(plan, part as u64, threads))).collect();
        parts.into_iter().map(|part| part.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
    });
    let total = |of: fn(&Seen) -> u64| parts.iter().map(of).sum::<u64>();
    let counts = [
        ("given", total(|seen| seen.given)),
        ("refused", total(|seen| seen.refused)),
        ("restored", total(|seen| seen.restored)),
        ("lapsed", total(|seen| seen.lapsed)),
        ("outlived a restart", total(|seen| seen.outlived_a_restart)),
    ];
    assert!(counts.iter().all(|(_, count)| *count > SEQUENCES / 100), "too little happened: {counts:?}");
    println!("{SEQUENCES} sequences: {counts:?}");
}
